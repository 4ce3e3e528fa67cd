//! Part prices from cost by a markup schedule.
//!
//! A whole schedule jumps at its bracket edges, and may make a dearer part cheaper than a cheaper one.
//! So a schedule can list those inversions, and its price is floored by what any cheaper part sells for.
//! What must stay true: the price never falls when the cost rises.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal, power_of_ten, ratio_half_up};

/// How the brackets of a schedule apply.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ScheduleKind {
    /// The multiplier of the cost's bracket applies to the whole cost.
    Whole,
    /// Each slice of the cost has the multiplier of its own bracket.
    Graduated,
}

/// One step of a schedule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bracket {
    /// Highest cost of this bracket, itself inside; `None` for the last, open bracket.
    pub up_to_cents: Option<Cents>,
    /// Price per unit of cost, at least 1.
    pub multiplier: Decimal,
}

/// Where prices end.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PriceEnding {
    /// As computed.
    #[default]
    None,
    /// Up to the next price that ends in .95.
    UpTo95,
    /// Up to the next price that ends in .99.
    UpTo99,
}

/// The parts of a schedule before they are checked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ScheduleTerms {
    /// Whole or graduated.
    pub kind: ScheduleKind,
    /// Steps from the cheapest cost up; the last is open.
    pub brackets: Vec<Bracket>,
    /// Least amount, in cents, that a part earns over its cost.
    pub minimum_markup_cents: Cents,
    /// Most that a part earns over its cost; none for no cap. Holds after the ending.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maximum_markup_cents: Option<Cents>,
    /// Price ending, applied last.
    pub ending: PriceEnding,
}

/// A checked markup schedule.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "ScheduleTerms", into = "ScheduleTerms")]
pub struct MarkupSchedule(ScheduleTerms);

/// Price of one part, before tax, and how it came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct PartPrice {
    /// The price.
    pub price: Cents,
    /// Position of the bracket the cost fell into, from 0.
    pub bracket: usize,
    /// What the floor added so that no cheaper part sells dearer; zero if nothing.
    pub raised_by_floor_cents: Cents,
    /// What set the price in the end.
    pub basis: PriceBasis,
}

/// What set a part's price.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PriceBasis {
    /// The schedule.
    Schedule,
    /// The most a part may earn, which the schedule would have passed.
    MarkupCap,
    /// The part's own fixed price.
    Fixed,
    /// The list price, which the schedule would have passed.
    ListPriceCap,
}

/// A part's own price rules, which go before the schedule.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct PartRule {
    /// Sells at this price whatever it costs.
    pub fixed_price: Option<Cents>,
    /// Never sells above this price.
    pub list_price_cap: Option<Cents>,
}

/// A bracket edge at which a part one cent dearer would sell for less.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Inversion {
    /// Position of the bracket below the edge.
    pub bracket: usize,
    /// Highest cost below the edge.
    pub edge_cost: Cents,
    /// Highest price reached up to the edge.
    pub price_at_edge: Cents,
    /// Price one cent of cost later, without the floor.
    pub price_above_edge: Cents,
}

/// Why a schedule cannot be saved. Brackets are counted from zero here, and from one in the words.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ScheduleRefusal {
    /// No brackets at all.
    #[error("a markup schedule needs at least one bracket")]
    NoBrackets,
    /// A bracket that does not end above the one before.
    #[error("bracket {} must end above the bracket before it", .bracket + 1)]
    NotRising { bracket: usize },
    /// An open bracket before the last.
    #[error("bracket {} is open, but brackets follow it", .bracket + 1)]
    OpenTooEarly { bracket: usize },
    /// The last bracket is not open, so some cost has no price.
    #[error("the last bracket ends at {up_to}; leave it open so that every cost has a price")]
    NotOpenAtTop { up_to: Cents },
    /// A multiplier below one sells below cost.
    #[error("bracket {} has multiplier {multiplier}, which sells below cost", .bracket + 1)]
    MultiplierBelowOne { bracket: usize, multiplier: Decimal },
    /// The least markup is below zero.
    #[error("the minimum markup {minimum} is below zero")]
    NegativeMinimum { minimum: Cents },
    /// The most a part may earn is less than the least.
    #[error("the maximum markup {maximum} is below the minimum markup {minimum}")]
    MaximumBelowMinimum { minimum: Cents, maximum: Cents },
}

/// Why a part has no price.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PricingRefusal {
    /// A cost below zero.
    #[error("a part cannot cost {cost}")]
    NegativeCost { cost: Cents },
    /// The schedule does not reach this cost.
    #[error("no bracket reaches a cost of {cost}")]
    NoBracket { cost: Cents },
    /// The price does not fit.
    #[error(transparent)]
    Money(#[from] MoneyRefusal),
}

