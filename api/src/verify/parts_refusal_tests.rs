//! What the desk must not do with parts and suppliers' bills, and what then happens instead.

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{AccountKind, CallKind, Method, StockMoveKind, StockPlaceKind};
use nameplate_entities::{part_order, stock_move};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set};

use super::parts_testing::Parts;
use super::payable_tests::{Desk, ON, money_line, part_line};
use crate::base::{Change, Error, ProblemCode};
use crate::books::AddAccount;
use crate::calls::{PartFitted, RecordRemedy};
use crate::closeout::testing::{Workshop, day, refusals};
use crate::payables::{self, *};
use crate::stock::{self, *};
use crate::{books, pricing};

fn wrong(path: &str) -> Vec<(ProblemCode, String)> {
    vec![(ProblemCode::WrongState, path.to_owned())]
}

#[tokio::test]
async fn bills_and_credits_go_only_to_what_was_bought() {
    let shop = Workshop::open(ON).await;
    let desk = Desk::of(&shop).await;
    for role in [
        Role::Bank,
        Role::OwnersEquity,
        Role::OwnersDrawings,
        Role::LabourRevenue,
        Role::WarrantyReserve,
        Role::SalesTaxPayable,
    ] {
        let outcome = desk.record(desk.bill("1", vec![money_line(Some(role), 5)]));
        assert_eq!(
            refusals(outcome.await),
            wrong("lines.0.account"),
            "{role:?}"
        );
        let line = CreditLine {
            account: Some(role.code().to_owned()),
            amount: Some(Cents(5)),
            ..CreditLine::default()
        };
        let credit = desk.credit("1", vec![line]);
        let outcome = payables::record_supplier_credit(&shop.owner(), credit).await;
        assert_eq!(refusals(outcome), wrong("lines.0.account"), "{role:?}");
    }
    let tools = AddAccount {
        code: "1500".to_owned(),
        name: "Tools".to_owned(),
        kind: AccountKind::Asset,
        is_bank: false,
    };
    let tools = books::add_account(&shop.owner(), tools).await.unwrap();
    let line = BillLine {
        account: Some(tools.code),
        ..money_line(None, 5)
    };
    desk.record(desk.bill("1", vec![line])).await.unwrap();
    desk.parts.is_in_order().await;
}

#[tokio::test]
async fn two_lines_of_a_credit_send_back_no_more_than_lie_there() {
    let shop = Workshop::open(ON).await;
    let desk = Desk::of(&shop).await;
    let part = shop.part(Cents(1_000)).await;
    let bill = desk.bill("1", vec![part_line(part.id, (4, 1_000))]);
    desk.record(bill).await.unwrap();
    let line = |quantity: i64| CreditLine {
        part_id: Some(part.id),
        quantity: Some(quantity.into()),
        unit_cost: Some(Cents(1_000)),
        ..CreditLine::default()
    };
    let owner = shop.owner();
    let too_many = desk.credit("C1", vec![line(3), line(3)]);
    let outcome = payables::record_supplier_credit(&owner, too_many).await;
    let expected = [(ProblemCode::OutOfRange, "lines.1.quantity".to_owned())];
    assert_eq!(refusals(outcome), expected);
    let all = desk.credit("C1", vec![line(3), line(1)]);
    payables::record_supplier_credit(&owner, all).await.unwrap();
    assert_eq!(desk.parts.held(part.id).await, (Decimal::ZERO, 0));
    desk.parts.is_in_order().await;
}

