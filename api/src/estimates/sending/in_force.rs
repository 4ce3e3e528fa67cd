//! Whether what a draft was priced and taxed with still holds on the day it is used.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::{estimate, estimate_revision};
use sea_orm::ConnectionTrait;

use crate::base::{Error, ProblemCode, Result};
use crate::estimates::priced::{Drafted, TaxTerms};
use crate::estimates::store;
use crate::{customers, pricing};

/// The price book and the tax of a draft are still those of this day and of where the address lies. Rates and rules of one place begin and end by
/// date, and so do certificates; so the tax is worked out anew.
///
/// # Errors
/// `Superseded` when the draft would come out otherwise.
pub async fn still(
    tx: &impl ConnectionTrait,
    path: &str,
    (estimate, draft): (&estimate::Model, &estimate_revision::Model),
    on: NaiveDate,
) -> Result<()> {
    let book = pricing::book_on(tx, on).await?;
    if book.row.id != draft.price_book_id {
        let words = "Other prices took effect since this was drafted. Revise it, and use that.";
        return Err(Error::refused(ProblemCode::Superseded, path, words));
    }
    let about = store::subject_of(tx, estimate.call_id).await?;
    let address = customers::get_address(tx, path, about.call.service_address_id).await?;
    let confirmed = address
        .tax_jurisdiction_id
        .filter(|_| address.jurisdiction_confirmed_at.is_some());
    let jurisdiction_id = confirmed.unwrap_or(draft.tax_jurisdiction_id);
    let jurisdiction = pricing::jurisdiction(tx, jurisdiction_id, on).await?;
    let same_place = confirmed.is_some() && jurisdiction.row.id == draft.tax_jurisdiction_id;
    let terms = TaxTerms {
        jurisdiction,
        certificate: pricing::certificate_on(tx, about.call.customer_id, on).await?,
        built_in: about.appliance.built_in,
        on,
    };
    let options = options(tx, draft).await?;
    if same_place && options.iter().all(|option| option.is_taxed_as(&terms)) {
        return Ok(());
    }
    let words = "Where it is taxed, tax rules, a rate, the machine or a certificate changed since this was drafted, and with it the tax. \
        Revise it, and use that.";
    Err(Error::refused(ProblemCode::Superseded, path, words))
}

async fn options(
    tx: &impl ConnectionTrait,
    draft: &estimate_revision::Model,
) -> Result<Vec<Drafted>> {
    let options = store::options_of(tx, draft.id).await?;
    let ids = options.iter().map(|option| option.id).collect::<Vec<_>>();
    let mut lines = HashMap::<i64, Vec<_>>::new();
    for line in store::lines_of(tx, &ids).await? {
        lines.entry(line.option_id).or_default().push(line);
    }
    let mut taxes = HashMap::<i64, Vec<_>>::new();
    for tax in store::taxes_of(tx, &ids).await? {
        taxes.entry(tax.option_id).or_default().push(tax);
    }
    let drafted = |option: nameplate_entities::estimate_option::Model| Drafted {
        lines: lines.remove(&option.id).unwrap_or_default(),
        taxes: taxes.remove(&option.id).unwrap_or_default(),
        option,
    };
    Ok(options.into_iter().map(drafted).collect())
}
