//! Price lists against a real catalogue, on both databases.

use std::fmt::Write as _;

use actix_web::web::Bytes;
use nameplate_entities::kinds::{PartCondition, PriceListState, Role, RowFault, RowOutcome};
use nameplate_entities::{
    part, part_cost, price_list, price_list_fault, price_list_row, search_entry,
};
use nameplate_rules::money::Cents;
use sea_orm::{ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder};
use tokio::sync::mpsc;

use super::*;
use crate::base::ProblemCode::WrongState;
use crate::base::testing::{Bench, refusals};
use crate::base::{Act, search};
use crate::pricing::operations::{AddSupplier, add_supplier};
use crate::pricing::{AddPart, add_part};

pub async fn supplier(act: &Act, name: &str) -> i64 {
    let new = AddSupplier {
        name: name.to_owned(),
        email: None,
        terms_days: None,
    };
    add_supplier(act, new).await.unwrap().id
}

pub async fn begun(act: &Act, key: &str, supplier_id: i64) -> price_list::Model {
    let new = BeginPriceList {
        idempotency_key: key.to_owned(),
        supplier_id,
        name: "Spring list".to_owned(),
        columns: Columns {
            number: "Part No".to_owned(),
            description: "Description".to_owned(),
            cost: "Net".to_owned(),
            list_price: Some("List".to_owned()),
        },
        part_condition: Some(PartCondition::Rebuilt),
    };
    begin_price_list(act, new).await.unwrap()
}

pub async fn sent(act: &Act, list: i64, pieces: &[&[u8]], ends: bool) -> Received {
    let (sender, arriving) = mpsc::channel(100);
    for piece in pieces {
        let piece = Arriving::Piece(Bytes::copy_from_slice(piece));
        sender.send(piece).await.ok().unwrap();
    }
    if ends {
        sender.send(Arriving::End).await.ok().unwrap();
    }
    drop(sender);
    receive(act, list, arriving).await.unwrap()
}

pub async fn staged(act: &Act, list: i64, text: &str) -> price_list::Model {
    match sent(act, list, &[text.as_bytes()], true).await {
        Received::Staged(row) => row,
        other => panic!("not staged: {other:?}"),
    }
}

pub async fn take(
    act: &Act,
    key: &str,
    list: i64,
    take: Take,
) -> crate::base::Result<price_list::Model> {
    let command = TakeOverPriceList {
        idempotency_key: key.to_owned(),
        price_list_id: list,
        take,
    };
    take_over_price_list(act, command).await
}

pub async fn old_part(act: &Act, number: &str, supplier: Option<&str>, cost: i64) -> part::Model {
    let new = AddPart {
        number: number.to_owned(),
        description: "Our own words".to_owned(),
        supplier: supplier.map(str::to_owned),
        cost: Cents(cost),
        fixed_price: None,
        list_price: None,
        maker_warranty_months: None,
        ..AddPart::default()
    };
    add_part(act, new).await.unwrap()
}

pub async fn catalogue(act: &Act) -> Vec<(String, String, i64, Option<i64>)> {
    let rows = part::Entity::find()
        .order_by_asc(part::Column::Number)
        .all(act.app.db.read())
        .await
        .unwrap();
    rows.into_iter()
        .map(|row| {
            (
                row.number,
                row.description,
                row.cost_cents,
                row.list_price_cents,
            )
        })
        .collect()
}

pub const HEAD: &str = "description,Part no,NET,list,remark\n";

