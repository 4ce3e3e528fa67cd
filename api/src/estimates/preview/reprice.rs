//! One accepted line at the prices of another book.

use std::collections::HashMap;

use nameplate_entities::kinds::{self, ChargeKind, PriceBasis, PricedBy};
use nameplate_entities::{estimate_line, flat_rate_task, part};
use nameplate_rules::money::{Cents, MoneyRefusal};
use nameplate_rules::pricing::labour::{Crew, LabourTerms, WorkHours, flat_rate, labour};
use nameplate_rules::pricing::trip::Place;
use nameplate_rules::tax::without_tax;

use crate::base::{Error, Result};
use crate::pricing::{self, Book};

use super::read::Work;

/// What a line would be charged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Repriced {
    Now(Cents),
    /// Somebody set its price, or nobody wrote down who did.
    ByHand,
    /// The book has no price for it.
    Unpriced,
}

/// Prices a line again, before tax as the line's own price is.
///
/// # Errors
/// Internal, when a price does not fit.
pub fn reprice(
    book: &Book,
    tasks: &HashMap<i64, flat_rate_task::Model>,
    work: &Work,
    line: &estimate_line::Model,
) -> Result<Repriced> {
    match line.priced_by {
        Some(PricedBy::Book) => {}
        // Another call on the visit pays for the trip, whatever it costs.
        Some(PricedBy::OtherCall) => return Ok(Repriced::Now(Cents(line.net_cents))),
        Some(PricedBy::Hand) | None => return Ok(Repriced::ByHand),
    }
    let as_it_was = Ok(Repriced::Now(Cents(line.net_cents)));
    let price = match line.kind {
        // What replaces something under warranty is free whatever the book says.
        ChargeKind::Part if line.under_warranty => return as_it_was,
        // The part had a price of its own, on which a book has no say.
        ChargeKind::Part if line.price_basis == Some(PriceBasis::Fixed) => return as_it_was,
        ChargeKind::Part => part(book, work, line)?,
        ChargeKind::Labour => labour_of(book, tasks, line)?,
        ChargeKind::Trip => trip(book, work, line)?,
        ChargeKind::Diagnostic => Some(times(book.diagnostic(), line)?),
        // Deposits and freight are passed on at what they cost.
        ChargeKind::Freight | ChargeKind::Fee => return as_it_was,
    };
    let price = match price {
        Some(price) => before_tax(price, line)?,
        None => None,
    };
    Ok(price.map_or(Repriced::Unpriced, Repriced::Now))
}

/// A price of the book as the line's own is kept: without the tax, where prices hold it. None where the line showed no
/// price that would tell how much of it is tax.
fn before_tax(price: Cents, line: &estimate_line::Model) -> Result<Option<Cents>> {
    let Some(shown) = line.shown_net_cents else {
        return Ok(Some(price));
    };
    without_tax(price, (Cents(shown), Cents(line.net_cents))).map_err(too_large)
}

fn times(each: Cents, line: &estimate_line::Model) -> Result<Cents> {
    each.times_half_up(line.quantity.0).map_err(too_large)
}

fn too_large(refusal: MoneyRefusal) -> Error {
    Error::caused("a line of a preview", refusal)
}

fn part(book: &Book, work: &Work, line: &estimate_line::Model) -> Result<Option<Cents>> {
    let Some(part) = work.part_then(line).and_then(|part| own_prices(part, line)) else {
        return Ok(None);
    };
    match pricing::price_part(book, &part, "") {
        Ok(price) => times(price.price, line).map(Some),
        Err(Error::Refused(_)) => Ok(None),
        Err(error) => Err(error),
    }
}

/// The part with the prices of its own that it had when the line was priced. None where that was not written down and
/// the part has such prices today: nobody knows whether it had them then.
pub(super) fn own_prices(part: part::Model, line: &estimate_line::Model) -> Option<part::Model> {
    if line.price_basis.is_some() {
        return Some(part::Model {
            fixed_price_cents: None,
            list_price_cents: line.list_price_cents,
            ..part
        });
    }
    let has_own = part.fixed_price_cents.is_some() || part.list_price_cents.is_some();
    (!has_own).then_some(part)
}

fn trip(book: &Book, work: &Work, line: &estimate_line::Model) -> Result<Option<Cents>> {
    let Some(offered) = work.offered(line) else {
        return Ok(None);
    };
    let address = &offered.address;
    let place = Place {
        zone: address.trip_zone.as_deref(),
        postal_code: &address.postal_code,
        distance: address.trip_distance.map(|distance| distance.0),
    };
    match book.trip(place) {
        Ok((charge, _)) => times(charge, line).map(Some),
        Err(_) => Ok(None),
    }
}

fn labour_of(
    book: &Book,
    tasks: &HashMap<i64, flat_rate_task::Model>,
    line: &estimate_line::Model,
) -> Result<Option<Cents>> {
    let terms = match &line.rate_name {
        Some(grade) => book.labour_of(grade),
        None => Some(book.labour.clone()),
    };
    let Some(terms) = terms else {
        return Ok(None);
    };
    let hours = match line.work_hours {
        Some(kinds::WorkHours::AfterHours) => WorkHours::AfterHours,
        Some(kinds::WorkHours::Regular) | None => WorkHours::Regular,
    };
    let crew = match line.crew {
        Some(2) => Crew::Two,
        _ => Crew::One,
    };
    let fault = |refusal| Error::caused("labor of a preview", refusal);
    if let Some(task_id) = line.task_id {
        let Some(task) = tasks.get(&task_id) else {
            return Ok(None);
        };
        return flat_rate(task.hours.0, &terms, hours, crew)
            .map(Some)
            .map_err(fault);
    }
    let Some(worked) = line
        .worked_minutes
        .and_then(|worked| u32::try_from(worked).ok())
    else {
        return Ok(None);
    };
    let minimum_minutes = match line.first_labour {
        Some(true) => terms.minimum_minutes,
        _ => 0,
    };
    let terms = LabourTerms {
        minimum_minutes,
        ..terms
    };
    let priced = labour(worked, &terms, hours, crew).map_err(fault)?;
    Ok(Some(priced.cents))
}
