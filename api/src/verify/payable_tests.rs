//! Suppliers' bills, credits and payments: what each does, what is refused, and damage that is found.

use nameplate_entities::kinds::PaymentMethod;
use nameplate_entities::{payable, supplier_bill, supplier_bill_line, supplier_payment};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use sea_orm::{ConnectionTrait, EntityTrait};

use super::parts_testing::Parts;
use crate::base::{ProblemCode, Result};
use crate::closeout::testing::{Workshop, day, refusals};
use crate::payables::{self, *};
use crate::stock::ReceiveParts;
use crate::{books, pricing, stock};

pub const ON: &str = "2026-03-02";

pub struct Desk<'a> {
    pub parts: Parts<'a>,
    pub supplier_id: i64,
}

impl<'a> Desk<'a> {
    pub async fn of(shop: &'a Workshop) -> Self {
        let new = pricing::AddSupplier {
            name: "Parts Depot".to_owned(),
            email: None,
            terms_days: Some(10),
        };
        let supplier = pricing::add_supplier(&shop.owner(), new).await.unwrap();
        Self {
            parts: Parts { shop },
            supplier_id: supplier.id,
        }
    }

    pub fn shop(&self) -> &'a Workshop {
        self.parts.shop
    }

    pub fn bill(&self, number: &str, lines: Vec<BillLine>) -> RecordSupplierBill {
        RecordSupplierBill {
            idempotency_key: self.shop().key(),
            supplier_id: self.supplier_id,
            supplier_number: number.to_owned(),
            billed_on: self.shop().owner().at.date_naive(),
            due_on: None,
            note: None,
            lines,
        }
    }

    pub async fn record(&self, new: RecordSupplierBill) -> Result<supplier_bill::Model> {
        payables::record_supplier_bill(&self.shop().owner(), new).await
    }

    pub fn payment(&self, amount: i64) -> PaySupplier {
        PaySupplier {
            idempotency_key: self.shop().key(),
            supplier_id: self.supplier_id,
            method: PaymentMethod::Check,
            reference: Some("1044".to_owned()),
            paid_on: self.shop().owner().at.date_naive(),
            amount: Cents(amount),
            paid_from: Role::Bank.code().to_owned(),
            parts: None,
        }
    }

    pub async fn pay(&self, new: PaySupplier) -> Result<supplier_payment::Model> {
        payables::pay_supplier(&self.shop().owner(), new).await
    }

    pub fn undoing(&self, payment_id: i64) -> UndoSupplierPayment {
        UndoSupplierPayment {
            idempotency_key: self.shop().key(),
            payment_id,
            reason: "voided".to_owned(),
            undone_on: self.shop().owner().at.date_naive(),
        }
    }

    pub async fn undo(&self, bill_id: i64) -> Result<supplier_bill::Model> {
        let order = UndoSupplierBill {
            idempotency_key: self.shop().key(),
            bill_id,
            reason: "typed wrong".to_owned(),
        };
        payables::undo_supplier_bill(&self.shop().owner(), order).await
    }

    pub fn credit(&self, number: &str, lines: Vec<CreditLine>) -> RecordSupplierCredit {
        RecordSupplierCredit {
            idempotency_key: self.shop().key(),
            supplier_id: self.supplier_id,
            supplier_number: number.to_owned(),
            credited_on: self.shop().owner().at.date_naive(),
            bill_id: None,
            note: None,
            lines,
        }
    }

    pub async fn open(&self, bill_id: i64) -> i64 {
        let row = payable::Entity::find_by_id(bill_id)
            .one(self.parts.db())
            .await;
        row.unwrap().unwrap().open_cents
    }

    pub async fn owed_on(&self, on: &str) -> i64 {
        let rows = payables::open_on(self.parts.db(), day(on)).await.unwrap();
        rows.iter().map(|row| row.open_cents).sum()
    }
}

pub fn part_line(part_id: i64, (quantity, unit_cost): (i64, i64)) -> BillLine {
    BillLine {
        part_id: Some(part_id),
        quantity: Some(quantity.into()),
        unit_cost: Some(Cents(unit_cost)),
        ..BillLine::default()
    }
}

pub fn money_line(account: Option<Role>, amount: i64) -> BillLine {
    BillLine {
        account: account.map(|role| role.code().to_owned()),
        amount: Some(Cents(amount)),
        ..BillLine::default()
    }
}