#[tokio::test]
async fn a_list_changes_the_catalogue_only_when_it_is_taken_over_and_then_all_at_once() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Office).await;
        let supplier_id = supplier(&act, "Quarry Parts").await;
        old_part(&act, "B-2", Some("quarry parts"), 1_000).await;
        old_part(&act, "C-3", None, 1_000).await;
        let list = begun(&act, "k1", supplier_id).await;
        let text =
            format!("\u{feff}{HEAD}Pump,A-1,11.40,,x\nBoard,B-2,12.50,30,x\nBelt,C-3,10.00,,x\n");
        let row = staged(&act, list.id, &text).await;
        let counts = (
            row.row_count,
            row.bad_row_count,
            row.new_count,
            row.changed_count,
            row.same_count,
        );
        assert_eq!(counts, (3, 0, 1, 1, 1));
        assert_eq!(catalogue(&act).await.len(), 2, "staged is not taken over");
        let rises = store::largest_rises(act.app.db.read(), list.id)
            .await
            .unwrap();
        assert_eq!(
            rises
                .iter()
                .map(|row| (row.line, row.old_cost_cents))
                .collect::<Vec<_>>(),
            [(3, Some(1_000))]
        );
        let taken = take(&act, "t1", list.id, Take::AllOrNothing).await.unwrap();
        assert_eq!(taken.state, PriceListState::TakenOver);
        let own = || "Our own words".to_owned();
        assert_eq!(
            catalogue(&act).await,
            [
                ("A-1".to_owned(), "Pump".to_owned(), 1_140, None),
                ("B-2".to_owned(), own(), 1_250, Some(3_000)),
                ("C-3".to_owned(), own(), 1_000, None),
            ]
        );
        let rows = part::Entity::find()
            .order_by_asc(part::Column::Number)
            .all(act.app.db.read())
            .await
            .unwrap();
        let conditions = rows.into_iter().map(|row| row.condition);
        let of_new_ones = [Some(PartCondition::Rebuilt), None, None];
        assert_eq!(conditions.collect::<Vec<_>>(), of_new_ones);
        let from_list = part_cost::Entity::find()
            .filter(part_cost::Column::PriceListId.eq(list.id))
            .count(act.app.db.read())
            .await
            .unwrap();
        assert_eq!(from_list, 2, "what is the same leaves no second cost");
        let hits = search::find(act.app.db.read(), ("pump", None), 5)
            .await
            .unwrap();
        assert_eq!(hits.len(), 1);
    }
}

#[tokio::test]
async fn a_list_taken_over_again_changes_nothing_and_says_so() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Office).await;
        let supplier_id = supplier(&act, "Quarry Parts").await;
        let text = format!("{HEAD}Pump,A-1,11.40,,x\nBoard,B-2,12.50,30,x\n");
        let list = begun(&act, "k1", supplier_id).await;
        staged(&act, list.id, &text).await;
        let taken = take(&act, "t1", list.id, Take::AllOrNothing).await.unwrap();
        let same = take(&act, "t1", list.id, Take::AllOrNothing).await.unwrap();
        assert_eq!(same, taken, "one key has one answer");
        let again = take(&act, "t2", list.id, Take::AllOrNothing).await;
        assert_eq!(refusals(again), [(WrongState, "priceListId".to_owned())]);
        let second = begun(&act, "k2", supplier_id).await;
        let row = staged(&act, second.id, &text).await;
        assert_eq!(
            (row.new_count, row.changed_count, row.same_count),
            (0, 0, 2)
        );
        take(&act, "t3", second.id, Take::AllOrNothing)
            .await
            .unwrap();
        let db = act.app.db.read();
        assert_eq!(search_entry::Entity::find().count(db).await.unwrap(), 2);
        assert_eq!(part_cost::Entity::find().count(db).await.unwrap(), 2);
    }
}

