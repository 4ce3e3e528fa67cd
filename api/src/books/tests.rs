use std::collections::BTreeMap;

use chrono::{Days as Span, NaiveDate};
use nameplate_entities::kinds::AccountKind;
use nameplate_rules::money::Cents;
use serde::Deserialize;

use super::*;
use crate::base::testing::{Bench, noon, refusals};
use crate::base::{Act, ProblemCode, Role};
use crate::shop;

/// A course's printed cycle: accounts by kind, entries as (debit, credit, whole dollars), balances.
#[derive(Deserialize)]
struct Case {
    input: Cycle,
    expected: Printed,
}

#[derive(Deserialize)]
struct Cycle {
    accounts: BTreeMap<String, AccountKind>,
    journal: Vec<(String, String, i64)>,
    adjustments: Vec<(String, String, i64)>,
}

#[derive(Deserialize)]
struct Printed {
    unadjusted: Vec<(String, i64)>,
    unadjusted_total: i64,
    adjusted: Vec<(String, i64)>,
    adjusted_total: i64,
}

pub async fn open_books() -> (Bench, Act) {
    opened(Bench::new().await).await
}

/// The same on each database there is to test on.
pub async fn open_books_everywhere() -> Vec<(Bench, Act)> {
    let mut all = Vec::new();
    for bench in Bench::everywhere().await {
        all.push(opened(bench).await);
    }
    all
}

async fn opened(bench: Bench) -> (Bench, Act) {
    shop::open(&bench.program()).await.unwrap();
    open(&bench.program()).await.unwrap();
    let owner = bench.act_as(Role::Owner).await;
    (bench, owner)
}

pub fn today() -> NaiveDate {
    noon().date_naive()
}

pub fn line(account: &str, debit: Option<i64>, credit: Option<i64>) -> JournalLine {
    JournalLine {
        account: account.to_owned(),
        debit: debit.map(Cents),
        credit: credit.map(Cents),
        tax_level_id: None,
    }
}

pub fn entry(key: &str, on: NaiveDate, lines: Vec<JournalLine>) -> PostJournal {
    PostJournal {
        idempotency_key: key.to_owned(),
        on,
        memo: "As told".to_owned(),
        lines,
    }
}

async fn post_all(act: &Act, on: NaiveDate, entries: &[(String, String, i64)]) {
    for (at, (debit, credit, dollars)) in entries.iter().enumerate() {
        let lines = vec![
            line(debit, Some(dollars * 100), None),
            line(credit, None, Some(dollars * 100)),
        ];
        post_journal(act, entry(&format!("{on} {at}"), on, lines))
            .await
            .unwrap();
    }
}

pub async fn trial_balance(act: &Act, on: NaiveDate) -> (BTreeMap<String, i64>, i64) {
    let rows = balances(act.app.db.read(), Days::through(on))
        .await
        .unwrap();
    let rows: BTreeMap<String, i64> = rows
        .into_iter()
        .filter(|row| row.balance_cents != 0)
        .map(|row| (row.code, row.balance_cents))
        .collect();
    let debits = rows.values().filter(|cents| **cents > 0).sum();
    let credits: i64 = rows.values().filter(|cents| **cents < 0).sum();
    assert_eq!(debits, -credits);
    (rows, debits)
}

/// A code has at most 20 characters.
fn code(name: &str) -> String {
    name.chars().take(20).collect()
}

fn cents(dollars: &[(String, i64)]) -> BTreeMap<String, i64> {
    dollars
        .iter()
        .map(|(account, amount)| (code(account), amount * 100))
        .collect()
}

#[tokio::test]
async fn a_printed_cycle_entered_by_hand_gives_both_its_trial_balances_to_the_cent() {
    let text = include_str!("../../../fixtures/worked/books-cycle.json");
    let cases: Vec<Case> = serde_json::from_str(text).unwrap();
    let Case { input, expected } = cases.into_iter().next().unwrap();
    let (_bench, owner) = open_books().await;
    for (name, kind) in &input.accounts {
        let new = AddAccount {
            code: code(name),
            name: name.clone(),
            kind: *kind,
            is_bank: false,
        };
        add_account(&owner, new).await.unwrap();
    }
    let coded = |entries: &[(String, String, i64)]| {
        let coded = entries
            .iter()
            .map(|(d, c, amount)| (code(d), code(c), *amount));
        coded.collect::<Vec<_>>()
    };
    let month_end = today() - Span::new(1);
    post_all(&owner, month_end, &coded(&input.journal)).await;
    post_all(&owner, today(), &coded(&input.adjustments)).await;
    let unadjusted = (cents(&expected.unadjusted), expected.unadjusted_total * 100);
    assert_eq!(trial_balance(&owner, month_end).await, unadjusted);
    let adjusted = (cents(&expected.adjusted), expected.adjusted_total * 100);
    assert_eq!(trial_balance(&owner, today()).await, adjusted);
}

