//! What must always be true, held against every row: the checks behind `nameplate verify`.
//!
//! Words: a *finding* here is a row that breaks a promise of this program, not of a machine. What must stay
//! true: verifying changes nothing, reads one state of the database, and keeps no more in memory than a page
//! of rows and the findings, of which each check gives a bounded number.
//!
//! It lies at the roof because it looks into every capability's tables, and on purpose it asks the database
//! itself and not the code that wrote the rows.

mod banking;
mod books;
mod chain;
mod claims;
mod claims_receivable;
mod decisions;
mod documents;
mod entries;
mod invoices;
mod mail;
mod numbers;
mod payables;
mod payers;
mod recalls;
mod remittances;
mod reserve;
mod statement;
mod stock;
mod work;
mod write_offs;

use std::fmt;

use crate::base::Result;
use crate::base::db::Db;

/// A row that is not as it must be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    pub table: &'static str,
    /// Id of the row, or its key where rows have no id; `all` for a sum over the table.
    pub row: String,
    /// What is wrong with it.
    pub what: String,
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}: {}", self.table, self.row, self.what)
    }
}

/// Most findings of one check: what is broken in one place is broken in many.
pub const FINDINGS_MAX: usize = 100;

/// Holds every row against what must be true of it. Nothing found means that all is well.
///
/// # Errors
/// Internal, when the database cannot be read.
pub async fn run(db: &Db) -> Result<Vec<Finding>> {
    let tx = db.snapshot().await?;
    let mut findings = Vec::new();
    findings.extend(books::check(&tx).await?);
    findings.extend(chain::check(&tx).await?);
    findings.extend(numbers::check(&tx).await?);
    findings.extend(invoices::check(&tx).await?);
    findings.extend(banking::check(&tx).await?);
    findings.extend(documents::check(&tx).await?);
    findings.extend(mail::check(&tx).await?);
    findings.extend(work::check(&tx).await?);
    findings.extend(stock::check(&tx).await?);
    findings.extend(payables::check(&tx).await?);
    findings.extend(reserve::check(&tx).await?);
    findings.extend(recalls::check(&tx).await?);
    findings.extend(remittances::check(&tx).await?);
    findings.extend(decisions::check(&tx).await?);
    findings.extend(claims::check(&tx).await?);
    tx.rollback().await?;
    Ok(findings)
}

#[cfg(test)]
mod banking_tests;
#[cfg(test)]
mod callback_tests;
#[cfg(test)]
mod chain_tests;
#[cfg(test)]
mod claim_tests;
#[cfg(test)]
mod claims_receivable_tests;
#[cfg(test)]
mod cost_tests;
#[cfg(test)]
mod coverage_bill_tests;
#[cfg(test)]
mod coverage_life_tests;
#[cfg(test)]
mod coverage_tests;
#[cfg(test)]
mod e_invoice_tests;
#[cfg(test)]
mod flag_tests;
#[cfg(test)]
mod graph_tests;
#[cfg(test)]
mod mistake_tests;
#[cfg(test)]
mod money_tests;
#[cfg(test)]
mod paid_bill_tests;
#[cfg(test)]
mod parts_day_tests;
#[cfg(test)]
mod parts_graph_tests;
#[cfg(test)]
mod parts_refusal_tests;
#[cfg(test)]
mod parts_testing;
#[cfg(test)]
mod payable_mistake_tests;
#[cfg(test)]
mod payable_report_tests;
#[cfg(test)]
mod payable_tests;
#[cfg(test)]
mod payer_tests;
#[cfg(test)]
mod recall_tests;
#[cfg(test)]
mod receivable_tests;
#[cfg(test)]
mod remittance_tests;
#[cfg(test)]
mod report_tests;
#[cfg(test)]
mod reserve_tests;
#[cfg(test)]
mod shared_flag_tests;
#[cfg(test)]
mod stock_back_tests;
#[cfg(test)]
mod stock_tests;
#[cfg(test)]
mod testing;
#[cfg(test)]
mod tests;
