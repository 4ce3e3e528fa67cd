//! The chart as it changes, years that are closed and opened again, and the plans behind the reports.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::AccountKind;
use nameplate_entities::kinds::PeriodEventKind::{
    BooksClosed, BooksReopened, YearClosed, YearReopened,
};
use nameplate_entities::{account, period_event};
use sea_orm::{
    ConnectionTrait, DatabaseBackend, EntityTrait, FromQueryResult, QueryOrder, QuerySelect,
    QueryTrait, Statement,
};

use super::store::balances;
use super::tests::{entry, line, open_books_everywhere, today, trial_balance};
use super::*;
use crate::base::testing::refusals;
use crate::base::{Act, ProblemCode};

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

async fn account(act: &Act, code: &str) -> account::Model {
    let chart = chart(act.app.db.read()).await.unwrap();
    chart.into_iter().find(|row| row.code == code).unwrap()
}

async fn read(act: &Act, code: &str) -> AccountAsRead {
    let row = account(act, code).await;
    AccountAsRead {
        account_id: row.id,
        version: row.version,
    }
}

async fn post(act: &Act, on: &str, (debit, credit, cents): (&str, &str, i64)) {
    let lines = vec![
        line(debit, Some(cents), None),
        line(credit, None, Some(cents)),
    ];
    let key = format!("{on} {debit} {credit}");
    post_journal(act, entry(&key, day(on), lines))
        .await
        .unwrap();
}

fn year(key: &str, year: i32) -> CloseYear {
    CloseYear {
        idempotency_key: key.to_owned(),
        year,
    }
}

fn reopen(key: &str, closed_through: Option<&str>) -> ReopenBooks {
    ReopenBooks {
        idempotency_key: key.to_owned(),
        closed_through: closed_through.map(day),
        reason: "A bill was forgotten".to_owned(),
    }
}

/// Income of the year 2025: revenue 900, expense 350; the owner took 100.
async fn busy_year(act: &Act) {
    post(act, "2025-03-02", ("1010", "3010", 1_000)).await;
    post(act, "2025-06-02", ("1010", "4020", 900)).await;
    post(act, "2025-07-02", ("6900", "1010", 350)).await;
    post(act, "2025-12-31", ("3100", "1010", 100)).await;
    post(act, "2026-01-05", ("1010", "4020", 70)).await;
}

async fn income(act: &Act, from: &str, to: &str) -> BTreeMap<String, i64> {
    let days = Days {
        from: Some(day(from)),
        through: Some(day(to)),
        closings: Closings::LeaveOut,
        without_invoices: false,
    };
    let rows = super::balances(act.app.db.read(), days).await.unwrap();
    let of_income = |kind| matches!(kind, AccountKind::Revenue | AccountKind::Expense);
    rows.into_iter()
        .filter(|row| of_income(row.kind))
        .map(|row| (row.code, row.balance_cents))
        .collect()
}

fn sums(rows: &[(&str, i64)]) -> BTreeMap<String, i64> {
    rows.iter()
        .map(|(code, cents)| ((*code).to_owned(), *cents))
        .collect()
}

#[tokio::test]
async fn a_closed_year_leaves_its_result_in_retained_earnings_and_its_income_statement_as_it_was() {
    for (_bench, owner) in open_books_everywhere().await {
        busy_year(&owner).await;
        let of_the_year = sums(&[("4020", -900), ("6900", 350)]);
        assert_eq!(
            income(&owner, "2025-01-01", "2025-12-31").await,
            of_the_year
        );
        let closing = close_year(&owner, year("a", 2025)).await.unwrap();
        assert_eq!(
            (closing.entry_on, closing.closes_year),
            (day("2025-12-31"), Some(2025))
        );
        assert_eq!(
            close_year(&owner, year("a", 2025)).await.unwrap().id,
            closing.id
        );
        let after = sums(&[("1010", 1_450), ("3010", -1_000), ("3900", -450)]);
        assert_eq!(trial_balance(&owner, day("2025-12-31")).await.0, after);
        assert_eq!(
            income(&owner, "2025-01-01", "2025-12-31").await,
            of_the_year
        );
        assert_eq!(
            income(&owner, "2025-06-01", "2026-01-31").await["4020"],
            -970
        );
        // Nothing more goes into the year, nor is it closed twice.
        let lines = vec![line("1010", Some(5), None), line("4020", None, Some(5))];
        let late = post_journal(&owner, entry("late", day("2025-12-31"), lines)).await;
        assert_eq!(
            refusals(late),
            [(ProblemCode::PeriodClosed, "on".to_owned())]
        );
        let again = close_year(&owner, year("b", 2025)).await;
        assert_eq!(
            refusals(again),
            [(ProblemCode::WrongState, "year".to_owned())]
        );
        let earlier = close_year(&owner, year("c", 2024)).await;
        assert_eq!(
            refusals(earlier),
            [(ProblemCode::WrongState, "year".to_owned())]
        );
    }
}

