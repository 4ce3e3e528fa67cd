//! Where a sale is taxed: authorities, rates, rules and the way to whole cents, each from a day on.

use std::collections::BTreeMap;
use std::fmt;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::percent::Percent;

use super::rounding::BracketTable;
use super::rules::Rule;

/// What a line charges for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ChargeKind {
    /// A part.
    Part,
    /// Work on the machine.
    Labour,
    /// Getting there.
    Trip,
    /// Finding what is wrong.
    Diagnostic,
    /// Getting a part to the shop or the customer.
    Freight,
    /// Any other charge, such as disposal.
    Fee,
}

impl ChargeKind {
    /// Every kind, for screens and for checking that a jurisdiction has a rule for each.
    pub const ALL: [Self; 6] = [
        Self::Part,
        Self::Labour,
        Self::Trip,
        Self::Diagnostic,
        Self::Freight,
        Self::Fee,
    ];
}

impl fmt::Display for ChargeKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Part => "part",
            Self::Labour => "labour",
            Self::Trip => "trip",
            Self::Diagnostic => "diagnostic",
            Self::Freight => "freight",
            Self::Fee => "fee",
        })
    }
}

/// Rank of a taxing authority.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LevelKind {
    /// State.
    State,
    /// County.
    County,
    /// City.
    City,
    /// Special district.
    District,
}

/// One authority's rate and the days it is in force.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Level {
    /// Name as the return asks for it.
    pub name: String,
    /// Rank.
    pub kind: LevelKind,
    /// Rate per hundred.
    pub rate: Percent,
    /// First day in force; `None` for always.
    #[serde(default)]
    pub from_on: Option<NaiveDate>,
    /// Last day in force; `None` for open.
    #[serde(default)]
    pub until_on: Option<NaiveDate>,
    /// Kinds of charge this authority leaves alone though the others tax them.
    #[serde(default)]
    pub exempts: Vec<ChargeKind>,
}

/// What is rounded: each line, or the document.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// Each line is rounded, and the taxes are added.
    Item,
    /// The taxable lines are added, and the tax is rounded once.
    Invoice,
}

/// Whether the price a customer is shown holds the tax already.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Prices {
    /// Tax is added to the price.
    #[default]
    BeforeTax,
    /// The price holds the tax, which is worked out backwards.
    WithTax,
}

/// How an exact tax becomes whole cents.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// Carry to the third decimal, go up if it exceeds 4.
    #[default]
    Section324,
    /// Look the amount up in a table; the levels' rates only divide the result.
    Brackets(BracketTable),
}

/// A method and the day it begins to apply.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DatedMethod {
    /// First day.
    pub from_on: NaiveDate,
    /// The method.
    pub method: Method,
}

/// Where the sale is taxed, and how.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Jurisdiction {
    /// Name.
    pub name: String,
    /// Authorities, in the order they are reported.
    pub levels: Vec<Level>,
    /// Rules for each kind of charge; the first that fits the facts decides.
    pub rules: BTreeMap<ChargeKind, Vec<Rule>>,
    /// The shop's election, kept and used consistently.
    pub basis: Basis,
    /// Methods by date; before the first of them, and with none, [`Method::Section324`].
    #[serde(default)]
    pub methods: Vec<DatedMethod>,
    /// Whether prices hold the tax.
    #[serde(default)]
    pub prices: Prices,
}

impl Jurisdiction {
    /// Levels in force on a day, in order, each with its place in `levels`.
    #[must_use]
    pub fn levels_on(&self, on: NaiveDate) -> Vec<(usize, &Level)> {
        let in_force = |(_, level): &(usize, &Level)| covers(level.from_on, level.until_on, on);
        self.levels.iter().enumerate().filter(in_force).collect()
    }

    /// Method in force on a day: the one that began last.
    #[must_use]
    pub fn method_on(&self, on: NaiveDate) -> &Method {
        const OTHERWISE: &Method = &Method::Section324;
        self.methods
            .iter()
            .filter(|dated| dated.from_on <= on)
            .max_by_key(|dated| dated.from_on)
            .map_or(OTHERWISE, |dated| &dated.method)
    }
}

/// A day on which levels together are above their ceiling.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OverCeiling {
    /// Place among the levels of the one that goes too far.
    pub level: usize,
    /// First day on which they do.
    pub on: NaiveDate,
    /// What the counted levels add up to, that one included.
    pub together: Decimal,
}

/// Which levels a ceiling counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counted {
    /// All of them.
    All,
    /// All but the state's.
    Local,
}

/// The first level that lifts the counted levels above their ceiling, if one does.
///
/// Levels are added in their order, on each day on which one of them begins, not before `from_on`.
///
/// # Source
/// Texas Comptroller, Sales and Use Tax: local taxes together at most 2 %, 8.25 % with the state's;
/// fixtures/worked/tax-ceiling.json.
#[must_use]
pub fn over_ceiling(
    levels: &[Level],
    counted: Counted,
    ceiling: Percent,
    from_on: NaiveDate,
) -> Option<OverCeiling> {
    let mut days = levels
        .iter()
        .filter_map(|level| level.from_on.filter(|day| *day > from_on))
        .collect::<Vec<_>>();
    days.push(from_on);
    days.sort_unstable();
    days.dedup();
    for on in days {
        let mut together = Decimal::ZERO;
        for (at, level) in levels.iter().enumerate() {
            let counts = counted == Counted::All || level.kind != LevelKind::State;
            if !counts || !covers(level.from_on, level.until_on, on) {
                continue;
            }
            together += level.rate.per_hundred();
            if together > ceiling.per_hundred() {
                return Some(OverCeiling {
                    level: at,
                    on,
                    together,
                });
            }
        }
    }
    None
}

/// Whether a day lies in a period whose ends, both inside, may be open.
pub(super) fn covers(
    from_on: Option<NaiveDate>,
    until_on: Option<NaiveDate>,
    on: NaiveDate,
) -> bool {
    from_on.is_none_or(|from| from <= on) && until_on.is_none_or(|until| on <= until)
}