impl MarkupSchedule {
    /// Checks a schedule.
    ///
    /// # Errors
    /// See [`ScheduleRefusal`]; the first bracket at fault is named.
    pub fn new(terms: ScheduleTerms) -> Result<Self, ScheduleRefusal> {
        if terms.minimum_markup_cents.is_negative() {
            let minimum = terms.minimum_markup_cents;
            return Err(ScheduleRefusal::NegativeMinimum { minimum });
        }
        let minimum = terms.minimum_markup_cents;
        if let Some(maximum) = terms.maximum_markup_cents.filter(|most| *most < minimum) {
            return Err(ScheduleRefusal::MaximumBelowMinimum { minimum, maximum });
        }
        check_brackets(&terms.brackets)?;
        Ok(Self(terms))
    }

    /// The parts of the schedule.
    #[must_use]
    pub const fn terms(&self) -> &ScheduleTerms {
        &self.0
    }

    /// Price of one part before tax.
    ///
    /// Shape: cost to price, bracket and what the floor added. Unit: whole cents. Order: multiplier
    /// (rounded half up, once), minimum markup, floor, price ending, maximum markup. A part that costs nothing and has no
    /// minimum markup sells for nothing.
    ///
    /// # Errors
    /// `NegativeCost`; `NoBracket`; `Money` if the price does not fit.
    /// # Source
    /// Common practice; fixtures/worked/markup.json.
    pub fn price(&self, cost: Cents) -> Result<PartPrice, PricingRefusal> {
        if cost.is_negative() {
            return Err(PricingRefusal::NegativeCost { cost });
        }
        let bracket = self.bracket_of(cost)?;
        let own = self.before_floor(cost)?;
        let floor = self.highest_below(bracket)?.unwrap_or(own);
        let floored = own.max(floor);
        let by_schedule = ended(floored, self.0.ending)?;
        let cap = self.highest_at(cost)?.filter(|cap| *cap < by_schedule);
        Ok(PartPrice {
            price: cap.unwrap_or(by_schedule),
            bracket,
            raised_by_floor_cents: floored.checked_sub(own).ok_or(MoneyRefusal::TooLarge)?,
            basis: cap.map_or(PriceBasis::Schedule, |_| PriceBasis::MarkupCap),
        })
    }

    /// Price of one part under its own rules first, then the schedule.
    ///
    /// A fixed price wins over everything. A list-price cap is applied after the price ending and may
    /// lie below cost: a cap is a promise, and the margin shown beside it tells the rest.
    ///
    /// # Errors
    /// As [`MarkupSchedule::price`].
    pub fn price_under(&self, cost: Cents, rule: PartRule) -> Result<PartPrice, PricingRefusal> {
        let scheduled = self.price(cost)?;
        if let Some(price) = rule.fixed_price {
            return Ok(PartPrice {
                price,
                raised_by_floor_cents: Cents::ZERO,
                basis: PriceBasis::Fixed,
                ..scheduled
            });
        }
        match rule.list_price_cap {
            Some(price) if price < scheduled.price => Ok(PartPrice {
                price,
                basis: PriceBasis::ListPriceCap,
                ..scheduled
            }),
            _ => Ok(scheduled),
        }
    }

    /// Every bracket edge at which the unfloored price would fall, in order of cost.
    ///
    /// Prices are those before floor and ending. A graduated schedule has none.
    ///
    /// # Errors
    /// `Money` if a price at an edge does not fit.
    /// # Source
    /// Common practice; fixtures/worked/markup.json.
    pub fn inversions(&self) -> Result<Vec<Inversion>, PricingRefusal> {
        let mut found = Vec::new();
        let mut highest = Cents::ZERO;
        for (bracket, edge_cost) in self.edges() {
            highest = highest.max(self.before_floor(edge_cost)?);
            let above = edge_cost
                .checked_add(Cents(1))
                .ok_or(MoneyRefusal::TooLarge)?;
            let price_above_edge = self.before_floor(above)?;
            if price_above_edge < highest {
                found.push(Inversion {
                    bracket,
                    edge_cost,
                    price_at_edge: highest,
                    price_above_edge,
                });
            }
        }
        Ok(found)
    }

    /// Cost and the most a part may earn over it.
    fn highest_at(&self, cost: Cents) -> Result<Option<Cents>, MoneyRefusal> {
        self.0
            .maximum_markup_cents
            .map(|most| cost.checked_add(most).ok_or(MoneyRefusal::TooLarge))
            .transpose()
    }

