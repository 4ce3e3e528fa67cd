//! Parts in stock: what each act does to quantities, value and books, and damage that is found.

use nameplate_entities::kinds::{
    CallKind, PartOrderState, StockMethod, StockMoveKind, StockPlaceKind,
};
use nameplate_entities::{part, part_used, stock_level, stock_move};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ConnectionTrait, EntityTrait, QueryOrder};

use super::parts_testing::Parts;
use crate::base::{Act, Change, ProblemCode};
use crate::calls::ScheduleVisit;
use crate::closeout::testing::{Workshop, day, refusals};
use crate::stock::{self, *};
use crate::{books, brief, pricing};

const ON: &str = "2026-03-02";

#[tokio::test]
async fn a_part_comes_in_is_fitted_and_costs_what_the_stock_says() {
    for shop in Workshop::everywhere(ON).await {
        let parts = Parts { shop: &shop };
        let part = shop.part(Cents(9_900)).await;
        parts.receive(part.id, (2, 5_000)).await;
        parts.receive(part.id, (1, 8_000)).await;
        let call = parts.fit("S-1", part.id, 1).await;
        assert_eq!(parts.held(part.id).await, (3.into(), 18_000));
        parts.is_in_order().await;
        shop.complete(&call).await.unwrap();
        assert_eq!(parts.held(part.id).await, (2.into(), 12_000));
        let used = part_used::Entity::find()
            .one(parts.db())
            .await
            .unwrap()
            .unwrap();
        assert_eq!((used.unit_cost_cents, used.cost_cents), (9_900, 6_000));
        assert_eq!(parts.balance(Role::PartsCostOfSales).await, 6_000);
        assert_eq!(parts.balance(Role::PartsStock).await, 12_000);
        assert_eq!(parts.balance(Role::Bank).await, -18_000);
        parts.is_in_order().await;
    }
}

#[tokio::test]
async fn a_part_comes_back_at_what_it_left_at_though_prices_have_changed() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let part = shop.part(Cents(9_900)).await;
    parts.receive(part.id, (3, 5_000)).await;
    let left = parts.use_up("S-1", part.id, 2).await;
    parts.receive(part.id, (1, 9_000)).await;
    let back = |quantity: i64| TakePartBack {
        idempotency_key: shop.key(),
        move_id: left.id,
        quantity: quantity.into(),
        place_id: None,
        reason: "not needed".to_owned(),
        taken_back_on: None,
    };
    let came = stock::take_part_back(&shop.owner(), back(1)).await.unwrap();
    assert_eq!(
        (came.kind, came.value_cents),
        (StockMoveKind::TakenBack, 5_000)
    );
    assert_eq!(parts.held(part.id).await, (3.into(), 19_000));
    assert_eq!(parts.balance(Role::PartsCostOfSales).await, 5_000);
    let too_many = stock::take_part_back(&shop.owner(), back(2)).await;
    let expected = [(ProblemCode::OutOfRange, "quantity".to_owned())];
    assert_eq!(refusals(too_many), expected);
    let no_use = TakePartBack {
        move_id: came.id,
        ..back(1)
    };
    let outcome = stock::take_part_back(&shop.owner(), no_use).await;
    assert_eq!(
        refusals(outcome),
        [(ProblemCode::WrongState, "moveId".to_owned())]
    );
    parts.is_in_order().await;
}

#[tokio::test]
async fn a_part_bought_on_the_way_leaves_at_the_catalogue_and_its_receipt_settles_it() {
    for shop in Workshop::everywhere(ON).await {
        let parts = Parts { shop: &shop };
        let part = shop.part(Cents(4_000)).await;
        parts.use_up("S-1", part.id, 2).await;
        assert_eq!(parts.held(part.id).await, ((-2).into(), -8_000));
        assert_eq!(parts.at(part.id, parts.main_id().await).await, (-2).into());
        parts.is_in_order().await;
        parts.receive(part.id, (3, 4_300)).await;
        assert_eq!(parts.held(part.id).await, (1.into(), 4_300));
        assert_eq!(parts.balance(Role::PartsCostOfSales).await, 8_600);
        let used = part_used::Entity::find()
            .one(parts.db())
            .await
            .unwrap()
            .unwrap();
        assert_eq!(used.cost_cents, 8_600, "the call has what they really cost");
        parts.is_in_order().await;
    }
}