#[tokio::test]
async fn a_bill_takes_parts_in_with_their_share_of_the_freight_and_is_payable() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let (one, other) = (shop.part(Cents(1_000)).await, shop.part(Cents(2_000)).await);
        let bill = desk.bill(
            "4711",
            vec![
                part_line(one.id, (2, 1_000)),
                part_line(other.id, (1, 1_000)),
                money_line(None, 100),
                money_line(Some(Role::OtherExpense), 550),
            ],
        );
        let row = desk.record(bill.clone()).await.unwrap();
        assert_eq!(desk.record(bill).await.unwrap(), row, "once");
        assert_eq!((row.number.as_str(), row.total_cents), ("SB-000001", 3_650));
        assert_eq!(
            row.due_on,
            day("2026-03-12"),
            "ten days by the supplier's terms"
        );
        assert_eq!(desk.parts.held(one.id).await, (2.into(), 2_067));
        assert_eq!(desk.parts.held(other.id).await, (1.into(), 1_033));
        assert_eq!(desk.parts.balance(Role::Payables).await, -3_650);
        assert_eq!(desk.parts.balance(Role::OtherExpense).await, 550);
        desk.parts.is_in_order().await;
        let twin = desk.bill("4711", vec![money_line(Some(Role::OtherExpense), 1)]);
        let expected = [(ProblemCode::Taken, "supplierNumber".to_owned())];
        assert_eq!(refusals(desk.record(twin).await), expected);
    }
}

#[tokio::test]
async fn bills_that_cannot_be_are_refused_and_nothing_is_written() {
    let shop = Workshop::open(ON).await;
    let desk = Desk::of(&shop).await;
    for (lines, code, path) in [
        (vec![], ProblemCode::Missing, "lines"),
        (
            vec![money_line(Some(Role::PartsStock), 5)],
            ProblemCode::WrongState,
            "lines.0.account",
        ),
        (
            vec![money_line(Some(Role::Payables), 5)],
            ProblemCode::WrongState,
            "lines.0.account",
        ),
        (
            vec![money_line(Some(Role::OtherExpense), 0)],
            ProblemCode::OutOfRange,
            "lines.0.amount",
        ),
        (
            vec![money_line(Some(Role::OtherExpense), -5)],
            ProblemCode::NegativeMoney,
            "lines.0.amount",
        ),
        (vec![money_line(None, 5)], ProblemCode::Missing, "lines"),
        (
            vec![BillLine::default()],
            ProblemCode::Missing,
            "lines.0.amount",
        ),
        (
            vec![BillLine {
                account: Some("nowhere".to_owned()),
                amount: Some(Cents(5)),
                ..BillLine::default()
            }],
            ProblemCode::NotFound,
            "lines.0.account",
        ),
    ] {
        let outcome = desk.record(desk.bill("1", lines)).await;
        assert_eq!(refusals(outcome), [(code, path.to_owned())]);
    }
    let rows = supplier_bill::Entity::find()
        .all(desk.parts.db())
        .await
        .unwrap();
    let lines = supplier_bill_line::Entity::find()
        .all(desk.parts.db())
        .await
        .unwrap();
    assert!(rows.is_empty() && lines.is_empty());
}

#[tokio::test]
async fn lines_of_parts_that_cannot_be_and_closed_days_are_refused() {
    let shop = Workshop::open(ON).await;
    let desk = Desk::of(&shop).await;
    let part = shop.part(Cents(1_000)).await;
    for (lines, code, path) in [
        (
            vec![part_line(part.id, (0, 5))],
            ProblemCode::OutOfRange,
            "lines.0.quantity",
        ),
        (
            vec![part_line(part.id, (1, -5))],
            ProblemCode::NegativeMoney,
            "lines.0.unitCost",
        ),
        (
            vec![part_line(part.id + 1, (1, 5))],
            ProblemCode::NotFound,
            "lines.0.partId",
        ),
        (
            vec![part_line(part.id, (1, 0))],
            ProblemCode::OutOfRange,
            "lines",
        ),
    ] {
        let outcome = desk.record(desk.bill("1", lines)).await;
        assert_eq!(refusals(outcome), [(code, path.to_owned())]);
    }
    books::close_books(&shop.owner(), day("2026-02-28"))
        .await
        .unwrap();
    let mut late = desk.bill("1", vec![money_line(Some(Role::OtherExpense), 5)]);
    late.billed_on = day("2026-02-28");
    let expected = [(ProblemCode::PeriodClosed, "billedOn".to_owned())];
    assert_eq!(refusals(desk.record(late).await), expected);
    desk.parts.is_in_order().await;
}

