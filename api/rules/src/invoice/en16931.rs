//! The arithmetic of EN 16931-1: how a document's amounts hang together in an invoice that machines read.
//!
//! The European standard knows one tax by category and rate, computed once on each group and rounded to the cent. Sales
//! tax of several levels is put into it by the combined rate of each line. What must stay true: a file that leaves obeys
//! each rule exactly; nothing here allows the slack that published checkers do.

use std::fmt;

use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};

use crate::money::{Cents, MoneyRefusal, ratio_half_up, whole_weights};

/// How a group is taxed (UNTDID 5305, the part used here).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Category {
    /// At a rate.
    S,
    /// At a rate of nothing.
    Z,
    /// Exempt, for a reason.
    E,
}

impl Category {
    /// The code.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::S => "S",
            Self::Z => "Z",
            Self::E => "E",
        }
    }
}

/// A category with its rate; what shares both is taxed together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Group {
    /// How.
    pub category: Category,
    /// Per hundred.
    pub rate: Decimal,
}

/// A line's amount after its own allowances, or an allowance or charge on the document.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Item {
    /// How much, without tax.
    pub amount: Cents,
    /// How it is taxed.
    pub group: Group,
    /// Of an allowance or charge: why.
    #[serde(default)]
    pub reason: String,
    /// Of a line: how it comes to its amount.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub priced: Option<Priced>,
}

/// How a line comes to its amount: so many at so much, less its allowances, with its charges.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Priced {
    /// How many.
    pub quantity: Decimal,
    /// The price of one.
    pub price: Decimal,
    /// What is taken off.
    #[serde(default)]
    pub allowances: Vec<Adjustment>,
    /// What is put on.
    #[serde(default)]
    pub charges: Vec<Adjustment>,
}

/// An allowance or charge on one line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Adjustment {
    /// How much.
    pub amount: Cents,
    /// Why.
    #[serde(default)]
    pub reason: String,
}

impl Priced {
    /// What the line comes to, rounded to the cent; none where it does not fit.
    fn net(&self) -> Option<Decimal> {
        let sum = |all: &[Adjustment]| Cents::sum(all.iter().map(|one| one.amount)).ok();
        let less = sum(&self.allowances)?;
        let more = sum(&self.charges)?.checked_sub(less)?;
        let whole = self.quantity.checked_mul(self.price)?;
        let net = whole.checked_add(Decimal::new(more.0, 2))?;
        Some(net.round_dp_with_strategy(2, RoundingStrategy::MidpointAwayFromZero))
    }
}

/// The tax of one group.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Subtotal {
    /// Which.
    pub group: Group,
    /// What it is charged on.
    pub taxable: Cents,
    /// The tax.
    pub tax: Cents,
    /// Why it is exempt.
    #[serde(default)]
    pub reason: String,
}

/// The totals of a document.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Totals {
    /// Sum of the lines.
    pub lines: Cents,
    /// Sum of the allowances on the document.
    #[serde(default)]
    pub allowances: Cents,
    /// Sum of the charges on the document.
    #[serde(default)]
    pub charges: Cents,
    /// Without tax.
    pub without_tax: Cents,
    /// Tax.
    pub tax: Cents,
    /// With tax.
    pub with_tax: Cents,
    /// Paid already.
    #[serde(default)]
    pub paid: Cents,
    /// Added to the amount due to round it.
    #[serde(default)]
    pub rounding: Cents,
    /// Due.
    pub due: Cents,
}

/// The figures of a document.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Document {
    /// Its lines.
    pub lines: Vec<Item>,
    /// Allowances on the whole of it.
    #[serde(default)]
    pub allowances: Vec<Item>,
    /// Charges on the whole of it.
    #[serde(default)]
    pub charges: Vec<Item>,
    /// Tax by group.
    pub subtotals: Vec<Subtotal>,
    /// Totals.
    pub totals: Totals,
}

/// A rule that a document breaks, by its name in the standard.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Broken(pub String);

