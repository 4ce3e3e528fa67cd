//! Suppliers' bills on the cash basis: what counts when it is paid, and what counts when it is used.

use nameplate_rules::books::{AccountKind, Role};
use nameplate_rules::money::Cents;
use sea_orm::{ConnectionTrait, DbBackend, Statement};

use super::parts_testing::Parts;
use super::payable_tests::{Desk, ON, money_line, part_line};
use crate::closeout::testing::{Workshop, day};
use crate::payables::{self, *};
use crate::reports::{self, Basis, Span};

/// Expenses by account code of some days.
async fn expenses(parts: &Parts<'_>, (from, to): (&str, &str), basis: Basis) -> Vec<(String, i64)> {
    let span = Span::new(day(from), day(to)).unwrap();
    let found = reports::income(parts.db(), span, basis).await.unwrap();
    let rows = found.of_kind(AccountKind::Expense);
    rows.map(|(row, amount)| (row.code.clone(), amount.0))
        .collect()
}

fn rows(of: &[(Role, i64)]) -> Vec<(String, i64)> {
    let mut rows: Vec<(String, i64)> = of
        .iter()
        .map(|(role, cents)| (role.code().to_owned(), *cents))
        .collect();
    rows.sort();
    rows
}

const MARCH: (&str, &str) = ("2026-03-01", "2026-03-31");
const APRIL: (&str, &str) = ("2026-04-01", "2026-04-30");
const MAY: (&str, &str) = ("2026-05-01", "2026-05-31");
const EVER: (&str, &str) = ("2026-01-01", "2026-12-31");

#[tokio::test]
async fn a_bill_of_march_paid_in_april_is_an_expense_of_april_line_by_line() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let part = shop.part(Cents(1_000)).await;
        let lines = vec![
            money_line(Some(Role::OtherExpense), 10_000),
            money_line(Some(Role::CardFees), 5_000),
            part_line(part.id, (2, 10_000)),
        ];
        desk.record(desk.bill("1", lines)).await.unwrap();
        let whole = rows(&[(Role::OtherExpense, 10_000), (Role::CardFees, 5_000)]);
        assert_eq!(expenses(&desk.parts, MARCH, Basis::Accrual).await, whole);
        assert_eq!(expenses(&desk.parts, MARCH, Basis::Cash).await, []);
        shop.on(day("2026-04-02"));
        let first = desk.pay(desk.payment(10_000)).await.unwrap();
        // 10000/35000 of the lines: 2857.14, 1428.57, 5714.29; one cent by the largest remainder.
        let some = rows(&[(Role::OtherExpense, 2_857), (Role::CardFees, 1_429)]);
        assert_eq!(expenses(&desk.parts, APRIL, Basis::Cash).await, some);
        assert_eq!(expenses(&desk.parts, MARCH, Basis::Cash).await, []);
        shop.on(day("2026-05-04"));
        payables::undo_supplier_payment(&shop.owner(), desk.undoing(first.id))
            .await
            .unwrap();
        let back = rows(&[(Role::OtherExpense, -2_857), (Role::CardFees, -1_429)]);
        assert_eq!(expenses(&desk.parts, MAY, Basis::Cash).await, back);
        assert_eq!(expenses(&desk.parts, EVER, Basis::Cash).await, []);
        desk.pay(desk.payment(35_000)).await.unwrap();
        assert_eq!(expenses(&desk.parts, EVER, Basis::Cash).await, whole);
        desk.parts.is_in_order().await;
    }
}

#[tokio::test]
async fn parts_bought_cost_when_they_are_used_paid_or_not() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let part = shop.part(Cents(1_000)).await;
        let bill = desk.bill("1", vec![part_line(part.id, (2, 1_000))]);
        desk.record(bill).await.unwrap();
        desk.pay(desk.payment(2_000)).await.unwrap();
        assert_eq!(expenses(&desk.parts, MARCH, Basis::Cash).await, []);
        shop.on(day("2026-04-02"));
        desk.parts.use_up("S-1", part.id, 1).await;
        let used = rows(&[(Role::PartsCostOfSales, 1_000)]);
        for basis in [Basis::Cash, Basis::Accrual] {
            assert_eq!(expenses(&desk.parts, APRIL, basis).await, used);
        }
    }
}