#[tokio::test]
async fn a_payment_settles_the_bills_due_first_and_is_undone_from_its_day_on() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let expense = |amount| vec![money_line(Some(Role::OtherExpense), amount)];
        let first = desk.record(desk.bill("1", expense(1_000))).await.unwrap();
        shop.on(day("2026-03-05"));
        let second = desk.record(desk.bill("2", expense(2_000))).await.unwrap();
        let too_much = desk.pay(desk.payment(3_001)).await;
        assert_eq!(
            refusals(too_much),
            [(ProblemCode::TooMuch, "amount".to_owned())]
        );
        let payment = desk.pay(desk.payment(1_500)).await.unwrap();
        assert_eq!(
            (desk.open(first.id).await, desk.open(second.id).await),
            (0, 1_500)
        );
        assert_eq!(desk.parts.balance(Role::Bank).await, -1_500);
        desk.parts.is_in_order().await;
        shop.on(day("2026-03-08"));
        let undone = payables::undo_supplier_payment(&shop.owner(), desk.undoing(payment.id)).await;
        assert_eq!(undone.unwrap().undone_on, Some(day("2026-03-08")));
        assert_eq!(
            (desk.open(first.id).await, desk.open(second.id).await),
            (1_000, 2_000)
        );
        assert_eq!(desk.parts.balance(Role::Bank).await, 0);
        for (on, owed) in [
            ("2026-03-01", 0),
            (ON, 1_000),
            ("2026-03-05", 1_500),
            ("2026-03-08", 3_000),
        ] {
            assert_eq!(desk.owed_on(on).await, owed, "{on}");
        }
        let again = payables::undo_supplier_payment(&shop.owner(), desk.undoing(payment.id)).await;
        assert_eq!(
            refusals(again),
            [(ProblemCode::WrongState, "paymentId".to_owned())]
        );
        desk.parts.is_in_order().await;
    }
}

#[tokio::test]
async fn a_payment_as_told_adds_up_and_takes_no_more_than_is_open() {
    let shop = Workshop::open(ON).await;
    let desk = Desk::of(&shop).await;
    let expense = |amount| vec![money_line(Some(Role::OtherExpense), amount)];
    let bill = desk.record(desk.bill("1", expense(1_000))).await.unwrap();
    let told = |amount: i64, part: i64| PaySupplier {
        parts: Some(vec![BillPart {
            bill_id: bill.id,
            amount: Cents(part),
        }]),
        ..desk.payment(amount)
    };
    for (amount, part, code, path) in [
        (1_200, 1_200, ProblemCode::TooMuch, "allocations.0.amount"),
        (900, 800, ProblemCode::Unbalanced, "allocations"),
        (0, 800, ProblemCode::OutOfRange, "amount"),
    ] {
        let outcome = desk.pay(told(amount, part)).await;
        assert_eq!(refusals(outcome), [(code, path.to_owned())]);
    }
    let no_bank = PaySupplier {
        paid_from: Role::OtherExpense.code().to_owned(),
        ..desk.payment(100)
    };
    let expected = [(ProblemCode::WrongState, "paidFrom".to_owned())];
    assert_eq!(refusals(desk.pay(no_bank).await), expected);
    desk.pay(told(400, 400)).await.unwrap();
    assert_eq!(desk.open(bill.id).await, 600);
    desk.parts.is_in_order().await;
}

