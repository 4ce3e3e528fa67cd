//! What is frozen when a revision is sent: everything the customer reads, from the rows it was priced into.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::ChargeKind;
use nameplate_entities::{
    estimate, estimate_line, estimate_option, estimate_revision, estimate_tax, tax_level,
};
use nameplate_rules::estimate::deposit::Deposit;
use nameplate_rules::estimate::{Around, Content, Line, OfferOption, PrintedAs, Shown, TaxLevel};
use nameplate_rules::money::Cents;
use nameplate_rules::percent::Percent;
use nameplate_rules::plural::counted;
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;

use crate::base::{Error, Result};
use crate::estimates::shown::{cautions, local, parties, printed};
use crate::estimates::store;
use crate::estimates::writing::{pictures, tax_facts, weighing};
use crate::shop::Settings;
use crate::{customers, pricing};

/// The days a revision is frozen with.
#[derive(Clone, Copy)]
pub struct Days {
    pub sent_on: NaiveDate,
    pub valid_until: NaiveDate,
}

/// The content of a revision as it is sent.
///
/// # Errors
/// Internal, when its totals do not add up.
pub async fn of_revision(
    tx: &impl ConnectionTrait,
    settings: &Settings,
    (estimate, revision): (&estimate::Model, &estimate_revision::Model),
    days: Days,
) -> Result<Content> {
    let subject = store::subject_of(tx, estimate.call_id).await?;
    let customer = customers::get_customer(tx, "", subject.call.customer_id).await?;
    let address = customers::get_address(tx, "", subject.call.service_address_id).await?;
    let cautions = cautions::of_work(tx, &subject).await?;
    let options = options(tx, revision).await?;
    let weighing = if revision.weighs_replacement {
        let price = revision.replacement_price_cents.map(Cents);
        let terms = (price, days.sent_on);
        Some(weighing::weighing(tx, &subject.appliance, &options, terms).await?)
    } else {
        None
    };
    let content = Content {
        number: estimate.number.clone(),
        revision: u32::try_from(revision.revision)
            .map_err(|error| Error::caused("number of a revision", error))?,
        sent_on: days.sent_on,
        valid_until: days.valid_until,
        shop: parties::shop_block(settings),
        customer: parties::customer_block(&customer, &address),
        appliance: parties::appliance_block(&subject.appliance, &subject.appliance_type),
        ratings: parties::ratings(&subject.appliance),
        complaint: subject.call.complaint,
        found: revision.found_text.clone(),
        currency: settings.row.currency.clone(),
        options,
        price_book: store::price_book_name(tx, revision.price_book_id).await?,
        notes: revision.notes.clone().unwrap_or_default(),
        warranty: warranty(settings),
        terms: terms(settings),
        changes: None,
        around: Around {
            pictures: pictures::frozen(tx, revision.id).await?,
            cautions,
            local_lines: Vec::new(),
            consent: printed::CONSENT.to_owned(),
        },
        weighing: weighing.filter(|weighing| !weighing.is_empty()),
    };
    content
        .totals()
        .map_err(|refusal| Error::caused("totals of an estimate", refusal))?;
    let about = (estimate, &content);
    // Sent or handed over, it will be in writing.
    let paper = local::AsPaper::sent(&content)?;
    let held = local::held(tx, settings, about, paper, days.sent_on).await?;
    Ok(Content {
        around: Around {
            local_lines: held.lines,
            ..content.around.clone()
        },
        ..content
    })
}

/// The shop's warranty as printed.
fn warranty(settings: &Settings) -> String {
    let days = counted(settings.row.labour_warranty_days, "day", "days");
    let months = counted(settings.row.parts_warranty_months, "month", "months");
    format!(
        "On what we repair: labor {days}, parts we fit {months}, both from the day the work is done."
    )
}

/// How far the bill may go beyond the option accepted.
fn terms(settings: &Settings) -> String {
    let percent = settings.row.consent_percent.0;
    if percent > Decimal::ZERO {
        format!(
            "We ask you first before the bill passes the total you accept by more than {} %.",
            percent.normalize()
        )
    } else {
        "We do no work beyond the option you accept without asking you first.".to_owned()
    }
}

