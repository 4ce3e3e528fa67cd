//! Sales and tax of some days as far as they are paid.
//!
//! Each invoice that was paid or credited in these days is taken apart into what each kind of sale is about, after
//! discounts, and the tax of each level; the rules say what of it counts. A payment counts on the day it was received, or
//! on the invoice's day if the money was there before. What a customer pays of a rest that a warranty payer left counts as
//! paying the payer's invoice. A thousand invoices are read at a time.

use std::collections::{BTreeMap, HashMap};

use nameplate_rules::books::Role;
use nameplate_rules::books::cash::{Settled, counted_between};
use nameplate_rules::books::events::revenue_of;
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::{Error, Result};
use crate::pricing;

use super::store::Span;
use super::store::documents::{self, DocumentTax, Line, Paid};
use super::too_large;

/// Invoices taken apart together.
const PAGE: u64 = 1_000;

/// What tells sales apart.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Sale {
    /// The revenue account.
    pub role: Role,
    pub tax_jurisdiction_id: i64,
    /// Why it was taxed or not.
    pub tax_reason: String,
    /// Whether this part of the sale was taxed.
    pub taxed: bool,
}

/// What an invoice is made of.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Part {
    Sale(Sale),
    /// Tax of this level.
    Tax(i64),
}

/// Taxed sales and their tax.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LevelTax {
    pub taxable: Cents,
    pub tax: Cents,
}

/// What counts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cash {
    pub sales: BTreeMap<Sale, Cents>,
    /// By level.
    pub taxes: BTreeMap<i64, LevelTax>,
}

/// What counts of all invoices in these days. Four statements for a thousand invoices.
pub async fn cash(db: &impl ConnectionTrait, span: Span) -> Result<Cash> {
    let mut cash = Cash::default();
    let mut after = 0;
    loop {
        let ids = documents::moved(db, span, (after, PAGE)).await?;
        let Some(last) = ids.last() else {
            return Ok(cash);
        };
        after = *last;
        let (lines, taxes, paid) = documents::settled(db, span, &ids).await?;
        for ends in Ends::of(span, lines, taxes, &paid)?.into_values() {
            cash.add(&ends)?;
        }
        if u64::try_from(ids.len()).is_ok_and(|count| count < PAGE) {
            return Ok(cash);
        }
    }
}

/// An invoice before the first day and after the last.
struct Ends {
    before: State,
    after: State,
}

struct State {
    settled: Settled<Part>,
    /// What each level taxes.
    bases: BTreeMap<i64, Cents>,
}

impl State {
    fn new() -> Self {
        Self {
            settled: Settled {
                parts: BTreeMap::new(),
                paid: Cents::ZERO,
            },
            bases: BTreeMap::new(),
        }
    }

    fn add(&mut self, part: Part, cents: i64) -> Result<()> {
        add(
            self.settled.parts.entry(part).or_insert(Cents::ZERO),
            Cents(cents),
        )
    }
}

impl Ends {
    fn of(
        span: Span,
        lines: Vec<Line>,
        taxes: Vec<DocumentTax>,
        paid: &[Paid],
    ) -> Result<HashMap<i64, Self>> {
        let mut invoices: HashMap<i64, Self> = HashMap::new();
        let new = || Self {
            before: State::new(),
            after: State::new(),
        };
        for line in lines {
            let ends = invoices.entry(line.invoice_id).or_insert_with(new);
            for state in ends.states(line.issued_on < span.from) {
                let untaxed = line.sale_cents.checked_sub(line.taxable_cents);
                let untaxed = untaxed.ok_or_else(|| Error::internal("a line is too large"))?;
                for (taxed, cents) in [(true, line.taxable_cents), (false, untaxed)] {
                    let sale = Sale {
                        role: revenue_of(pricing::charge_of_row(line.kind)),
                        tax_jurisdiction_id: line.tax_jurisdiction_id,
                        tax_reason: line.tax_reason.clone(),
                        taxed,
                    };
                    state.add(Part::Sale(sale), cents)?;
                }
            }
        }
        for tax in taxes {
            let ends = invoices.entry(tax.invoice_id).or_insert_with(new);
            for state in ends.states(tax.issued_on < span.from) {
                state.add(Part::Tax(tax.tax_level_id), tax.tax_cents)?;
                let base = state.bases.entry(tax.tax_level_id).or_insert(Cents::ZERO);
                add(base, Cents(tax.taxable_cents))?;
            }
        }
        for row in paid {
            let ends = invoices.entry(row.invoice_id).or_insert_with(new);
            ends.before.settled.paid = Cents(row.before_cents);
            ends.after.settled.paid = Cents(row.through_cents);
        }
        Ok(invoices)
    }

    /// The states that a document belongs to.
    fn states(&mut self, is_older: bool) -> impl Iterator<Item = &mut State> {
        let before = is_older.then_some(&mut self.before);
        before.into_iter().chain([&mut self.after])
    }
}

impl Cash {
    fn add(&mut self, ends: &Ends) -> Result<()> {
        let (before, after) = (&ends.before, &ends.after);
        for (part, amount) in counted_between(&before.settled, &after.settled).map_err(too_large)? {
            match part {
                Part::Sale(sale) => add(self.sales.entry(sale).or_insert(Cents::ZERO), amount)?,
                Part::Tax(level_id) => {
                    add(&mut self.taxes.entry(level_id).or_default().tax, amount)?;
                }
            }
        }
        for (level_id, base) in &after.bases {
            let older = before.bases.get(level_id).copied().unwrap_or(Cents::ZERO);
            let then = before.settled.counted_of(older).map_err(too_large)?;
            let now = after.settled.counted_of(*base).map_err(too_large)?;
            let moved = now.checked_sub(then);
            let moved = moved.ok_or_else(|| Error::internal("a sum is too large"))?;
            add(&mut self.taxes.entry(*level_id).or_default().taxable, moved)?;
        }
        Ok(())
    }
}

/// Adds to a sum that must not wrap.
pub fn add(sum: &mut Cents, amount: Cents) -> Result<()> {
    let added = sum.checked_add(amount);
    *sum = added.ok_or_else(|| Error::internal("a sum is too large"))?;
    Ok(())
}
