//! From what was typed to what is offered: prices by the book, discounts by line, tax by level.
//!
//! What stays true: the lines of an option add up to it, before and after discount and in tax.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::ChargeKind;
use nameplate_entities::part;
use nameplate_rules::money::{Cents, MoneyRefusal, spread_by_cents};
use nameplate_rules::pricing::discount::{DiscountRefusal, discount_lines};
use nameplate_rules::pricing::labour::{Crew, LabourTerms, WorkHours, labour};
use nameplate_rules::pricing::trip::{RepairAnswer, diagnostic};
use nameplate_rules::tax::{self, Exemption, LineTax, TaxLine, TaxResult};
use rust_decimal::Decimal;

use crate::base::{Error, ProblemCode, Result};
use crate::pricing::{self, Book, Jurisdiction};

use super::offer::{NewLine, NewOption};
use super::states::sentence;

/// What an offer is priced and taxed with.
pub struct Terms {
    pub book: Book,
    pub parts: HashMap<i64, part::Model>,
    pub jurisdiction: Jurisdiction,
    pub exemption: Option<Exemption>,
    pub on: NaiveDate,
}

/// One alternative, priced and taxed.
pub struct PricedOption {
    pub title: String,
    pub summary: Option<String>,
    pub lines: Vec<PricedLine>,
    pub net: Cents,
    pub discount: Cents,
    /// Levels in the order of the jurisdiction's.
    pub tax: TaxResult,
    pub total: Cents,
}

/// One charge of it.
pub struct PricedLine {
    pub kind: ChargeKind,
    pub description: String,
    pub part_id: Option<i64>,
    pub quantity: Decimal,
    pub unit_price: Cents,
    pub net: Cents,
    pub discount: Cents,
    pub tax: LineTax,
    pub cost: Cents,
    pub labour_minutes: Option<i32>,
}

/// A charge before discount and tax.
struct Charge {
    kind: ChargeKind,
    description: String,
    part_id: Option<i64>,
    quantity: Decimal,
    unit_price: Cents,
    net: Cents,
    cost: Cents,
    labour_minutes: Option<i32>,
}

impl Terms {
    /// Prices one alternative, which the input names at `path`.
    ///
    /// # Errors
    /// `NotFound` for a part; `TooMuch` for a discount beyond the lines; `OutOfRange` for what does not fit.
    pub fn price(&self, option: NewOption, path: &str) -> Result<PricedOption> {
        let mut charges = self.charges(&option, path)?;
        let discounts = self.discounts(&mut charges, &option, path)?;
        let fits = |refusal: MoneyRefusal| too_large(path, &refusal);
        let taxed = charges
            .iter()
            .zip(&discounts)
            .map(|(charge, discount)| {
                Some(TaxLine {
                    kind: pricing::charge_of_row(charge.kind),
                    net: charge.net.checked_sub(*discount)?,
                })
            })
            .collect::<Option<Vec<_>>>()
            .ok_or_else(|| fits(MoneyRefusal::TooLarge))?;
        let tax = tax::tax(
            &taxed,
            &self.jurisdiction.rules,
            self.exemption.as_ref(),
            self.on,
        )
        .map_err(|refusal| Error::caused("tax of an estimate", refusal))?;
        let net = Cents::sum(charges.iter().map(|charge| charge.net)).map_err(fits)?;
        let discount = Cents::sum(discounts.iter().copied()).map_err(fits)?;
        let total = net
            .checked_sub(discount)
            .and_then(|left| left.checked_add(tax.total_cents))
            .ok_or_else(|| fits(MoneyRefusal::TooLarge))?;
        let lines = charges
            .into_iter()
            .zip(discounts)
            .zip(tax.lines.clone())
            .map(|((charge, discount), tax)| charge.with(discount, tax))
            .collect();
        Ok(PricedOption {
            title: option.title,
            summary: option.summary,
            lines,
            net,
            discount,
            tax,
            total,
        })
    }

