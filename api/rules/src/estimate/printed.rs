//! How charges are printed where that is not line by line before tax: as one amount, or as prices that hold the tax.
//!
//! What is printed never changes what is counted: lines, discounts and taxes of the content stay as they are, and what
//! is printed still ends in the same total.

use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal};

use super::content::{OfferOption, TaxLevel};
use super::line::{Line, Taxed, taxed};

/// How the lines of an option or invoice are printed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct PrintedAs {
    /// All of them in one amount.
    pub one_amount: bool,
    /// Where prices hold the tax: each line's price and discount with it, in order. Else empty.
    pub with_tax: Vec<Shown>,
}

/// A line's price and discount as the customer sees them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shown {
    /// Price before discount.
    pub net: Cents,
    /// Discount, zero or more.
    pub discount: Cents,
}

/// What is printed above the total.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Printed {
    /// Lines.
    pub lines: Vec<Line>,
    /// How much of each is taxed.
    pub taxed: Vec<Taxed>,
    /// Sum of their nets.
    pub subtotal: Cents,
    /// What is taken off.
    pub discount: Cents,
    /// Taxes, said to be in the price where they are.
    pub tax_levels: Vec<TaxLevel>,
}

impl PrintedAs {
    /// Whether lines are printed as they are counted.
    #[must_use]
    pub fn is_plain(&self) -> bool {
        *self == Self::default()
    }

    /// The lines and taxes as printed. A credit note's are the same with the other sign.
    ///
    /// # Errors
    /// `MoneyRefusal::TooLarge` if a sum does not fit.
    pub fn printed(
        &self,
        mut lines: Vec<Line>,
        mut tax_levels: Vec<TaxLevel>,
    ) -> Result<Printed, MoneyRefusal> {
        // Asked while the amounts are still those before tax.
        let taxed = taxed(&lines, self.one_amount)?;
        if !self.with_tax.is_empty() {
            for (line, shown) in lines.iter_mut().zip(&self.with_tax) {
                let sign = if is_credit(line) { -1 } else { 1 };
                line.net = Cents(shown.net.0.saturating_mul(sign));
                line.discount = Cents(shown.discount.0.saturating_mul(sign));
            }
            for level in &mut tax_levels {
                level.name.push_str(", in the price");
            }
        }
        let subtotal = Cents::sum(lines.iter().map(|line| line.net))?;
        let discount = Cents::sum(lines.iter().map(|line| line.discount))?;
        if self.one_amount {
            lines = together(lines, subtotal, discount)?;
        }
        Ok(Printed {
            lines,
            taxed,
            subtotal,
            discount,
            tax_levels,
        })
    }
}

impl OfferOption {
    /// The option with lines, subtotal, discount and taxes as printed, and how much of each line is taxed.
    ///
    /// # Errors
    /// As [`PrintedAs::printed`].
    pub fn as_printed(self) -> Result<(Self, Vec<Taxed>), MoneyRefusal> {
        let printed = self.printed_as.printed(self.lines, self.tax_levels)?;
        let option = Self {
            lines: printed.lines,
            subtotal: printed.subtotal,
            discount: printed.discount,
            tax_levels: printed.tax_levels,
            printed_as: PrintedAs::default(),
            ..self
        };
        Ok((option, printed.taxed))
    }
}

/// A line of a credit note has its sign on the quantity.
fn is_credit(line: &Line) -> bool {
    line.quantity.starts_with('-')
}

/// All lines as one: what they are, and one amount.
fn together(lines: Vec<Line>, subtotal: Cents, discount: Cents) -> Result<Vec<Line>, MoneyRefusal> {
    let taxable = Cents::sum(lines.iter().map(|line| line.taxable))?;
    let tax = Cents::sum(lines.iter().map(|line| line.tax))?;
    let names = lines.iter().map(Line::named).collect::<Vec<_>>().join("; ");
    let Some(first) = lines.first() else {
        return Ok(lines);
    };
    let credit = is_credit(first);
    Ok(vec![Line {
        description: format!("In one amount: {names}"),
        quantity: if credit { "-1" } else { "1" }.to_owned(),
        unit_price: if credit {
            subtotal.checked_neg().ok_or(MoneyRefusal::TooLarge)?
        } else {
            subtotal
        },
        net: subtotal,
        discount,
        taxable,
        tax,
        section: String::new(),
        // Each is named with its condition; the discount is one for all.
        condition: None,
        own_discount: None,
        ..first.clone()
    }])
}

