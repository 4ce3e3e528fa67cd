//! Suppliers' bills that are put right, and bills that meet receipts in part.

use nameplate_entities::kinds::{PartOrderState, StockMethod};
use nameplate_entities::{audit_entry, part_order, unbilled_receipt};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter};

use super::payable_tests::{Desk, ON, money_line, part_line};
use crate::base::{ProblemCode, Result};
use crate::closeout::testing::{Workshop, day, refusals};
use crate::payables::{self, *};
use crate::stock::{self, OrderPart, ReceiveParts};

impl Desk<'_> {
    async fn take_back(&self, credit_id: i64, bill_id: i64) -> Result<()> {
        let order = UndoAppliedSupplierCredit {
            idempotency_key: self.shop().key(),
            credit_id,
            bill_id,
            reason: "the other bill was meant".to_owned(),
        };
        payables::undo_applied_supplier_credit(&self.shop().owner(), order)
            .await
            .map(drop)
    }

    /// Parts that came in without a bill.
    async fn unbilled(&self, part_id: i64, pieces: (i64, i64)) -> i64 {
        let receipt = ReceiveParts {
            paid_from: None,
            ..self.parts.receipt(part_id, pieces)
        };
        let receipt = stock::receive_parts(&self.shop().owner(), receipt).await;
        receipt.unwrap().id
    }

    async fn order(&self, part_id: i64, quantity: i64) -> part_order::Model {
        let order = OrderPart {
            idempotency_key: self.shop().key(),
            part_id,
            quantity: quantity.into(),
            supplier_id: self.supplier_id,
            call_id: None,
            expected_on: None,
            reference: None,
        };
        stock::order_part(&self.shop().owner(), order)
            .await
            .unwrap()
    }

    async fn awaited(&self, receipt_id: i64) -> (bool, String, i64) {
        let row = unbilled_receipt::Entity::find_by_id(receipt_id)
            .one(self.parts.db())
            .await;
        let row = row.unwrap().unwrap();
        (row.is_open, row.open_quantity.to_string(), row.open_cents)
    }
}

fn of_receipt(receipt_id: i64, part_id: i64, pieces: (i64, i64)) -> BillLine {
    BillLine {
        receipt_id: Some(receipt_id),
        ..part_line(part_id, pieces)
    }
}

fn wrong(path: &str) -> Vec<(ProblemCode, String)> {
    vec![(ProblemCode::WrongState, path.to_owned())]
}

#[tokio::test]
async fn a_mistyped_bill_is_undone_as_of_today_and_its_number_is_free_again() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let part = shop.part(Cents(1_000)).await;
        let lines = |unit_cost| {
            vec![
                part_line(part.id, (10, unit_cost)),
                money_line(Some(Role::OtherExpense), 500),
            ]
        };
        let typed = desk.record(desk.bill("4711", lines(10_000))).await.unwrap();
        shop.on(day("2026-03-05"));
        desk.undo(typed.id).await.unwrap();
        assert_eq!(desk.open(typed.id).await, 0);
        assert_eq!(desk.parts.held(part.id).await, (0.into(), 0));
        for role in [Role::Payables, Role::OtherExpense, Role::PartsStock] {
            assert_eq!(desk.parts.balance(role).await, 0, "{role:?}");
        }
        for (on, owed) in [(ON, 100_500), ("2026-03-04", 100_500), ("2026-03-05", 0)] {
            assert_eq!(desk.owed_on(on).await, owed, "{on}");
        }
        assert_eq!(refusals(desk.undo(typed.id).await), wrong("billId"));
        let core = CreditLine {
            account: Some(Role::OtherExpense.code().to_owned()),
            amount: Some(Cents(100)),
            ..CreditLine::default()
        };
        let about_it = RecordSupplierCredit {
            bill_id: Some(typed.id),
            ..desk.credit("C1", vec![core])
        };
        let outcome = payables::record_supplier_credit(&shop.owner(), about_it).await;
        assert_eq!(refusals(outcome), wrong("billId"));
        desk.parts.is_in_order().await;
        let right = desk.record(desk.bill("4711", lines(1_000))).await.unwrap();
        assert_eq!(right.number, "SB-000002");
        assert_eq!(desk.parts.held(part.id).await, (10.into(), 10_000));
        let twin = desk.record(desk.bill("4711", lines(1_000))).await;
        let expected = [(ProblemCode::Taken, "supplierNumber".to_owned())];
        assert_eq!(refusals(twin), expected);
        desk.parts.is_in_order().await;
    }
}

