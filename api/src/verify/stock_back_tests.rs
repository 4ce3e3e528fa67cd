//! Receipts taken back, settlements by call, counts of a past day, orders under way, and calls whose parts are in.

use nameplate_entities::kinds::{CallKind, PartOrderState, StockMethod, StockMoveKind};
use nameplate_entities::{part_order, part_used, stock_move, unbilled_receipt};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use sea_orm::{
    ConnectionTrait, DatabaseBackend, EntityTrait, FromQueryResult, QueryOrder, QueryTrait,
    Statement,
};

use super::parts_testing::Parts;
use super::payable_tests::{Desk, ON, part_line};
use crate::base::testing::problems;
use crate::base::{Change, ProblemCode};
use crate::closeout::testing::{Workshop, day, refusals};
use crate::payables::BillLine;
use crate::stock::{self, *};

fn back(shop: &Workshop, receipt: &stock_move::Model, quantity: i64) -> TakeReceiptBack {
    TakeReceiptBack {
        idempotency_key: shop.key(),
        move_id: receipt.id,
        quantity: quantity.into(),
        why: WhyBack::WrittenWrongly,
        place_id: None,
        reason: "one, not ten".to_owned(),
        taken_back_on: None,
    }
}

async fn order(desk: &Desk<'_>, part_id: i64, (quantity, call_id): (i64, Option<i64>)) -> i64 {
    let new = OrderPart {
        idempotency_key: desk.shop().key(),
        part_id,
        quantity: quantity.into(),
        supplier_id: desk.supplier_id,
        call_id,
        expected_on: None,
        reference: None,
    };
    stock::order_part(&desk.shop().owner(), new)
        .await
        .unwrap()
        .id
}

async fn state(desk: &Desk<'_>, order_id: i64) -> (PartOrderState, String) {
    let row = part_order::Entity::find_by_id(order_id)
        .one(desk.parts.db())
        .await
        .unwrap()
        .unwrap();
    (row.state, row.received_quantity.to_string())
}

#[tokio::test]
async fn a_receipt_typed_wrongly_is_taken_back_and_its_order_waits_again() {
    for method in [StockMethod::MovingAverage, StockMethod::FirstInFirstOut] {
        for shop in Workshop::everywhere(ON).await {
            let desk = Desk::of(&shop).await;
            desk.parts.valued_by(method).await;
            let part = shop.part(Cents(1_000)).await;
            desk.parts.receive(part.id, (2, 4_000)).await;
            let order_id = order(&desk, part.id, (10, None)).await;
            let receipt = ReceiveParts {
                order_id: Some(order_id),
                paid_from: None,
                ..desk.parts.receipt(part.id, (10, 5_000))
            };
            let receipt = stock::receive_parts(&shop.owner(), receipt).await.unwrap();
            assert_eq!(state(&desk, order_id).await.0, PartOrderState::Received);
            let nine = back(&shop, &receipt, 9);
            let row = stock::take_receipt_back(&shop.owner(), nine.clone())
                .await
                .unwrap();
            stock::take_receipt_back(&shop.owner(), nine).await.unwrap();
            assert_eq!(
                (row.kind, row.value_cents),
                (StockMoveKind::SentBack, -45_000)
            );
            assert_eq!(desk.parts.held(part.id).await, (3.into(), 13_000));
            assert_eq!(desk.parts.balance(Role::ReceivedNotBilled).await, -5_000);
            let waits = (PartOrderState::Ordered, "1".to_owned());
            assert_eq!(state(&desk, order_id).await, waits);
            desk.parts.is_in_order().await;
            let too_many = stock::take_receipt_back(&shop.owner(), back(&shop, &receipt, 2)).await;
            let expected = [(ProblemCode::OutOfRange, "quantity".to_owned())];
            assert_eq!(refusals(too_many), expected);
            // What is left of it is billed; then a credit of the supplier takes it back.
            let line = BillLine {
                receipt_id: Some(receipt.id),
                ..part_line(part.id, (1, 5_000))
            };
            desk.record(desk.bill("1", vec![line])).await.unwrap();
            let billed = stock::take_receipt_back(&shop.owner(), back(&shop, &receipt, 1)).await;
            let expected = [(ProblemCode::WrongState, "moveId".to_owned())];
            assert_eq!(refusals(billed), expected);
            desk.parts.is_in_order().await;
        }
    }
}