#[cfg(test)]
mod tests {
    use super::super::Condition;
    use super::*;
    use crate::percent::Percent;
    use crate::tax::{ChargeKind, LevelKind};

    fn line(kind: ChargeKind, quantity: &str, net: i64, tax: i64) -> Line {
        Line {
            kind,
            description: kind.to_string(),
            quantity: quantity.to_owned(),
            unit_price: Cents(net.abs()),
            net: Cents(net),
            discount: Cents::ZERO,
            taxable: Cents(net),
            tax: Cents(tax),
            tax_reason: "because".to_owned(),
            section: "Kitchen".to_owned(),
            condition: (kind == ChargeKind::Part).then_some(Condition::Rebuilt),
            own_discount: None,
        }
    }

    fn level(tax: i64) -> TaxLevel {
        TaxLevel {
            name: "State".to_owned(),
            kind: LevelKind::State,
            rate: Percent::parse("21").unwrap(),
            taxable: Cents(10_000),
            tax: Cents(tax),
        }
    }

    fn job(quantity: &str, sign: i64) -> Vec<Line> {
        vec![
            line(ChargeKind::Part, quantity, 8_000 * sign, 1_680 * sign),
            line(ChargeKind::Labour, quantity, 2_000 * sign, 420 * sign),
        ]
    }

    #[test]
    fn one_amount_names_what_it_is_for_and_adds_up() {
        let one = PrintedAs {
            one_amount: true,
            with_tax: Vec::new(),
        };
        let printed = one.printed(job("1", 1), vec![level(2_100)]).unwrap();
        let [line] = printed.lines.as_slice() else {
            panic!("one line")
        };
        assert_eq!(
            line.description,
            "In one amount: part (rebuilt part); labour"
        );
        assert_eq!((line.net, line.tax), (Cents(10_000), Cents(2_100)));
        assert_eq!(printed.subtotal, Cents(10_000));
        let credit = one.printed(job("-1", -1), vec![level(-2_100)]).unwrap();
        let [line] = credit.lines.as_slice() else {
            panic!("one line")
        };
        assert_eq!(
            (line.quantity.as_str(), line.unit_price),
            ("-1", Cents(10_000))
        );
        assert_eq!(line.net, Cents(-10_000));
    }

    #[test]
    fn prices_that_hold_the_tax_are_printed_with_it_and_the_tax_is_said_to_be_inside() {
        let shown = |net| Shown {
            net: Cents(net),
            discount: Cents::ZERO,
        };
        let inside = PrintedAs {
            one_amount: false,
            with_tax: vec![shown(9_680), shown(2_420)],
        };
        let printed = inside.printed(job("1", 1), vec![level(2_100)]).unwrap();
        assert_eq!(printed.subtotal, Cents(12_100));
        // All of what is left once the tax is out is taxed.
        assert_eq!(printed.taxed, [Taxed::Whole, Taxed::Whole]);
        let names: Vec<&str> = printed
            .tax_levels
            .iter()
            .map(|level| level.name.as_str())
            .collect();
        assert_eq!(names, ["State, in the price"]);
        let credit = inside.printed(job("-1", -1), vec![level(-2_100)]).unwrap();
        assert_eq!(credit.subtotal, Cents(-12_100));
    }

    #[test]
    fn lines_are_printed_as_they_are_counted_unless_told_otherwise() {
        let lines = job("1", 1);
        let printed = PrintedAs::default()
            .printed(lines.clone(), Vec::new())
            .unwrap();
        assert_eq!(printed.lines, lines);
    }
}
