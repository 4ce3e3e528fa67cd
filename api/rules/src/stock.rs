//! What the pieces of one part in stock are worth, and what those that leave cost.
//!
//! Words: a *holding* is one part over all places of the shop; it is made of *layers*, oldest first, each so many pieces
//! with their value. Under *moving average* there is one layer, into which every receipt is mixed; under *first in, first
//! out* each receipt is a layer of its own. Shops fit parts bought on the way, so more may leave than is on hand: what
//! is *short* stands as layers below zero, at the cost that was assumed for it, and the next receipt settles it first.
//!
//! What must stay true: values are whole cents, a piece's share is rounded half up, the last piece of a layer takes what
//! is left of it; so whatever happens, cost of what left and value of what stays add up to what was paid. Layers are all
//! above zero or all below.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::money::{Cents, MoneyRefusal, ratio_half_up, whole_weights};

/// How the cost of what leaves is found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// All pieces on hand cost alike: value over quantity, anew after each receipt.
    #[default]
    MovingAverage,
    /// The oldest pieces leave first, at what they cost.
    FirstInFirstOut,
}

/// So many pieces and their value; both below zero for pieces that are short.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Layer {
    pub quantity: Decimal,
    pub value: Cents,
}

/// Why pieces cannot come or leave.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum StockRefusal {
    /// Nothing, or less than nothing, was to come or leave.
    #[error("a quantity of {quantity} must be above zero")]
    NotPositive { quantity: Decimal },
    /// A cost below zero.
    #[error("a cost of {cost} must not be below zero")]
    NegativeCost { cost: Cents },
    /// The figures leave the range of what can be kept.
    #[error("so many pieces, or their value, are too large to be kept")]
    TooLarge,
}

impl From<MoneyRefusal> for StockRefusal {
    fn from(_: MoneyRefusal) -> Self {
        Self::TooLarge
    }
}

/// What a receipt did beside adding to the stock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Received {
    /// Pieces of it that had left before.
    pub settled: Decimal,
    /// What those cost above what was assumed (below zero: under it). It belongs to cost of sales.
    pub difference: Cents,
}

/// What leaving pieces cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Taken {
    pub cost: Cents,
    /// Pieces of them that were not on hand, at the cost assumed.
    pub short: Decimal,
}

/// One part over all places of the shop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Holding {
    method: Method,
    layers: Vec<Layer>,
}

impl Holding {
    /// A holding of these layers, oldest first. Under moving average they are mixed into one.
    ///
    /// # Errors
    /// `TooLarge`.
    pub fn of(method: Method, layers: Vec<Layer>) -> Result<Self, StockRefusal> {
        let mut holding = Self {
            method,
            layers: Vec::with_capacity(layers.len()),
        };
        for layer in layers {
            holding.push(layer)?;
        }
        Ok(holding)
    }

    /// The layers, oldest first.
    #[must_use]
    pub fn layers(&self) -> &[Layer] {
        &self.layers
    }

    /// Pieces on hand; below zero when short.
    ///
    /// # Errors
    /// `TooLarge`.
    pub fn quantity(&self) -> Result<Decimal, StockRefusal> {
        self.layers
            .iter()
            .try_fold(Decimal::ZERO, |sum, layer| sum.checked_add(layer.quantity))
            .map(|sum| sum.normalize())
            .ok_or(StockRefusal::TooLarge)
    }

    /// What they are worth; below zero when short.
    ///
    /// # Errors
    /// `TooLarge`.
    pub fn value(&self) -> Result<Cents, StockRefusal> {
        Ok(Cents::sum(self.layers.iter().map(|layer| layer.value))?)
    }

    /// Pieces come in at what they cost together.
    ///
    /// What is short is settled first: its share of the cost, rounded half up, takes the place of what was assumed, and
    /// the difference goes to cost of sales. So the value grows by the cost less that difference.
    ///
    /// # Errors
    /// `NotPositive`, `NegativeCost`, `TooLarge`.
    /// # Source
    /// Common practice for stock below zero, no source.
    pub fn receive(&mut self, quantity: Decimal, cost: Cents) -> Result<Received, StockRefusal> {
        positive(quantity)?;
        if cost.is_negative() {
            return Err(StockRefusal::NegativeCost { cost });
        }
        let short = (-self.quantity()?).max(Decimal::ZERO).min(quantity);
        if short == Decimal::ZERO {
            self.push(Layer {
                quantity,
                value: cost,
            })?;
            return Ok(Received {
                settled: short,
                difference: Cents::ZERO,
            });
        }
        let real = share(cost, short, quantity)?;
        let assumed = self.draw(short)?;
        let difference = less(real, assumed)?;
        let rest = quantity - short;
        if rest > Decimal::ZERO {
            let value = less(cost, real)?;
            self.push(Layer {
                quantity: rest,
                value,
            })?;
        }
        Ok(Received {
            settled: short.normalize(),
            difference,
        })
    }