impl fmt::Display for Broken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The rules a document breaks; none for one that may leave.
///
/// # Errors
/// `MoneyRefusal::TooLarge` for a sum that does not fit.
/// # Source
/// EN 16931-1:2017, rules BR-CO-10 to -18 and -21 to -24, BR-S, BR-Z and BR-E -01, -05, -08, -09, BR-E-10; whole cents
/// are BR-DEC. What a line comes to is the definition of BT-131, which Peppol BIS Billing 3.0 asks as rule
/// PEPPOL-EN16931-R120. worked/e-invoice.json.
pub fn broken(document: &Document) -> Result<Vec<Broken>, MoneyRefusal> {
    let mut broken = Vec::new();
    let mut holds = |rule: &str, holds: bool| {
        if !holds {
            broken.push(Broken(rule.to_owned()));
        }
    };
    let totals = &document.totals;
    let sum = |items: &[Item]| Cents::sum(items.iter().map(|item| item.amount));
    holds("BR-CO-10", sum(&document.lines)? == totals.lines);
    holds("BR-CO-11", sum(&document.allowances)? == totals.allowances);
    holds("BR-CO-12", sum(&document.charges)? == totals.charges);
    let without = totals
        .lines
        .checked_sub(totals.allowances)
        .and_then(|less| less.checked_add(totals.charges));
    holds("BR-CO-13", without == Some(totals.without_tax));
    let tax = Cents::sum(document.subtotals.iter().map(|group| group.tax))?;
    holds("BR-CO-14", tax == totals.tax);
    let with = totals.without_tax.checked_add(totals.tax);
    holds("BR-CO-15", with == Some(totals.with_tax));
    let due = super::amount_due(totals.with_tax, totals.paid, totals.rounding)?;
    holds("BR-CO-16", due == totals.due);
    holds("BR-CO-18", !document.subtotals.is_empty());
    let said = |items: &[Item]| items.iter().all(|item| !item.reason.trim().is_empty());
    holds("BR-CO-21", said(&document.allowances));
    holds("BR-CO-22", said(&document.charges));
    let priced = || {
        document
            .lines
            .iter()
            .filter_map(|line| line.priced.as_ref())
    };
    let all_said = |all: &[Adjustment]| all.iter().all(|one| !one.reason.trim().is_empty());
    let allowed = priced().all(|line| all_said(&line.allowances));
    holds("BR-CO-23", allowed);
    holds("BR-CO-24", priced().all(|line| all_said(&line.charges)));
    let comes_to = |line: &Item| {
        let priced = line.priced.as_ref();
        priced.is_none_or(|priced| priced.net() == Some(Decimal::new(line.amount.0, 2)))
    };
    holds("BT-131", document.lines.iter().all(comes_to));
    for group in &document.subtotals {
        broken.extend(broken_by(document, group)?);
    }
    broken.extend(without_subtotal(document));
    Ok(broken)
}

fn broken_by(document: &Document, subtotal: &Subtotal) -> Result<Vec<Broken>, MoneyRefusal> {
    let Group { category, rate } = subtotal.group;
    let mut broken = Vec::new();
    let mut holds = |number: &str, holds: bool| {
        if !holds {
            broken.push(Broken(format!("BR-{}-{number}", category.code())));
        }
    };
    let alike = document
        .subtotals
        .iter()
        .filter(|other| other.group == subtotal.group)
        .count();
    holds("01", alike == 1);
    let is_rate = match category {
        Category::S => rate > Decimal::ZERO,
        Category::Z | Category::E => rate.is_zero(),
    };
    holds("05", is_rate);
    let of = |items: &[Item]| {
        let own = items.iter().filter(|item| item.group == subtotal.group);
        Cents::sum(own.map(|item| item.amount))
    };
    let taxable = of(&document.lines)?
        .checked_sub(of(&document.allowances)?)
        .and_then(|less| {
            let charges = of(&document.charges).ok()?;
            less.checked_add(charges)
        });
    holds("08", taxable == Some(subtotal.taxable));
    let is_tax = group_tax(subtotal.taxable, rate)? == subtotal.tax;
    holds("09", is_tax);
    if category == Category::E {
        holds("10", !subtotal.reason.trim().is_empty());
    }
    if !is_tax {
        broken.push(Broken("BR-CO-17".to_owned()));
    }
    Ok(broken)
}

