//! One charge as it stands on paper, and what is said beside it.

use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal};
use crate::tax::ChargeKind;

/// One line of an option.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Line {
    /// What it charges for.
    pub kind: ChargeKind,
    /// Description as printed.
    pub description: String,
    /// Quantity with its unit as printed, such as "1.25 h".
    pub quantity: String,
    /// Price of one unit.
    pub unit_price: Cents,
    /// The line's price before discount.
    pub net: Cents,
    /// Its share of discounts, zero or more.
    pub discount: Cents,
    /// How much of it is taxed.
    pub taxable: Cents,
    /// Its tax.
    pub tax: Cents,
    /// Why it is or is not taxed.
    pub tax_reason: String,
    /// Heading it stands under, or empty. Lines of one section follow one another.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub section: String,
    /// For a part: whether it is new, used or rebuilt, where somebody said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub condition: Option<Condition>,
    /// The discount granted on this line alone, as printed; it is part of its discount.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub own_discount: Option<Cents>,
}

/// How a part comes to the customer.
///
/// # Source
/// 16 CCR 2725 (used or exchanged parts are marked as such), Commercial Law 13-307 (each new part; each used or
/// reconditioned part with a statement), 16 DCMR 637 (rebuilt and used marks).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Condition {
    /// Never fitted before.
    New,
    /// Taken from another machine as it was.
    Used,
    /// Used, and put in order again.
    Rebuilt,
}

impl Condition {
    /// The words printed beside the part.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::New => "new part",
            Self::Used => "used part",
            Self::Rebuilt => "rebuilt part",
        }
    }
}

/// How much of a line is taxed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taxed {
    /// Nothing.
    No,
    /// All it comes to after discount.
    Whole,
    /// A part of that.
    On(Cents),
}

impl Taxed {
    /// Of an amount after discount, before tax.
    fn of(amount: Cents, taxable: Cents) -> Self {
        if taxable == Cents::ZERO {
            Self::No
        } else if taxable == amount {
            Self::Whole
        } else {
            Self::On(taxable)
        }
    }

    /// What is printed; empty for an untaxed line.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::No => String::new(),
            Self::Whole => "taxed".to_owned(),
            Self::On(part) => format!("taxed on {part}"),
        }
    }
}

/// How much of each line is taxed, or of all in one amount.
pub(super) fn taxed(lines: &[Line], in_one_amount: bool) -> Result<Vec<Taxed>, MoneyRefusal> {
    let amount = |line: &Line| {
        let after_discount = line.net.checked_sub(line.discount);
        after_discount.ok_or(MoneyRefusal::TooLarge)
    };
    let amounts = lines.iter().map(amount).collect::<Result<Vec<_>, _>>()?;
    if in_one_amount && !lines.is_empty() {
        let taxable = Cents::sum(lines.iter().map(|line| line.taxable))?;
        return Ok(vec![Taxed::of(Cents::sum(amounts)?, taxable)]);
    }
    let of_line = |(line, amount): (&Line, Cents)| Taxed::of(amount, line.taxable);
    Ok(lines.iter().zip(amounts).map(of_line).collect())
}

impl Line {
    /// Its description, with the condition of a part where several lines are told in one.
    pub(super) fn named(&self) -> String {
        match self.condition {
            Some(condition) => format!("{} ({})", self.description, condition.words()),
            None => self.description.clone(),
        }
    }

    /// What is said beside it; empty for nothing.
    #[must_use]
    pub fn note(&self) -> String {
        self.note_and(None)
    }

    /// The same on paper whose tax column tells taxed from untaxed lines only.
    #[must_use]
    pub fn note_with_tax(&self, taxed: Taxed) -> Option<String> {
        let in_part = matches!(taxed, Taxed::On(_)).then(|| taxed.words());
        Some(self.note_and(in_part)).filter(|note| !note.is_empty())
    }

    fn note_and(&self, last: Option<String>) -> String {
        let condition = self.condition.map(|condition| condition.words().to_owned());
        let own = self.own_discount;
        let own = own.map(|off| format!("discount on this line {off}"));
        let said = condition.into_iter().chain(own).chain(last);
        let said = said.collect::<Vec<_>>().join("; ");
        let mut letters = said.chars();
        letters.next().map_or_else(String::new, |first| {
            format!("{}{}", first.to_uppercase(), letters.as_str())
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(net: i64, discount: i64, taxable: i64) -> Line {
        Line {
            kind: ChargeKind::Part,
            description: "Pump".to_owned(),
            quantity: "1".to_owned(),
            unit_price: Cents(net),
            net: Cents(net),
            discount: Cents(discount),
            taxable: Cents(taxable),
            tax: Cents::ZERO,
            tax_reason: "because".to_owned(),
            section: String::new(),
            condition: None,
            own_discount: None,
        }
    }

    /// CDTFA annotation 315.0206: of a truck charge of 25.00 that serves both, 10.00 is taxed.
    #[test]
    fn a_line_says_how_much_of_it_is_taxed_where_that_is_not_all() {
        let lines = [
            part(2_500, 0, 1_000),
            part(10_000, 1_000, 9_000),
            part(500, 0, 0),
        ];
        let words = |in_one_amount| {
            let taxed = taxed(&lines, in_one_amount).unwrap();
            taxed.into_iter().map(Taxed::words).collect::<Vec<_>>()
        };
        assert_eq!(words(false), ["taxed on 10.00", "taxed", ""]);
        assert_eq!(words(true), ["taxed on 100.00"]);
        let credit = [part(-10_000, -1_000, -9_000)];
        assert_eq!(taxed(&credit, false), Ok(vec![Taxed::Whole]));
    }

    #[test]
    fn beside_a_part_stand_its_condition_its_discount_and_what_is_taxed_in_part() {
        let pump = Line {
            condition: Some(Condition::Rebuilt),
            own_discount: Some(Cents(1_200)),
            ..part(10_000, 1_200, 4_000)
        };
        let note = "Rebuilt part; discount on this line 12.00";
        assert_eq!(pump.note(), note);
        let with_tax = format!("{note}; taxed on 40.00");
        assert_eq!(pump.note_with_tax(Taxed::On(Cents(4_000))), Some(with_tax));
        assert_eq!(part(1, 0, 1).note_with_tax(Taxed::Whole), None);
    }
}