#[tokio::test]
async fn a_receipt_sent_back_whole_waits_for_no_bill_and_paid_ones_give_the_money_back() {
    let shop = Workshop::open(ON).await;
    let desk = Desk::of(&shop).await;
    let part = shop.part(Cents(1_000)).await;
    let receipt = ReceiveParts {
        paid_from: None,
        ..desk.parts.receipt(part.id, (2, 5_000))
    };
    let receipt = stock::receive_parts(&shop.owner(), receipt).await.unwrap();
    let whole = TakeReceiptBack {
        why: WhyBack::SentToSupplier,
        ..back(&shop, &receipt, 2)
    };
    stock::take_receipt_back(&shop.owner(), whole)
        .await
        .unwrap();
    // Nothing of it waits for a bill, and no bill of it is there.
    let again = stock::take_receipt_back(&shop.owner(), back(&shop, &receipt, 1)).await;
    let said = problems(again).remove(0);
    assert_eq!(
        (said.code, &*said.path),
        (ProblemCode::WrongState, "moveId")
    );
    assert!(
        said.message.contains("went back already"),
        "{}",
        said.message
    );
    let row = unbilled_receipt::Entity::find_by_id(receipt.id)
        .one(desk.parts.db())
        .await;
    assert!(!row.unwrap().unwrap().is_open);
    assert_eq!(desk.parts.balance(Role::ReceivedNotBilled).await, 0);
    let paid = desk.parts.receive(part.id, (3, 2_000)).await;
    stock::take_receipt_back(&shop.owner(), back(&shop, &paid, 1))
        .await
        .unwrap();
    assert_eq!(desk.parts.balance(Role::Bank).await, -4_000);
    desk.parts.use_up("B-1", part.id, 2).await;
    let gone = stock::take_receipt_back(&shop.owner(), back(&shop, &paid, 1)).await;
    let expected = [(ProblemCode::OutOfRange, "quantity".to_owned())];
    assert_eq!(refusals(gone), expected);
    let no_receipt = stock_move::Entity::find()
        .order_by_desc(stock_move::Column::Id)
        .one(desk.parts.db())
        .await;
    let wrong = back(&shop, &no_receipt.unwrap().unwrap(), 1);
    let outcome = stock::take_receipt_back(&shop.owner(), wrong).await;
    let expected = [(ProblemCode::WrongState, "moveId".to_owned())];
    assert_eq!(refusals(outcome), expected);
    desk.parts.is_in_order().await;
}

#[tokio::test]
async fn a_piece_that_came_back_from_a_call_goes_back_with_its_receipt() {
    for method in [StockMethod::MovingAverage, StockMethod::FirstInFirstOut] {
        for shop in Workshop::everywhere(ON).await {
            let desk = Desk::of(&shop).await;
            desk.parts.valued_by(method).await;
            let part = shop.part(Cents(1_000)).await;
            let receipt = ReceiveParts {
                paid_from: None,
                ..desk.parts.receipt(part.id, (1, 5_000))
            };
            let receipt = stock::receive_parts(&shop.owner(), receipt).await.unwrap();
            let left = desk.parts.use_up("B-1", part.id, 1).await;
            let gone = stock::take_receipt_back(&shop.owner(), back(&shop, &receipt, 1)).await;
            let expected = [(ProblemCode::OutOfRange, "quantity".to_owned())];
            assert_eq!(refusals(gone), expected);
            let unused = TakePartBack {
                idempotency_key: shop.key(),
                move_id: left.id,
                quantity: 1.into(),
                place_id: None,
                reason: "not needed".to_owned(),
                taken_back_on: None,
            };
            stock::take_part_back(&shop.owner(), unused).await.unwrap();
            stock::take_receipt_back(&shop.owner(), back(&shop, &receipt, 1))
                .await
                .unwrap();
            assert_eq!(desk.parts.held(part.id).await, (0.into(), 0));
            for role in [Role::ReceivedNotBilled, Role::PartsCostOfSales] {
                assert_eq!(desk.parts.balance(role).await, 0, "{role:?}");
            }
            desk.parts.is_in_order().await;
        }
    }
}

