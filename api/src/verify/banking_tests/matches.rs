//! What is matched and what is not, twice, late or damaged.

use std::fmt::Write;

use super::*;
use crate::banking::{
    BookBankLine, ConfirmMatch, Split, book_bank_line, confirm_match, reconcile_bank,
    save_bank_layout, unmatch,
};
use crate::base::ProblemCode::{
    ImpossibleDate, Malformed, NotFound, OutOfRange, PeriodClosed, Unbalanced, WrongState,
};
use crate::base::Role;
use sea_orm::EntityTrait;

/// Two rents and a slip at another bank, and two lines of this one: a rent, and money in that nobody knows.
async fn two_lines(shop: &TestShop) -> (i64, i64) {
    let bank = shop.read_bank().await;
    let savings = shop.savings().await;
    shop.hand(-4_200, 6, "Rent").await;
    shop.hand(-4_200, 5, "Rent of the store").await;
    let cash = shop.got(900, PaymentMethod::Cash, 4).await;
    let slip = BankReceipts {
        account_id: Some(savings.id),
        deposited_on: today() - Days::new(4),
        ..shop.slip(&[cash.id])
    };
    bank_receipts(&shop.owner, slip).await.unwrap();
    let rows = [(5, "RENT", "-42.00"), (3, "IN", "9.00")];
    shop.import(bank, &rows).await;
    let lines = shop.lines().await;
    (lines[0].id, lines[1].id)
}

fn group(line_ids: &[i64], posting_ids: &[i64]) -> ConfirmMatch {
    ConfirmMatch {
        line_ids: line_ids.to_vec(),
        posting_ids: posting_ids.to_vec(),
        reason: None,
    }
}