#[tokio::test]
async fn parts_come_from_the_technicians_van_if_so_many_lie_there() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let part = shop.part(Cents(1_000)).await;
    let (main, van) = (parts.main_id().await, parts.van(shop.technician_id).await);
    parts.receive(part.id, (5, 1_000)).await;
    let load = |act: Act, to_id: i64, quantity: i64| {
        let order = MoveStock {
            idempotency_key: shop.key(),
            from_id: main,
            to_id,
            lines: vec![MoveLine {
                part_id: part.id,
                quantity: quantity.into(),
            }],
        };
        async move { stock::move_stock(&act, order).await }
    };
    let technician = shop.technician(shop.technician_id);
    load(technician.clone(), van, 1).await.unwrap();
    let too_many = load(shop.owner(), van, 5).await;
    let expected = [(ProblemCode::OutOfRange, "lines.0.quantity".to_owned())];
    assert_eq!(refusals(too_many), expected);
    let other = shop.technician(shop.other_technician_id);
    assert!(matches!(
        load(other, van, 1).await,
        Err(crate::base::Error::Forbidden)
    ));
    let failure = shop.failure("Door gasket", "worn").await;
    for (serial, from) in [("V-1", van), ("V-2", main)] {
        let machine = shop.machine(Some(serial)).await;
        let call = shop.open_call(&machine, CallKind::Repair).await.call;
        let visit = ScheduleVisit {
            call_ids: vec![call.id],
            technician_id: shop.technician_id,
            planned_on: day(ON),
            window: None,
            reason: None,
            reason_note: None,
        };
        stock::schedule_visit(&shop.owner(), visit).await.unwrap();
        let found = shop.find(&call, failure).await;
        parts
            .remedy(&technician, found.finding.id, (part.id, 1))
            .await
            .unwrap();
        let before = parts.at(part.id, from).await;
        shop.complete(&call).await.unwrap();
        assert_eq!(
            parts.at(part.id, from).await,
            before - Decimal::ONE,
            "{serial}"
        );
    }
    parts.is_in_order().await;
}

#[tokio::test]
async fn a_count_brings_the_record_to_what_is_there_and_posts_the_difference() {
    for shop in Workshop::everywhere(ON).await {
        let parts = Parts { shop: &shop };
        let part = shop.part(Cents(1_000)).await;
        let main = parts.main_id().await;
        parts.receive(part.id, (4, 1_500)).await;
        let count = parts.count(main, (part.id, 3));
        stock::count_stock(&shop.owner(), count.clone())
            .await
            .unwrap();
        stock::count_stock(&shop.owner(), count).await.unwrap();
        assert_eq!(parts.held(part.id).await, (3.into(), 4_500));
        assert_eq!(parts.balance(Role::StockDifferences).await, 1_500);
        let count = parts.count(main, (part.id, 5));
        stock::count_stock(&shop.owner(), count).await.unwrap();
        assert_eq!(parts.held(part.id).await, (5.into(), 7_500));
        assert_eq!(parts.balance(Role::StockDifferences).await, -1_500);
        let broken = AdjustStock {
            idempotency_key: shop.key(),
            part_id: part.id,
            place_id: main,
            change: (-1).into(),
            unit_cost: None,
            reason: "dropped".to_owned(),
            adjusted_on: None,
        };
        for (change, path) in [(-6, "change"), (0, "change")] {
            let too_many = AdjustStock {
                idempotency_key: shop.key(),
                change: change.into(),
                ..broken.clone()
            };
            let outcome = stock::adjust_stock(&shop.owner(), too_many).await;
            let expected = [(ProblemCode::OutOfRange, path.to_owned())];
            assert_eq!(refusals(outcome), expected);
        }
        stock::adjust_stock(&shop.owner(), broken).await.unwrap();
        assert_eq!(parts.held(part.id).await, (4.into(), 6_000));
        let taken_over = shop.part(Cents(700)).await;
        let mut opening = parts.count(main, (taken_over.id, 2));
        opening.takes_over = true;
        opening.lines[0].unit_cost = Some(Cents(650));
        let by_technician = shop.technician(shop.technician_id);
        let outcome = stock::count_stock(&by_technician, opening.clone()).await;
        assert!(matches!(outcome, Err(crate::base::Error::Forbidden)));
        stock::count_stock(&shop.owner(), opening).await.unwrap();
        assert_eq!(parts.balance(Role::OwnersEquity).await, -1_300);
        parts.is_in_order().await;
    }
}

#[tokio::test]
async fn the_method_changes_only_while_nothing_is_there() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let fifo = StockMethod::FirstInFirstOut;
    stock::change_stock_terms(&shop.owner(), (fifo, 1))
        .await
        .unwrap();
    let part = shop.part(Cents(1_000)).await;
    parts.receive(part.id, (1, 1_000)).await;
    parts.receive(part.id, (1, 2_000)).await;
    let left = parts.use_up("F-1", part.id, 1).await;
    assert_eq!(left.value_cents, -1_000, "the oldest leaves first");
    let refused = stock::change_stock_terms(&shop.owner(), (StockMethod::MovingAverage, 2)).await;
    assert_eq!(
        refusals(refused),
        [(ProblemCode::WrongState, "method".to_owned())]
    );
    parts.is_in_order().await;
}

