//! Work that is billed without an estimate, priced and taxed by the same book and rules: without a call, or on the spot.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::StatedAs;
use nameplate_entities::service_address;
use nameplate_rules::estimate::PrintedAs;
use sea_orm::ConnectionTrait;

use crate::base::{Checks, Error, ProblemCode, Result};
use crate::estimates::priced::{Destination, PricedOption, Terms};
use crate::estimates::writing::line_terms::LineTerms;
use crate::estimates::writing::offer::{LINES_MAX, NewLine, NewOption, Offer};
use crate::{customers, pricing};

/// Work as it is billed.
pub struct FreeWork {
    pub option: PricedOption,
    pub jurisdiction: pricing::Jurisdiction,
    pub price_book_id: i64,
}

impl FreeWork {
    /// How it is printed on its invoice.
    pub fn printed_as(&self) -> PrintedAs {
        let option = &self.option;
        PrintedAs {
            one_amount: option.facts.stated_as == StatedAs::LumpSum
                && !option.tax.parts_to_be_stated,
            with_tax: option.lines.iter().filter_map(|line| line.shown).collect(),
        }
    }
}

/// Where work is done, for whom, and when.
pub struct Workplace<'a> {
    pub address: &'a service_address::Model,
    /// Whose certificate may set it free of tax.
    pub customer_id: i64,
    /// Whether the machine is built in.
    pub built_in: bool,
    /// Number of another call that pays for the trip of the same visit.
    pub trip_paid_with: Option<String>,
    pub on: NaiveDate,
    /// What the input calls the place.
    pub path: &'static str,
}

/// Prices and taxes lines for a place, as an estimate's option of that day would be.
///
/// # Errors
/// `SettingMissing` for an address nobody confirmed the taxes of; problems of the lines at `option`.
pub async fn price_work(
    tx: &impl ConnectionTrait,
    place: Workplace<'_>,
    mut option: NewOption,
) -> Result<FreeWork> {
    let mut checks = Checks::new();
    option.check(&mut checks, "option");
    if option.deposit_amount.is_some() || option.deposit_percent.is_some() {
        let message = "A bill asks for no deposit.";
        checks.refuse(ProblemCode::Malformed, "option.depositAmount", message);
    }
    checks.finish()?;
    let terms = terms_at(tx, place, &option).await?;
    let option = terms.price(option, "option")?;
    Ok(as_work(terms, option))
}

/// Work as it is on record, priced as far as it can be.
pub struct Proposed {
    /// What could be priced, as it would be typed.
    pub lines: Vec<NewLine>,
    /// The same as it would be billed; none without a line.
    pub work: Option<FreeWork>,
    /// What could not be priced: what it is, and why.
    pub left_out: Vec<String>,
}

/// Prices what can be priced of these lines, each of which comes with what to say of it. A line of a technician who has
/// no grade any more is priced at the book's own rate.
///
/// # Errors
/// `SettingMissing` for an address nobody confirmed the taxes of.
pub async fn propose_work(
    db: &impl ConnectionTrait,
    place: Workplace<'_>,
    lines: Vec<(String, NewLine)>,
) -> Result<Proposed> {
    let option = |lines: Vec<NewLine>| NewOption {
        title: "Work done".to_owned(),
        lines,
        ..NewOption::default()
    };
    let all = option(lines.iter().map(|(_, line)| line.clone()).collect());
    let terms = terms_at(db, place, &all).await?;
    let (mut kept, mut left_out) = (Vec::new(), Vec::new());
    for (what, line) in lines {
        match priceable(&terms, line, option) {
            Ok(_) if kept.len() == LINES_MAX => {
                left_out.push(format!("{what}: a bill has at most {LINES_MAX} lines."));
            }
            Ok(line) => kept.push(line),
            Err(Error::Refused(problems)) => {
                let why = problems.into_iter().map(|problem| problem.message);
                left_out.push(format!("{what}: {}", why.collect::<Vec<_>>().join(" ")));
            }
            Err(error) => return Err(error),
        }
    }
    let work = if kept.is_empty() {
        None
    } else {
        let priced = terms.price(option(kept.clone()), "option")?;
        Some(as_work(terms, priced))
    };
    Ok(Proposed {
        lines: kept,
        work,
        left_out,
    })
}

/// The line as it can be priced by itself.
fn priceable(
    terms: &Terms,
    line: NewLine,
    option: impl Fn(Vec<NewLine>) -> NewOption,
) -> Result<NewLine> {
    let try_out = |line: &NewLine| {
        let mut alone = option(vec![line.clone()]);
        let mut checks = Checks::new();
        alone.check(&mut checks, "option");
        checks.finish()?;
        terms.price(alone, "option")
    };
    match try_out(&line) {
        Err(Error::Refused(_)) if line.terms.technician_id.is_some() => {
            let at_the_books_rate = NewLine {
                terms: LineTerms {
                    technician_id: None,
                    ..line.terms
                },
                ..line
            };
            try_out(&at_the_books_rate)?;
            Ok(at_the_books_rate)
        }
        tried => tried.map(|_| line),
    }
}

fn as_work(terms: Terms, option: PricedOption) -> FreeWork {
    FreeWork {
        option,
        price_book_id: terms.book.row.id,
        jurisdiction: terms.jurisdiction,
    }
}

/// What work at a place is priced and taxed with.
async fn terms_at(
    tx: &impl ConnectionTrait,
    place: Workplace<'_>,
    option: &NewOption,
) -> Result<Terms> {
    let (address, on) = (place.address, place.on);
    let confirmed = address
        .tax_jurisdiction_id
        .filter(|_| address.jurisdiction_confirmed_at.is_some());
    let Some(jurisdiction_id) = confirmed else {
        let line = customers::address_line(address);
        return Err(Error::refused(
            ProblemCode::SettingMissing,
            place.path,
            format!(
                "Nobody has confirmed where {line} is taxed. Confirm its tax jurisdiction first."
            ),
        ));
    };
    let typed = Offer {
        options: vec![option.clone()],
        ..Offer::default()
    };
    let parts = pricing::parts_by_id(tx, &typed.part_ids()).await?;
    let book = pricing::book_on(tx, on).await?;
    let book_id = book.row.id;
    Ok(Terms {
        tasks: pricing::tasks_in(tx, book_id, &typed.named(|terms| terms.task_id)).await?,
        grades: pricing::grades_of(tx, &typed.named(|terms| terms.technician_id)).await?,
        destination: Destination {
            zone: address.trip_zone.clone(),
            postal_code: address.postal_code.clone(),
            distance: address.trip_distance.map(|distance| distance.0),
            charged_with: place.trip_paid_with,
        },
        book,
        parts: parts
            .into_iter()
            .map(|part| (part.id, part))
            .collect::<HashMap<_, _>>(),
        jurisdiction: pricing::jurisdiction(tx, jurisdiction_id, on).await?,
        certificate: pricing::certificate_on(tx, place.customer_id, on).await?,
        built_in: place.built_in,
        on,
    })
}