#[tokio::test]
async fn what_is_paid_or_credited_is_undone_before_its_bill() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let part = shop.part(Cents(1_000)).await;
        let bill = desk.bill("1", vec![part_line(part.id, (4, 1_000))]);
        let bill = desk.record(bill).await.unwrap();
        let payment = desk.pay(desk.payment(100)).await.unwrap();
        assert_eq!(refusals(desk.undo(bill.id).await), wrong("billId"));
        payables::undo_supplier_payment(&shop.owner(), desk.undoing(payment.id))
            .await
            .unwrap();
        let line = CreditLine {
            part_id: Some(part.id),
            quantity: Some(1.into()),
            unit_cost: Some(Cents(900)),
            ..CreditLine::default()
        };
        let credit = RecordSupplierCredit {
            bill_id: Some(bill.id),
            ..desk.credit("C1", vec![line])
        };
        let credit = payables::record_supplier_credit(&shop.owner(), credit)
            .await
            .unwrap();
        for id in [bill.id, credit.id] {
            assert_eq!(refusals(desk.undo(id).await), wrong("billId"));
        }
        shop.on(day("2026-03-05"));
        desk.take_back(credit.id, bill.id).await.unwrap();
        assert_eq!(
            (desk.open(bill.id).await, desk.open(credit.id).await),
            (4_000, 900)
        );
        let outcome = desk.take_back(credit.id, bill.id).await;
        assert_eq!(refusals(outcome), wrong("billId"));
        let early = PaySupplier {
            paid_on: day("2026-03-04"),
            ..desk.payment(100)
        };
        let expected = [(ProblemCode::ImpossibleDate, "paidOn".to_owned())];
        assert_eq!(refusals(desk.pay(early).await), expected);
        desk.parts.is_in_order().await;
        // One piece is gone with the credit, so the bill's four are not there.
        assert_eq!(refusals(desk.undo(bill.id).await), wrong("billId"));
        desk.undo(credit.id).await.unwrap();
        assert_eq!(desk.parts.held(part.id).await, (4.into(), 4_000));
        assert_eq!(desk.parts.balance(Role::PartsCostOfSales).await, 0);
        desk.undo(bill.id).await.unwrap();
        assert_eq!(desk.owed_on("2026-03-05").await, 0);
        assert_eq!(desk.owed_on("2026-03-04").await, 3_100);
        desk.parts.is_in_order().await;
        let written = audit_entry::Entity::find()
            .filter(audit_entry::Column::Act.eq("undoAppliedSupplierCredit"))
            .one(desk.parts.db())
            .await;
        let after = written.unwrap().unwrap().after_json.unwrap();
        assert!(after.contains("the other bill was meant") && after.contains("\"credit\""));
    }
}

#[tokio::test]
async fn a_mistyped_price_that_is_undone_leaves_the_stock_and_cost_of_sales_as_they_were() {
    for method in [StockMethod::MovingAverage, StockMethod::FirstInFirstOut] {
        for shop in Workshop::everywhere(ON).await {
            let desk = Desk::of(&shop).await;
            desk.parts.valued_by(method).await;
            let part = shop.part(Cents(4_000)).await;
            desk.parts.receive(part.id, (2, 4_000)).await;
            let typed = desk.bill("1", vec![part_line(part.id, (10, 50_000))]);
            let typed = desk.record(typed).await.unwrap();
            desk.undo(typed.id).await.unwrap();
            assert_eq!(desk.parts.held(part.id).await, (2.into(), 8_000));
            assert_eq!(desk.parts.balance(Role::PartsCostOfSales).await, 0);
            assert_eq!(desk.parts.balance(Role::Payables).await, 0);
            desk.parts.is_in_order().await;
        }
    }
}

#[tokio::test]
async fn parts_used_meanwhile_leave_what_they_took_of_an_undone_bill_to_cost_of_sales() {
    for (method, held, cost_of_sales) in [
        (StockMethod::MovingAverage, 1_000, 1_400),
        (StockMethod::FirstInFirstOut, 1_200, 1_200),
    ] {
        for shop in Workshop::everywhere(ON).await {
            let desk = Desk::of(&shop).await;
            desk.parts.valued_by(method).await;
            let part = shop.part(Cents(1_000)).await;
            desk.parts.receive(part.id, (2, 1_200)).await;
            let bill = desk.bill("1", vec![part_line(part.id, (2, 1_600))]);
            let bill = desk.record(bill).await.unwrap();
            // One leaves at the average of 14.00, or as the oldest at 12.00.
            desk.parts.use_up("U-1", part.id, 1).await;
            desk.undo(bill.id).await.unwrap();
            assert_eq!(desk.parts.held(part.id).await, (Decimal::ONE, held));
            let cost = desk.parts.balance(Role::PartsCostOfSales).await;
            assert_eq!(cost, cost_of_sales);
            desk.parts.is_in_order().await;
        }
    }
}