#[tokio::test]
async fn a_call_waits_for_its_parts_and_is_listed_once_all_have_come() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let part = shop.part(Cents(1_000)).await;
    let supplier = pricing::AddSupplier {
        name: "Parts Depot".to_owned(),
        email: None,
        terms_days: None,
    };
    let supplier = pricing::add_supplier(&shop.owner(), supplier)
        .await
        .unwrap();
    let machine = shop.machine(Some("O-1")).await;
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    let order = OrderPart {
        idempotency_key: shop.key(),
        part_id: part.id,
        quantity: 2.into(),
        supplier_id: supplier.id,
        call_id: Some(call.id),
        expected_on: Some(day("2026-03-06")),
        reference: None,
    };
    let order = stock::order_part(&shop.owner(), order).await.unwrap();
    let ready = async || {
        let rows = stock::calls_with_all_parts_in().all(parts.db()).await;
        rows.unwrap().len()
    };
    assert_eq!((order.number.as_str(), ready().await), ("O-000001", 0));
    for (came, is_ready) in [(1, 0), (1, 1)] {
        let too_many = ReceiveParts {
            order_id: Some(order.id),
            paid_from: None,
            ..parts.receipt(part.id, (3, 900))
        };
        let outcome = stock::receive_parts(&shop.owner(), too_many).await;
        let expected = [(ProblemCode::TooMuch, "quantity".to_owned())];
        assert_eq!(refusals(outcome), expected);
        let receipt = ReceiveParts {
            order_id: Some(order.id),
            paid_from: None,
            ..parts.receipt(part.id, (came, 900))
        };
        stock::receive_parts(&shop.owner(), receipt).await.unwrap();
        assert_eq!(ready().await, is_ready);
    }
    assert_eq!(parts.balance(Role::ReceivedNotBilled).await, -1_800);
    let brief = brief::load(parts.db(), &shop.owner(), call.id).await;
    let ordered = brief.unwrap().unwrap().part_orders;
    assert_eq!(ordered[0].order.state, PartOrderState::Received);
    let late = CancelPartOrder {
        order_id: order.id,
        reason: "no longer made".to_owned(),
    };
    let outcome = stock::cancel_part_order(&shop.owner(), late).await;
    assert_eq!(
        refusals(outcome),
        [(ProblemCode::WrongState, "orderId".to_owned())]
    );
    parts.is_in_order().await;
}

#[tokio::test]
async fn a_place_goes_out_of_use_only_when_it_is_empty_and_not_the_main_one() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let part = shop.part(Cents(1_000)).await;
    let van = parts.van(shop.technician_id).await;
    let receipt = ReceiveParts {
        place_id: Some(van),
        ..parts.receipt(part.id, (1, 1_000))
    };
    stock::receive_parts(&shop.owner(), receipt).await.unwrap();
    let retire = |place_id: i64| ChangeStockPlace {
        place_id,
        version: 1,
        name: None,
        technician_id: Change::Keep,
        is_main: None,
        is_retired: Some(true),
    };
    for place in [van, parts.main_id().await] {
        let outcome = stock::change_stock_place(&shop.owner(), retire(place)).await;
        assert_eq!(
            refusals(outcome),
            [(ProblemCode::WrongState, "isRetired".to_owned())]
        );
    }
    let count = parts.count(van, (part.id, 0));
    let technician = shop.technician(shop.technician_id);
    stock::count_stock(&technician, count).await.unwrap();
    stock::change_stock_place(&shop.owner(), retire(van))
        .await
        .unwrap();
    let twin = AddStockPlace {
        name: "SHELF".to_owned(),
        kind: StockPlaceKind::Shelf,
        technician_id: None,
    };
    let outcome = stock::add_stock_place(&shop.owner(), twin).await;
    assert_eq!(refusals(outcome), [(ProblemCode::Taken, "name".to_owned())]);
    parts.is_in_order().await;
}

#[tokio::test]
async fn a_level_below_its_reorder_point_is_low_until_parts_come() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let part = shop.part(Cents(1_000)).await;
    let point = SetReorderPoint {
        part_id: part.id,
        place_id: parts.main_id().await,
        reorder_point: Some(2.into()),
    };
    let level = stock::set_reorder_point(&shop.owner(), point)
        .await
        .unwrap();
    assert!(level.is_low);
    parts.receive(part.id, (2, 1_000)).await;
    let level = stock_level::Entity::find_by_id(level.id)
        .one(parts.db())
        .await;
    assert!(!level.unwrap().unwrap().is_low);
    parts.is_in_order().await;
}