    /// Pieces leave. What is not on hand leaves at `assumed_unit_cost`, rounded half up for all of it together.
    ///
    /// # Errors
    /// `NotPositive`, `NegativeCost`, `TooLarge`.
    /// # Source
    /// worked/stock.json; the assumed cost: common practice, no source.
    ///
    /// # Example
    /// ```
    /// use nameplate_rules::{money::Cents, stock::{Holding, Method}};
    /// # fn main() -> Result<(), nameplate_rules::stock::StockRefusal> {
    /// let mut holding = Holding::of(Method::MovingAverage, Vec::new())?;
    /// holding.receive(3.into(), Cents(1_000))?;
    /// assert_eq!(holding.take(1.into(), Cents::ZERO)?.cost, Cents(333));
    /// assert_eq!(holding.take(2.into(), Cents::ZERO)?.cost, Cents(667));
    /// # Ok(()) }
    /// ```
    pub fn take(
        &mut self,
        quantity: Decimal,
        assumed_unit_cost: Cents,
    ) -> Result<Taken, StockRefusal> {
        positive(quantity)?;
        if assumed_unit_cost.is_negative() {
            return Err(StockRefusal::NegativeCost {
                cost: assumed_unit_cost,
            });
        }
        let on_hand = self.quantity()?.max(Decimal::ZERO).min(quantity);
        let drawn = if on_hand > Decimal::ZERO {
            self.draw(on_hand)?
        } else {
            Cents::ZERO
        };
        let short = quantity - on_hand;
        if short == Decimal::ZERO {
            return Ok(Taken { cost: drawn, short });
        }
        let assumed = assumed_unit_cost.times_half_up(short)?;
        self.push(Layer {
            quantity: -short,
            value: assumed.checked_neg().ok_or(StockRefusal::TooLarge)?,
        })?;
        Ok(Taken {
            cost: Cents::sum([drawn, assumed])?,
            short: short.normalize(),
        })
    }

    /// What so many pieces would be worth if each were worth what one is now; `None` where nothing is on hand or short.
    ///
    /// For pieces that a count finds: nobody knows what they cost.
    ///
    /// # Errors
    /// `NotPositive`, `TooLarge`.
    pub fn worth_of(&self, quantity: Decimal) -> Result<Option<Cents>, StockRefusal> {
        positive(quantity)?;
        let (whole, value) = (self.quantity()?.abs(), self.value()?);
        if whole == Decimal::ZERO {
            return Ok(None);
        }
        let size = if value.is_negative() {
            value.checked_neg().ok_or(StockRefusal::TooLarge)?
        } else {
            value
        };
        share(size, quantity, whole).map(Some)
    }

    fn push(&mut self, layer: Layer) -> Result<(), StockRefusal> {
        if let (Method::MovingAverage, Some(pool)) = (self.method, self.layers.last_mut()) {
            pool.quantity = pool
                .quantity
                .checked_add(layer.quantity)
                .ok_or(StockRefusal::TooLarge)?;
            pool.value = Cents::sum([pool.value, layer.value])?;
        } else {
            self.layers.push(layer);
        }
        Ok(())
    }

    /// Takes so many pieces, on hand or short, off the oldest layers; gives their value without its sign.
    fn draw(&mut self, quantity: Decimal) -> Result<Cents, StockRefusal> {
        let mut left = quantity;
        let mut drawn = Cents::ZERO;
        let mut kept = Vec::with_capacity(self.layers.len());
        for layer in std::mem::take(&mut self.layers) {
            let size = layer.quantity.abs();
            let value = Cents(layer.value.0.checked_abs().ok_or(StockRefusal::TooLarge)?);
            if left >= size {
                left -= size;
                drawn = Cents::sum([drawn, value])?;
                continue;
            }
            if left > Decimal::ZERO {
                let part = share(value, left, size)?;
                drawn = Cents::sum([drawn, part])?;
                kept.push(signed(&layer, size - left, less(value, part)?)?);
                left = Decimal::ZERO;
            } else {
                kept.push(layer);
            }
        }
        self.layers = kept;
        Ok(drawn)
    }
}

/// A layer of this size on the side of zero on which `like` is.
fn signed(like: &Layer, quantity: Decimal, value: Cents) -> Result<Layer, StockRefusal> {
    if like.quantity >= Decimal::ZERO {
        return Ok(Layer { quantity, value });
    }
    Ok(Layer {
        quantity: -quantity,
        value: value.checked_neg().ok_or(StockRefusal::TooLarge)?,
    })
}

/// The share of `part` in `value`, of which there are `whole`; rounded half up.
///
/// # Errors
/// `TooLarge`, also for a whole of nothing.
pub fn share(value: Cents, part: Decimal, whole: Decimal) -> Result<Cents, StockRefusal> {
    let weights = whole_weights(&[part, whole]).ok_or(StockRefusal::TooLarge)?;
    let (Some(part), Some(whole)) = (weights.first(), weights.last()) else {
        return Err(StockRefusal::TooLarge);
    };
    let numerator = i128::from(value.0)
        .checked_mul(*part)
        .ok_or(StockRefusal::TooLarge)?;
    Ok(ratio_half_up(numerator, *whole)?)
}

fn less(whole: Cents, part: Cents) -> Result<Cents, StockRefusal> {
    whole.checked_sub(part).ok_or(StockRefusal::TooLarge)
}

fn positive(quantity: Decimal) -> Result<(), StockRefusal> {
    if quantity > Decimal::ZERO {
        Ok(())
    } else {
        Err(StockRefusal::NotPositive { quantity })
    }
}

#[cfg(test)]
mod tests;