#[tokio::test]
async fn each_bad_row_is_reported_by_line_column_and_reason_and_left_out_on_request() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Office).await;
        let supplier_id = supplier(&act, "Quarry Parts").await;
        old_part(&act, "O-1", Some("Somebody else"), 1_000).await;
        let list = begun(&act, "k1", supplier_id).await;
        let mut text = format!("{HEAD}Pump,A-1,\"11,40\",,x\nBoard,B-2,12.50,,x\nBelt,B-2,1,,x\n")
            .into_bytes();
        text.extend_from_slice(
            b"Fan,O-1,3.00,,x\n\xe9toile,E-1,3.00,,x\n=SUM(1),=1+1,2.00,,x\nShort\n",
        );
        let (first, last) = text.split_at(70);
        let Received::Staged(row) = sent(&act, list.id, &[first, last], true).await else {
            panic!("not staged");
        };
        assert_eq!((row.row_count, row.bad_row_count, row.new_count), (7, 6, 1));
        let faults = price_list_fault::Entity::find()
            .order_by_asc(price_list_fault::Column::Line)
            .order_by_asc(price_list_fault::Column::Id)
            .all(act.app.db.read())
            .await
            .unwrap();
        let shown = faults
            .iter()
            .map(|fault| {
                (
                    fault.line,
                    fault.column_name.as_deref().unwrap(),
                    fault.reason,
                )
            })
            .collect::<Vec<_>>();
        assert_eq!(
            shown,
            [
                (2, "Net", RowFault::DecimalComma),
                (3, "Part No", RowFault::Twice),
                (4, "Part No", RowFault::Twice),
                (5, "Part No", RowFault::OtherSupplier),
                (6, "Description", RowFault::NotText),
                (8, "Part No", RowFault::Empty),
                (8, "Net", RowFault::Empty),
            ]
        );
        let whole = take(&act, "t1", list.id, Take::AllOrNothing).await;
        assert_eq!(refusals(whole), [(WrongState, "priceListId".to_owned())]);
        let taken = take(&act, "t2", list.id, Take::KeepGood).await.unwrap();
        assert_eq!((taken.bad_row_count, taken.new_count), (6, 1));
        let numbers = catalogue(&act)
            .await
            .into_iter()
            .map(|row| row.0)
            .collect::<Vec<_>>();
        assert_eq!(numbers, ["=1+1", "O-1"], "a formula stays a text");
    }
}

#[tokio::test]
async fn an_upload_that_breaks_off_is_marked_and_can_be_sent_again() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Office).await;
        let supplier_id = supplier(&act, "Quarry Parts").await;
        let list = begun(&act, "k1", supplier_id).await;
        let mut text = HEAD.to_owned();
        for number in 0..2_500 {
            writeln!(text, "Part,N-{number},1.00,,").unwrap();
        }
        let half = &text.as_bytes()[..text.len() / 2];
        assert!(matches!(
            sent(&act, list.id, &[half], false).await,
            Received::BrokenOff
        ));
        let row = store::get(act.app.db.read(), "", list.id).await.unwrap();
        assert_eq!(row.state, PriceListState::BrokenOff);
        let early = take(&act, "t0", list.id, Take::KeepGood).await;
        assert_eq!(refusals(early), [(WrongState, "priceListId".to_owned())]);
        let row = staged(&act, list.id, &text).await;
        assert_eq!(
            (row.row_count, row.new_count, row.bad_row_count),
            (2_500, 2_500, 0)
        );
        let rows = price_list_row::Entity::find()
            .filter(price_list_row::Column::Outcome.eq(RowOutcome::New))
            .count(act.app.db.read())
            .await
            .unwrap();
        assert_eq!(rows, 2_500, "rows of the first try are gone");
    }
}

#[tokio::test]
async fn a_list_without_the_columns_named_is_refused_with_each_that_is_missing() {
    let bench = Bench::new().await;
    let act = bench.act_as(Role::Office).await;
    let supplier_id = supplier(&act, "Quarry Parts").await;
    let list = begun(&act, "k1", supplier_id).await;
    let text = b"Part No,Price\nA-1,1.00\n";
    assert!(matches!(
        sent(&act, list.id, &[text], true).await,
        Received::Refused(_)
    ));
    let faults = price_list_fault::Entity::find()
        .all(act.app.db.read())
        .await
        .unwrap();
    let missing = faults.into_iter().filter_map(|fault| fault.column_name);
    assert_eq!(missing.collect::<Vec<_>>(), ["Description", "Net", "List"]);
    assert!(matches!(
        sent(&act, list.id, &[], true).await,
        Received::Refused(_)
    ));
}

#[tokio::test]
async fn a_part_that_its_list_price_holds_below_the_new_cost_is_pointed_out() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Office).await;
        let supplier_id = supplier(&act, "Quarry Parts").await;
        let list = begun(&act, "k1", supplier_id).await;
        let text =
            format!("{HEAD}Pump,A-1,20.00,19.99,\nBoard,B-2,20.00,20.00,\nBelt,C-3,5.00,,\n");
        staged(&act, list.id, &text).await;
        let (count, first) = store::sold_below_cost(act.app.db.read(), list.id)
            .await
            .unwrap();
        assert_eq!(count, 1);
        assert_eq!(first[0].number, "A-1");
    }
}
