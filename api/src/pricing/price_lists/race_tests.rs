//! Uploads, clearing and taking over that come between one another, and what else could go unseen.

use std::fmt::Write as _;

use nameplate_entities::kinds::{PriceListState, Role, RowFault, RowOutcome};
use nameplate_entities::{price_list, price_list_fault, price_list_row};
use sea_orm::{ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder};
use tokio::sync::mpsc;

use super::receive::begin_upload;
use super::staging::clear_earlier;
use super::tests::{HEAD, begun, catalogue, old_part, sent, staged, supplier, take};
use super::*;
use crate::base::Act;
use crate::base::ProblemCode::WrongState;
use crate::base::testing::{Bench, refusals};

async fn list_now(act: &Act, id: i64) -> price_list::Model {
    store::get(act.app.db.read(), "", id).await.unwrap()
}

async fn rows_of(act: &Act, id: i64) -> u64 {
    price_list_row::Entity::find()
        .filter(price_list_row::Column::PriceListId.eq(id))
        .count(act.app.db.read())
        .await
        .unwrap()
}

async fn faults_of(act: &Act, id: i64) -> Vec<price_list_fault::Model> {
    price_list_fault::Entity::find()
        .filter(price_list_fault::Column::PriceListId.eq(id))
        .order_by_asc(price_list_fault::Column::Line)
        .all(act.app.db.read())
        .await
        .unwrap()
}

/// Rows of a list, from this number on.
fn rows(from: usize, count: usize) -> String {
    let mut text = HEAD.to_owned();
    for number in from..from + count {
        writeln!(text, "Part,N-{number},1.00,,").unwrap();
    }
    text
}

#[tokio::test]
async fn an_upload_that_another_displaced_neither_clears_nor_adds_nor_ends_anything() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Office).await;
        let supplier_id = supplier(&act, "Quarry Parts").await;
        let list = begun(&act, "k1", supplier_id).await;
        // The first one stands before its clearing while the second is sent whole.
        let early = begin_upload(&act, list.id).await.unwrap();
        staged(&act, list.id, &rows(0, 3)).await;
        assert!(!clear_earlier(&act, &early).await.unwrap());
        assert_eq!(rows_of(&act, list.id).await, 3, "rows of the second stay");
        // Another one is half sent while the next is sent whole.
        let (sender, arriving) = mpsc::channel(10);
        let slow = {
            let act = act.clone();
            tokio::spawn(async move { receive(&act, list.id, arriving).await.unwrap() })
        };
        let text = rows(100, 2_500);
        let (half, rest) = text.as_bytes().split_at(text.len() / 2);
        let piece = |bytes: &[u8]| Arriving::Piece(bytes.to_vec().into());
        sender.send(piece(half)).await.ok().unwrap();
        let arrives = |now: &price_list::Model| {
            now.state == PriceListState::Receiving && now.row_count > 1_000
        };
        while !arrives(&list_now(&act, list.id).await) {
            tokio::task::yield_now().await;
        }
        let row = staged(&act, list.id, &rows(9_000, 2)).await;
        assert_eq!((row.row_count, row.new_count), (2, 2));
        sender.send(piece(rest)).await.ok().unwrap();
        drop(sender);
        assert!(matches!(slow.await.unwrap(), Received::Displaced));
        assert_eq!(list_now(&act, list.id).await, row);
        take(&act, "t1", list.id, Take::AllOrNothing).await.unwrap();
        let numbers = catalogue(&act).await.into_iter().map(|part| part.0);
        assert_eq!(numbers.collect::<Vec<_>>(), ["N-9000", "N-9001"]);
    }
}

#[tokio::test]
async fn a_list_of_which_a_row_is_gone_is_not_taken_over() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Office).await;
        let supplier_id = supplier(&act, "Quarry Parts").await;
        let list = begun(&act, "k1", supplier_id).await;
        let text = format!("{}Fan,F-1,\"1,5\",,\nBelt,N-1,2.00,,\n", rows(0, 4));
        let row = staged(&act, list.id, &text).await;
        assert_eq!((row.row_count, row.bad_row_count), (6, 3));
        let tx = act.app.db.write().await.unwrap();
        price_list_row::Entity::delete_many()
            .filter(price_list_row::Column::Number.eq("N-3"))
            .exec(&tx)
            .await
            .unwrap();
        tx.commit().await.unwrap();
        let refused = take(&act, "t1", list.id, Take::KeepGood).await;
        assert_eq!(refusals(refused), [(WrongState, "priceListId".to_owned())]);
        assert!(catalogue(&act).await.is_empty());
    }
}

#[tokio::test]
async fn staged_rows_that_nobody_goes_on_with_are_cleared_away() {
    let bench = Bench::new().await;
    let act = bench.act_as(Role::Office).await;
    let supplier_id = supplier(&act, "Quarry Parts").await;
    let list = begun(&act, "k1", supplier_id).await;
    staged(&act, list.id, &rows(0, 1)).await;
    let mut later = bench.program();
    forget_staged(&later).await.unwrap();
    assert_eq!(list_now(&act, list.id).await.state, PriceListState::Staged);
    later.at += chrono::TimeDelta::days(15);
    forget_staged(&later).await.unwrap();
    let row = list_now(&act, list.id).await;
    assert_eq!(row.state, PriceListState::Discarded);
    assert_eq!(rows_of(&act, list.id).await, 0);
    forget_staged(&later).await.unwrap();
    assert_eq!(list_now(&act, list.id).await, row, "once is enough");
}

