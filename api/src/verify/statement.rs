//! One statement that must give no row.

use sea_orm::{ConnectionTrait, FromQueryResult, Statement};

use crate::base::Result;

use super::{FINDINGS_MAX, Finding};

/// A promise as a statement that looks for rows breaking it.
///
/// The statement names `row_id`, what was `found` and what was `expected` there, all whole numbers of 64 bits.
pub struct Rule {
    pub table: &'static str,
    /// What the two numbers are.
    pub what: &'static str,
    pub sql: &'static str,
}

#[derive(FromQueryResult)]
struct Broken {
    row_id: Option<i64>,
    found: Option<i64>,
    expected: Option<i64>,
}

/// Asks every rule.
///
/// # Errors
/// Internal only.
pub async fn ask(tx: &impl ConnectionTrait, rules: &[Rule]) -> Result<Vec<Finding>> {
    let mut findings = Vec::new();
    for rule in rules {
        let sql = format!("{} LIMIT {FINDINGS_MAX}", rule.sql);
        let statement = Statement::from_string(tx.get_database_backend(), sql);
        let rows = Broken::find_by_statement(statement).all(tx).await?;
        findings.extend(rows.into_iter().map(|row| {
            let shown =
                |number: Option<i64>| number.map_or("nothing".to_owned(), |n| n.to_string());
            Finding {
                table: rule.table,
                row: row.row_id.map_or("all".to_owned(), |id| id.to_string()),
                what: format!(
                    "{}: {} found, {} expected",
                    rule.what,
                    shown(row.found),
                    shown(row.expected)
                ),
            }
        }));
    }
    Ok(findings)
}
