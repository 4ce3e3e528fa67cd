//! A printed bookkeeping cycle, entered entry by entry through the API.

use std::collections::BTreeMap;

use serde::Deserialize;
use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{data, list, text};
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::Shop;

/// The fixture names its source: an open course's printed trial balances.
#[derive(Deserialize)]
struct Case {
    input: Input,
    expected: Expected,
}

#[derive(Deserialize)]
struct Input {
    accounts: BTreeMap<String, String>,
    journal: Vec<(String, String, i64)>,
    adjustments: Vec<(String, String, i64)>,
}

#[derive(Deserialize)]
struct Expected {
    unadjusted: Vec<(String, i64)>,
    unadjusted_total: i64,
    adjusted: Vec<(String, i64)>,
    adjusted_total: i64,
    revenue: i64,
    expenses: i64,
    net: i64,
    assets: i64,
    liabilities: i64,
    equity: i64,
    retained: i64,
    post_closing_total: i64,
}

const JOURNAL_ON: &str = "2025-12-20";
const MONTH_END: &str = "2025-12-31";

/// A code of the length an account takes.
fn code(name: &str) -> String {
    name.replace(' ', "-").chars().take(20).collect()
}

fn dollars(whole: i64) -> String {
    format!("{whole}.00")
}

async fn post(shop: &mut Shop, on: &str, entries: &[(String, String, i64)]) {
    for (debit, credit, amount) in entries {
        let entry = json!({
            "idempotencyKey": shop.key(), "on": on, "memo": "as printed",
            "lines": [
                { "account": code(debit), "debit": dollars(*amount) },
                { "account": code(credit), "credit": dollars(*amount) }
            ]
        });
        shop.done(&shop.owner, "postJournal", entry, "journalEntry { number }")
            .await;
    }
}

/// Balances by account code, credits negative, and the two sums.
async fn trial_balance(shop: &Shop, on: &str) -> (BTreeMap<String, String>, String, String) {
    let query = "query($on: NaiveDate!) { trialBalance(on: $on) { debits credits
        rows { account { code } debit credit } } }";
    let answer = shop.ask(&shop.owner, query, json!({ "on": on })).await;
    data(&answer);
    let rows = list(&answer, "data.trialBalance.rows")
        .iter()
        .map(|row| {
            let (debit, credit) = (text(row, "debit"), text(row, "credit"));
            let balance = if debit == "0.00" {
                format!("-{credit}")
            } else {
                debit.to_owned()
            };
            (text(row, "account.code").to_owned(), balance)
        })
        .filter(|(_, balance)| balance != "-0.00")
        .collect();
    let sum = |side: &str| text(&answer, &format!("data.trialBalance.{side}")).to_owned();
    (rows, sum("debits"), sum("credits"))
}

fn printed(rows: &[(String, i64)], total: i64) -> (BTreeMap<String, String>, String, String) {
    let rows = rows
        .iter()
        .map(|(name, amount)| (code(name), dollars(*amount)))
        .collect();
    (rows, dollars(total), dollars(total))
}

/// What the course calls dividends is what its owner takes out: the program's own account, renumbered.
async fn name_the_drawings(shop: &Shop, name: &str) {
    let chart = shop
        .ask(&shop.owner, "{ accounts { id role version } }", json!({}))
        .await;
    let drawings = list(&chart, "data.accounts")
        .iter()
        .find(|account| account["role"] == "owners_drawings")
        .expect("the chart has drawings")
        .clone();
    let change = json!({
        "accountId": drawings["id"], "version": drawings["version"], "code": code(name), "name": name
    });
    shop.done(&shop.owner, "changeAccount", change, "account { code }")
        .await;
}

/// Totals of the year's statements.
async fn statements(shop: &Shop) -> Value {
    let query =
        "{ incomeStatement(from: \"2025-12-01\", to: \"2025-12-31\") { revenue expenses net }
        balanceSheet(on: \"2025-12-31\") { assets liabilities equity netIncome } }";
    let statements = shop.ask(&shop.owner, query, json!({})).await;
    data(&statements).clone()
}

on_both_databases! {
    async fn a_printed_cycle_gives_its_trial_balances_and_statements_to_the_cent(db: TestDatabase) {
        let cases = include_str!("../../fixtures/worked/books-cycle.json");
        let cases: Vec<Case> = serde_json::from_str(cases).expect("the fixture is a list of cases");
        let Case { input, expected } = cases.into_iter().next().expect("the fixture has its case");
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        name_the_drawings(&shop, "dividends").await;
        for (name, kind) in input.accounts.iter().filter(|(name, _)| *name != "dividends") {
            let account = json!({ "code": code(name), "name": name, "kind": kind.to_uppercase() });
            shop.done(&shop.owner, "addAccount", account, "account { id }").await;
        }
        post(&mut shop, JOURNAL_ON, &input.journal).await;
        post(&mut shop, MONTH_END, &input.adjustments).await;

        assert_eq!(trial_balance(&shop, JOURNAL_ON).await, printed(&expected.unadjusted, expected.unadjusted_total));
        assert_eq!(trial_balance(&shop, MONTH_END).await, printed(&expected.adjusted, expected.adjusted_total));
        let figures = statements(&shop).await;
        let income = json!({
            "revenue": dollars(expected.revenue), "expenses": dollars(expected.expenses), "net": dollars(expected.net)
        });
        assert_eq!(figures["incomeStatement"], income);
        let sheet = |field: &str| figures["balanceSheet"][field].clone();
        assert_eq!(sheet("assets"), Value::from(dollars(expected.assets)));
        assert_eq!(sheet("liabilities"), Value::from(dollars(expected.liabilities)));
        assert_eq!(sheet("equity"), Value::from(dollars(expected.equity)));

        let close = json!({ "idempotencyKey": shop.key(), "year": 2025 });
        shop.done(&shop.owner, "closeYear", close, "journalEntry { number closesYear }").await;
        let (rows, debits, credits) = trial_balance(&shop, MONTH_END).await;
        let post_closing = dollars(expected.post_closing_total);
        assert_eq!((&debits, &credits), (&post_closing, &post_closing));
        assert_eq!(rows["3900"], format!("-{}", dollars(expected.retained)));
        for account in ["fees-earned", "salaries-expense", "dividends"] {
            assert!(!rows.contains_key(account), "{account} is not at zero");
        }
        assert_eq!(statements(&shop).await, figures);
        db.verify_is_clean();
    }

    async fn one_posting_changed_behind_the_programs_back_is_found(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let entry = json!({
            "idempotencyKey": shop.key(), "on": JOURNAL_ON, "memo": "capital",
            "lines": [{ "account": "1010", "debit": "100.00" }, { "account": "3010", "credit": "100.00" }]
        });
        shop.done(&shop.owner, "postJournal", entry, "journalEntry { number }").await;
        db.verify_is_clean();
        let unguard = match db.backend() {
            crate::support::database::Backend::Sqlite => "DROP TRIGGER keep_posting_update",
            crate::support::database::Backend::Postgres => "DROP TRIGGER keep_posting ON posting",
        };
        db.execute(unguard).await;
        db.execute("UPDATE posting SET debit_cents = debit_cents + 1 WHERE debit_cents > 0").await;
        let verdict = db.verify();
        assert_ne!(verdict.code, Some(0));
        assert!(verdict.output.contains("journal_entry 1") || verdict.output.contains("posting 1"), "{}", verdict.output);
    }
}