#[tokio::test]
async fn parts_go_back_at_their_cost_in_stock_and_the_credit_is_laid_against_its_bill() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let part = shop.part(Cents(1_000)).await;
        let bill = desk.bill("1", vec![part_line(part.id, (4, 1_000))]);
        let bill = desk.record(bill).await.unwrap();
        let line = |quantity: i64| CreditLine {
            part_id: Some(part.id),
            quantity: Some(quantity.into()),
            unit_cost: Some(Cents(900)),
            ..CreditLine::default()
        };
        let too_many = desk.credit("C1", vec![line(5)]);
        let outcome = payables::record_supplier_credit(&shop.owner(), too_many).await;
        assert_eq!(
            refusals(outcome),
            [(ProblemCode::OutOfRange, "lines.0.quantity".to_owned())]
        );
        let credit = RecordSupplierCredit {
            bill_id: Some(bill.id),
            ..desk.credit("C1", vec![line(1)])
        };
        let credit = payables::record_supplier_credit(&shop.owner(), credit)
            .await
            .unwrap();
        assert_eq!(
            (desk.open(bill.id).await, desk.open(credit.id).await),
            (3_100, 0)
        );
        assert_eq!(desk.parts.held(part.id).await, (3.into(), 3_000));
        assert_eq!(desk.parts.balance(Role::PartsCostOfSales).await, 100);
        assert_eq!(desk.parts.balance(Role::Payables).await, -3_100);
        let core = CreditLine {
            account: Some(Role::OtherExpense.code().to_owned()),
            amount: Some(Cents(250)),
            ..CreditLine::default()
        };
        let free = desk.credit("C2", vec![core]);
        let free = payables::record_supplier_credit(&shop.owner(), free)
            .await
            .unwrap();
        assert_eq!(desk.owed_on(ON).await, 2_850);
        let apply = |amount| ApplySupplierCredit {
            idempotency_key: shop.key(),
            credit_id: free.id,
            bill_id: bill.id,
            amount: Cents(amount),
        };
        let outcome = payables::apply_supplier_credit(&shop.owner(), apply(251)).await;
        assert_eq!(
            refusals(outcome),
            [(ProblemCode::TooMuch, "amount".to_owned())]
        );
        payables::apply_supplier_credit(&shop.owner(), apply(250))
            .await
            .unwrap();
        assert_eq!(
            (desk.open(bill.id).await, desk.open(free.id).await),
            (2_850, 0)
        );
        desk.parts.is_in_order().await;
    }
}

#[tokio::test]
async fn a_bill_names_the_receipt_that_came_before_it_and_the_difference_is_cost_of_sales() {
    let shop = Workshop::open(ON).await;
    let desk = Desk::of(&shop).await;
    let part = shop.part(Cents(1_000)).await;
    let receipt = ReceiveParts {
        paid_from: None,
        ..desk.parts.receipt(part.id, (2, 1_000))
    };
    let receipt = stock::receive_parts(&shop.owner(), receipt).await.unwrap();
    let line = BillLine {
        receipt_id: Some(receipt.id),
        ..part_line(part.id, (2, 1_050))
    };
    desk.record(desk.bill("1", vec![line.clone()]))
        .await
        .unwrap();
    assert_eq!(desk.parts.held(part.id).await, (2.into(), 2_000));
    assert_eq!(desk.parts.balance(Role::ReceivedNotBilled).await, 0);
    assert_eq!(desk.parts.balance(Role::PartsCostOfSales).await, 100);
    let outcome = desk.record(desk.bill("2", vec![line])).await;
    assert_eq!(
        refusals(outcome),
        [(ProblemCode::WrongState, "lines.0.receiptId".to_owned())]
    );
    desk.parts.is_in_order().await;
}

#[tokio::test]
async fn damage_to_what_suppliers_are_owed_is_found() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let expense = vec![money_line(Some(Role::OtherExpense), 1_000)];
        desk.record(desk.bill("1", expense)).await.unwrap();
        desk.pay(desk.payment(400)).await.unwrap();
        desk.parts.is_in_order().await;
        for (harm, mend, table) in [
            (
                "UPDATE payable SET open_cents = 601",
                "UPDATE payable SET open_cents = 600",
                "payable",
            ),
            (
                "UPDATE supplier_payment SET amount_cents = 401",
                "UPDATE supplier_payment SET amount_cents = 400",
                "supplier_payment",
            ),
            (
                "UPDATE supplier_payment SET number = 'SP-000002'",
                "UPDATE supplier_payment SET number = 'SP-000001'",
                "supplier_payment",
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
        desk.parts.is_in_order().await;
        let tx = shop.app.db.write().await.unwrap();
        assert!(
            tx.execute_unprepared("DELETE FROM supplier_bill_line")
                .await
                .is_err()
        );
    }
}
