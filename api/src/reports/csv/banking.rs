//! What a bank's statement does not show yet, as of a reconciliation.

use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::banking;
use crate::base::Result;

use super::super::store::Span;
use super::Failed;
use super::file::{File, amount, text};

/// Postings read at a time.
const PIECE: u64 = 1_000;

/// The balance by the bank, each posting that no statement shows, and the balance by the books, which they lead to.
pub async fn outstanding(
    db: &impl ConnectionTrait,
    file: &mut File,
    (account_id, span): (i64, Span),
) -> std::result::Result<(), Failed> {
    let through = span.to;
    let found = banking::reconciled_through(db, account_id, through).await?;
    let Some(reconciliation) = found else {
        let words = "This account was not reconciled through that day.";
        return Err(Failed::BadRequest(words.to_owned()));
    };
    let standing = banking::standing(db, account_id, through).await?;
    file.row(["item", "day", "entry", "memo", "amount"])?;
    let total = |item: &str, cents: i64| {
        let (item, day) = (item.to_owned(), through.to_string());
        [
            item,
            day,
            String::new(),
            String::new(),
            amount(Cents(cents)),
        ]
    };
    file.row(total("balance_by_bank", reconciliation.closing_cents))?;
    write_pieces(db, file, (account_id, span)).await?;
    let later = Cents(standing.later_cents).checked_neg();
    file.row(total("later_in_books", later.unwrap_or_default().0))?;
    file.row(total("balance_by_books", standing.books_cents))?;
    Ok(())
}

async fn write_pieces(
    db: &impl ConnectionTrait,
    file: &mut File,
    (account_id, span): (i64, Span),
) -> Result<()> {
    let mut after = banking::first();
    loop {
        let rows = banking::outstanding(db, (account_id, span.to), after, PIECE).await?;
        for row in &rows {
            file.row([
                "outstanding".to_owned(),
                row.entry_on.to_string(),
                text(&row.entry_number),
                text(&row.memo),
                amount(Cents(row.amount_cents)),
            ])?;
        }
        match rows.last() {
            Some(last) if u64::try_from(rows.len()).is_ok_and(|count| count == PIECE) => {
                after = (last.entry_on, last.id);
            }
            _ => return Ok(()),
        }
    }
}