#[tokio::test]
async fn pieces_used_meanwhile_at_another_cost_leave_the_rest_to_cost_of_sales() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let part = shop.part(Cents(1_000)).await;
    parts.receive(part.id, (2, 4_000)).await;
    let wrong = parts.receive(part.id, (10, 5_000)).await;
    parts.use_up("C-1", part.id, 4).await;
    assert_eq!(parts.balance(Role::PartsCostOfSales).await, 19_333);
    stock::take_receipt_back(&shop.owner(), back(&shop, &wrong, 8))
        .await
        .unwrap();
    assert_eq!(parts.held(part.id).await, (0.into(), 0));
    assert_eq!(parts.balance(Role::PartsCostOfSales).await, 18_000);
    parts.is_in_order().await;
}

#[tokio::test]
async fn a_receipt_settles_each_call_at_what_its_own_parts_cost() {
    for shop in Workshop::everywhere(ON).await {
        let parts = Parts { shop: &shop };
        let part = shop.part(Cents(4_000)).await;
        let first = parts.use_up("S-1", part.id, 1).await;
        let second = parts.use_up("S-2", part.id, 2).await;
        let taken_back = TakePartBack {
            idempotency_key: shop.key(),
            move_id: second.id,
            quantity: 1.into(),
            place_id: None,
            reason: "not needed".to_owned(),
            taken_back_on: None,
        };
        stock::take_part_back(&shop.owner(), taken_back)
            .await
            .unwrap();
        parts.receive(part.id, (1, 4_300)).await;
        parts.receive(part.id, (2, 3_800)).await;
        let used = part_used::Entity::find()
            .order_by_asc(part_used::Column::Id)
            .all(parts.db())
            .await
            .unwrap();
        let costs: Vec<_> = used.iter().map(|row| row.cost_cents).collect();
        assert_eq!(costs, [4_300, 3_800]);
        assert_eq!(parts.balance(Role::PartsCostOfSales).await, 8_100);
        let settled = stock_move::Entity::find()
            .all(parts.db())
            .await
            .unwrap()
            .into_iter()
            .filter_map(|row| row.settles_move_id.map(|id| (id, row.call_id)))
            .collect::<Vec<_>>();
        assert_eq!(
            settled,
            [(first.id, first.call_id), (second.id, second.call_id)]
        );
        parts.is_in_order().await;
    }
}

#[tokio::test]
async fn a_count_of_a_past_day_is_held_against_the_record_of_that_day() {
    for shop in Workshop::everywhere(ON).await {
        let parts = Parts { shop: &shop };
        let part = shop.part(Cents(1_000)).await;
        let main = parts.main_id().await;
        parts.receive(part.id, (4, 1_000)).await;
        shop.on(day("2026-03-10"));
        parts.use_up("D-1", part.id, 1).await;
        let at_the_time = CountStock {
            counted_on: Some(day("2026-03-05")),
            ..parts.count(main, (part.id, 4))
        };
        let rows = stock::count_stock(&shop.owner(), at_the_time.clone()).await;
        assert_eq!(rows.unwrap(), [], "all four were there then");
        let one_short = CountStock {
            idempotency_key: shop.key(),
            lines: parts.count(main, (part.id, 3)).lines,
            ..at_the_time
        };
        stock::count_stock(&shop.owner(), one_short).await.unwrap();
        assert_eq!(parts.at(part.id, main).await, 2.into());
        let then = stock::on_day(parts.db(), day("2026-03-05"), Some(1)).await;
        assert_eq!(then.unwrap().parts[0].quantity, 3.into());
        parts.is_in_order().await;
    }
}