#[tokio::test]
async fn a_year_is_closed_after_the_one_before_it() {
    for (_bench, owner) in open_books_everywhere().await {
        for (key, on) in [("old", "2024-03-01"), ("new", "2025-03-01")] {
            let lines = vec![line("1010", Some(500), None), line("4020", None, Some(500))];
            post_journal(&owner, entry(key, day(on), lines))
                .await
                .unwrap();
        }
        let early = close_year(&owner, year("a", 2025)).await;
        assert_eq!(
            refusals(early),
            [(ProblemCode::WrongState, "year".to_owned())]
        );
        close_year(&owner, year("b", 2024)).await.unwrap();
        close_year(&owner, year("c", 2025)).await.unwrap();
    }
}

#[tokio::test]
async fn a_year_that_is_not_over_or_is_none_or_held_nothing_is_not_closed() {
    for (_bench, owner) in open_books_everywhere().await {
        let code = async |key: &str, number| {
            refusals(close_year(&owner, year(key, number)).await)[0].clone()
        };
        let at = |code| (code, "year".to_owned());
        assert_eq!(code("a", 2026).await, at(ProblemCode::ImpossibleDate));
        assert_eq!(code("b", 0).await, at(ProblemCode::OutOfRange));
        assert_eq!(code("c", i32::MAX).await, at(ProblemCode::OutOfRange));
        assert_eq!(code("d", 2025).await, at(ProblemCode::WrongState));
        assert_eq!(trial_balance(&owner, today()).await.1, 0);
    }
}

#[tokio::test]
async fn a_year_may_end_in_another_month() {
    for (_bench, owner) in open_books_everywhere().await {
        busy_year(&owner).await;
        let tx = owner.app.db.write().await.unwrap();
        tx.execute_unprepared("UPDATE shop SET fiscal_year_end_month = 2")
            .await
            .unwrap();
        tx.commit().await.unwrap();
        let closing = close_year(&owner, year("a", 2026)).await.unwrap();
        assert_eq!(closing.entry_on, day("2026-02-28"));
        let after = sums(&[("1010", 1_520), ("3010", -1_000), ("3900", -520)]);
        assert_eq!(trial_balance(&owner, day("2026-02-28")).await.0, after);
    }
}

