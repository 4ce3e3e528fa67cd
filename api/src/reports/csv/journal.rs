//! The journal, and the lines of one account, piece by piece.

use chrono::NaiveDate;
use futures_util::stream::{self, Stream};
use nameplate_rules::money::Cents;
use sea_orm::DatabaseConnection;

use crate::base::{Error, Result};

use super::super::store::Span;
use super::super::store::journal::{self, AccountLine, JournalRow};
use super::file::{File, amount, text};

/// Lines in one piece of a ledger.
const PIECE: u64 = 1_000;
/// Entries in one piece of the journal; most have two to six postings.
const ENTRIES: u64 = 250;

/// The journal for the accountant, a row for each posting, by day and then in the order posted.
pub struct Journal {
    db: DatabaseConnection,
    span: Span,
    /// The last entry sent, with its day; none before the header.
    sent: Option<(NaiveDate, i64)>,
}

impl Journal {
    pub fn new(db: DatabaseConnection, span: Span) -> Self {
        Self {
            db,
            span,
            sent: None,
        }
    }

    /// The file piece by piece; each piece is read when the one before it is taken.
    pub fn pieces(self) -> impl Stream<Item = Result<Vec<u8>>> {
        stream::try_unfold(Some(self), |journal| async {
            let Some(mut journal) = journal else {
                return Ok(None);
            };
            let mut file = File::new();
            if journal.sent.is_none() {
                file.row(JOURNAL)?;
            }
            let after = journal.sent.unwrap_or((journal.span.from, 0));
            let rows = journal::journal(&journal.db, journal.span, (after, ENTRIES)).await?;
            for row in &rows {
                file.row(journal_row(row))?;
            }
            let last = rows.last().map(|row| (row.entry_on, row.entry_id));
            journal.sent = last.or(Some(after));
            Ok(Some((file.bytes()?, last.is_some().then_some(journal))))
        })
    }
}

const JOURNAL: [&str; 14] = [
    "entry",
    "day",
    "posted_at",
    "memo",
    "document_kind",
    "document",
    "account",
    "name",
    "debit",
    "credit",
    "tax_level",
    "reverses",
    "position",
    "hash",
];

fn journal_row(row: &JournalRow) -> [String; 14] {
    let or_none = |value: Option<&String>| value.map_or_else(String::new, |value| text(value));
    [
        text(&row.number),
        row.entry_on.to_string(),
        row.posted_at
            .to_rfc3339_opts(chrono::SecondsFormat::Micros, true),
        text(&row.memo),
        text(&row.document_kind),
        or_none(row.document_number.as_ref()),
        text(&row.code),
        text(&row.name),
        amount(Cents(row.debit_cents)),
        amount(Cents(row.credit_cents)),
        or_none(row.tax_level.as_ref()),
        or_none(row.reverses.as_ref()),
        row.position.to_string(),
        or_none(row.hash.as_ref()),
    ]
}

/// Whether there may be more behind this piece.
fn is_full(row_count: usize) -> bool {
    u64::try_from(row_count).is_ok_and(|count| count == PIECE)
}

/// The lines of one account with the balance after each, debits positive.
pub struct Ledger {
    pub db: DatabaseConnection,
    pub span: Span,
    pub account_id: i64,
    /// The balance before the first day.
    pub opening_cents: i64,
}

/// How far a ledger is sent.
struct Sent {
    ledger: Ledger,
    /// The last line sent; none before the header.
    line: Option<(NaiveDate, i64)>,
    balance: Cents,
}

impl Ledger {
    /// The file piece by piece, as of the journal.
    pub fn pieces(self) -> impl Stream<Item = Result<Vec<u8>>> {
        let sent = Sent {
            line: None,
            balance: Cents(self.opening_cents),
            ledger: self,
        };
        stream::try_unfold(Some(sent), |sent| async {
            let Some(mut sent) = sent else {
                return Ok(None);
            };
            let mut file = File::new();
            if sent.line.is_none() {
                file.row(["day", "entry", "memo", "debit", "credit", "balance"])?;
                file.row(end(sent.ledger.span.from, "Opening balance", sent.balance))?;
            }
            let after = sent.line.unwrap_or((sent.ledger.span.from, 0));
            let of = (sent.ledger.account_id, sent.ledger.span);
            let rows = journal::account_lines(&sent.ledger.db, of, (after, PIECE)).await?;
            for row in &rows {
                sent.add(row)?;
                file.row(ledger_row(row, sent.balance))?;
            }
            let more = is_full(rows.len());
            sent.line = rows
                .last()
                .map(|row| (row.entry_on, row.id))
                .or(Some(after));
            if !more {
                file.row(end(sent.ledger.span.to, "Closing balance", sent.balance))?;
            }
            Ok(Some((file.bytes()?, more.then_some(sent))))
        })
    }
}

impl Sent {
    fn add(&mut self, row: &AccountLine) -> Result<()> {
        let balance = self
            .balance
            .checked_add(Cents(row.debit_cents))
            .and_then(|sum| sum.checked_sub(Cents(row.credit_cents)));
        self.balance = balance.ok_or_else(|| Error::internal("a balance is too large"))?;
        Ok(())
    }
}

/// The balance before the first line, or after the last.
fn end(day: NaiveDate, what: &str, balance: Cents) -> [String; 6] {
    [
        day.to_string(),
        String::new(),
        what.to_owned(),
        String::new(),
        String::new(),
        amount(balance),
    ]
}

fn ledger_row(row: &AccountLine, balance: Cents) -> [String; 6] {
    [
        row.entry_on.to_string(),
        text(&row.number),
        text(&row.memo),
        amount(Cents(row.debit_cents)),
        amount(Cents(row.credit_cents)),
        amount(balance),
    ]
}
