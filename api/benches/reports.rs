//! Time and memory of the reports over a million postings: `cargo bench -p nameplate --bench reports` prints a line for
//! each report.
//!
//! It measures and judges nothing: figures go into DEVELOPERS.md. The journal is filled in bulk, below the program, and
//! then chained by the program as an older journal would be.

use std::process::ExitCode;
use std::sync::Arc;
use std::time::Instant;

use chrono::NaiveDate;
use futures_util::TryStreamExt;
use nameplate::base::db::Db;
use nameplate::base::{Act, App, Caller};
use nameplate::books::{self, JournalLine, PostJournal};
use nameplate::reports::{self, Basis, Pieces, Span, Wanted};
use nameplate::verify;
use nameplate_rules::money::Cents;
use sea_orm::{ConnectionTrait, DatabaseBackend};

mod large;

use large::{Outcome, measure, millis, owner};

/// Entries of four postings each.
const ENTRIES: u32 = 250_000;

#[tokio::main]
async fn main() -> ExitCode {
    measure(async |app| run(&app).await).await
}

async fn run(app: &Arc<App>) -> Outcome<()> {
    let at = Instant::now();
    fill(&app.db).await?;
    say("filled in bulk", at);
    let at = Instant::now();
    books::open(&app.act(Caller::Program)).await?;
    say("chained as an older journal is", at);
    let owner = owner(app).await?;
    statements(&owner).await?;
    let at = Instant::now();
    let bytes = journal(&owner).await?;
    say(&format!("the whole journal as CSV, {bytes} bytes"), at);
    let at = Instant::now();
    for number in 0..100 {
        post(&owner, number).await?;
    }
    say("100 entries posted one after another", at);
    let at = Instant::now();
    let findings = verify::run(&app.db).await?;
    say(&format!("verified, {} findings", findings.len()), at);
    Ok(())
}

fn say(what: &str, at: Instant) {
    println!("{:>9.1} ms  {:>5} MiB  {what}", millis(at), peak_mib());
}

/// The most memory this process ever held; zero where the system does not say.
fn peak_mib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM"));
    let kib = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<u64>().ok());
    kib.unwrap_or(0) / 1_024
}

/// Ten years of sales and what they cost.
async fn fill(db: &Db) -> Outcome<()> {
    let tx = db.write().await?;
    let on = match tx.get_database_backend() {
        DatabaseBackend::Sqlite => "date('2016-01-01', '+' || (i % 3650) || ' days')",
        _ => "DATE '2016-01-01' + (i % 3650)::integer",
    };
    let number = match tx.get_database_backend() {
        DatabaseBackend::Sqlite => "printf('J-%06d', i)",
        _ => "'J-' || lpad(i::text, 6, '0')",
    };
    let counted = format!(
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < {ENTRIES})"
    );
    let mut statements = vec![format!(
        "{counted} INSERT INTO journal_entry (id, number, entry_on, posted_at, memo, document_kind, debit_cents, \
         credit_cents) SELECT i, {number}, {on}, '2026-01-01 00:00:00+00:00', 'A sale', 'manual', \
         2 * (100 + i % 9000), 2 * (100 + i % 9000) FROM n"
    )];
    for (position, role, side) in [
        (1, "bank", "e.debit_cents / 2, 0"),
        (2, "labour_revenue", "0, e.debit_cents / 2"),
        (3, "parts_cost_of_sales", "e.debit_cents / 2, 0"),
        (4, "parts_stock", "0, e.debit_cents / 2"),
    ] {
        statements.push(format!(
            "INSERT INTO posting (entry_id, position, account_id, debit_cents, credit_cents, entry_on) \
             SELECT e.id, {position}, a.id, {side}, e.entry_on FROM journal_entry e, account a WHERE a.role = '{role}'"
        ));
    }
    statements.push(
        "INSERT INTO journal_seal (entry_id, hash) SELECT id, '' FROM journal_entry".to_owned(),
    );
    statements.push(format!(
        "UPDATE number_series SET next_number = {ENTRIES} + 1 WHERE series = 'journal'"
    ));
    if tx.get_database_backend() == DatabaseBackend::Postgres {
        statements.push(format!(
            "SELECT setval(pg_get_serial_sequence('journal_entry', 'id'), {ENTRIES})"
        ));
    }
    statements.push("ANALYZE".to_owned());
    for statement in statements {
        tx.execute_unprepared(&statement).await?;
    }
    tx.commit().await?;
    Ok(())
}

fn day(text: &str) -> Outcome<NaiveDate> {
    Ok(text.parse()?)
}

async fn statements(act: &Act) -> Outcome<()> {
    let db = act.app.db.read();
    let year = Span {
        from: day("2024-01-01")?,
        to: day("2024-12-31")?,
    };
    let month = Span {
        from: day("2024-03-01")?,
        to: day("2024-03-31")?,
    };
    let at = Instant::now();
    reports::trial_balance(db, day("2025-12-31")?, false).await?;
    say("trial balance today", at);
    let at = Instant::now();
    reports::trial_balance(db, day("2017-06-30")?, false).await?;
    say("trial balance of a day in the second of ten years", at);
    for (span, name) in [(month, "a month"), (year, "a year")] {
        for basis in [Basis::Accrual, Basis::Cash] {
            let at = Instant::now();
            reports::income(db, span, basis).await?;
            say(&format!("income statement of {name}, {basis:?}"), at);
        }
    }
    let at = Instant::now();
    reports::balance_sheet(db, day("2025-12-31")?).await?;
    say("balance sheet today", at);
    let at = Instant::now();
    reports::tax_liability(db, month, Basis::Accrual).await?;
    say("sales tax of a month", at);
    Ok(())
}

async fn journal(act: &Act) -> Outcome<usize> {
    let wanted = Wanted {
        report: "journal".to_owned(),
        from: Some("2016-01-01".to_owned()),
        through: Some("2025-12-31".to_owned()),
        ..Wanted::default()
    };
    let Ok(Pieces::OneByOne(pieces)) = reports::export(act, &wanted).await else {
        return Err("there is no journal".into());
    };
    let sizes = pieces.try_fold(0, async |sum, piece| Ok(sum + piece.len()));
    Ok(sizes.await?)
}

async fn post(act: &Act, number: i32) -> Outcome<()> {
    let line = |account: &str, debit, credit| JournalLine {
        account: account.to_owned(),
        debit,
        credit,
        tax_level_id: None,
    };
    let new = PostJournal {
        idempotency_key: format!("entry {number}"),
        on: act.at.date_naive(),
        memo: "One more".to_owned(),
        lines: vec![
            line("1010", Some(Cents(500)), None),
            line("3010", None, Some(Cents(500))),
        ],
    };
    books::post_journal(act, new).await?;
    Ok(())
}
