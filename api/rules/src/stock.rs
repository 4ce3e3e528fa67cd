//! What the pieces of one part in stock are worth, and what those that leave cost.
//!
//! Words: a *holding* is one part over all places of the shop; it is made of *layers*, oldest first, each so many pieces
//! with their value. Under *moving average* there is one layer, into which every receipt is mixed; under *first in, first
//! out* each receipt is a layer of its own. Shops fit parts bought on the way, so more may leave than is on hand: what
//! is *short* stands as layers below zero, one for each time that pieces left, at the cost that was assumed for it, and the
//! next receipt settles them first. A layer may carry a *mark*, by which the caller knows what made it.
//!
//! What must stay true: values are whole cents, a piece's share is rounded half up, the last piece of a layer takes what
//! is left of it; so whatever happens, cost of what left and value of what stays add up to what was paid. Layers are all
//! above zero or all below. What pieces that left under one mark cost, with what settled them, is never below zero.

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
    /// By what the caller knows it. These rules keep it, and compare it with what the caller names.
    #[serde(default)]
    pub mark: Option<i64>,
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
    /// Of what is to be taken back fewer pieces are there.
    #[error("only {there} pieces of it are there")]
    TooFew { there: Decimal },
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
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Received {
    /// Pieces of it that had left before.
    pub settled: Decimal,
    /// What those cost above what was assumed (below zero: under it). It belongs where their cost went.
    pub difference: Cents,
    /// The same by the layers that were short, as they were settled.
    pub settlements: Vec<Settlement>,
}

