//! Files of a bank, and a month from the file to its reconciliation.

use super::bank::{layout, names};
use super::*;
use crate::banking::{
    BankColumns, BookBankLine, ConfirmMatch, Purpose, SaveBankLayout, Split, StartBankAccount,
    book_bank_line, confirm_match, import_statement, proposals, reconcile_bank,
    reopen_reconciliation, save_bank_layout, standing, start_bank_account, take_back_statement,
    unmatch,
};
use crate::base::ProblemCode::{
    Conflict, ImpossibleDate, Malformed, Missing, NotFound, OutOfRange, SettingMissing, Unbalanced,
    WrongState,
};
use nameplate_entities::kinds::{BankDelimiter, BankEncoding, DateOrder, DecimalSign};
use nameplate_entities::{bank_line, bank_statement};
use sea_orm::{EntityTrait, PaginatorTrait};

#[tokio::test]
async fn a_month_is_matched_split_reconciled_and_a_back_dated_entry_does_not_move_it() {
    for shop in TestShop::everywhere().await {
        let bank = shop.read_bank().await;
        let start = shop.begun_month(bank).await;
        let seen = proposals(shop.bench.app.db.read(), bank).await.unwrap();
        let reasons: Vec<&str> = seen.iter().map(|one| one.reason.as_str()).collect();
        assert_eq!(
            reasons,
            [
                "same amount, 2 days apart, reference 1042 in the text",
                "same amount, 1 day apart"
            ]
        );
        assert_eq!(shop.confirm_clear(bank).await, 2);
        let early = reconcile_bank(&shop.owner, shop.reconcile(bank, 1, 54_000)).await;
        at(WrongState, "through", early);
        shop.rest_matched(start.id).await;
        let off = reconcile_bank(&shop.owner, shop.reconcile(bank, 1, 54_001)).await;
        at(Unbalanced, "closingBalance", off);
        let order = shop.reconcile(bank, 1, 54_000);
        let done = reconcile_bank(&shop.owner, order.clone()).await.unwrap();
        let twice = reconcile_bank(&shop.owner, order).await.unwrap();
        assert_eq!((done.id, done.lines_cents), (twice.id, 54_000));
        let again = reconcile_bank(&shop.owner, shop.reconcile(bank, 1, 54_000)).await;
        at(ImpossibleDate, "through", again);
        shop.is_in_order().await;

        shop.hand(-123, 10, "Found in a drawer").await;
        let db = shop.bench.app.db.read();
        let now = standing(db, bank, done.through_on).await.unwrap();
        assert_eq!((now.outstanding_out_cents, now.later_cents), (-823, 0));
        assert_eq!(now.books_cents, 54_000 - 823);
        let matched = shop.lines().await.first().unwrap().match_id.unwrap();
        at(WrongState, "matchId", unmatch(&shop.owner, matched).await);
        let day = today() - Days::new(5);
        let file = format!("Date,Description,Amount,Currency\n{day},NEW,1.00,USD\n");
        let faults = shop.take(bank, file.as_bytes()).await.err().unwrap();
        assert_eq!((faults[0].code, faults[0].line), (WrongState, 2));
        shop.is_in_order().await;

        let reason = "The rent was another".to_owned();
        let open = reopen_reconciliation(&shop.owner, (done.id, reason.clone())).await;
        assert_eq!(open.unwrap().reopened_because, Some(reason.clone()));
        let twice = reopen_reconciliation(&shop.owner, (done.id, reason)).await;
        at(WrongState, "reconciliationId", twice);
        unmatch(&shop.owner, matched).await.unwrap();
        shop.is_in_order().await;
    }
}

impl TestShop {
    /// Capital before the first statement, a card, the rent and something that the bank does not know yet; then the file.
    async fn begun_month(&self, bank: i64) -> bank_line::Model {
        self.hand(50_000, 30, "Capital").await;
        let card = self.got(10_000, PaymentMethod::Card, 9).await;
        let slip = BankReceipts {
            deposited_on: today() - Days::new(8),
            card_fee: Some(Cents(300)),
            ..self.slip(&[card.id])
        };
        bank_receipts(&self.owner, slip).await.unwrap();
        self.hand(-4_200, 6, "Rent, check 1042").await;
        self.hand(-700, 3, "Not seen by the bank yet").await;
        let start = StartBankAccount {
            idempotency_key: self.key(),
            account_id: bank,
            on: today() - Days::new(20),
            balance: Cents(50_000),
        };
        let start = start_bank_account(&self.owner, start).await.unwrap();
        let rows = [
            (7, "CARD PAYOUT", "97.00"),
            (4, "CHECK 001042", "-42.00"),
            (2, "MONTHLY FEE", "-15.00"),
        ];
        let taken = self.import(bank, &rows).await;
        assert_eq!((taken.new_count, taken.known_count), (3, 0));
        let again = self.import(bank, &rows[1..]).await;
        assert_eq!((again.statement_id, again.known_count), (None, 2));
        start
    }

