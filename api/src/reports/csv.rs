//! The reports as CSV (RFC 4180): UTF-8, a header row, lines that end in CR LF, amounts as plain decimals without a
//! currency, a locale or a sign of thousands.
//!
//! What must stay true: no text of ours is taken for a formula by a spreadsheet (OWASP, CSV injection): one that begins
//! with `=`, `+`, `-`, `@`, a tab or a carriage return gets an apostrophe before it. Amounts are numbers and keep their
//! sign. A report is bounded by what it is about; the journal comes in pieces of a thousand postings.

use std::str::FromStr;

use chrono::NaiveDate;
use futures_util::stream::{self, Stream};
use nameplate_rules::books::AccountKind;
use nameplate_rules::money::Cents;
use sea_orm::{ActiveEnum, ConnectionTrait, DatabaseConnection};

use crate::base::access::decided;
use crate::base::{Act, Caller, Error, Result};

use super::statements::{self, Statement};
use super::store::journal::{self, JournalRow};
use super::store::{Span, takings};
use super::{Basis, taxes};

/// Postings in one piece of the journal.
const PIECE: u64 = 1_000;
/// Most days of takings, as in the graph.
const TAKINGS_DAYS_MAX: i64 = 366;

/// The reports there are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Report {
    TrialBalance,
    IncomeStatement,
    BalanceSheet,
    SalesTax,
    SalesTaxSales,
    Takings,
    Journal,
}

impl Report {
    fn named(name: &str) -> Option<Self> {
        Some(match name {
            "trial-balance" => Self::TrialBalance,
            "income-statement" => Self::IncomeStatement,
            "balance-sheet" => Self::BalanceSheet,
            "sales-tax" => Self::SalesTax,
            "sales-tax-sales" => Self::SalesTaxSales,
            "takings" => Self::Takings,
            "journal" => Self::Journal,
            _ => return None,
        })
    }

    /// The query of the graph that shows the same; who may read the one may read the other.
    fn query(self) -> &'static str {
        match self {
            Self::TrialBalance => "trialBalance",
            Self::IncomeStatement => "incomeStatement",
            Self::BalanceSheet => "balanceSheet",
            Self::SalesTax | Self::SalesTaxSales => "salesTaxLiability",
            Self::Takings => "takings",
            Self::Journal => "journalEntries",
        }
    }
}

/// What was asked for, as it stands in the address.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// Name of the report.
    pub report: String,
    pub from: Option<String>,
    pub through: Option<String>,
    pub basis: Option<String>,
}

/// Why there is no report.
#[derive(Debug)]
pub enum Failed {
    /// There is none of this name, or none for this caller.
    NoSuchReport,
    /// What is wrong with the address.
    BadRequest(String),
    Fault(Error),
}

impl From<Error> for Failed {
    fn from(error: Error) -> Self {
        Self::Fault(error)
    }
}

/// The pieces of a file.
pub enum Pieces {
    Whole(Vec<u8>),
    Journal(Journal),
}

/// Makes a report, or the way to read it piece by piece.
///
/// # Errors
/// `NoSuchReport` also for a caller who may not read it.
pub async fn export(act: &Act, wanted: &Wanted) -> std::result::Result<Pieces, Failed> {
    let report = Report::named(&wanted.report).filter(|report| may_read(act, *report));
    let report = report.ok_or(Failed::NoSuchReport)?;
    let span = wanted.span(report)?;
    let basis = wanted.basis()?;
    let db = act.app.db.read();
    let mut file = File::new();
    match report {
        Report::TrialBalance => trial_balance(db, &mut file, span).await?,
        Report::IncomeStatement => income(db, &mut file, span, basis).await?,
        Report::BalanceSheet => balance_sheet(db, &mut file, span).await?,
        Report::SalesTax => sales_tax(db, &mut file, span, basis).await?,
        Report::SalesTaxSales => sales(db, &mut file, span, basis).await?,
        Report::Takings => taken(db, &mut file, span).await?,
        Report::Journal => return Ok(Pieces::Journal(Journal::new(db.clone(), span))),
    }
    Ok(Pieces::Whole(file.bytes()?))
}

