//! Rules of a place that were recorded by mistake: put right or taken back, as long as no document was made under them.
//!
//! They live here because here it is known what was offered and what was billed.

use nameplate_entities::{local_rules, price_book, tax_jurisdiction};

use crate::base::{Act, Error, ProblemCode, Result, Right};
use crate::pricing::AddTaxJurisdiction;
use crate::{local_rules as places, pricing, shop};

use crate::invoices::store::{self, Span};

/// Puts other tax rules in the place of ones recorded by mistake. Who refers to them goes on doing so.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` once an estimate was priced by them, with its number; `Taken` when the place
/// has other rules from that day; refusals name the field.
pub async fn replace_tax_jurisdiction(
    act: &Act,
    tax_jurisdiction_id: i64,
    new: AddTaxJurisdiction,
) -> Result<tax_jurisdiction::Model> {
    act.staff_with(Right::ReplaceTaxJurisdiction)?;
    let tx = act.app.db.write().await?;
    let before = pricing::get_jurisdiction(&tx, tax_jurisdiction_id).await?;
    if let Some(number) = store::priced_by(&tx, before.id).await? {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "taxJurisdictionId",
            format!("{number} was priced by these rules. Record others, from a later day."),
        ));
    }
    let verb = Right::ReplaceTaxJurisdiction.mutation();
    let after = pricing::replace_tax_jurisdiction(&tx, act, (verb, before), &new).await?;
    tx.commit().await?;
    Ok(after)
}

/// Makes a draft again of a price book that was adopted by mistake, so that it can be changed.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a draft, and once an estimate was priced by it, with its number.
pub async fn withdraw_price_book(act: &Act, price_book_id: i64) -> Result<price_book::Model> {
    act.staff_with(Right::WithdrawPriceBook)?;
    let tx = act.app.db.write().await?;
    let before = pricing::get_book(&tx, "priceBookId", price_book_id).await?;
    if let Some(number) = store::priced_from(&tx, before.id).await? {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "priceBookId",
            format!(
                "{number} was priced by this book. Clone it, and adopt the copy from a later day."
            ),
        ));
    }
    let verb = Right::WithdrawPriceBook.mutation();
    let after = pricing::withdraw_price_book(&tx, act, (verb, before)).await?;
    tx.commit().await?;
    Ok(after)
}

/// Takes back local rules that were recorded by mistake; gives them as they were.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` once a document went out under them, with its number.
pub async fn withdraw_local_rules(act: &Act, local_rules_id: i64) -> Result<local_rules::Model> {
    act.staff_with(Right::WithdrawLocalRules)?;
    let tx = act.app.db.write().await?;
    let row = places::get(&tx, local_rules_id).await?;
    let settings = shop::settings(&tx).await?;
    let next = places::next_after(&tx, &row).await?;
    let begins_at = row
        .effective_from
        .pred_opt()
        .map(|day| settings.end_of(day));
    let until_on = next.map(|next| next.effective_from);
    let ends_at = until_on.and_then(|day| day.pred_opt());
    let in_force = Span {
        // What went out before they were recorded was not held to them.
        from: begins_at
            .max(Some(row.created_at))
            .unwrap_or(row.created_at),
        until: ends_at.map(|day| settings.end_of(day)),
        recorded_at: row.created_at,
        days: (row.effective_from, until_on),
    };
    let place = (row.country.as_str(), row.region.as_str());
    if let Some(number) = store::went_out_at(&tx, place, in_force).await? {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "localRulesId",
            format!("{number} went out under these rules. Record others, from a later day."),
        ));
    }
    let verb = Right::WithdrawLocalRules.mutation();
    places::withdraw_local_rules(&tx, act, (verb, &row)).await?;
    tx.commit().await?;
    Ok(row)
}