#[tokio::test]
async fn opening_closed_days_again_undoes_the_year_and_says_who_and_why() {
    for (_bench, owner) in open_books_everywhere().await {
        busy_year(&owner).await;
        let before = trial_balance(&owner, today()).await;
        close_year(&owner, year("a", 2025)).await.unwrap();
        close_books(&owner, day("2026-01-31")).await.unwrap();
        let too_far = reopen_books(&owner, reopen("x", Some("2026-01-31"))).await;
        assert_eq!(
            refusals(too_far),
            [(ProblemCode::WrongState, "closedThrough".to_owned())]
        );
        let silent = ReopenBooks {
            reason: " ".to_owned(),
            ..reopen("y", None)
        };
        let silent = reopen_books(&owner, silent).await;
        assert_eq!(
            refusals(silent),
            [(ProblemCode::Missing, "reason".to_owned())]
        );
        // January alone: the year stays closed.
        reopen_books(&owner, reopen("b", Some("2025-12-31")))
            .await
            .unwrap();
        assert_eq!(
            trial_balance(&owner, day("2025-12-31")).await.0["3900"],
            -450
        );
        let shop = reopen_books(&owner, reopen("c", Some("2025-11-30")))
            .await
            .unwrap();
        assert_eq!(shop.books_closed_through, Some(day("2025-11-30")));
        let repeated = reopen_books(&owner, reopen("c", Some("2025-11-30")))
            .await
            .unwrap();
        assert_eq!(repeated.version, shop.version);
        assert_eq!(trial_balance(&owner, today()).await, before);
        assert_eq!(
            income(&owner, "2025-01-01", "2025-12-31").await["4020"],
            -900
        );
        post(&owner, "2025-12-30", ("6900", "1010", 50)).await;
        close_year(&owner, year("d", 2025)).await.unwrap();
        assert_eq!(
            trial_balance(&owner, day("2025-12-31")).await.0["3900"],
            -400
        );
        let events = period_event::Entity::find()
            .order_by_asc(period_event::Column::Id)
            .all(owner.app.db.read())
            .await
            .unwrap();
        let told: Vec<_> = events
            .iter()
            .map(|event| (event.kind, event.closed_through, event.reason.is_some()))
            .collect();
        assert_eq!(
            told,
            [
                (YearClosed, Some(day("2025-12-31")), false),
                (BooksClosed, Some(day("2026-01-31")), false),
                (BooksReopened, Some(day("2025-12-31")), true),
                (BooksReopened, Some(day("2025-11-30")), true),
                (YearReopened, Some(day("2025-11-30")), true),
                (YearClosed, Some(day("2025-12-31")), false),
            ]
        );
    }
}

#[tokio::test]
async fn an_account_is_renumbered_and_its_entries_keep_to_it() {
    for (_bench, owner) in open_books_everywhere().await {
        busy_year(&owner).await;
        let change = |read, code: Option<&str>| ChangeAccount {
            read,
            code: code.map(str::to_owned),
            name: Some("Checking".to_owned()),
            is_bank: None,
        };
        let stale = read(&owner, "1010").await;
        let row = change_account(&owner, change(stale, Some("1000")))
            .await
            .unwrap();
        assert_eq!(
            (&*row.code, &*row.name, row.is_bank),
            ("1000", "Checking", true)
        );
        assert_eq!(trial_balance(&owner, today()).await.0["1000"], 1_520);
        let again = change_account(&owner, change(stale, None)).await;
        assert_eq!(
            refusals(again),
            [(ProblemCode::Conflict, "version".to_owned())]
        );
        let taken = change_account(&owner, change(read(&owner, "1000").await, Some("1050"))).await;
        assert_eq!(refusals(taken)[0].0, ProblemCode::Taken);
        let bank = |read, is_bank| ChangeAccount {
            read,
            code: None,
            name: None,
            is_bank: Some(is_bank),
        };
        let unmarked = change_account(&owner, bank(read(&owner, "1000").await, false)).await;
        assert_eq!(
            refusals(unmarked),
            [(ProblemCode::WrongState, "isBank".to_owned())]
        );
        let expense = change_account(&owner, bank(read(&owner, "6900").await, true)).await;
        assert_eq!(
            refusals(expense),
            [(ProblemCode::Malformed, "isBank".to_owned())]
        );
        let savings = AddAccount {
            code: "1020".to_owned(),
            name: "Savings".to_owned(),
            kind: AccountKind::Asset,
            is_bank: true,
        };
        assert!(add_account(&owner, savings).await.unwrap().is_bank);
    }
}