#[tokio::test]
async fn the_value_of_a_past_day_is_that_of_the_account() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let part = shop.part(Cents(1_000)).await;
    parts.receive(part.id, (4, 1_000)).await;
    shop.on(day("2026-03-10"));
    parts.use_up("D-1", part.id, 1).await;
    for (on, quantity, cents) in [
        ("2026-03-01", 0, 0),
        (ON, 4, 4_000),
        ("2026-03-10", 3, 3_000),
    ] {
        let then = stock::on_day(parts.db(), day(on), Some(10)).await.unwrap();
        assert_eq!((then.total_cents, then.more), (cents, false), "{on}");
        let held: Decimal = then.parts.iter().map(|row| row.quantity).sum();
        assert_eq!(held, quantity.into());
    }
}

#[tokio::test]
async fn parts_stock_takes_no_entry_by_hand() {
    let shop = Workshop::open(ON).await;
    let line = |account: Role, debit, credit| books::JournalLine {
        account: account.code().to_owned(),
        debit,
        credit,
        tax_level_id: None,
    };
    let entry = books::PostJournal {
        idempotency_key: shop.key(),
        on: day(ON),
        memo: "by hand".to_owned(),
        lines: vec![
            line(Role::PartsStock, Some(Cents(100)), None),
            line(Role::Bank, None, Some(Cents(100))),
        ],
    };
    let outcome = books::post_journal(&shop.owner(), entry).await;
    let expected = [(ProblemCode::WrongState, "lines.0.account".to_owned())];
    assert_eq!(refusals(outcome), expected);
}

#[tokio::test]
async fn damage_to_the_stock_is_found() {
    for shop in Workshop::everywhere(ON).await {
        let parts = Parts { shop: &shop };
        let part: part::Model = shop.part(Cents(1_000)).await;
        parts.receive(part.id, (4, 1_000)).await;
        parts.use_up("X-1", part.id, 1).await;
        parts.is_in_order().await;
        for (harm, mend, table) in [
            (
                "UPDATE stock_level SET quantity = '9'",
                "UPDATE stock_level SET quantity = '3'",
                "stock_level",
            ),
            (
                "UPDATE stock_holding SET value_cents = 1",
                "UPDATE stock_holding SET value_cents = 3000",
                "stock_holding",
            ),
            (
                "UPDATE stock_layer SET quantity = '9'",
                "UPDATE stock_layer SET quantity = '3'",
                "stock_holding",
            ),
            (
                "UPDATE stock_layer SET value_cents = 9",
                "UPDATE stock_layer SET value_cents = 3000",
                "stock_layer",
            ),
            (
                "UPDATE part_used SET cost_cents = 9",
                "UPDATE part_used SET cost_cents = 1000",
                "part_used",
            ),
            (
                "UPDATE part_used SET quantity = '2'",
                "UPDATE part_used SET quantity = '1'",
                "part_used",
            ),
            (
                "UPDATE stock_place SET is_main = FALSE",
                "UPDATE stock_place SET is_main = TRUE",
                "stock_place",
            ),
        ] {
            let tx = shop.app.db.write().await.unwrap();
            tx.execute_unprepared(harm).await.unwrap();
            tx.commit().await.unwrap();
            let findings = super::run(&shop.app.db).await.unwrap();
            assert!(
                findings.iter().any(|found| found.table == table),
                "{harm}: {findings:?}"
            );
            let tx = shop.app.db.write().await.unwrap();
            tx.execute_unprepared(mend).await.unwrap();
            tx.commit().await.unwrap();
        }
        parts.is_in_order().await;
        let tx = shop.app.db.write().await.unwrap();
        assert!(
            tx.execute_unprepared("UPDATE stock_move SET value_cents = 1")
                .await
                .is_err()
        );
    }
}

#[tokio::test]
async fn each_move_carries_what_there_was_after_it() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let part = shop.part(Cents(1_000)).await;
    parts.receive(part.id, (1, 1_000)).await;
    parts.receive(part.id, (1, 3_000)).await;
    let rows = stock_move::Entity::find()
        .order_by_asc(stock_move::Column::Id)
        .all(parts.db())
        .await
        .unwrap();
    let after: Vec<_> = rows
        .iter()
        .map(|row| (row.part_after.unwrap().0, row.value_after_cents.unwrap()))
        .collect();
    assert_eq!(after, [(1.into(), 1_000), (2.into(), 4_000)]);
}