/// What is taxed in a group that has no subtotal.
fn without_subtotal(document: &Document) -> Option<Broken> {
    let items = document.lines.iter().chain(&document.allowances);
    let mut items = items.chain(&document.charges);
    let missing = items.find(|item| {
        let has = |subtotal: &Subtotal| subtotal.group == item.group;
        !document.subtotals.iter().any(has)
    })?;
    Some(Broken(format!("BR-{}-01", missing.group.category.code())))
}

/// The tax of a group: taxable amount by rate, rounded half away from zero, once.
///
/// # Errors
/// `MoneyRefusal::TooLarge` if it does not fit.
/// # Source
/// BR-CO-17; a half cent goes away from zero in both signs: `BIS3_Invoice_positive.XML` and `BIS3_Invoice_negativ.XML`.
/// worked/e-invoice-groups.json.
pub fn group_tax(taxable: Cents, rate: Decimal) -> Result<Cents, MoneyRefusal> {
    let whole = whole_weights(&[rate, Decimal::ONE_HUNDRED]).ok_or(MoneyRefusal::TooLarge)?;
    let [rate, hundred] = whole.as_slice() else {
        return Err(MoneyRefusal::TooLarge);
    };
    let product = i128::from(taxable.0).checked_mul(*rate);
    ratio_half_up(product.ok_or(MoneyRefusal::TooLarge)?, *hundred)
}

/// A line as sales tax has it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SalesLine {
    /// After discount, before tax.
    pub amount: Cents,
    /// How much of that is taxed.
    pub taxable: Cents,
    /// Its tax.
    pub tax: Cents,
    /// The rates of the levels that tax it, added up, per hundred.
    pub rate: Decimal,
    /// Why it is or is not taxed.
    pub reason: String,
}

/// Sales tax in groups of the standard.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mapped {
    /// For each line, its parts: one, or a taxed and an untaxed one.
    pub lines: Vec<Vec<Item>>,
    /// Tax by group.
    pub subtotals: Vec<Subtotal>,
    /// For each group that was rounded otherwise than once: the rate by law, and the one that gives its tax.
    pub restated: Vec<(Decimal, Decimal)>,
}

/// Why sales tax cannot be told in the standard.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MappingRefusal {
    /// More is taxed of a line than it comes to.
    #[error("line {line} is taxed on more than it comes to")]
    TaxedOnMore { line: usize },
    /// No rate gives this tax.
    #[error("no rate gives a tax of {tax} on {taxable}")]
    NoRate { taxable: Cents, tax: Cents },
    /// Two groups of one rate, which the standard would tax together.
    #[error("two groups are taxed at {rate} % and rounded apart")]
    SameRate { rate: Decimal },
    /// A sum does not fit.
    #[error(transparent)]
    Money(#[from] MoneyRefusal),
}

/// Decimals of a restated rate: few enough to read, many enough for any amount.
const RATE_DECIMALS: std::ops::RangeInclusive<u32> = 2..=12;

/// Puts the tax of a document into groups by the combined rate of each line.
///
/// Where the law rounds otherwise than the standard, line by line, by a table of brackets, or a share of a sale rounded as
/// a whole, the group takes the rate that its own tax is of its taxable amount, with as few decimals as give it to the
/// cent. So amounts never change, and what is restated is told.
///
/// # Errors
/// See [`MappingRefusal`].
/// # Source
/// BR-S-08 and -09 ask one rate and one rounding for each group. Restating the rate is our own way, as no source maps
/// United States sales tax into the standard; worked/e-invoice-mapping.json.
pub fn mapped(lines: &[SalesLine]) -> Result<Mapped, MappingRefusal> {
    let mut rates: Vec<(Decimal, Cents, Cents)> = Vec::new();
    for (line, sale) in lines.iter().enumerate() {
        let (amount, taxable) = (sale.amount.0, sale.taxable.0);
        if taxable.signum() * amount.signum() < 0 || taxable.abs() > amount.abs() {
            return Err(MappingRefusal::TaxedOnMore { line });
        }
        if taxable == 0 && sale.tax == Cents::ZERO {
            continue;
        }
        let more = |sum: Cents, part: Cents| sum.checked_add(part).ok_or(MoneyRefusal::TooLarge);
        match rates.iter_mut().find(|(rate, ..)| *rate == sale.rate) {
            Some((_, base, tax)) => {
                (*base, *tax) = (more(*base, sale.taxable)?, more(*tax, sale.tax)?);
            }
            None => rates.push((sale.rate, sale.taxable, sale.tax)),
        }
    }
    let mut mapped = Mapped::default();
    let mut groups = Vec::with_capacity(rates.len());
    for (rate, taxable, tax) in rates {
        let group = group_of(rate, taxable, tax)?;
        if mapped.subtotals.iter().any(|known| known.group == group) {
            return Err(MappingRefusal::SameRate { rate: group.rate });
        }
        if group.rate != rate {
            mapped.restated.push((rate, group.rate));
        }
        groups.push((rate, group));
        mapped.subtotals.push(Subtotal {
            group,
            taxable,
            tax,
            reason: String::new(),
        });
    }
    exempt(lines, &groups, &mut mapped)?;
    Ok(mapped)
}

