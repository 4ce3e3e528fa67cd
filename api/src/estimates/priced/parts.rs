//! A part on a line, with the deposit on the old one and the freight as charges of their own.

use nameplate_entities::kinds::{ChargeKind, PricedBy};
use nameplate_entities::part;
use nameplate_rules::money::Cents;

use crate::base::{Error, Result};
use crate::pricing;

use super::basis::Basis;
use super::charges::{Charge, counted};
use super::{Terms, too_large};
use crate::estimates::writing::offer::NewLine;

impl Terms {
    /// A part of the catalogue, and what comes with it; or something else by its price alone.
    pub(super) fn part(&self, line: &NewLine, path: &str) -> Result<Vec<Charge>> {
        let Some(part_id) = line.part_id else {
            return Ok(vec![counted(line, "Part", Cents::ZERO, path)?]);
        };
        let part_path = format!("{path}.partId");
        let part = self
            .parts
            .get(&part_id)
            .ok_or_else(|| Error::not_found(&part_path, "part"))?;
        let under_warranty = line.facts.replaced_under_warranty;
        let priced = match line.unit_price {
            Some(price) => (price, None),
            // What is replaced under warranty is free unless a price is agreed.
            None if under_warranty => (Cents::ZERO, None),
            None => {
                let priced = pricing::price_part(&self.book, part, &part_path)?;
                (priced.price, Some(pricing::basis_for_row(priced.basis)))
            }
        };
        let (unit_price, price_basis) = priced;
        let mut charge = counted(line, &part.description, unit_price, path)?;
        charge.condition = part.condition;
        charge.basis.set_by = price_basis;
        charge.basis.list_price = part.list_price_cents.filter(|_| price_basis.is_some());
        let cost = Cents(part.cost_cents)
            .times_half_up(charge.quantity)
            .map_err(|refusal| too_large(path, &refusal))?;
        // A part that is given for nothing, or that a warranty replaces, brings no bill for what comes with it.
        let is_given = under_warranty || line.unit_price == Some(Cents::ZERO);
        let with = if is_given {
            Vec::new()
        } else {
            beside(part, &charge, path)?
        };
        Ok(std::iter::once(Charge { cost, ..charge })
            .chain(with)
            .collect())
    }
}

/// Deposit and freight of a part, passed on at what they cost the shop.
fn beside(part: &part::Model, of: &Charge, path: &str) -> Result<Vec<Charge>> {
    let name = &part.description;
    let deposit = part.core_deposit_cents.map(|each| {
        let words = format!("Core deposit, {name}: comes back with the old part");
        (ChargeKind::Fee, words, each)
    });
    let freight = part
        .freight_cents
        .map(|each| (ChargeKind::Freight, format!("Freight, {name}"), each));
    deposit
        .into_iter()
        .chain(freight)
        .filter(|(_, _, each)| *each > 0)
        .map(|(kind, description, each)| {
            let net = Cents(each)
                .times_half_up(of.quantity)
                .map_err(|refusal| too_large(path, &refusal))?;
            Ok(Charge {
                description,
                quantity: of.quantity,
                unit_price: Cents(each),
                net,
                cost: net,
                basis: Basis {
                    priced_by: Some(PricedBy::Book),
                    ..Basis::default()
                },
                comes_back: kind == ChargeKind::Fee,
                ..Charge::of(kind)
            })
        })
        .collect()
}
