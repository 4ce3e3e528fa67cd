//! From what was typed to what is offered: prices by the book, discounts by line, tax by level.
//!
//! What stays true: the lines of an option add up to it, before and after discount and in tax.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::{ChargeKind, PartCondition};
use nameplate_entities::{flat_rate_task, part};
use nameplate_rules::estimate::Shown;
use nameplate_rules::estimate::deposit::{Deposit, DepositRefusal, deposit};
use nameplate_rules::money::{Cents, MoneyRefusal};
use nameplate_rules::tax::{LineTax, TaxResult};
use rust_decimal::Decimal;

use crate::base::{Error, ProblemCode, Result};
use crate::estimates::states::sentence;
use crate::estimates::writing::offer::NewOption;
use crate::estimates::writing::tax_facts::{LineFacts, OptionFacts};
use crate::pricing::{Book, Certificate, Jurisdiction};

use charges::Charge;

mod basis;
mod charges;
mod discounts;
mod labour;
mod parts;
pub(in crate::estimates) mod shared_trips;
mod taxed;
mod trips;

pub use basis::Basis;
pub use taxed::{Drafted, TaxTerms};
pub use trips::Destination;

/// What an offer is priced and taxed with.
pub struct Terms {
    pub book: Book,
    pub parts: HashMap<i64, part::Model>,
    /// By the id that lines name; each is of the book in force.
    pub tasks: HashMap<i64, flat_rate_task::Model>,
    /// The grade of each technician a line names; none for the book's own rate.
    pub grades: HashMap<i64, Option<String>>,
    pub destination: Destination,
    pub jurisdiction: Jurisdiction,
    pub certificate: Option<Certificate>,
    /// Whether the machine is built in.
    pub built_in: bool,
    pub on: NaiveDate,
}

/// One alternative, priced and taxed.
pub struct PricedOption {
    pub title: String,
    pub summary: Option<String>,
    pub lines: Vec<PricedLine>,
    pub net: Cents,
    pub discount: Cents,
    /// Its levels say which of the jurisdiction's they are.
    pub tax: TaxResult,
    pub total: Cents,
    pub notes: Option<String>,
    pub deposit: Option<Deposit>,
    pub facts: OptionFacts,
    /// The certificate that set any of it free of tax.
    pub certificate_id: Option<i64>,
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
    pub section: Option<String>,
    pub basis: Basis,
    pub facts: LineFacts,
    /// Price and discount as the customer sees them, where prices hold the tax.
    pub shown: Option<Shown>,
    /// For a part: new, used or rebuilt, where somebody said.
    pub condition: Option<PartCondition>,
    /// The discount granted on it alone, as the customer sees it; it is part of its discount.
    pub own_discount: Cents,
}

impl Terms {
    /// Prices one alternative, which the input names at `path`.
    ///
    /// # Errors
    /// `NotFound` for a part; `TooMuch` for a discount beyond the lines; `OutOfRange` for what does not fit.
    pub fn price(&self, option: NewOption, path: &str) -> Result<PricedOption> {
        let mut charges = self.charges(&option, path)?;
        let mut discounts = self.discounts(&mut charges, &option, path)?;
        let fits = |refusal: MoneyRefusal| too_large(path, &refusal);
        let (tax, shown) = self.tax(&option, (&mut charges, &mut discounts), path)?;
        let net = Cents::sum(charges.iter().map(|charge| charge.net)).map_err(fits)?;
        let discount = Cents::sum(discounts.iter().copied()).map_err(fits)?;
        let total = net
            .checked_sub(discount)
            .and_then(|left| left.checked_add(tax.total_cents))
            .ok_or_else(|| fits(MoneyRefusal::TooLarge))?;
        let deposit = deposit_of(&option, total, path)?;
        let mut lines = charges
            .into_iter()
            .zip(discounts)
            .zip(tax.lines.clone())
            .zip(shown)
            .map(|(((charge, discount), tax), shown)| PricedLine {
                shown,
                ..charge.with(discount, tax)
            })
            .collect::<Vec<_>>();
        in_sections(&mut lines);
        Ok(PricedOption {
            title: option.title,
            summary: option.summary,
            lines,
            net,
            discount,
            total,
            notes: option.notes,
            deposit,
            certificate_id: self
                .certificate
                .as_ref()
                .filter(|_| tax.certificate_used)
                .map(|held| held.id),
            facts: option.facts,
            tax,
        })
    }
}

/// The deposit that is wanted for an option of this total.
fn deposit_of(option: &NewOption, total: Cents, path: &str) -> Result<Option<Deposit>> {
    let Some(terms) = option.deposit() else {
        return Ok(None);
    };
    deposit(total, terms)
        .map(Some)
        .map_err(|refusal| match refusal {
            DepositRefusal::Money(refusal) => too_large(path, &refusal),
            DepositRefusal::NothingToPay { .. } => Error::refused(
                ProblemCode::TooMuch,
                format!("{path}.depositPercent"),
                sentence(&refusal.to_string()),
            ),
            refusal => Error::refused(
                ProblemCode::TooMuch,
                format!("{path}.depositAmount"),
                sentence(&refusal.to_string()),
            ),
        })
}

/// Puts the lines of one section together, sections in the order they first appear in; lines of none come first.
fn in_sections(lines: &mut [PricedLine]) {
    let mut sections = vec![None];
    for line in lines.iter() {
        if !sections.contains(&line.section) {
            sections.push(line.section.clone());
        }
    }
    lines.sort_by_key(|line| sections.iter().position(|section| *section == line.section));
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
            section: self.section,
            basis: self.basis,
            facts: self.facts,
            shown: None,
            condition: self.condition,
            own_discount: self.own_discount,
        }
    }
}

fn too_large(path: &str, refusal: &MoneyRefusal) -> Error {
    Error::refused(
        ProblemCode::OutOfRange,
        path,
        sentence(&refusal.to_string()),
    )
}