fn may_read(act: &Act, report: Report) -> bool {
    let role = match &act.caller {
        Caller::Staff { role, .. } => Some(*role),
        _ => None,
    };
    decided("Query", report.query()).is_some_and(|least| least.admits(role))
}

impl Wanted {
    /// The days. A report of balances has no first day.
    fn span(&self, report: Report) -> std::result::Result<Span, Failed> {
        let to = day("through", self.through.as_deref())?;
        let from = match report {
            Report::TrialBalance | Report::BalanceSheet => to,
            _ => day("from", self.from.as_deref())?,
        };
        if to < from {
            return Err(Failed::BadRequest(format!("{to} lies before {from}.")));
        }
        if report == Report::Takings && (to - from).num_days() >= TAKINGS_DAYS_MAX {
            return Err(Failed::BadRequest(format!(
                "Ask for at most {TAKINGS_DAYS_MAX} days."
            )));
        }
        Ok(Span { from, to })
    }

    fn basis(&self) -> std::result::Result<Basis, Failed> {
        match self.basis.as_deref() {
            None | Some("accrual") => Ok(Basis::Accrual),
            Some("cash") => Ok(Basis::Cash),
            Some(_) => Err(Failed::BadRequest("`basis` is accrual or cash.".to_owned())),
        }
    }
}

fn day(name: &str, text: Option<&str>) -> std::result::Result<NaiveDate, Failed> {
    text.and_then(|text| NaiveDate::from_str(text).ok())
        .ok_or_else(|| Failed::BadRequest(format!("Give `{name}` as a day, like 2026-03-31.")))
}

async fn trial_balance(db: &impl ConnectionTrait, file: &mut File, span: Span) -> Result<()> {
    file.row(["account", "name", "kind", "debit", "credit"])?;
    let Statement { balances, sums } = statements::trial_balance(db, span.to, false).await?;
    for (balance, sum) in balances.iter().zip(&sums.rows) {
        let kind = balance.kind.to_value();
        let (code, name) = (text(&balance.code), text(&balance.name));
        file.row([code, name, kind, amount(sum.debit), amount(sum.credit)])?;
    }
    Ok(())
}

async fn income(
    db: &impl ConnectionTrait,
    file: &mut File,
    span: Span,
    basis: Basis,
) -> Result<()> {
    let statement = statements::income(db, span, basis).await?;
    by_kind(
        file,
        &statement,
        &[AccountKind::Revenue, AccountKind::Expense],
    )
}

/// The result that is not closed to equity yet stands as its own row, without an account.
async fn balance_sheet(db: &impl ConnectionTrait, file: &mut File, span: Span) -> Result<()> {
    let statement = statements::balance_sheet(db, span.to).await?;
    let kinds = [
        AccountKind::Asset,
        AccountKind::Liability,
        AccountKind::Equity,
    ];
    by_kind(file, &statement, &kinds)?;
    let result = nameplate_rules::books::statements::income(&statement.sums);
    let net = result.map_err(super::too_large)?.net;
    file.row([
        "equity".to_owned(),
        String::new(),
        "Result not yet closed".to_owned(),
        amount(net),
    ])
}

fn by_kind(file: &mut File, statement: &Statement, kinds: &[AccountKind]) -> Result<()> {
    file.row(["kind", "account", "name", "amount"])?;
    for kind in kinds {
        for (balance, cents) in statement.of_kind(*kind) {
            let word = balance.kind.to_value();
            file.row([
                word,
                text(&balance.code),
                text(&balance.name),
                amount(cents),
            ])?;
        }
    }
    Ok(())
}

async fn sales_tax(
    db: &impl ConnectionTrait,
    file: &mut File,
    span: Span,
    basis: Basis,
) -> Result<()> {
    file.row([
        "jurisdiction",
        "level",
        "kind",
        "taxable",
        "tax",
        "opening",
        "other",
        "closing",
    ])?;
    for row in taxes::tax_liability(db, span, basis).await?.levels {
        file.row([
            text(&row.level.jurisdiction),
            text(&row.level.name),
            row.level.kind.to_value(),
            amount(row.taxable),
            amount(row.tax),
            amount(Cents(row.level.opening_cents)),
            amount(row.other),
            amount(Cents(row.level.closing_cents)),
        ])?;
    }
    Ok(())
}