#[tokio::test]
async fn parts_that_others_took_before_they_came_do_not_leave_with_their_bill() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let part = shop.part(Cents(1_000)).await;
        let bill = desk.bill("1", vec![part_line(part.id, (5, 1_000))]);
        let bill = desk.record(bill).await.unwrap();
        let van = desk.parts.van(shop.technician_id).await;
        desk.parts.use_from("V-1", (part.id, 5), Some(van)).await;
        assert_eq!(desk.parts.held(part.id).await, (0.into(), 0));
        let main = desk.parts.main_id().await;
        assert_eq!(desk.parts.at(part.id, main).await, 5.into());
        assert_eq!(refusals(desk.undo(bill.id).await), wrong("billId"));
        desk.parts.is_in_order().await;
    }
}

#[tokio::test]
async fn a_bill_brings_no_more_of_an_order_than_is_to_come() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let part = shop.part(Cents(1_000)).await;
        let order = desk.order(part.id, 10).await;
        let of_order = |pieces: i64| BillLine {
            order_id: Some(order.id),
            ..part_line(part.id, (pieces, 1_000))
        };
        for (lines, path) in [
            (vec![of_order(12)], "lines.0.quantity"),
            (vec![of_order(6), of_order(6)], "lines.1.quantity"),
        ] {
            let outcome = desk.record(desk.bill("1", lines)).await;
            let expected = [(ProblemCode::TooMuch, path.to_owned())];
            assert_eq!(refusals(outcome), expected);
            assert_eq!(desk.parts.balance(Role::Payables).await, 0);
        }
        let all = desk.bill("1", vec![of_order(4), of_order(6)]);
        desk.record(all).await.unwrap();
        assert_eq!(desk.parts.held(part.id).await, (10.into(), 10_000));
        desk.parts.is_in_order().await;
    }
}

#[tokio::test]
async fn a_bill_undone_gives_its_order_and_its_receipt_back() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let part = shop.part(Cents(1_000)).await;
        let order = desk.order(part.id, 3).await;
        let receipt_id = desk.unbilled(part.id, (2, 1_000)).await;
        let lines = vec![
            BillLine {
                order_id: Some(order.id),
                ..part_line(part.id, (3, 1_000))
            },
            of_receipt(receipt_id, part.id, (2, 1_050)),
        ];
        let bill = desk.record(desk.bill("1", lines)).await.unwrap();
        assert_eq!(desk.awaited(receipt_id).await, (false, "0".to_owned(), 0));
        desk.undo(bill.id).await.unwrap();
        let all = (true, "2".to_owned(), 2_000);
        assert_eq!(desk.awaited(receipt_id).await, all);
        assert_eq!(desk.parts.held(part.id).await, (2.into(), 2_000));
        assert_eq!(desk.parts.balance(Role::ReceivedNotBilled).await, -2_000);
        assert_eq!(desk.parts.balance(Role::PartsCostOfSales).await, 0);
        let row = part_order::Entity::find_by_id(order.id)
            .one(desk.parts.db())
            .await;
        let row = row.unwrap().unwrap();
        assert_eq!(row.state, PartOrderState::Ordered);
        assert_eq!((row.received_quantity.0, row.closed_on), (0.into(), None));
        desk.parts.is_in_order().await;
    }
}

#[tokio::test]
async fn a_receipt_meets_its_bills_in_part_and_the_last_one_takes_the_rest_of_its_cost() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let part = shop.part(Cents(1_000)).await;
        let receipt_id = desk.unbilled(part.id, (3, 1_000)).await;
        let more = vec![of_receipt(receipt_id, part.id, (4, 1_000))];
        let outcome = desk.record(desk.bill("0", more)).await;
        let expected = [(ProblemCode::OutOfRange, "lines.0.receiptId".to_owned())];
        assert_eq!(refusals(outcome), expected);
        let first = vec![of_receipt(receipt_id, part.id, (1, 1_100))];
        let first = desk.record(desk.bill("1", first)).await.unwrap();
        assert_eq!(
            desk.awaited(receipt_id).await,
            (true, "2".to_owned(), 2_000)
        );
        assert_eq!(desk.parts.balance(Role::ReceivedNotBilled).await, -2_000);
        assert_eq!(desk.parts.balance(Role::PartsCostOfSales).await, 100);
        desk.parts.is_in_order().await;
        let rest = vec![of_receipt(receipt_id, part.id, (2, 1_000))];
        desk.record(desk.bill("2", rest)).await.unwrap();
        assert_eq!(desk.awaited(receipt_id).await, (false, "0".to_owned(), 0));
        let again = vec![of_receipt(receipt_id, part.id, (1, 1_000))];
        let outcome = desk.record(desk.bill("3", again)).await;
        assert_eq!(refusals(outcome), wrong("lines.0.receiptId"));
        desk.undo(first.id).await.unwrap();
        assert_eq!(
            desk.awaited(receipt_id).await,
            (true, "1".to_owned(), 1_000)
        );
        desk.parts.is_in_order().await;
    }
}