#[tokio::test]
async fn an_entry_that_is_crooked_negative_unknown_or_on_a_control_account_is_refused_whole() {
    let (_bench, owner) = open_books().await;
    let crooked = vec![line("1010", Some(100), None), line("3010", None, Some(99))];
    let outcome = post_journal(&owner, entry("a", today(), crooked)).await;
    assert_eq!(
        refusals(outcome),
        [(ProblemCode::Unbalanced, "lines".to_owned())]
    );
    let wrong = vec![
        line("1010", Some(-5), None),
        line("no such", Some(5), None),
        line("1200", None, Some(5)),
        line("2200", None, Some(5)),
        line("1010", Some(5), Some(5)),
    ];
    let outcome = post_journal(&owner, entry("b", today(), wrong)).await;
    assert_eq!(
        refusals(outcome),
        [
            (ProblemCode::NegativeMoney, "lines.0.debit".to_owned()),
            (ProblemCode::NotFound, "lines.1.account".to_owned()),
            (ProblemCode::WrongState, "lines.2.account".to_owned()),
            (ProblemCode::Malformed, "lines.3.taxLevelId".to_owned()),
            (ProblemCode::Missing, "lines.4.debit".to_owned()),
        ]
    );
    assert_eq!(trial_balance(&owner, today()).await.1, 0);
}

#[tokio::test]
async fn an_entry_is_reversed_once_and_never_into_a_closed_period() {
    let (_bench, owner) = open_books().await;
    let lines = vec![line("1010", Some(700), None), line("3010", None, Some(700))];
    let first = post_journal(&owner, entry("a", today(), lines.clone()))
        .await
        .unwrap();
    let again = post_journal(&owner, entry("a", today(), lines.clone()))
        .await
        .unwrap();
    assert_eq!(first.id, again.id);
    let reversal = |key: &str, on: NaiveDate| ReverseJournal {
        idempotency_key: key.to_owned(),
        entry_id: first.id,
        on,
        memo: "A slip".to_owned(),
    };
    let yesterday = today() - Span::new(1);
    let early = post_journal(&owner, entry("z", yesterday, lines.clone()))
        .await
        .unwrap();
    close_books(&owner, yesterday).await.unwrap();
    let outcome = reverse_journal(&owner, reversal("b", yesterday)).await;
    assert_eq!(
        refusals(outcome),
        [(ProblemCode::ImpossibleDate, "on".to_owned())]
    );
    let closed = ReverseJournal {
        entry_id: early.id,
        ..reversal("y", yesterday)
    };
    let outcome = reverse_journal(&owner, closed).await;
    assert_eq!(
        refusals(outcome),
        [(ProblemCode::PeriodClosed, "on".to_owned())]
    );
    let outcome = post_journal(&owner, entry("c", yesterday, lines)).await;
    assert_eq!(
        refusals(outcome),
        [(ProblemCode::PeriodClosed, "on".to_owned())]
    );
    let other = ReverseJournal {
        entry_id: early.id,
        ..reversal("x", today())
    };
    reverse_journal(&owner, other).await.unwrap();
    reverse_journal(&owner, reversal("d", today()))
        .await
        .unwrap();
    assert_eq!(trial_balance(&owner, today()).await, (BTreeMap::new(), 0));
    let outcome = reverse_journal(&owner, reversal("e", today())).await;
    assert_eq!(
        refusals(outcome),
        [(ProblemCode::WrongState, "entryId".to_owned())]
    );
    let outcome = close_books(&owner, yesterday).await;
    assert_eq!(
        refusals(outcome),
        [(ProblemCode::WrongState, "through".to_owned())]
    );
}