    /// Matches the balance it began with to the capital, and books the bank's fee.
    async fn rest_matched(&self, start_id: i64) {
        let capital = ConfirmMatch {
            line_ids: vec![start_id],
            posting_ids: vec![1],
            reason: None,
        };
        confirm_match(&self.owner, capital).await.unwrap();
        let fee = self.lines().await.pop().unwrap();
        let split = |account: &str, amount: i64| Split {
            account: account.to_owned(),
            amount: Cents(amount),
        };
        let booking = BookBankLine {
            idempotency_key: self.key(),
            line_id: fee.id,
            memo: None,
            splits: vec![split("6900", 1_000), split("6200", 500)],
        };
        book_bank_line(&self.owner, booking).await.unwrap();
    }
}

#[tokio::test]
async fn a_file_that_cannot_be_read_is_refused_by_line_and_column_and_nothing_is_written() {
    for shop in TestShop::everywhere().await {
        let bank = shop.bank().await;
        let file = b"Date,Description,Amount,Currency\n2026-05-02,Tea,-1.00,USD\n";
        let unread = import_statement(&shop.owner, bank, file, Purpose::TakeIn).await;
        at(SettingMissing, "bankAccountId", unread.map(drop));
        let bank = shop.read_bank().await;
        let head = "Date,Description,Amount,Currency\n2026-05-02,Tea,-1.00,USD\n";
        let caf = b"2026-05-03,Caf\xe9,-1.00,USD\n";
        let coming = format!("{},x,1.00,USD", today() + Days::new(1));
        for (row, line, column, code) in [
            (&b"2026-05-03,x,1.2.3,USD"[..], 3, Some("Amount"), Malformed),
            (b"05/03/2026,x,1.00,USD", 3, Some("Date"), Malformed),
            (b"2026-05-03,x,1.00,EUR", 3, Some("Currency"), Malformed),
            (b"2026-05-03,x", 3, Some("Amount"), Missing),
            (
                b"2026-05-03,x,99999999999.00,USD",
                3,
                Some("Amount"),
                OutOfRange,
            ),
            (
                b"2026-05-03,x\x07,1.00,USD",
                3,
                Some("Description"),
                Malformed,
            ),
            (b"2026-05-03,\"x,1.00,USD", 3, None, Malformed),
            (caf, 3, None, Malformed),
            (coming.as_bytes(), 3, Some("Date"), ImpossibleDate),
        ] {
            let file = [head.as_bytes(), row].concat();
            let faults = shop.take(bank, &file).await.err().unwrap();
            let first = &faults[0];
            let found = (first.line, first.column.as_deref(), first.code);
            assert_eq!(found, (line, column, code), "{first:?}");
        }
        let empty = shop.take(bank, b"Date,Description,Amount,Currency\n").await;
        assert_eq!(empty.err().unwrap()[0].code, Missing);
        let nameless = shop.take(bank, b"Day,Description,Amount,Currency\n").await;
        assert_eq!(nameless.err().unwrap()[0].column.as_deref(), Some("Date"));
        let wide = shop.take(bank, b"\xff\xfeD\0a\0").await;
        assert_eq!(wide.err().unwrap()[0].code, Malformed);
        let db = shop.bench.app.db.read();
        assert_eq!(bank_line::Entity::find().count(db).await.unwrap(), 0);
        assert_eq!(bank_statement::Entity::find().count(db).await.unwrap(), 0);
    }
}