#[tokio::test]
async fn a_credit_laid_against_a_bill_counts_with_it_and_all_adds_up_to_the_money_paid() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let lines = vec![
            money_line(Some(Role::OtherExpense), 3_000),
            money_line(Some(Role::CardFees), 1_000),
        ];
        let bill = desk.record(desk.bill("1", lines)).await.unwrap();
        let line = CreditLine {
            account: Some(Role::OtherExpense.code().to_owned()),
            amount: Some(Cents(1_600)),
            ..CreditLine::default()
        };
        let credit = payables::record_supplier_credit(&shop.owner(), desk.credit("C1", vec![line]))
            .await
            .unwrap();
        assert_eq!(expenses(&desk.parts, MARCH, Basis::Cash).await, []);
        shop.on(day("2026-04-02"));
        let apply = ApplySupplierCredit {
            idempotency_key: shop.key(),
            credit_id: credit.id,
            bill_id: bill.id,
            amount: Cents(1_000),
        };
        payables::apply_supplier_credit(&shop.owner(), apply)
            .await
            .unwrap();
        // A quarter of the bill, 750 and 250, less the 1000 that the credit gives.
        let laid = rows(&[(Role::OtherExpense, -250), (Role::CardFees, 250)]);
        assert_eq!(expenses(&desk.parts, APRIL, Basis::Cash).await, laid);
        desk.pay(desk.payment(3_000)).await.unwrap();
        let paid: i64 = expenses(&desk.parts, EVER, Basis::Cash)
            .await
            .iter()
            .map(|(_, cents)| cents)
            .sum();
        assert_eq!(paid, 3_000);
    }
}

#[tokio::test]
async fn a_bill_undone_leaves_no_expense_on_either_basis() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let bill = desk.bill("1", vec![money_line(Some(Role::OtherExpense), 3_000)]);
        let bill = desk.record(bill).await.unwrap();
        let payment = desk.pay(desk.payment(500)).await.unwrap();
        shop.on(day("2026-04-02"));
        payables::undo_supplier_payment(&shop.owner(), desk.undoing(payment.id))
            .await
            .unwrap();
        desk.undo(bill.id).await.unwrap();
        let some = rows(&[(Role::OtherExpense, 500)]);
        assert_eq!(expenses(&desk.parts, MARCH, Basis::Cash).await, some);
        for basis in [Basis::Cash, Basis::Accrual] {
            assert_eq!(expenses(&desk.parts, EVER, basis).await, []);
        }
    }
}

#[tokio::test]
async fn what_was_paid_in_some_days_is_found_by_day() {
    for shop in Workshop::everywhere(ON).await {
        let db = shop.app.db.read();
        let backend = db.get_database_backend();
        let sql = reports::bills_moved_sql(1_000);
        let sql = ["$1", "$2"].iter().fold(sql, |sql, place| {
            sql.replace(place, "CAST('2026-03-01' AS DATE)")
        });
        let sql = sql.replace("$3", "0");
        let (explain, column) = match backend {
            DbBackend::Sqlite => {
                let sql = sql.replace("CAST('2026-03-01' AS DATE)", "'2026-03-01'");
                (format!("EXPLAIN QUERY PLAN {sql}"), 3)
            }
            _ => (format!("EXPLAIN {sql}"), 0),
        };
        let tx = shop.app.db.write().await.unwrap();
        if backend == DbBackend::Postgres {
            // A table of no rows is read whole whatever indexes there are.
            tx.execute_unprepared("SET LOCAL enable_seqscan = off")
                .await
                .unwrap();
        }
        let plan = tx.query_all_raw(Statement::from_string(backend, explain));
        let plan = plan.await.unwrap();
        let plan = plan
            .iter()
            .map(|row| row.try_get_by_index::<String>(column).unwrap());
        let plan: Vec<String> = plan.collect();
        let by_day = plan
            .iter()
            .filter(|line| line.contains("ix_payable_allocation_applied_on"));
        assert_eq!(by_day.count(), 2, "{plan:#?}");
    }
}