/// Each line's parts by group, and the one group of what is not taxed.
fn exempt(
    lines: &[SalesLine],
    groups: &[(Decimal, Group)],
    mapped: &mut Mapped,
) -> Result<(), MappingRefusal> {
    let untaxed = Group {
        category: Category::E,
        rate: Decimal::ZERO,
    };
    let (mut sum, mut reasons, mut any) = (Cents::ZERO, Vec::new(), false);
    for sale in lines {
        let mut parts = Vec::new();
        let is_taxed = sale.taxable != Cents::ZERO || sale.tax != Cents::ZERO;
        // What comes to nothing has no tax in any group; it stands with its rate rather than as exempt.
        let is_taxed = is_taxed || sale.amount == Cents::ZERO;
        let group = groups.iter().find(|(rate, _)| *rate == sale.rate);
        if let Some((_, group)) = group.filter(|_| is_taxed) {
            parts.push(Item {
                amount: sale.taxable,
                group: *group,
                reason: String::new(),
                priced: None,
            });
        }
        let rest = sale.amount.checked_sub(sale.taxable);
        let rest = rest.ok_or(MoneyRefusal::TooLarge)?;
        if rest != Cents::ZERO || parts.is_empty() {
            any = true;
            sum = sum.checked_add(rest).ok_or(MoneyRefusal::TooLarge)?;
            let reason = sale.reason.trim();
            if !reason.is_empty() && !reasons.contains(&reason) {
                reasons.push(reason);
            }
            parts.push(Item {
                amount: rest,
                group: untaxed,
                reason: String::new(),
                priced: None,
            });
        }
        mapped.lines.push(parts);
    }
    if any {
        let reason = if reasons.is_empty() {
            "Not taxed".to_owned()
        } else {
            reasons.join(" ")
        };
        mapped.subtotals.push(Subtotal {
            group: untaxed,
            taxable: sum,
            tax: Cents::ZERO,
            reason,
        });
    }
    Ok(())
}

/// The group that gives this tax: at the rate by law, else at the rate that the tax is of the amount.
fn group_of(rate: Decimal, taxable: Cents, tax: Cents) -> Result<Group, MappingRefusal> {
    let at = |rate: Decimal| Group {
        category: if rate.is_zero() {
            Category::Z
        } else {
            Category::S
        },
        rate,
    };
    if group_tax(taxable, rate)? == tax {
        return Ok(at(rate));
    }
    let refused = || MappingRefusal::NoRate { taxable, tax };
    if tax == Cents::ZERO {
        return Ok(at(Decimal::ZERO));
    }
    let exact = Decimal::from(tax.0)
        .checked_mul(Decimal::ONE_HUNDRED)
        .and_then(|product| product.checked_div(Decimal::from(taxable.0)))
        .filter(|rate| *rate > Decimal::ZERO)
        .ok_or_else(refused)?;
    for decimals in RATE_DECIMALS {
        let rate = exact.round_dp(decimals).normalize();
        if rate > Decimal::ZERO && group_tax(taxable, rate)? == tax {
            return Ok(at(rate));
        }
    }
    Err(refused())
}

#[cfg(test)]
mod tests;
