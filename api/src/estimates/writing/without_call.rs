//! Work that is billed without a call or an estimate, priced and taxed by the same book and rules.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::service_address;
use sea_orm::ConnectionTrait;

use crate::base::{Checks, Error, ProblemCode, Result};
use crate::estimates::priced::{Destination, PricedOption, Terms};
use crate::estimates::writing::offer::{NewOption, Offer};
use crate::{customers, pricing};

/// Work as it is billed.
pub struct FreeWork {
    pub option: PricedOption,
    pub jurisdiction: pricing::Jurisdiction,
}

/// Prices and taxes lines for an address of a customer, as an estimate's option of that day would be.
///
/// Exemption certificates are kept with the calls they were used for; a customer who has one is billed through a call.
///
/// # Errors
/// `SettingMissing` for an address nobody confirmed the taxes of; `WrongState` at `customerId` for a customer with a
/// certificate; problems of the lines at `option`.
pub async fn price_without_call(
    tx: &impl ConnectionTrait,
    (address, on): (&service_address::Model, NaiveDate),
    mut option: NewOption,
) -> Result<FreeWork> {
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
        let place = customers::address_line(address);
        return Err(Error::refused(
            ProblemCode::SettingMissing,
            "serviceAddressId",
            format!(
                "Nobody has confirmed where {place} is taxed. Confirm its tax jurisdiction first."
            ),
        ));
    };
    if pricing::certificate_on(tx, address.customer_id, on)
        .await?
        .is_some()
    {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "customerId",
            "This customer has an exemption certificate; bill the work through a call, which uses it.",
        ));
    }
    let typed = Offer {
        options: vec![option.clone()],
        ..Offer::default()
    };
    let parts = pricing::parts_by_id(tx, &typed.part_ids()).await?;
    let book = pricing::book_on(tx, on).await?;
    let terms = Terms {
        tasks: pricing::tasks_in(tx, book.row.id, &typed.named(|terms| terms.task_id)).await?,
        grades: pricing::grades_of(tx, &typed.named(|terms| terms.technician_id)).await?,
        destination: Destination {
            zone: address.trip_zone.clone(),
            postal_code: address.postal_code.clone(),
            distance: address.trip_distance.map(|distance| distance.0),
            charged_with: None,
        },
        book,
        parts: parts
            .into_iter()
            .map(|part| (part.id, part))
            .collect::<HashMap<_, _>>(),
        jurisdiction: pricing::jurisdiction(tx, jurisdiction_id, on).await?,
        certificate: None,
        built_in: false,
        on,
    };
    Ok(FreeWork {
        option: terms.price(option, "option")?,
        jurisdiction: terms.jurisdiction,
    })
}
