//! Each line as a charge: what it costs by the price book, before discount and tax.

use nameplate_entities::kinds::ChargeKind;
use nameplate_rules::money::Cents;
use nameplate_rules::pricing::labour::{Crew, LabourTerms, WorkHours, labour};
use rust_decimal::Decimal;

use crate::base::{Error, ProblemCode, Result};
use crate::pricing;

use super::super::offer::{NewLine, NewOption};
use super::{Terms, too_large};

/// A charge before discount and tax.
pub(super) struct Charge {
    pub(super) kind: ChargeKind,
    pub(super) description: String,
    pub(super) part_id: Option<i64>,
    pub(super) quantity: Decimal,
    pub(super) unit_price: Cents,
    pub(super) net: Cents,
    pub(super) cost: Cents,
    pub(super) labour_minutes: Option<i32>,
    /// Heading it stands under.
    pub(super) section: Option<String>,
}

impl Terms {
    /// The lines before discount and tax. The first hour is billed whole once, with the first labor.
    pub(super) fn charges(&self, option: &NewOption, path: &str) -> Result<Vec<Charge>> {
        let mut labour = self.book.labour.clone();
        let mut charges = Vec::with_capacity(option.lines.len());
        for (at, line) in option.lines.iter().enumerate() {
            let charge = self.charge(line, &labour, &format!("{path}.lines.{at}"))?;
            charges.push(Charge {
                section: line.section.clone(),
                ..charge
            });
            if line.kind == ChargeKind::Labour {
                labour.minimum_minutes = 0;
            }
        }
        Ok(charges)
    }

    fn charge(&self, line: &NewLine, labour: &LabourTerms, path: &str) -> Result<Charge> {
        match line.kind {
            ChargeKind::Labour => hours(line, labour.clone(), path),
            ChargeKind::Part => self.part(line, path),
            ChargeKind::Trip => counted(line, "Trip", self.book.trip(), path),
            ChargeKind::Diagnostic => counted(line, "Diagnosis", self.book.diagnostic(), path),
            // Their price was asked for at the door.
            ChargeKind::Freight => counted(line, "Freight", Cents::ZERO, path),
            ChargeKind::Fee => counted(line, "Fee", Cents::ZERO, path),
        }
    }

    fn part(&self, line: &NewLine, path: &str) -> Result<Charge> {
        let Some(part_id) = line.part_id else {
            return counted(line, "Part", Cents::ZERO, path);
        };
        let part_path = format!("{path}.partId");
        let part = self
            .parts
            .get(&part_id)
            .ok_or_else(|| Error::not_found(&part_path, "part"))?;
        let unit_price = match line.unit_price {
            Some(price) => price,
            None => pricing::price_part(&self.book, part, &part_path)?.price,
        };
        let charge = counted(line, &part.description, unit_price, path)?;
        let cost = Cents(part.cost_cents)
            .times_half_up(charge.quantity)
            .map_err(|refusal| too_large(path, &refusal))?;
        Ok(Charge { cost, ..charge })
    }
}

/// Labor by time, at the terms of the book.
fn hours(line: &NewLine, mut terms: LabourTerms, path: &str) -> Result<Charge> {
    let minutes = line.minutes.unwrap_or_default();
    let mut unit_price = terms.hourly_rate;
    let mut hours = line.hours;
    if let Some(rate) = line.unit_price {
        // A rate given for this line is the whole rate, whatever the hour.
        (terms.hourly_rate, unit_price, hours) = (rate, rate, WorkHours::Regular);
    } else if hours == WorkHours::AfterHours {
        unit_price = unit_price
            .times_half_up(terms.after_hours_multiplier)
            .map_err(|refusal| too_large(path, &refusal))?;
    }
    let worked = u32::try_from(minutes)
        .map_err(|error| Error::caused("minutes below zero passed the door", error))?;
    let priced = labour(worked, &terms, hours, Crew::One).map_err(|refusal| {
        let words = format!("This labor has no price: {refusal}.");
        Error::refused(ProblemCode::OutOfRange, path, words)
    })?;
    let billed = i32::try_from(priced.billed_minutes)
        .map_err(|error| Error::caused("billed minutes", error))?;
    Ok(Charge {
        kind: line.kind,
        description: line
            .description
            .clone()
            .unwrap_or_else(|| "Labor".to_owned()),
        part_id: None,
        quantity: in_hours(billed),
        unit_price,
        net: priced.cents,
        cost: Cents::ZERO,
        labour_minutes: Some(billed),
        section: None,
    })
}

/// A charge of so many at a price each.
fn counted(line: &NewLine, name: &str, price: Cents, path: &str) -> Result<Charge> {
    let quantity = line.quantity.unwrap_or(Decimal::ONE);
    let unit_price = line.unit_price.unwrap_or(price);
    Ok(Charge {
        kind: line.kind,
        description: line.description.clone().unwrap_or_else(|| name.to_owned()),
        part_id: line.part_id,
        quantity,
        unit_price,
        net: unit_price
            .times_half_up(quantity)
            .map_err(|refusal| too_large(path, &refusal))?,
        cost: Cents::ZERO,
        labour_minutes: None,
        section: None,
    })
}

/// Billed minutes as hours, for the quantity of a line; the minutes beside it are exact.
fn in_hours(minutes: i32) -> Decimal {
    (Decimal::from(minutes) / Decimal::from(60))
        .round_dp(4)
        .normalize()
}