#[tokio::test]
async fn a_list_that_was_given_up_is_cleared_by_the_next_round_whatever_its_age() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Office).await;
        let supplier_id = supplier(&act, "Quarry Parts").await;
        let list = begun(&act, "k1", supplier_id).await;
        let kept = begun(&act, "k2", supplier_id).await;
        staged(&act, list.id, &rows(0, 2)).await;
        staged(&act, kept.id, &rows(0, 2)).await;
        let given_up = discard_price_list(&act, list.id).await.unwrap();
        forget_staged(&bench.program()).await.unwrap();
        assert_eq!(rows_of(&act, list.id).await, 0);
        assert_eq!(list_now(&act, list.id).await, given_up);
        assert_eq!(rows_of(&act, kept.id).await, 2, "one that is staged stays");
        take(&act, "t1", kept.id, Take::AllOrNothing).await.unwrap();
        forget_staged(&bench.program()).await.unwrap();
        assert_eq!(rows_of(&act, kept.id).await, 2, "and one taken over today");
    }
}

#[tokio::test]
async fn a_list_takes_at_most_ten_thousand_faults_and_counts_every_bad_row() {
    let bench = Bench::new().await;
    let act = bench.act_as(Role::Office).await;
    let supplier_id = supplier(&act, "Quarry Parts").await;
    let list = begun(&act, "k1", supplier_id).await;
    let mut text = rows(0, 5_500);
    text.push_str(rows(0, 5_500).trim_start_matches(HEAD));
    text.push_str("Fan,,1.00,,\n");
    let row = staged(&act, list.id, &text).await;
    assert_eq!((row.row_count, row.bad_row_count), (11_001, 11_001));
    let faults = faults_of(&act, list.id).await;
    assert_eq!(faults.len(), 10_000);
    assert_eq!(faults[0].line, 2, "the first lines come first");
    let taken = take(&act, "t1", list.id, Take::KeepGood).await.unwrap();
    assert_eq!((taken.bad_row_count, taken.new_count), (11_001, 0));
    assert_eq!(faults_of(&act, list.id).await.len(), 10_000);
}

#[tokio::test]
async fn a_cost_of_nothing_is_taken_only_for_a_part_that_costs_nothing_already() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Office).await;
        let supplier_id = supplier(&act, "Quarry Parts").await;
        old_part(&act, "B-2", Some("Quarry Parts"), 1_000).await;
        old_part(&act, "C-3", Some("Quarry Parts"), 0).await;
        let list = begun(&act, "k1", supplier_id).await;
        let text =
            format!("{HEAD}Pump,A-1,0.00,,\nBoard,B-2,0,,\nLabel,C-3,0.00,,\nFan,D-4,2.00,,\n");
        let row = staged(&act, list.id, &text).await;
        let counts = (row.bad_row_count, row.new_count, row.same_count);
        assert_eq!(counts, (2, 1, 1));
        let faults = faults_of(&act, list.id).await;
        let shown = faults
            .iter()
            .map(|fault| (fault.line, fault.column_name.as_deref(), fault.reason));
        assert_eq!(
            shown.collect::<Vec<_>>(),
            [
                (2, Some("Net"), RowFault::NoCost),
                (3, Some("Net"), RowFault::NoCost)
            ]
        );
        // What was found before is found anew: by then the catalogue knows the part, and says nothing too.
        old_part(&act, "A-1", Some("Quarry Parts"), 0).await;
        let taken = take(&act, "t1", list.id, Take::KeepGood).await.unwrap();
        assert_eq!((taken.bad_row_count, taken.same_count), (1, 2));
        let left = price_list_row::Entity::find()
            .filter(price_list_row::Column::Outcome.eq(RowOutcome::Bad))
            .all(act.app.db.read())
            .await
            .unwrap();
        assert_eq!(left.iter().map(|row| row.line).collect::<Vec<_>>(), [3]);
    }
}

#[tokio::test]
async fn a_list_parted_by_semicolons_is_told_so_and_an_open_quote_by_its_line() {
    let bench = Bench::new().await;
    let act = bench.act_as(Role::Office).await;
    let supplier_id = supplier(&act, "Quarry Parts").await;
    let list = begun(&act, "k1", supplier_id).await;
    let text = b"Part No;Description;Net;List\nA-1;Pump;11,40;\n";
    assert!(matches!(
        sent(&act, list.id, &[text], true).await,
        Received::Refused(_)
    ));
    let faults = faults_of(&act, list.id).await;
    assert_eq!(faults.len(), 4, "{faults:?}");
    assert!(
        faults
            .iter()
            .all(|fault| fault.message.contains("semicolons"))
    );
    let text = format!("{HEAD}Pump,A-1,1.00,,\n\"Board,B-2,2.00,,\nBelt,C-3,3.00,,\n");
    assert!(matches!(
        sent(&act, list.id, &[text.as_bytes()], true).await,
        Received::Refused(_)
    ));
    let faults = faults_of(&act, list.id).await;
    let shown = faults
        .iter()
        .map(|fault| (fault.line, fault.reason))
        .collect::<Vec<_>>();
    assert_eq!(shown, [(3, RowFault::OpenQuote)]);
}

#[tokio::test]
async fn names_of_columns_match_whatever_their_capitals_and_the_blanks_around_them() {
    let bench = Bench::new().await;
    let act = bench.act_as(Role::Office).await;
    let supplier_id = supplier(&act, "Quarry Parts").await;
    let list = begun(&act, "k1", supplier_id).await;
    let text = "\u{feff} PART NO ,\"Description \",net\u{a0},\tList\nA-1,Pump,11.40,\n";
    assert_eq!(staged(&act, list.id, text).await.new_count, 1);
}