    /// The lines before discount and tax. The first hour is billed whole once, with the first labor.
    fn charges(&self, option: &NewOption, path: &str) -> Result<Vec<Charge>> {
        let mut labour = self.book.labour.clone();
        let mut charges = Vec::with_capacity(option.lines.len());
        for (at, line) in option.lines.iter().enumerate() {
            charges.push(self.charge(line, &labour, &format!("{path}.lines.{at}"))?);
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

    /// What each charge gives up: the diagnostic credit first, then the discount granted, spread over the rest.
    fn discounts(
        &self,
        charges: &mut [Charge],
        option: &NewOption,
        path: &str,
    ) -> Result<Vec<Cents>> {
        let credits = self.diagnostic_credits(charges, path)?;
        let Some(granted) = option.discount() else {
            return Ok(credits);
        };
        let left = charges
            .iter()
            .zip(&credits)
            .map(|(charge, credit)| charge.net.checked_sub(*credit))
            .collect::<Option<Vec<_>>>()
            .ok_or_else(|| too_large(path, &MoneyRefusal::TooLarge))?;
        let discounted = discount_lines(&left, granted).map_err(|refusal| match refusal {
            DiscountRefusal::MoreThanTotal { .. } => Error::refused(
                ProblemCode::TooMuch,
                format!("{path}.discountAmount"),
                sentence(&refusal.to_string()),
            ),
            other => Error::caused("discount of an estimate", other),
        })?;
        credits
            .into_iter()
            .zip(discounted.by_line)
            .map(|(credit, share)| credit.checked_add(share))
            .collect::<Option<Vec<_>>>()
            .ok_or_else(|| too_large(path, &MoneyRefusal::TooLarge))
    }

    /// What the diagnostic lines give up because accepting the option accepts the repair.
    fn diagnostic_credits(&self, charges: &mut [Charge], path: &str) -> Result<Vec<Cents>> {
        let sum_of = |kinds: &[ChargeKind]| {
            let nets = charges
                .iter()
                .filter(|charge| kinds.contains(&charge.kind))
                .map(|charge| charge.net);
            Cents::sum(nets).map_err(|refusal| too_large(path, &refusal))
        };
        let charged = sum_of(&[ChargeKind::Diagnostic])?;
        let repair = sum_of(&[ChargeKind::Part, ChargeKind::Labour])?;
        let answer = RepairAnswer::Accepted { repair };
        let credit = diagnostic(charged, self.book.diagnostic_credit(), answer)
            .map_err(|refusal| Error::caused("diagnostic credit", refusal))?
            .credit;
        let weights = charges
            .iter()
            .map(|charge| match charge.kind {
                ChargeKind::Diagnostic => charge.net,
                _ => Cents::ZERO,
            })
            .collect::<Vec<_>>();
        let credits = spread_by_cents(credit, &weights)
            .map_err(|refusal| Error::caused("diagnostic credit", refusal))?;
        for (charge, credit) in charges.iter_mut().zip(&credits) {
            if *credit > Cents::ZERO {
                charge.description.push_str(" (credited with this option)");
            }
        }
        Ok(credits)
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
    })
}

impl Charge {
    fn with(self, discount: Cents, tax: LineTax) -> PricedLine {
        PricedLine {
            kind: self.kind,
            description: self.description,
            part_id: self.part_id,
            quantity: self.quantity,
            unit_price: self.unit_price,
            net: self.net,
            discount,
            tax,
            cost: self.cost,
            labour_minutes: self.labour_minutes,
        }
    }
}

/// Billed minutes as hours, for the quantity of a line; the minutes beside it are exact.
fn in_hours(minutes: i32) -> Decimal {
    (Decimal::from(minutes) / Decimal::from(60))
        .round_dp(4)
        .normalize()
}

fn too_large(path: &str, refusal: &MoneyRefusal) -> Error {
    Error::refused(
        ProblemCode::OutOfRange,
        path,
        sentence(&refusal.to_string()),
    )
}