#[tokio::test]
async fn a_receipt_at_no_cost_waits_for_its_bill_and_bears_its_share_of_the_freight() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let (free, dear) = (shop.part(Cents(1_000)).await, shop.part(Cents(100)).await);
        let receipt_id = desk.unbilled(free.id, (2, 0)).await;
        assert_eq!(desk.awaited(receipt_id).await, (true, "2".to_owned(), 0));
        desk.parts.is_in_order().await;
        let lines = vec![
            of_receipt(receipt_id, free.id, (2, 45_000)),
            part_line(dear.id, (1, 10_000)),
            money_line(None, 5_000),
        ];
        desk.record(desk.bill("1", lines)).await.unwrap();
        assert_eq!(desk.awaited(receipt_id).await, (false, "0".to_owned(), 0));
        // Of 50.00 freight a tenth belongs to the part that comes in; the receipt's share and price are cost of sales.
        assert_eq!(desk.parts.held(dear.id).await, (1.into(), 10_500));
        assert_eq!(desk.parts.held(free.id).await, (2.into(), 0));
        assert_eq!(desk.parts.balance(Role::PartsCostOfSales).await, 94_500);
        desk.parts.is_in_order().await;
    }
}

#[tokio::test]
async fn rows_that_settle_or_bill_what_they_must_not_are_found() {
    for (harm, table) in [
        (
            "INSERT INTO payable_allocation (bill_id, payment_id, amount_cents, applied_on, allocated_at, \
             undoes_allocation_id) SELECT MAX(b.id), a.payment_id, -a.amount_cents, a.applied_on, a.allocated_at, a.id \
             FROM payable_allocation a, supplier_bill b GROUP BY a.id, a.payment_id, a.amount_cents, a.applied_on, \
             a.allocated_at",
            "payable_allocation",
        ),
        ("UPDATE payable SET due_on = '2026-04-01'", "payable"),
        (
            "INSERT INTO supplier_bill_line (bill_id, position, part_id, quantity, amount_cents, cost_cents) \
             SELECT MAX(b.id), 9, MAX(p.id), '1', 0, 0 FROM supplier_bill b, part p",
            "supplier_bill_line",
        ),
        (
            "UPDATE unbilled_receipt SET open_cents = open_cents - 1",
            "unbilled_receipt",
        ),
        (
            "UPDATE unbilled_receipt SET open_quantity = '1'",
            "unbilled_receipt",
        ),
        (
            "UPDATE unbilled_receipt SET is_open = FALSE, open_cents = 0",
            "unbilled_receipt",
        ),
        (
            "INSERT INTO supplier_bill_undoing (bill_id, undone_on, reason, recorded_at, recorded_by) \
             SELECT MIN(id), '2026-03-01', 'x', MIN(recorded_at), MIN(recorded_by) FROM supplier_bill",
            "supplier_bill_undoing",
        ),
    ] {
        for shop in Workshop::everywhere(ON).await {
            let desk = Desk::of(&shop).await;
            let part = shop.part(Cents(1_000)).await;
            desk.unbilled(part.id, (2, 1_000)).await;
            for number in ["1", "2"] {
                let expense = vec![money_line(Some(Role::OtherExpense), 1_000)];
                desk.record(desk.bill(number, expense)).await.unwrap();
            }
            desk.pay(desk.payment(400)).await.unwrap();
            desk.parts.is_in_order().await;
            let tx = shop.app.db.write().await.unwrap();
            tx.execute_unprepared(harm).await.unwrap();
            tx.commit().await.unwrap();
            let findings = super::run(&shop.app.db).await.unwrap();
            assert!(
                findings.iter().any(|found| found.table == table),
                "{harm}: {findings:?}"
            );
        }
    }
}
