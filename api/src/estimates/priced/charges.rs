//! Each line as a charge: what it costs by the price book, before discount and tax.

use nameplate_entities::kinds::{ChargeKind, PartCondition};
use nameplate_rules::money::Cents;
use nameplate_rules::pricing::discount::Discount;
use rust_decimal::Decimal;

use crate::base::Result;

use super::basis::Basis;
use super::{Terms, too_large};
use crate::estimates::writing::offer::{NewLine, NewOption};
use crate::estimates::writing::tax_facts::LineFacts;

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
    pub(super) basis: Basis,
    /// Which line of the input it comes from.
    pub(super) line: usize,
    pub(super) facts: LineFacts,
    /// For a part: new, used or rebuilt, where somebody said.
    pub(super) condition: Option<PartCondition>,
    /// Whether it comes back to the customer, as a deposit on an old part does: no discount on the whole lowers it.
    pub(super) comes_back: bool,
    /// The discount granted on its line alone.
    pub(super) granted: Option<Discount>,
    /// What that comes to.
    pub(super) own_discount: Cents,
}

impl Charge {
    /// One of this kind for nothing, to be filled in.
    pub(super) fn of(kind: ChargeKind) -> Self {
        Self {
            kind,
            description: String::new(),
            part_id: None,
            quantity: Decimal::ONE,
            unit_price: Cents::ZERO,
            net: Cents::ZERO,
            cost: Cents::ZERO,
            labour_minutes: None,
            section: None,
            basis: Basis::default(),
            line: 0,
            facts: LineFacts::default(),
            condition: None,
            comes_back: false,
            granted: None,
            own_discount: Cents::ZERO,
        }
    }
}

impl Terms {
    /// The lines before discount and tax. The first hour is billed whole once, with the first labor by time.
    pub(super) fn charges(&self, option: &NewOption, path: &str) -> Result<Vec<Charge>> {
        let mut first_labour = true;
        let mut charges = Vec::with_capacity(option.lines.len());
        for (at, line) in option.lines.iter().enumerate() {
            let priced = self.charge(line, first_labour, &format!("{path}.lines.{at}"))?;
            // A discount on the line is one on the part, not on what comes along with it.
            let granted = std::iter::once(line.discount()).chain(std::iter::repeat(None));
            charges.extend(priced.into_iter().zip(granted).map(|(charge, granted)| {
                Charge {
                    section: line.section.clone(),
                    line: at,
                    facts: line.facts.of_kind(charge.kind),
                    condition: line
                        .part_condition
                        .filter(|_| charge.kind == ChargeKind::Part)
                        .or(charge.condition),
                    granted,
                    ..charge
                }
            }));
            if line.kind == ChargeKind::Labour && line.terms.task_id.is_none() {
                first_labour = false;
            }
        }
        Ok(charges)
    }

    fn charge(&self, line: &NewLine, first_labour: bool, path: &str) -> Result<Vec<Charge>> {
        let charge = match line.kind {
            ChargeKind::Part => return self.part(line, path),
            ChargeKind::Labour => self.labour(line, first_labour, path),
            ChargeKind::Trip => self.trip(line, path),
            ChargeKind::Diagnostic => counted(line, "Diagnosis", self.book.diagnostic(), path),
            // Their price was asked for at the door.
            ChargeKind::Freight => counted(line, "Freight", Cents::ZERO, path),
            ChargeKind::Fee => counted(line, "Fee", Cents::ZERO, path),
        };
        Ok(vec![charge?])
    }
}

/// A charge of so many at a price each.
pub(super) fn counted(line: &NewLine, name: &str, price: Cents, path: &str) -> Result<Charge> {
    let quantity = line.quantity.unwrap_or(Decimal::ONE);
    let unit_price = line.unit_price.unwrap_or(price);
    let named = line.description.as_deref().unwrap_or(name);
    let description = match &line.terms.repeat_reason {
        Some(reason) => format!("{named}: {reason}"),
        None => named.to_owned(),
    };
    Ok(Charge {
        description,
        part_id: line.part_id,
        quantity,
        unit_price,
        net: unit_price
            .times_half_up(quantity)
            .map_err(|refusal| too_large(path, &refusal))?,
        basis: Basis::of(line.unit_price.is_some()),
        ..Charge::of(line.kind)
    })
}
