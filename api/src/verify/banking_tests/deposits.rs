//! Receipts taken to the bank, slips undone, and banked payments that the bank took back.

use super::*;
use crate::base::ProblemCode::{
    ImpossibleDate, Malformed, Missing, NotFound, PeriodClosed, TooMuch, WrongState,
};
use crate::books::{AccountAsRead, JournalLine, PostJournal, post_journal, retire_account};
use crate::invoices::RefundCredit;

#[tokio::test]
async fn receipts_go_to_the_bank_once_less_what_the_card_company_keeps() {
    for shop in TestShop::everywhere().await {
        let check = shop.got(12_000, PaymentMethod::Check, 3).await;
        let first = shop.got(10_000, PaymentMethod::Card, 2).await;
        let second = shop.got(5_000, PaymentMethod::Card, 1).await;
        let late = shop.got(700, PaymentMethod::Cash, 0).await;
        let order = BankReceipts {
            card_fee: Some(Cents(401)),
            ..shop.slip(&[check.id, first.id, second.id])
        };
        let slip = bank_receipts(&shop.owner, order.clone()).await.unwrap();
        let again = bank_receipts(&shop.owner, order).await.unwrap();
        assert_eq!((slip.number.as_str(), again.id), ("B-000001", slip.id));
        assert_eq!((slip.receipts_cents, slip.fee_cents), (27_000, 401));
        assert_eq!(shop.stands_at("1010").await, 26_599);
        assert_eq!(shop.stands_at("6200").await, 401);
        assert_eq!(shop.stands_at("1050").await, 700);
        let twice = shop.slip(&[check.id, late.id]);
        at(
            WrongState,
            "payments.0.paymentId",
            bank_receipts(&shop.owner, twice).await,
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_slip_that_cannot_be_is_refused_with_the_field_and_nothing_is_written() {
    for shop in TestShop::everywhere().await {
        let check = shop.got(12_000, PaymentMethod::Check, 3).await;
        let card = shop.got(10_000, PaymentMethod::Card, 2).await;
        let plain = || shop.slip(&[check.id, card.id]);
        let with_fee = |at: usize, fee: i64| {
            let mut slip = plain();
            slip.payments[at].card_fee = Some(Cents(fee));
            slip
        };
        let both = BankReceipts {
            card_fee: Some(Cents(1)),
            ..with_fee(1, 1)
        };
        let on = |day: NaiveDate| BankReceipts {
            deposited_on: day,
            ..plain()
        };
        let to = |id: i64| BankReceipts {
            account_id: Some(id),
            ..plain()
        };
        let all_cards = BankReceipts {
            card_fee: Some(Cents(10_001)),
            ..plain()
        };
        let no_card = BankReceipts {
            card_fee: Some(Cents(1)),
            ..shop.slip(&[check.id])
        };
        let stock = 5;
        for (code, path, slip) in [
            (Missing, "payments", shop.slip(&[])),
            (
                Malformed,
                "payments.1.paymentId",
                shop.slip(&[check.id, check.id]),
            ),
            (NotFound, "payments.0.paymentId", shop.slip(&[99])),
            (WrongState, "payments.0.cardFee", with_fee(0, 1)),
            (TooMuch, "payments.1.cardFee", with_fee(1, 10_001)),
            (Malformed, "cardFee", both),
            (TooMuch, "cardFee", all_cards),
            (WrongState, "cardFee", no_card),
            (ImpossibleDate, "depositedOn", on(today() + Days::new(1))),
            (ImpossibleDate, "depositedOn", on(today() - Days::new(3))),
            (WrongState, "bankAccountId", to(stock)),
            (NotFound, "bankAccountId", to(9_999)),
        ] {
            at(code, path, bank_receipts(&shop.owner, slip).await);
        }
        let yesterday = today() - Days::new(1);
        books::close_books(&shop.owner, yesterday).await.unwrap();
        at(
            PeriodClosed,
            "depositedOn",
            bank_receipts(&shop.owner, on(yesterday)).await,
        );
        assert_eq!(shop.stands_at("1010").await, 0);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_slip_is_undone_and_its_payments_go_to_another_account_on_a_later_day() {
    for shop in TestShop::everywhere().await {
        let check = shop.got(12_000, PaymentMethod::Check, 5).await;
        let early = BankReceipts {
            deposited_on: today() - Days::new(4),
            ..shop.slip(&[check.id])
        };
        let slip = bank_receipts(&shop.owner, early).await.unwrap();
        let undo = |on: NaiveDate| UndoDeposit {
            idempotency_key: shop.key(),
            deposit_id: slip.id,
            reason: "It went to the other bank".to_owned(),
            undone_on: on,
        };
        at(
            ImpossibleDate,
            "undoneOn",
            undo_deposit(&shop.owner, undo(today() - Days::new(5))).await,
        );
        let order = undo(today() - Days::new(2));
        let undone = undo_deposit(&shop.owner, order.clone()).await.unwrap();
        assert_eq!(undone.undone_on, Some(today() - Days::new(2)));
        undo_deposit(&shop.owner, order).await.unwrap();
        at(
            WrongState,
            "depositId",
            undo_deposit(&shop.owner, undo(today())).await,
        );
        assert_eq!(shop.stands_at("1050").await, 12_000);
        let savings = shop.savings().await;
        let to_savings = |days_ago: u64| BankReceipts {
            account_id: Some(savings.id),
            deposited_on: today() - Days::new(days_ago),
            ..shop.slip(&[check.id])
        };
        at(
            ImpossibleDate,
            "depositedOn",
            bank_receipts(&shop.owner, to_savings(3)).await,
        );
        let next = bank_receipts(&shop.owner, to_savings(2)).await.unwrap();
        assert_eq!(next.number, "B-000002");
        assert_eq!(shop.stands_at("1020").await, 12_000);
        assert_eq!(shop.stands_at("1010").await, 0);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_check_that_bounces_comes_out_of_the_bank_that_had_it_with_the_banks_fee() {
    for shop in TestShop::everywhere().await {
        let savings = shop.savings().await;
        let bill = shop.bill(5_000).await;
        let check = shop.got(bill.total_cents, PaymentMethod::Check, 0).await;
        let waits = shop.got(900, PaymentMethod::Check, 0).await;
        let slip = BankReceipts {
            account_id: Some(savings.id),
            ..shop.slip(&[check.id])
        };
        let slip = bank_receipts(&shop.owner, slip).await.unwrap();
        let bounced = |payment_id: i64, bank_fee: Option<i64>| ReversePayment {
            idempotency_key: shop.key(),
            payment_id,
            kind: ReversalKind::Bounced,
            reason: "Not honoured".to_owned(),
            reversed_on: today(),
            charge_fee: false,
            bank_fee: bank_fee.map(Cents),
        };
        at(
            WrongState,
            "bankFee",
            reverse_payment(&shop.owner, bounced(waits.id, Some(1))).await,
        );
        let early = ReversePayment {
            reversed_on: today() - Days::new(1),
            ..bounced(check.id, None)
        };
        at(
            ImpossibleDate,
            "reversedOn",
            reverse_payment(&shop.owner, early).await,
        );
        reverse_payment(&shop.owner, bounced(check.id, Some(1_500)))
            .await
            .unwrap();
        assert_eq!(shop.stands_at("1020").await, -1_500);
        assert_eq!(shop.stands_at("6900").await, 1_500);
        assert_eq!(shop.stands_at("1050").await, 900);
        assert_eq!(shop.open_cents(bill.id).await, bill.total_cents);
        let undo = UndoDeposit {
            idempotency_key: shop.key(),
            deposit_id: slip.id,
            reason: "Too late".to_owned(),
            undone_on: today(),
        };
        at(
            WrongState,
            "depositId",
            undo_deposit(&shop.owner, undo).await,
        );
        reverse_payment(&shop.owner, bounced(waits.id, None))
            .await
            .unwrap();
        assert_eq!(shop.stands_at("1050").await, 0);
        let again = shop.slip(&[waits.id]);
        at(
            WrongState,
            "payments.0.paymentId",
            bank_receipts(&shop.owner, again).await,
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_refund_is_paid_from_the_bank_that_was_chosen() {
    for shop in TestShop::everywhere().await {
        let savings = shop.savings().await;
        shop.got(5_000, PaymentMethod::Cash, 0).await;
        let refund = |bank_account_id: Option<i64>| RefundCredit {
            idempotency_key: shop.key(),
            customer_id: shop.customer_id,
            amount: Cents(1_000),
            method: PaymentMethod::Check,
            reference: Some("2001".to_owned()),
            refunded_on: today(),
            bank_account_id,
        };
        refund_credit(&shop.owner, refund(Some(savings.id)))
            .await
            .unwrap();
        refund_credit(&shop.owner, refund(None)).await.unwrap();
        at(
            WrongState,
            "bankAccountId",
            refund_credit(&shop.owner, refund(Some(5))).await,
        );
        assert_eq!(shop.stands_at("1020").await, -1_000);
        assert_eq!(shop.stands_at("1010").await, -1_000);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn damage_to_deposits_is_found() {
    for sql in [
        "UPDATE payment SET bank_account_id = NULL",
        "UPDATE payment SET banked_on = '2026-01-01'",
        "UPDATE bank_deposit_line SET fee_cents = fee_cents + 1",
        "UPDATE bank_deposit_line SET standing_payment_id = NULL",
        "UPDATE bank_deposit SET undone_on = deposited_on",
        "DROP TRIGGER keep_bank_deposit_update; UPDATE bank_deposit SET receipts_cents = receipts_cents + 1",
        "DROP TRIGGER keep_bank_deposit_update; UPDATE bank_deposit SET number = 'B-000007'",
    ] {
        let shop = TestShop::open().await;
        let card = shop.got(12_000, PaymentMethod::Card, 0).await;
        bank_receipts(&shop.owner, shop.slip(&[card.id]))
            .await
            .unwrap();
        shop.is_in_order().await;
        assert!(!shop.spoil(sql).await.is_empty(), "{sql} was not found");
    }
}

#[tokio::test]
async fn money_in_a_bank_is_not_said_never_to_have_come() {
    for shop in TestShop::everywhere().await {
        let check = shop.got(900, PaymentMethod::Check, 0).await;
        bank_receipts(&shop.owner, shop.slip(&[check.id]))
            .await
            .unwrap();
        let never_came = ReversePayment {
            idempotency_key: shop.key(),
            payment_id: check.id,
            kind: ReversalKind::RecordedByMistake,
            reason: "Typed twice".to_owned(),
            reversed_on: today(),
            charge_fee: false,
            bank_fee: None,
        };
        at(
            WrongState,
            "kind",
            reverse_payment(&shop.owner, never_came).await,
        );
        assert_eq!(shop.stands_at("1010").await, 900);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_payment_is_not_undone_before_its_slip_was() {
    for shop in TestShop::everywhere().await {
        let check = shop.got(900, PaymentMethod::Check, 5).await;
        let early = BankReceipts {
            deposited_on: today() - Days::new(4),
            ..shop.slip(&[check.id])
        };
        let slip = bank_receipts(&shop.owner, early).await.unwrap();
        let undo = UndoDeposit {
            idempotency_key: shop.key(),
            deposit_id: slip.id,
            reason: "Not taken there".to_owned(),
            undone_on: today() - Days::new(1),
        };
        undo_deposit(&shop.owner, undo).await.unwrap();
        let never_came = |days_ago: u64| ReversePayment {
            idempotency_key: shop.key(),
            payment_id: check.id,
            kind: ReversalKind::RecordedByMistake,
            reason: "Typed twice".to_owned(),
            reversed_on: today() - Days::new(days_ago),
            charge_fee: false,
            bank_fee: None,
        };
        at(
            ImpossibleDate,
            "reversedOn",
            reverse_payment(&shop.owner, never_came(2)).await,
        );
        reverse_payment(&shop.owner, never_came(1)).await.unwrap();
        assert_eq!(shop.stands_at("1050").await, 0);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_check_bounces_from_the_account_that_had_it_though_that_is_retired() {
    for shop in TestShop::everywhere().await {
        let savings = shop.savings().await;
        let check = shop.got(900, PaymentMethod::Check, 0).await;
        let slip = BankReceipts {
            account_id: Some(savings.id),
            ..shop.slip(&[check.id])
        };
        bank_receipts(&shop.owner, slip).await.unwrap();
        let line = |account: &str, debit: Option<i64>, credit: Option<i64>| JournalLine {
            account: account.to_owned(),
            debit: debit.map(Cents),
            credit: credit.map(Cents),
            tax_level_id: None,
        };
        let emptied = PostJournal {
            idempotency_key: shop.key(),
            on: today(),
            memo: "To the other bank".to_owned(),
            lines: vec![line("1010", Some(900), None), line("1020", None, Some(900))],
        };
        post_journal(&shop.owner, emptied).await.unwrap();
        let read = AccountAsRead {
            account_id: savings.id,
            version: savings.version,
        };
        retire_account(&shop.owner, read).await.unwrap();
        let bounced = ReversePayment {
            idempotency_key: shop.key(),
            payment_id: check.id,
            kind: ReversalKind::Bounced,
            reason: "Not honoured".to_owned(),
            reversed_on: today(),
            charge_fee: false,
            bank_fee: Some(Cents(100)),
        };
        reverse_payment(&shop.owner, bounced).await.unwrap();
        assert_eq!(shop.stands_at("1020").await, -1_000);
        let chart = books::chart(shop.bench.app.db.read()).await.unwrap();
        let again = chart.iter().find(|row| row.id == savings.id).unwrap();
        assert_eq!(again.retired_at, None);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn damage_to_what_banks_gave_and_took_is_found() {
    let to_bank = "(SELECT id FROM account WHERE code = '1010')";
    for (sql, table) in [
        (
            "UPDATE payment SET waits_again_from = banked_on".to_owned(),
            "payment",
        ),
        (
            "DROP TRIGGER keep_refund_update; UPDATE refund SET bank_account_id = 5".to_owned(),
            "refund",
        ),
        (
            format!(
                "DROP TRIGGER keep_posting_update; UPDATE posting SET account_id = {to_bank} \
                 WHERE account_id = (SELECT id FROM account WHERE role = 'card_fees')"
            ),
            "bank_deposit",
        ),
        (
            format!(
                "DROP TRIGGER keep_posting_update; UPDATE posting SET account_id = {to_bank} \
                 WHERE account_id = (SELECT id FROM account WHERE role = 'other_expense')"
            ),
            "payment_reversal",
        ),
        (
            "UPDATE payment SET banked_before_at = recorded_at".to_owned(),
            "payment",
        ),
    ] {
        let shop = TestShop::open().await;
        let card = shop.got(12_000, PaymentMethod::Card, 0).await;
        shop.got(700, PaymentMethod::Cash, 0).await;
        let slip = BankReceipts {
            card_fee: Some(Cents(40)),
            ..shop.slip(&[card.id])
        };
        bank_receipts(&shop.owner, slip).await.unwrap();
        let back = RefundCredit {
            idempotency_key: shop.key(),
            customer_id: shop.customer_id,
            amount: Cents(700),
            method: PaymentMethod::Check,
            reference: None,
            refunded_on: today(),
            bank_account_id: None,
        };
        refund_credit(&shop.owner, back).await.unwrap();
        let check = shop.got(300, PaymentMethod::Check, 0).await;
        bank_receipts(&shop.owner, shop.slip(&[check.id]))
            .await
            .unwrap();
        let bounced = ReversePayment {
            idempotency_key: shop.key(),
            payment_id: check.id,
            kind: ReversalKind::Bounced,
            reason: "Not honoured".to_owned(),
            reversed_on: today(),
            charge_fee: false,
            bank_fee: Some(Cents(100)),
        };
        reverse_payment(&shop.owner, bounced).await.unwrap();
        shop.is_in_order().await;
        let found = shop.spoil(&sql).await;
        let of_table = found
            .iter()
            .any(|finding| finding.starts_with(&format!("{table} ")));
        assert!(of_table, "{sql} was not found: {found:?}");
    }
}