#[tokio::test]
async fn a_file_in_windows_1252_with_two_columns_by_place_is_read_and_overlaps_are_told_apart() {
    for shop in TestShop::everywhere().await {
        let bank = shop.bank().await;
        let place = |at: &str| Some(at.to_owned());
        let of_places = SaveBankLayout {
            delimiter: BankDelimiter::Semicolon,
            has_header: false,
            encoding: BankEncoding::Windows1252,
            date_order: DateOrder::DayMonthYear,
            decimal_sign: DecimalSign::Comma,
            columns: BankColumns {
                day: "1".to_owned(),
                amount: None,
                money_in: place("3"),
                money_out: place("4"),
                words: "2".to_owned(),
                currency: None,
                bank_key: place("5"),
                ..names("")
            },
            ..layout(bank)
        };
        save_bank_layout(&shop.owner, of_places.clone())
            .await
            .unwrap();
        let again = save_bank_layout(&shop.owner, of_places).await;
        at(Conflict, "version", again);
        let file = b"02.05.2026;Caf\xe9;;1.234,50;\r\n02.05.2026;Caf\xe9;;1.234,50;\r\n03.05.2026;Zins;2,00;;B77\r\n";
        let taken = shop.take(bank, file).await.unwrap();
        assert_eq!(taken.new_count, 3);
        let lines = shop.lines().await;
        assert_eq!(
            (lines[0].words.as_str(), lines[0].amount_cents),
            ("Café", -123_450)
        );
        assert_eq!((lines[1].occurrence, lines[2].amount_cents), (2, 200));
        let more = b"02.05.2026;Caf\xe9;;1.234,50;\r\n03.05.2026;Zins anders;2,00;;B77\r\n04.05.2026;Neu;1,00;;B78\r\n";
        let taken = shop.take(bank, more).await.unwrap();
        assert_eq!((taken.new_count, taken.known_count), (1, 2));
        let other = b"03.05.2026;Zins;3,00;;B77\r\n";
        assert_eq!(
            shop.take(bank, other).await.err().unwrap()[0].code,
            Conflict
        );
        let twice = b"05.05.2026;x;3,00;;B80\r\n05.05.2026;y;3,00;;B80\r\n";
        let faults = shop.take(bank, twice).await.err().unwrap();
        assert_eq!(
            (faults[0].line, faults[0].column.as_deref()),
            (2, Some("5"))
        );
        let utf8 = "05.05.2026;Café;3,00;;\r\n".as_bytes();
        assert_eq!(
            shop.take(bank, utf8).await.err().unwrap()[0].code,
            Malformed
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_layout_that_cannot_be_is_refused_with_the_column() {
    for shop in TestShop::everywhere().await {
        let bank = shop.bank().await;
        let bad = SaveBankLayout {
            has_header: false,
            columns: BankColumns {
                amount: None,
                money_in: Some("2".to_owned()),
                words: "3".to_owned(),
                currency: None,
                ..names("")
            },
            ..layout(bank)
        };
        let refused = refusals(save_bank_layout(&shop.owner, bad).await);
        let paths: Vec<&str> = refused.iter().map(|(_, path)| path.as_str()).collect();
        assert_eq!(paths, ["columns.amount", "columns.day"]);
    }
}

#[tokio::test]
async fn a_file_is_taken_back_while_nothing_of_it_is_matched_and_comes_again() {
    for shop in TestShop::everywhere().await {
        let bank = shop.read_bank().await;
        shop.hand(500, 4, "Capital").await;
        let first = shop.import(bank, &[(4, "TRANSFER", "5.00")]).await;
        let rows = [(3, "COFFEE", "-3.00"), (3, "COFFEE", "-3.00")];
        let second = shop.import(bank, &rows[..1]).await;
        let third = shop.import(bank, &rows).await;
        assert_eq!((third.new_count, third.known_count), (1, 1));
        let (first, second) = (first.statement_id.unwrap(), second.statement_id.unwrap());
        assert_eq!(shop.confirm_clear(bank).await, 1);
        at(
            WrongState,
            "statementId",
            take_back_statement(&shop.owner, first).await,
        );
        let gone = take_back_statement(&shop.owner, second).await.unwrap();
        assert_eq!(gone.line_count, 1);
        at(
            NotFound,
            "statementId",
            take_back_statement(&shop.owner, second).await,
        );
        assert_eq!(shop.lines().await.len(), 2);
        shop.is_in_order().await;
        // One of the two is still on record by the third file, so one is new.
        let again = shop.import(bank, &rows).await;
        assert_eq!((again.new_count, again.known_count), (1, 1));
        assert_eq!(shop.lines().await.len(), 3);
        shop.is_in_order().await;
    }
}