#[tokio::test]
async fn an_order_is_expected_anew_and_no_bill_receives_it_before_its_day() {
    let shop = Workshop::open(ON).await;
    let desk = Desk::of(&shop).await;
    let part = shop.part(Cents(1_000)).await;
    let order_id = order(&desk, part.id, (1, None)).await;
    let change = |version: i32, expected_on: &str| ChangePartOrder {
        order_id,
        version,
        expected_on: Change::To(day(expected_on)),
        reference: Change::To("R-77".to_owned()),
    };
    let changed = stock::change_part_order(&shop.owner(), change(1, "2026-03-20")).await;
    let changed = changed.unwrap();
    assert_eq!(changed.expected_on, Some(day("2026-03-20")));
    assert_eq!(changed.reference.as_deref(), Some("R-77"));
    let stale = stock::change_part_order(&shop.owner(), change(1, "2026-03-21")).await;
    let expected = [(ProblemCode::Conflict, "version".to_owned())];
    assert_eq!(refusals(stale), expected);
    let before = stock::change_part_order(&shop.owner(), change(2, "2026-03-01")).await;
    let expected = [(ProblemCode::ImpossibleDate, "expectedOn".to_owned())];
    assert_eq!(refusals(before), expected);
    let line = BillLine {
        order_id: Some(order_id),
        ..part_line(part.id, (1, 1_000))
    };
    let mut bill = desk.bill("1", vec![line]);
    bill.billed_on = day("2026-03-01");
    let expected = [(ProblemCode::ImpossibleDate, "billedOn".to_owned())];
    assert_eq!(refusals(desk.record(bill.clone()).await), expected);
    bill.billed_on = day(ON);
    desk.record(bill).await.unwrap();
    let closed = stock::change_part_order(&shop.owner(), change(3, "2026-03-25")).await;
    let expected = [(ProblemCode::WrongState, "orderId".to_owned())];
    assert_eq!(refusals(closed), expected);
    desk.parts.is_in_order().await;
}

#[tokio::test]
async fn a_call_is_on_the_list_while_parts_that_came_are_not_fitted() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let part = shop.part(Cents(1_000)).await;
        let ready = async || {
            let rows = stock::calls_with_all_parts_in().all(desk.parts.db()).await;
            rows.unwrap().len()
        };
        let receive = async |order_id: i64, quantity: i64| {
            let new = ReceiveParts {
                order_id: Some(order_id),
                ..desk.parts.receipt(part.id, (quantity, 1_000))
            };
            stock::receive_parts(&shop.owner(), new).await.unwrap();
        };
        let machine = shop.machine(Some("R-1")).await;
        let call = shop.open_call(&machine, CallKind::Repair).await.call;
        let half = order(&desk, part.id, (2, Some(call.id))).await;
        receive(half, 1).await;
        let cancel = CancelPartOrder {
            order_id: half,
            reason: "no longer made".to_owned(),
        };
        stock::cancel_part_order(&shop.owner(), cancel)
            .await
            .unwrap();
        assert_eq!(ready().await, 0, "half of it never came");
        let whole = order(&desk, part.id, (1, Some(call.id))).await;
        receive(whole, 1).await;
        assert_eq!(ready().await, 1);
        let failure = shop.failure("Door gasket", "worn").await;
        let found = shop.find(&call, failure).await;
        let owner = shop.owner();
        desk.parts
            .remedy(&owner, found.finding.id, (part.id, 1))
            .await
            .unwrap();
        assert_eq!(ready().await, 0, "they are fitted");
        desk.parts.is_in_order().await;
    }
}

#[derive(FromQueryResult)]
struct Plan {
    detail: String,
}

#[tokio::test]
async fn orders_are_found_by_their_call_and_not_read_through() {
    let shop = Workshop::open(ON).await;
    let statement = stock::calls_with_all_parts_in().build(DatabaseBackend::Sqlite);
    let values = statement.values.map(|values| values.0).unwrap_or_default();
    let explained = Statement::from_sql_and_values(
        DatabaseBackend::Sqlite,
        format!("EXPLAIN QUERY PLAN {}", statement.sql),
        values,
    );
    let plan = Plan::find_by_statement(explained)
        .all(shop.app.db.read())
        .await;
    let plan: Vec<String> = plan.unwrap().into_iter().map(|row| row.detail).collect();
    let orders = plan.iter().filter(|row| row.contains("part_order"));
    let by_call: Vec<bool> = orders
        .map(|row| row.contains("ix_part_order_call_id_state"))
        .collect();
    assert_eq!(by_call, [true, true], "{plan:#?}");
    assert!(!plan.iter().any(|row| row.starts_with("SCAN")), "{plan:#?}");
}