#[tokio::test]
async fn nobody_bills_what_was_ordered_from_somebody_else() {
    let shop = Workshop::open(ON).await;
    let desk = Desk::of(&shop).await;
    let part = shop.part(Cents(1_000)).await;
    let other = pricing::AddSupplier {
        name: "Other Depot".to_owned(),
        email: None,
        terms_days: None,
    };
    let other = pricing::add_supplier(&shop.owner(), other).await.unwrap();
    let mut orders: Vec<part_order::Model> = Vec::new();
    for _ in 0..2 {
        let order = OrderPart {
            idempotency_key: shop.key(),
            part_id: part.id,
            quantity: 3.into(),
            supplier_id: desk.supplier_id,
            call_id: None,
            expected_on: None,
            reference: None,
        };
        orders.push(stock::order_part(&shop.owner(), order).await.unwrap());
    }
    let receipt = ReceiveParts {
        order_id: Some(orders[0].id),
        paid_from: None,
        ..desk.parts.receipt(part.id, (3, 1_000))
    };
    let too_early = ReceiveParts {
        received_on: Some(day("2026-03-01")),
        ..receipt.clone()
    };
    let outcome = stock::receive_parts(&shop.owner(), too_early).await;
    let expected = [(ProblemCode::ImpossibleDate, "receivedOn".to_owned())];
    assert_eq!(refusals(outcome), expected);
    let receipt = stock::receive_parts(&shop.owner(), receipt).await.unwrap();
    for (line, path) in [
        (
            BillLine {
                receipt_id: Some(receipt.id),
                ..part_line(part.id, (3, 1_000))
            },
            "lines.0.receiptId",
        ),
        (
            BillLine {
                order_id: Some(orders[1].id),
                ..part_line(part.id, (3, 1_000))
            },
            "lines.0.orderId",
        ),
    ] {
        let anothers = RecordSupplierBill {
            supplier_id: other.id,
            ..desk.bill("1", vec![line.clone()])
        };
        assert_eq!(refusals(desk.record(anothers).await), wrong(path));
        let own = desk.bill(path, vec![line]);
        desk.record(own).await.unwrap();
    }
    desk.parts.is_in_order().await;
}

#[tokio::test]
async fn a_bill_is_not_paid_on_a_day_on_which_another_payment_had_settled_it() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let expense = vec![money_line(Some(Role::OtherExpense), 1_000)];
        let bill = desk.record(desk.bill("1", expense)).await.unwrap();
        let voided = desk.pay(desk.payment(1_000)).await.unwrap();
        shop.on(day("2026-03-20"));
        payables::undo_supplier_payment(&shop.owner(), desk.undoing(voided.id))
            .await
            .unwrap();
        let too_early = PaySupplier {
            paid_on: day("2026-03-10"),
            ..desk.payment(600)
        };
        let expected = [(ProblemCode::ImpossibleDate, "paidOn".to_owned())];
        assert_eq!(refusals(desk.pay(too_early).await), expected);
        let core = CreditLine {
            account: Some(Role::OtherExpense.code().to_owned()),
            amount: Some(Cents(400)),
            ..CreditLine::default()
        };
        let credit = RecordSupplierCredit {
            bill_id: Some(bill.id),
            credited_on: day("2026-03-15"),
            ..desk.credit("C1", vec![core])
        };
        payables::record_supplier_credit(&shop.owner(), credit)
            .await
            .unwrap();
        desk.pay(desk.payment(600)).await.unwrap();
        desk.parts.is_in_order().await;
    }
}

#[tokio::test]
async fn a_bill_of_a_day_beyond_all_calendars_is_refused() {
    let shop = Workshop::open(ON).await;
    let desk = Desk::of(&shop).await;
    let expense = vec![money_line(Some(Role::OtherExpense), 5)];
    let far = RecordSupplierBill {
        billed_on: NaiveDate::MAX,
        ..desk.bill("1", expense)
    };
    let refused = refusals(desk.record(far).await);
    let is_of_day = |(code, path): &(ProblemCode, String)| {
        (*code, path.as_str()) == (ProblemCode::ImpossibleDate, "billedOn")
    };
    assert!(!refused.is_empty() && refused.iter().all(is_of_day));
}

#[tokio::test]
async fn parts_are_paid_from_a_bank_and_from_nothing_else() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let part = shop.part(Cents(1_000)).await;
    for role in [
        Role::OtherExpense,
        Role::SalesTaxPayable,
        Role::OwnersEquity,
        Role::UndepositedReceipts,
    ] {
        let receipt = ReceiveParts {
            paid_from: Some(role.code().to_owned()),
            ..parts.receipt(part.id, (1, 1_000))
        };
        let outcome = stock::receive_parts(&shop.owner(), receipt).await;
        assert_eq!(refusals(outcome), wrong("paidFrom"), "{role:?}");
    }
}