async fn options(
    tx: &impl ConnectionTrait,
    revision: &estimate_revision::Model,
) -> Result<Vec<OfferOption>> {
    let rows = store::options_of(tx, revision.id).await?;
    let ids = rows.iter().map(|row| row.id).collect::<Vec<_>>();
    let mut lines = HashMap::<i64, Vec<Line>>::new();
    let mut shown = HashMap::<i64, Vec<Shown>>::new();
    for row in store::lines_of(tx, &ids).await? {
        shown
            .entry(row.option_id)
            .or_default()
            .extend(tax_facts::shown(&row));
        lines.entry(row.option_id).or_default().push(line(row));
    }
    let levels = store::levels(tx, revision.tax_jurisdiction_id).await?;
    let mut taxes = HashMap::<i64, Vec<TaxLevel>>::new();
    for row in store::taxes_of(tx, &ids).await? {
        let option_id = row.option_id;
        taxes
            .entry(option_id)
            .or_default()
            .push(level(row, &levels)?);
    }
    let option = |row: estimate_option::Model| {
        Ok(OfferOption {
            deposit: deposit(&row)?,
            printed_as: PrintedAs {
                one_amount: tax_facts::is_one_amount(&row),
                with_tax: shown.remove(&row.id).unwrap_or_default(),
            },
            notes: row.notes.unwrap_or_default(),
            lines: lines.remove(&row.id).unwrap_or_default(),
            tax_levels: taxes.remove(&row.id).unwrap_or_default(),
            title: row.title,
            summary: row.summary.unwrap_or_default(),
            subtotal: Cents(row.net_cents),
            discount: Cents(row.discount_cents),
            tax: Cents(row.tax_cents),
            total: Cents(row.total_cents),
        })
    };
    rows.into_iter().map(option).collect()
}

fn deposit(row: &estimate_option::Model) -> Result<Option<Deposit>> {
    let percent = row.deposit_percent.map(|percent| Percent::new(percent.0));
    let percent = percent
        .transpose()
        .map_err(|refusal| Error::caused("deposit of an option", refusal))?;
    let amount = row.deposit_cents.map(Cents);
    Ok(amount.map(|amount| Deposit { percent, amount }))
}

fn line(row: estimate_line::Model) -> Line {
    Line {
        quantity: printed_quantity(row.kind, row.quantity.0, row.labour_minutes),
        kind: pricing::charge_of_row(row.kind),
        description: row.description,
        unit_price: Cents(row.unit_price_cents),
        net: Cents(row.net_cents),
        discount: Cents(row.discount_cents),
        taxable: Cents(row.taxable_cents),
        tax: Cents(row.tax_cents),
        tax_reason: row.tax_reason,
        section: row.section.unwrap_or_default(),
        condition: row.part_condition.map(pricing::condition_of_row),
        own_discount: Some(Cents(row.own_discount_cents)).filter(|off| *off != Cents::ZERO),
    }
}

/// How many, as printed: labour in hours, or in hours and minutes where hours would not be exact.
pub fn printed_quantity(kind: ChargeKind, quantity: Decimal, minutes: Option<i32>) -> String {
    match (kind, minutes) {
        (ChargeKind::Labour, Some(minutes)) if minutes % 3 == 0 => {
            let hours = Decimal::from(minutes) / Decimal::from(60);
            format!("{} h", hours.normalize())
        }
        (ChargeKind::Labour, Some(minutes)) => format!("{} h {} min", minutes / 60, minutes % 60),
        // A listed task has hours and no minutes on a clock.
        (ChargeKind::Labour, None) => format!("{} h", quantity.normalize()),
        _ => quantity.normalize().to_string(),
    }
}

fn level(row: estimate_tax::Model, levels: &HashMap<i64, tax_level::Model>) -> Result<TaxLevel> {
    let level = levels
        .get(&row.tax_level_id)
        .ok_or_else(|| Error::internal("a tax level of an estimate is gone"))?;
    Ok(TaxLevel {
        kind: pricing::level_of_row(level.kind),
        rate: Percent::new(row.rate_percent.0)
            .map_err(|refusal| Error::caused("rate of a tax level", refusal))?,
        name: row.name,
        taxable: Cents(row.taxable_cents),
        tax: Cents(row.tax_cents),
    })
}