#[tokio::test]
async fn so_many_parts_of_the_largest_value_are_shown_and_whether_there_are_more() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let (cheap, dear) = (shop.part(Cents(100)).await, shop.part(Cents(900)).await);
    parts.receive(cheap.id, (1, 100)).await;
    parts.receive(dear.id, (1, 900)).await;
    shop.on(day("2026-03-10"));
    parts.use_up("V-1", dear.id, 1).await;
    let shown = async |on: &str| {
        let then = stock::on_day(parts.db(), day(on), Some(1)).await.unwrap();
        (then.parts[0].part_id, then.more, then.total_cents)
    };
    assert_eq!(shown(ON).await, (dear.id, true, 1_000));
    assert_eq!(shown("2026-03-10").await, (cheap.id, false, 100));
}

/// Spoils a row behind the program's back.
async fn spoil(shop: &Workshop, harm: &str) {
    let tx = shop.app.db.write().await.unwrap();
    tx.execute_unprepared(harm).await.unwrap();
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn damage_to_orders_receipts_levels_and_moves_is_found() {
    for (harm, table) in [
        ("UPDATE stock_level SET is_low = TRUE", "stock_level"),
        ("UPDATE part_order SET state = 'ordered'", "part_order"),
        (
            "UPDATE unbilled_receipt SET cost_cents = cost_cents + 1",
            "unbilled_receipt",
        ),
        (
            "DROP TRIGGER keep_stock_move_update; UPDATE stock_move SET part_after = '9' WHERE kind = 'moved'",
            "stock_move",
        ),
        (
            "DROP TRIGGER keep_posting_update; UPDATE posting SET debit_cents = debit_cents * 2, \
             credit_cents = credit_cents * 2",
            "stock_move",
        ),
        (
            "INSERT INTO stock_place (name, name_key, kind, technician_id, is_main, version) \
             SELECT 'Twin', 'twin', kind, technician_id, FALSE, 1 FROM stock_place WHERE kind = 'van'",
            "stock_place",
        ),
    ] {
        let shop = Workshop::open(ON).await;
        let desk = Desk::of(&shop).await;
        let part = shop.part(Cents(1_000)).await;
        let van = desk.parts.van(shop.technician_id).await;
        let order_id = order(&desk, part.id, (3, None)).await;
        let receipt = ReceiveParts {
            order_id: Some(order_id),
            paid_from: None,
            ..desk.parts.receipt(part.id, (3, 1_000))
        };
        stock::receive_parts(&shop.owner(), receipt).await.unwrap();
        let load = MoveStock {
            idempotency_key: shop.key(),
            from_id: desk.parts.main_id().await,
            to_id: van,
            lines: vec![MoveLine {
                part_id: part.id,
                quantity: 1.into(),
            }],
        };
        stock::move_stock(&shop.owner(), load).await.unwrap();
        desk.parts.is_in_order().await;
        spoil(&shop, harm).await;
        let findings = super::run(&shop.app.db).await.unwrap();
        assert!(
            findings.iter().any(|found| found.table == table),
            "{harm}: {findings:?}"
        );
    }
}

#[tokio::test]
async fn a_settlement_of_another_call_is_found() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let part = shop.part(Cents(4_000)).await;
    parts.use_up("S-1", part.id, 1).await;
    parts.receive(part.id, (1, 4_300)).await;
    parts.is_in_order().await;
    spoil(
        &shop,
        "DROP TRIGGER keep_stock_move_update; UPDATE stock_move SET call_id = NULL WHERE kind = 'settled'",
    )
    .await;
    let findings = super::run(&shop.app.db).await.unwrap();
    assert!(findings.iter().any(|found| found.table == "stock_move"));
}