#[tokio::test]
async fn stock_is_taken_over_once_and_never_hides_a_loss() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let (main, van) = (parts.main_id().await, parts.van(shop.technician_id).await);
    let part = shop.part(Cents(1_000)).await;
    let take_over = |place: i64, quantity: i64| CountStock {
        takes_over: true,
        ..parts.count(place, (part.id, quantity))
    };
    for place in [main, van] {
        stock::count_stock(&shop.owner(), take_over(place, 2))
            .await
            .unwrap();
    }
    assert_eq!(parts.balance(Role::OwnersEquity).await, -4_000);
    for (quantity, path) in [(1, "lines.0.quantity"), (3, "lines.0.partId")] {
        let outcome = stock::count_stock(&shop.owner(), take_over(main, quantity)).await;
        assert_eq!(refusals(outcome), wrong(path));
    }
    let bought = shop.part(Cents(1_000)).await;
    parts.receive(bought.id, (1, 1_000)).await;
    let found = CountStock {
        takes_over: true,
        ..parts.count(van, (bought.id, 1))
    };
    let outcome = stock::count_stock(&shop.owner(), found).await;
    assert_eq!(refusals(outcome), wrong("lines.0.partId"));
    parts.is_in_order().await;
}

#[tokio::test]
async fn parts_named_from_a_van_that_is_gone_come_from_the_shelf() {
    let shop = Workshop::open(ON).await;
    let parts = Parts { shop: &shop };
    let part = shop.part(Cents(1_000)).await;
    let (main, van) = (parts.main_id().await, parts.van(shop.technician_id).await);
    parts.receive(part.id, (3, 1_000)).await;
    let failure = shop.failure("Door gasket", "worn").await;
    let machine = shop.machine(Some("G-1")).await;
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    let found = shop.find(&call, failure).await;
    let remedy = RecordRemedy {
        idempotency_key: shop.key(),
        finding_id: found.finding.id,
        method: Method::Replaced,
        labour_minutes: 30,
        note: None,
        parts: vec![PartFitted {
            part_id: part.id,
            quantity: 1.into(),
            lot: None,
            place_id: Some(van),
        }],
    };
    let other = shop.technician(shop.other_technician_id);
    let outcome = stock::record_remedy(&other, remedy.clone()).await;
    assert!(matches!(outcome, Err(Error::Forbidden)));
    stock::record_remedy(&shop.owner(), remedy.clone())
        .await
        .unwrap();
    let change = |version: i32, is_retired: bool| ChangeStockPlace {
        place_id: van,
        version,
        name: None,
        technician_id: Change::Keep,
        is_main: None,
        is_retired: Some(is_retired),
    };
    stock::change_stock_place(&shop.owner(), change(1, true))
        .await
        .unwrap();
    stock::record_remedy(&shop.owner(), remedy.clone())
        .await
        .expect("answered as before");
    let later = RecordRemedy {
        idempotency_key: shop.key(),
        ..remedy
    };
    let outcome = stock::record_remedy(&shop.owner(), later).await;
    assert_eq!(refusals(outcome), wrong("parts.0.placeId"));
    shop.complete(&call).await.unwrap();
    assert_eq!(parts.at(part.id, main).await, Decimal::TWO);
    assert_eq!(parts.at(part.id, van).await, Decimal::ZERO);
    let second = AddStockPlace {
        name: "New van".to_owned(),
        kind: StockPlaceKind::Van,
        technician_id: Some(shop.technician_id),
    };
    stock::add_stock_place(&shop.owner(), second).await.unwrap();
    let outcome = stock::change_stock_place(&shop.owner(), change(2, false)).await;
    let expected = [(ProblemCode::Taken, "technicianId".to_owned())];
    assert_eq!(refusals(outcome), expected);
    parts.is_in_order().await;
}

#[tokio::test]
async fn a_move_of_value_that_was_never_posted_is_found() {
    for shop in Workshop::everywhere(ON).await {
        let act = shop.owner();
        let row = stock_move::ActiveModel {
            kind: Set(StockMoveKind::Adjusted),
            moved_on: Set(day(ON)),
            recorded_at: Set(act.at),
            quantity: Set(Exact(Decimal::ZERO)),
            value_cents: Set(5),
            ..Default::default()
        };
        let tx = shop.app.db.write().await.unwrap();
        row.insert(&tx).await.unwrap();
        tx.commit().await.unwrap();
        let findings = super::run(&shop.app.db).await.unwrap();
        let of_move = |found: &&super::Finding| found.table == "stock_move";
        assert_eq!(findings.iter().filter(of_move).count(), 2, "{findings:?}");
    }
}