#[tokio::test]
async fn what_does_not_fit_is_not_matched_and_nothing_is_matched_twice() {
    for shop in TestShop::everywhere().await {
        let (rent, income) = two_lines(&shop).await;
        // Postings 1 and 3 are the bank's side of the two rents.
        let elsewhere = shop.posting_on("1020").await;
        for (code, path, order) in [
            (OutOfRange, "lineIds", group(&[], &[1])),
            (Malformed, "lineIds.1", group(&[rent, rent], &[1])),
            (NotFound, "lineIds.0", group(&[99], &[1])),
            (NotFound, "postingIds.0", group(&[rent], &[99])),
            (WrongState, "postingIds.0", group(&[income], &[elsewhere])),
            (WrongState, "postingIds.0", group(&[rent], &[2])),
            (Unbalanced, "postingIds", group(&[rent], &[1, 3])),
        ] {
            at(code, path, confirm_match(&shop.owner, order).await);
        }
        let order = group(&[rent], &[1]);
        let office = shop.bench.act_as(Role::Office).await;
        let (one, other) = tokio::join!(
            confirm_match(&office, order.clone()),
            confirm_match(&shop.owner, order)
        );
        let done = [one, other].iter().filter(|one| one.is_ok()).count();
        assert_eq!(done, 1, "one of two at once");
        let late = confirm_match(&shop.owner, group(&[rent], &[3])).await;
        at(WrongState, "lineIds.0", late);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_line_is_booked_by_the_owner_alone_on_accounts_that_take_it_and_open_days() {
    for shop in TestShop::everywhere().await {
        let (rent, income) = two_lines(&shop).await;
        confirm_match(&shop.owner, group(&[rent], &[1]))
            .await
            .unwrap();
        let book = |line_id: i64, splits: &[(&str, i64)]| BookBankLine {
            idempotency_key: shop.key(),
            line_id,
            memo: None,
            splits: splits
                .iter()
                .map(|(account, amount)| Split {
                    account: (*account).to_owned(),
                    amount: Cents(*amount),
                })
                .collect(),
        };
        let account = "splits.0.account";
        for (code, path, order) in [
            (WrongState, "lineId", book(rent, &[("6900", 4_200)])),
            (OutOfRange, "splits", book(income, &[])),
            (Unbalanced, "splits", book(income, &[("4090", 901)])),
            (WrongState, account, book(income, &[("1200", 900)])),
            (WrongState, account, book(income, &[("1050", 900)])),
            (WrongState, account, book(income, &[("1010", 900)])),
            (WrongState, account, book(income, &[("2200", 900)])),
            (NotFound, account, book(income, &[("9999", 900)])),
        ] {
            at(code, path, book_bank_line(&shop.owner, order).await);
        }
        let office = shop.bench.act_as(Role::Office).await;
        let denied = book_bank_line(&office, book(income, &[("4090", 900)])).await;
        assert!(matches!(denied, Err(crate::base::Error::Forbidden)));
        let yesterday = today() - Days::new(1);
        books::close_books(&shop.owner, yesterday).await.unwrap();
        let closed = book_bank_line(&shop.owner, book(income, &[("4090", 900)])).await;
        at(PeriodClosed, "lineId", closed);
        let undo = UndoDeposit {
            idempotency_key: shop.key(),
            deposit_id: 1,
            reason: "Wrong".to_owned(),
            undone_on: yesterday,
        };
        let closed = undo_deposit(&shop.owner, undo).await;
        at(PeriodClosed, "undoneOn", closed);
        shop.is_in_order().await;
    }
}

impl TestShop {
    /// The one posting of an account.
    async fn posting_on(&self, code: &str) -> i64 {
        let chart = books::chart(self.bench.app.db.read()).await.unwrap();
        let account = chart.iter().find(|row| row.code == code).unwrap();
        let rows = nameplate_entities::posting::Entity::find()
            .all(self.bench.app.db.read())
            .await
            .unwrap();
        let of = rows.iter().find(|row| row.account_id == account.id);
        of.unwrap().id
    }
}

#[tokio::test]
async fn a_deposit_on_a_statement_is_not_undone_until_the_match_is_taken_off() {
    for shop in TestShop::everywhere().await {
        let bank = shop.read_bank().await;
        let cash = shop.got(900, PaymentMethod::Cash, 4).await;
        let slip = BankReceipts {
            deposited_on: today() - Days::new(4),
            ..shop.slip(&[cash.id])
        };
        let slip = bank_receipts(&shop.owner, slip).await.unwrap();
        shop.import(bank, &[(3, "DEPOSIT", "9.00")]).await;
        assert_eq!(shop.confirm_clear(bank).await, 1);
        let undo = || UndoDeposit {
            idempotency_key: shop.key(),
            deposit_id: slip.id,
            reason: "Wrong".to_owned(),
            undone_on: today(),
        };
        at(
            WrongState,
            "depositId",
            undo_deposit(&shop.owner, undo()).await,
        );
        let matched = shop.lines().await[0].match_id.unwrap();
        unmatch(&shop.owner, matched).await.unwrap();
        undo_deposit(&shop.owner, undo()).await.unwrap();
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn damage_to_matches_and_reconciliations_is_found() {
    for sql in [
        "DELETE FROM bank_match_posting",
        "UPDATE bank_match_posting SET posting_id = 2",
        "UPDATE bank_reconciliation SET lines_cents = lines_cents + 1, closing_cents = closing_cents + 1",
        "UPDATE bank_reconciliation SET opening_cents = opening_cents + 1, closing_cents = closing_cents + 1",
        "UPDATE bank_line SET reconciliation_id = NULL",
        "UPDATE bank_reconciliation SET through_on = '2020-01-01'",
        "DROP TRIGGER keep_bank_line_update; UPDATE bank_line SET amount_cents = amount_cents + 1",
        "UPDATE bank_statement SET line_count = 2",
    ] {
        let shop = TestShop::open().await;
        let bank = shop.read_bank().await;
        shop.hand(-4_200, 6, "Rent").await;
        shop.import(bank, &[(5, "RENT", "-42.00")]).await;
        assert_eq!(shop.confirm_clear(bank).await, 1);
        reconcile_bank(&shop.owner, shop.reconcile(bank, 1, -4_200))
            .await
            .unwrap();
        shop.is_in_order().await;
        assert!(!shop.spoil(sql).await.is_empty(), "{sql} was not found");
    }
}

#[tokio::test]
async fn postings_that_cancel_each_other_need_no_line_and_a_reversal_is_paired_by_itself() {
    for shop in TestShop::everywhere().await {
        let bank = shop.read_bank().await;
        shop.hand(-4_200, 6, "Rent").await;
        shop.hand(4_200, 5, "Rent, given back").await;
        shop.hand(-700, 4, "Stamps").await;
        let alone = confirm_match(&shop.owner, group(&[], &[1])).await;
        at(OutOfRange, "lineIds", alone);
        let apart = confirm_match(&shop.owner, group(&[], &[1, 5])).await;
        at(Unbalanced, "postingIds", apart);
        let rents = group(&[], &[2, 4]);
        at(
            WrongState,
            "postingIds.0",
            confirm_match(&shop.owner, rents).await,
        );
        let day = today() - Days::new(1);
        let db = shop.bench.app.db.read();
        let outstanding = async || {
            let rows =
                crate::banking::outstanding(db, (bank, day), crate::banking::first(), 10).await;
            rows.unwrap().len()
        };
        assert_eq!(outstanding().await, 3);
        confirm_match(&shop.owner, group(&[], &[1, 3]))
            .await
            .unwrap();
        assert_eq!(outstanding().await, 1);
        let reversal = crate::books::ReverseJournal {
            idempotency_key: shop.key(),
            entry_id: 3,
            on: day,
            memo: "Bought by somebody else".to_owned(),
        };
        let undone = crate::books::reverse_journal(&shop.owner, reversal).await;
        assert!(undone.unwrap().memo.starts_with("Reversal of J-000003: "));
        let open = reconcile_bank(&shop.owner, shop.reconcile(bank, 0, 0)).await;
        at(ImpossibleDate, "through", open);
        reconcile_bank(&shop.owner, shop.reconcile(bank, 1, 0))
            .await
            .unwrap();
        assert_eq!(outstanding().await, 0);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_line_missing_in_the_file_is_told_by_its_own_balances_and_passes_with_a_reason() {
    for shop in TestShop::everywhere().await {
        let bank = shop.bank().await;
        let mut mixed = super::bank::layout(bank);
        mixed.columns = super::bank::names("Date");
        at(
            Malformed,
            "columns.amount",
            save_bank_layout(&shop.owner, mixed).await,
        );
        let mut read = super::bank::layout(bank);
        read.columns.balance = Some("Balance".to_owned());
        save_bank_layout(&shop.owner, read).await.unwrap();
        let mut file = "Date,Description,Amount,Currency,Balance\r\n".to_owned();
        let rows = [
            (9, 1_000, 11_000),
            (8, -400, 10_600),
            (7, 100, 10_200),
            (6, 50, 10_250),
        ];
        for (days_ago, amount, balance) in rows {
            shop.hand(amount, days_ago, "Moved").await;
            let day = today() - Days::new(days_ago);
            let (amount, balance) = (Cents(amount), Cents(balance));
            write!(file, "{day},MOVED,{amount},USD,{balance}\r\n").unwrap();
        }
        shop.take(bank, file.as_bytes()).await.unwrap();
        assert_eq!(shop.confirm_clear(bank).await, 4);
        let mut order = shop.reconcile(bank, 1, 750);
        at(
            Unbalanced,
            "through",
            reconcile_bank(&shop.owner, order.clone()).await,
        );
        order.despite = Some("The bank booked 5.00 twice and took it back".to_owned());
        reconcile_bank(&shop.owner, order).await.unwrap();
        shop.is_in_order().await;
    }
}
