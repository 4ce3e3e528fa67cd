//! Work that is billed without an estimate, priced and taxed by the same book and rules: without a call, or on the spot.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::StatedAs;
use nameplate_entities::service_address;
use nameplate_rules::estimate::PrintedAs;
use sea_orm::ConnectionTrait;

use crate::base::{Checks, Error, ProblemCode, Result};
use crate::estimates::priced::{Destination, PricedOption, Terms};
use crate::estimates::writing::offer::{NewOption, Offer};
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
    let (address, on) = (place.address, place.on);
    let mut checks = Checks::new();
    option.check(&mut checks, "option");
    if option.deposit_amount.is_some() || option.deposit_percent.is_some() {
        let message = "A bill asks for no deposit.";
        checks.refuse(ProblemCode::Malformed, "option.depositAmount", message);
    }
    checks.finish()?;
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
    let price_book_id = book.row.id;
    let terms = Terms {
        tasks: pricing::tasks_in(tx, price_book_id, &typed.named(|terms| terms.task_id)).await?,
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
    };
    Ok(FreeWork {
        option: terms.price(option, "option")?,
        jurisdiction: terms.jurisdiction,
        price_book_id,
    })
}