/// Pieces that had left and came in only now.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settlement {
    /// The mark of the layer that was short.
    pub mark: Option<i64>,
    pub quantity: Decimal,
    /// What they cost above what was assumed.
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
    /// What is short is settled first, oldest first: its share of the cost, rounded half up, takes the place of what was
    /// assumed, and the difference goes where the assumed cost went. So the value grows by the cost less that difference.
    ///
    /// # Errors
    /// `NotPositive`, `NegativeCost`, `TooLarge`.
    /// # Source
    /// Common practice for stock below zero, no source.
    pub fn receive(&mut self, quantity: Decimal, cost: Cents) -> Result<Received, StockRefusal> {
        self.receive_for(quantity, cost, None)
    }

    /// Pieces come in, and settle what is short under this mark before the rest: they are the pieces that had left under it.
    ///
    /// # Errors
    /// `NotPositive`, `NegativeCost`, `TooLarge`.
    pub fn receive_for(
        &mut self,
        quantity: Decimal,
        cost: Cents,
        mark: Option<i64>,
    ) -> Result<Received, StockRefusal> {
        positive(quantity)?;
        if cost.is_negative() {
            return Err(StockRefusal::NegativeCost { cost });
        }
        let short = (-self.quantity()?).max(Decimal::ZERO).min(quantity);
        if short == Decimal::ZERO {
            self.push(Layer {
                quantity,
                value: cost,
                mark: None,
            })?;
            return Ok(Received {
                settled: short,
                difference: Cents::ZERO,
                settlements: Vec::new(),
            });
        }
        let real = share(cost, short, quantity)?;
        let drawn = self.draw(short, mark)?;
        let mut settlements = Vec::with_capacity(drawn.len());
        let (mut so_far, mut given) = (Decimal::ZERO, Cents::ZERO);
        for layer in drawn {
            so_far += layer.quantity;
            let through = share(real, so_far, short)?;
            settlements.push(Settlement {
                mark: layer.mark,
                quantity: layer.quantity.normalize(),
                difference: less(less(through, given)?, layer.value)?,
            });
            given = through;
        }
        let difference = Cents::sum(settlements.iter().map(|one| one.difference))?;
        let rest = quantity - short;
        if rest > Decimal::ZERO {
            let value = less(cost, real)?;
            self.push(Layer {
                quantity: rest,
                value,
                mark: None,
            })?;
        }
        Ok(Received {
            settled: short.normalize(),
            difference,
            settlements,
        })
    }

    /// Gives the newest layer a mark. Pieces on hand under moving average are one and keep none.
    pub fn mark_newest(&mut self, mark: i64) {
        let method = self.method;
        if let Some(layer) = self.layers.last_mut()
            && (method == Method::FirstInFirstOut || layer.quantity < Decimal::ZERO)
        {
            layer.mark = Some(mark);
        }
    }

    /// Pieces that came in under this mark go out again at what they came in at, as if they had never come.
    ///
    /// First in, first out takes those of this mark first, then the oldest: one piece is as good as another, also one that
    /// came back from a call. Gives what of their cost is no longer in the value (below zero: what is left of it though
    /// nothing is there): pieces that left meanwhile took another share of it than they would have. It belongs to cost of
    /// sales.
    ///
    /// # Errors
    /// `NotPositive`, `NegativeCost`; `TooFew` where not so many are on hand; `TooLarge`.
    /// # Source
    /// Common practice, no source.
    pub fn take_back(
        &mut self,
        quantity: Decimal,
        cost: Cents,
        mark: i64,
    ) -> Result<Cents, StockRefusal> {
        positive(quantity)?;
        if cost.is_negative() {
            return Err(StockRefusal::NegativeCost { cost });
        }
        let there = self.quantity()?.max(Decimal::ZERO);
        if there < quantity {
            return Err(StockRefusal::TooFew { there });
        }
        if self.method == Method::FirstInFirstOut {
            let drawn = self.draw(quantity, Some(mark))?;
            let gone = Cents::sum(drawn.iter().map(|layer| layer.value))?;
            return less(cost, gone);
        }
        // What is on hand is one layer.
        let Some(layer) = self.layers.first_mut() else {
            return Err(StockRefusal::TooFew { there });
        };
        let left = less(layer.value, cost)?;
        let quantity = layer.quantity - quantity;
        let value = if quantity == Decimal::ZERO {
            Cents::ZERO
        } else {
            left.max(Cents::ZERO)
        };
        (layer.quantity, layer.value) = (quantity, value);
        self.layers.retain(|layer| layer.quantity != Decimal::ZERO);
        less(value, left)
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
            let drawn = self.draw(on_hand, None)?;
            Cents::sum(drawn.iter().map(|layer| layer.value))?
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
            mark: None,
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
        let is_there = |layer: &Layer| layer.quantity > Decimal::ZERO;
        let averaged = self.method == Method::MovingAverage && is_there(&layer);
        match self.layers.last_mut() {
            Some(pool) if averaged && is_there(pool) => {
                pool.quantity = pool
                    .quantity
                    .checked_add(layer.quantity)
                    .ok_or(StockRefusal::TooLarge)?;
                pool.value = Cents::sum([pool.value, layer.value])?;
            }
            _ => self.layers.push(layer),
        }
        Ok(())
    }

    /// Takes so many pieces, on hand or short, off the layers: those of this mark first, then the oldest. Gives what was
    /// taken of each, without its sign.
    fn draw(&mut self, quantity: Decimal, first: Option<i64>) -> Result<Vec<Layer>, StockRefusal> {
        let mut left = quantity;
        let mut drawn = Vec::new();
        for is_first in [true, false] {
            let of_turn = |layer: &&mut Layer| {
                (first.is_some() && layer.mark == first) == is_first
                    && layer.quantity != Decimal::ZERO
            };
            for layer in self.layers.iter_mut().filter(of_turn) {
                if left == Decimal::ZERO {
                    break;
                }
                let size = layer.quantity.abs();
                let value = Cents(layer.value.0.checked_abs().ok_or(StockRefusal::TooLarge)?);
                let pieces = left.min(size);
                let part = if pieces == size {
                    value
                } else {
                    share(value, pieces, size)?
                };
                left -= pieces;
                drawn.push(Layer {
                    quantity: pieces,
                    value: part,
                    mark: layer.mark,
                });
                *layer = signed(layer, size - pieces, less(value, part)?)?;
            }
        }
        self.layers.retain(|layer| layer.quantity != Decimal::ZERO);
        Ok(drawn)
    }
}

/// A layer of this size on the side of zero on which `like` is.
fn signed(like: &Layer, quantity: Decimal, value: Cents) -> Result<Layer, StockRefusal> {
    let mark = like.mark;
    if like.quantity >= Decimal::ZERO {
        return Ok(Layer {
            quantity,
            value,
            mark,
        });
    }
    Ok(Layer {
        quantity: -quantity,
        value: value.checked_neg().ok_or(StockRefusal::TooLarge)?,
        mark,
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