    /// Brackets that end, with their last cost.
    fn edges(&self) -> impl Iterator<Item = (usize, Cents)> + '_ {
        let brackets = self.0.brackets.iter().enumerate();
        brackets.filter_map(|(at, bracket)| bracket.up_to_cents.map(|edge| (at, edge)))
    }

    fn bracket_of(&self, cost: Cents) -> Result<usize, PricingRefusal> {
        self.0
            .brackets
            .iter()
            .position(|bracket| bracket.up_to_cents.is_none_or(|edge| cost <= edge))
            .ok_or(PricingRefusal::NoBracket { cost })
    }

    /// Highest price of any part in a cheaper bracket. Prices rise within a bracket, so edges suffice.
    fn highest_below(&self, bracket: usize) -> Result<Option<Cents>, PricingRefusal> {
        let mut highest = None;
        for (_, edge) in self.edges().take(bracket) {
            highest = highest.max(Some(self.before_floor(edge)?));
        }
        Ok(highest)
    }

    /// Price by multiplier and minimum markup alone.
    fn before_floor(&self, cost: Cents) -> Result<Cents, PricingRefusal> {
        let marked_up = match self.0.kind {
            ScheduleKind::Whole => {
                let bracket = self.0.brackets.get(self.bracket_of(cost)?);
                let bracket = bracket.ok_or(PricingRefusal::NoBracket { cost })?;
                cost.times_half_up(bracket.multiplier)?
            }
            ScheduleKind::Graduated => graduated(&self.0.brackets, cost)?,
        };
        let least = cost
            .checked_add(self.0.minimum_markup_cents)
            .ok_or(MoneyRefusal::TooLarge)?;
        Ok(marked_up.max(least))
    }
}

impl TryFrom<ScheduleTerms> for MarkupSchedule {
    type Error = ScheduleRefusal;

    fn try_from(terms: ScheduleTerms) -> Result<Self, Self::Error> {
        Self::new(terms)
    }
}

impl From<MarkupSchedule> for ScheduleTerms {
    fn from(schedule: MarkupSchedule) -> Self {
        schedule.0
    }
}

fn check_brackets(brackets: &[Bracket]) -> Result<(), ScheduleRefusal> {
    let last = brackets
        .len()
        .checked_sub(1)
        .ok_or(ScheduleRefusal::NoBrackets)?;
    let mut below = Cents::ZERO;
    for (bracket, step) in brackets.iter().enumerate() {
        let multiplier = step.multiplier;
        if multiplier < Decimal::ONE {
            return Err(ScheduleRefusal::MultiplierBelowOne {
                bracket,
                multiplier,
            });
        }
        match step.up_to_cents {
            None if bracket < last => return Err(ScheduleRefusal::OpenTooEarly { bracket }),
            None => {}
            Some(up_to) if up_to <= below => return Err(ScheduleRefusal::NotRising { bracket }),
            Some(up_to) if bracket == last => return Err(ScheduleRefusal::NotOpenAtTop { up_to }),
            Some(up_to) => below = up_to,
        }
    }
    Ok(())
}

/// Sum of slice times multiplier, exact, rounded once.
fn graduated(brackets: &[Bracket], cost: Cents) -> Result<Cents, MoneyRefusal> {
    let scale = brackets
        .iter()
        .map(|b| b.multiplier.scale())
        .max()
        .unwrap_or(0);
    let mut sum = 0_i128;
    let mut below = Cents::ZERO;
    for bracket in brackets {
        let top = bracket.up_to_cents.map_or(cost, |edge| edge.min(cost));
        let slice = i128::from(top.0) - i128::from(below.0);
        let lift = power_of_ten(scale.saturating_sub(bracket.multiplier.scale()))?;
        let priced = bracket
            .multiplier
            .mantissa()
            .checked_mul(lift)
            .and_then(|multiplier| multiplier.checked_mul(slice))
            .and_then(|product| sum.checked_add(product));
        sum = priced.ok_or(MoneyRefusal::TooLarge)?;
        below = top;
    }
    ratio_half_up(sum, power_of_ten(scale)?)
}

/// The least price at or above this one with the wanted ending.
fn ended(price: Cents, ending: PriceEnding) -> Result<Cents, MoneyRefusal> {
    let wanted = match ending {
        PriceEnding::None => return Ok(price),
        PriceEnding::UpTo95 => 95,
        PriceEnding::UpTo99 => 99,
    };
    if price <= Cents::ZERO {
        return Ok(price);
    }
    let step = Cents((wanted - price.0 % 100).rem_euclid(100));
    price.checked_add(step).ok_or(MoneyRefusal::TooLarge)
}

#[cfg(test)]
mod tests;