async fn sales(db: &impl ConnectionTrait, file: &mut File, span: Span, basis: Basis) -> Result<()> {
    file.row(["jurisdiction", "treatment", "reason", "amount"])?;
    for place in taxes::tax_liability(db, span, basis).await?.places {
        let name = text(&place.name);
        file.row([
            name.clone(),
            "taxable".to_owned(),
            String::new(),
            amount(place.taxable),
        ])?;
        for row in &place.reasons {
            let treatment = if row.by_certificate {
                "exempt"
            } else {
                "untaxed"
            };
            let reason = text(&row.reason);
            file.row([
                name.clone(),
                treatment.to_owned(),
                reason,
                amount(row.amount),
            ])?;
        }
    }
    Ok(())
}

async fn taken(db: &impl ConnectionTrait, file: &mut File, span: Span) -> Result<()> {
    file.row(["day", "method", "amount", "payments"])?;
    for row in takings::takings(db, span).await? {
        let count = row.payment_count.to_string();
        let on = row.received_on.to_string();
        file.row([
            on,
            row.method.to_value(),
            amount(Cents(row.amount_cents)),
            count,
        ])?;
    }
    Ok(())
}

/// The journal for the accountant, a row for each posting, in the order it was posted.
pub struct Journal {
    db: DatabaseConnection,
    span: Span,
    /// The last posting sent; none before the header.
    sent: Option<(i64, i32)>,
}

impl Journal {
    fn new(db: DatabaseConnection, span: Span) -> Self {
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
            let after = journal.sent.unwrap_or((0, 0));
            let rows = journal::journal(&journal.db, journal.span, (after, PIECE)).await?;
            for row in &rows {
                file.row(journal_row(row))?;
            }
            let more = u64::try_from(rows.len()).is_ok_and(|count| count == PIECE);
            journal.sent = rows
                .last()
                .map(|row| (row.entry_id, row.position))
                .or(Some(after));
            Ok(Some((file.bytes()?, more.then_some(journal))))
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

/// Rows as bytes.
struct File {
    writer: csv::Writer<Vec<u8>>,
}

impl File {
    fn new() -> Self {
        let writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(Vec::new());
        Self { writer }
    }

    fn row<const N: usize, T: AsRef<[u8]>>(&mut self, cells: [T; N]) -> Result<()> {
        self.writer
            .write_record(cells)
            .map_err(|error| Error::caused("row of a report", error))
    }

    fn bytes(self) -> Result<Vec<u8>> {
        self.writer
            .into_inner()
            .map_err(|_| Error::internal("a report could not be written to memory"))
    }
}

/// A text that no spreadsheet takes for a formula.
fn text(value: &str) -> String {
    match value.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r') => format!("'{value}"),
        _ => value.to_owned(),
    }
}

/// An amount as a plain decimal.
fn amount(cents: Cents) -> String {
    cents.to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_that_looks_like_a_formula_is_made_harmless_and_an_amount_keeps_its_sign() {
        for (given, shown) in [
            ("=1+1", "'=1+1"),
            ("+1", "'+1"),
            ("-2", "'-2"),
            ("@sum", "'@sum"),
            ("\tx", "'\tx"),
            ("Part = new", "Part = new"),
            ("", ""),
        ] {
            assert_eq!(text(given), shown);
        }
        assert_eq!(amount(Cents(-1_234_567)), "-12345.67");
    }

    #[test]
    fn a_row_is_quoted_as_rfc_4180_says() {
        let mut file = File::new();
        file.row([
            "plain",
            "with, comma",
            "with \"quotes\"",
            "two\r\nlines",
            "",
        ])
        .unwrap();
        let text = String::from_utf8(file.bytes().unwrap()).unwrap();
        assert_eq!(
            text,
            "plain,\"with, comma\",\"with \"\"quotes\"\"\",\"two\r\nlines\",\r\n"
        );
    }
}