#[tokio::test]
async fn an_account_is_retired_at_zero_only_and_takes_no_more_entries_until_it_is_restored() {
    for (_bench, owner) in open_books_everywhere().await {
        let van = AddAccount {
            code: "1500".to_owned(),
            name: "Van".to_owned(),
            kind: AccountKind::Asset,
            is_bank: false,
        };
        add_account(&owner, van).await.unwrap();
        post(&owner, "2026-01-05", ("1500", "3010", 700)).await;
        let at = |code| [(code, "accountId".to_owned())];
        for code in ["1500", "1010"] {
            let refused = retire_account(&owner, read(&owner, code).await).await;
            assert_eq!(refusals(refused), at(ProblemCode::WrongState), "{code}");
        }
        let lines = vec![line("1010", Some(700), None), line("1500", None, Some(700))];
        let sold = post_journal(&owner, entry("sold", day("2026-02-05"), lines.clone())).await;
        let sold = sold.unwrap();
        retire_account(&owner, read(&owner, "1500").await)
            .await
            .unwrap();
        let twice = retire_account(&owner, read(&owner, "1500").await).await;
        assert_eq!(refusals(twice), at(ProblemCode::WrongState));
        let refused = post_journal(&owner, entry("more", day("2026-02-06"), lines)).await;
        let path = "lines.1.account".to_owned();
        assert_eq!(refusals(refused), [(ProblemCode::WrongState, path)]);
        let undo = ReverseJournal {
            idempotency_key: "undo".to_owned(),
            entry_id: sold.id,
            on: day("2026-02-06"),
            memo: "Not sold".to_owned(),
        };
        let refused = reverse_journal(&owner, undo.clone()).await;
        assert_eq!(
            refusals(refused),
            [(ProblemCode::WrongState, "entryId".to_owned())]
        );
        restore_account(&owner, read(&owner, "1500").await)
            .await
            .unwrap();
        reverse_journal(&owner, undo).await.unwrap();
        assert_eq!(trial_balance(&owner, today()).await.0["1500"], 700);
    }
}

#[derive(FromQueryResult)]
struct SqlitePlan {
    detail: String,
}

/// How the database means to carry a statement out, as text.
async fn plan(act: &Act, statement: Statement) -> String {
    let tx = act.app.db.write().await.unwrap();
    let backend = tx.get_database_backend();
    let explain = |word: &str| {
        let values = statement
            .values
            .clone()
            .map(|values| values.0)
            .unwrap_or_default();
        Statement::from_sql_and_values(backend, format!("{word} {}", statement.sql), values)
    };
    if backend == DatabaseBackend::Sqlite {
        let rows = SqlitePlan::find_by_statement(explain("EXPLAIN QUERY PLAN"))
            .all(&tx)
            .await;
        return rows
            .unwrap()
            .into_iter()
            .map(|row| row.detail + "\n")
            .collect();
    }
    // A table of a few rows is read whole whatever indexes there are.
    tx.execute_unprepared("SET LOCAL enable_seqscan = off; SET LOCAL enable_bitmapscan = off")
        .await
        .unwrap();
    let rows = tx.query_all_raw(explain("EXPLAIN")).await.unwrap();
    rows.iter()
        .map(|row| row.try_get_by_index::<String>(0).unwrap() + "\n")
        .collect()
}

/// Whether each look into the postings goes to some days or to one entry, where `PostgreSQL` says so on the line below.
fn postings_are_narrowed(plan: &str) -> bool {
    let below = plan.lines().skip(1);
    plan.lines()
        .zip(below)
        .filter(|(line, _)| line.contains(" on posting "))
        .all(|(_, condition)| condition.contains("entry_on") || condition.contains("entry_id"))
}

#[tokio::test]
async fn an_index_serves_the_trial_balance_and_the_general_ledger() {
    for (_bench, owner) in open_books_everywhere().await {
        busy_year(&owner).await;
        let db = owner.app.db.read();
        let month = Days {
            from: Some(day("2025-06-01")),
            ..Days::through(day("2025-06-30"))
        };
        let paid_month = Days {
            without_invoices: true,
            ..month
        };
        for days in [Days::through(today()), month, paid_month] {
            let plan = plan(&owner, balances::statement(db, days)).await;
            assert!(plan.contains("ix_posting_balance"), "{plan}");
            let rows_are_read = plan.contains("SCAN p") || plan.contains("Seq Scan on posting");
            assert!(!rows_are_read, "{plan}");
            assert!(postings_are_narrowed(&plan), "{plan}");
        }
        let bank = account(&owner, "1010").await;
        let lines = balances::lines(bank.id, day("2025-01-01"), today())
            .order_by_asc(nameplate_entities::posting::Column::EntryOn)
            .order_by_asc(nameplate_entities::posting::Column::Id)
            .limit(26)
            .build(db.get_database_backend());
        let plan = plan(&owner, lines).await;
        assert!(plan.contains("ix_posting_balance"), "{plan}");
        assert!(
            !plan.contains("TEMP B-TREE") && !plan.contains("Sort"),
            "{plan}"
        );
    }
}
