//! The reports as CSV (RFC 4180): UTF-8, a header row, lines that end in CR LF, amounts as plain decimals without a
//! currency, a locale or a sign of thousands.
//!
//! What must stay true: no text of ours is taken for a formula by a spreadsheet (OWASP, CSV injection): one that begins
//! with `=`, `+`, `-`, `@`, a tab or a carriage return gets an apostrophe before it. Amounts are numbers and keep their
//! sign. A report is bounded by what it is about; journal and ledger come in pieces of a thousand postings.

mod banking;
mod file;
mod journal;
mod owed;
mod parts;
mod payers;
mod reserve;
mod tables;

use std::str::FromStr;

use chrono::NaiveDate;
use futures_util::StreamExt;
use futures_util::stream::BoxStream;
use nameplate_entities::account;

use crate::base::access::decided;
use crate::base::{Act, Caller, Error, Result};
use crate::books;

use super::Basis;
use super::store::Span;
use file::File;
use journal::{Journal, Ledger};

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
    ReceivablesAgeing,
    ClaimsAgeing,
    PayablesAgeing,
    StockValue,
    MarginByCall,
    MarginByCharge,
    MarginByTechnician,
    Takings,
    GeneralLedger,
    Journal,
    BankReconciliation,
    WarrantyReserve,
    PayerFigures,
}

impl Report {
    fn named(name: &str) -> Option<Self> {
        Some(match name {
            "trial-balance" => Self::TrialBalance,
            "income-statement" => Self::IncomeStatement,
            "balance-sheet" => Self::BalanceSheet,
            "sales-tax" => Self::SalesTax,
            "sales-tax-sales" => Self::SalesTaxSales,
            "receivables-ageing" => Self::ReceivablesAgeing,
            "claims-ageing" => Self::ClaimsAgeing,
            "payables-ageing" => Self::PayablesAgeing,
            "stock-value" => Self::StockValue,
            "margin-by-call" => Self::MarginByCall,
            "margin-by-charge" => Self::MarginByCharge,
            "margin-by-technician" => Self::MarginByTechnician,
            "takings" => Self::Takings,
            "general-ledger" => Self::GeneralLedger,
            "journal" => Self::Journal,
            "bank-reconciliation" => Self::BankReconciliation,
            "warranty-reserve" => Self::WarrantyReserve,
            "payer-figures" => Self::PayerFigures,
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
            Self::ReceivablesAgeing => "receivablesAgeing",
            Self::ClaimsAgeing => "claimsAgeing",
            Self::PayablesAgeing => "payablesAgeing",
            Self::StockValue => "stockValue",
            Self::MarginByCall => "marginByCall",
            Self::MarginByCharge => "marginByCharge",
            Self::MarginByTechnician => "marginByTechnician",
            Self::Takings => "takings",
            Self::GeneralLedger => "generalLedger",
            Self::Journal => "journalEntries",
            Self::BankReconciliation => "bankReconciliations",
            Self::WarrantyReserve => "warrantyReserveRuns",
            Self::PayerFigures => "payerFigures",
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
    /// Code of the account, for a general ledger.
    pub account: Option<String>,
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
    /// Each is read when the one before it was taken.
    OneByOne(BoxStream<'static, Result<Vec<u8>>>),
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
        Report::TrialBalance => tables::trial_balance(db, &mut file, span).await?,
        Report::IncomeStatement => tables::income(db, &mut file, span, basis).await?,
        Report::BalanceSheet => tables::balance_sheet(db, &mut file, span).await?,
        Report::SalesTax => tables::sales_tax(db, &mut file, span, basis).await?,
        Report::SalesTaxSales => tables::sales(db, &mut file, span, basis).await?,
        Report::ReceivablesAgeing => owed::by_customers(db, &mut file, span.to).await?,
        Report::ClaimsAgeing => owed::by_payers(db, &mut file, span.to).await?,
        Report::PayablesAgeing => parts::payables_ageing(db, &mut file, span.to).await?,
        Report::StockValue => parts::stock_value(db, &mut file, span.to).await?,
        Report::MarginByCall => tables::margin_by_call(db, &mut file, span).await?,
        Report::MarginByCharge => tables::margin_by_charge(db, &mut file, span).await?,
        Report::MarginByTechnician => tables::margin_by_technician(db, &mut file, span).await?,
        Report::Takings => tables::takings(db, &mut file, span).await?,
        Report::WarrantyReserve => reserve::warranty_reserve(db, &mut file, span).await?,
        Report::PayerFigures => payers::figures(act, &mut file, span).await?,
        Report::BankReconciliation => {
            let account = account(act, wanted.account.as_deref()).await?;
            banking::outstanding(db, &mut file, (account.id, span)).await?;
        }
        Report::GeneralLedger => {
            let ledger = ledger(act, wanted.account.as_deref(), span).await?;
            return Ok(Pieces::OneByOne(ledger.pieces().boxed()));
        }
        Report::Journal => {
            return Ok(Pieces::OneByOne(
                Journal::new(db.clone(), span).pieces().boxed(),
            ));
        }
    }
    Ok(Pieces::Whole(file.bytes()?))
}

async fn ledger(act: &Act, code: Option<&str>, span: Span) -> std::result::Result<Ledger, Failed> {
    let db = act.app.db.read();
    let account = account(act, code).await?;
    Ok(Ledger {
        db: db.clone(),
        span,
        account_id: account.id,
        opening_cents: books::balance_before(db, account.id, span.from).await?,
    })
}

/// The account of this number.
async fn account(act: &Act, code: Option<&str>) -> std::result::Result<account::Model, Failed> {
    let chart = books::chart(act.app.db.read()).await?;
    let account = chart.into_iter().find(|row| Some(&*row.code) == code);
    account.ok_or_else(|| {
        Failed::BadRequest("Give `account` as the number of an account in the chart.".to_owned())
    })
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
            Report::TrialBalance
            | Report::BalanceSheet
            | Report::ReceivablesAgeing
            | Report::ClaimsAgeing
            | Report::PayablesAgeing
            | Report::StockValue
            | Report::BankReconciliation
            | Report::WarrantyReserve => to,
            _ => day("from", self.from.as_deref())?,
        };
        let span = Span::new(from, to).map_err(Failed::BadRequest)?;
        if report == Report::Takings && (to - from).num_days() >= TAKINGS_DAYS_MAX {
            return Err(Failed::BadRequest(format!(
                "Ask for at most {TAKINGS_DAYS_MAX} days."
            )));
        }
        Ok(span)
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
