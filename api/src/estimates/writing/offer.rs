//! What an estimate offers, as typed: held against the door before anything is looked up.

use nameplate_entities::kinds::{ChargeKind, PartCondition};
use nameplate_rules::estimate::deposit::DepositTerms;
use nameplate_rules::money::Cents;
use nameplate_rules::percent::Percent;
use nameplate_rules::pricing::discount::Discount;
use nameplate_rules::pricing::labour::WorkHours;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Checks, ProblemCode, Result};
use crate::estimates::writing::line_terms::{self, LineTerms};
use crate::estimates::writing::pictures::{self, NewPicture};
use crate::estimates::writing::tax_facts::{LineFacts, OptionFacts};

/// Alternatives a customer can still choose from.
pub(in crate::estimates) const OPTIONS_MAX: usize = 10;
/// Lines of one option; a job has far fewer.
pub const LINES_MAX: usize = 60;
/// Beyond these, products of prices would not fit.
const QUANTITY_MAX: i64 = 10_000;
const PRICE_MAX: Cents = Cents(100_000_000);
const MINUTES_MAX: i32 = 10_000;

/// Options with the words around them.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Offer {
    /// What was found, as the customer reads it.
    pub found: Option<String>,
    /// Remarks.
    pub notes: Option<String>,
    /// Alternatives, at least one.
    pub options: Vec<NewOption>,
    /// Whether the customer is shown the figures of repair or replace.
    #[serde(default)]
    pub weighs_replacement: bool,
    /// What a comparable new machine costs, for those figures.
    pub replacement_price: Option<Cents>,
    /// Pictures to show, in order. They are of one call, so they are not offered again for another.
    #[serde(default, skip_deserializing)]
    pub pictures: Vec<NewPicture>,
}

/// One alternative.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct NewOption {
    pub title: String,
    pub summary: Option<String>,
    pub lines: Vec<NewLine>,
    pub discount_amount: Option<Cents>,
    pub discount_percent: Option<Decimal>,
    /// Remarks below its lines.
    pub notes: Option<String>,
    pub deposit_amount: Option<Cents>,
    pub deposit_percent: Option<Decimal>,
    /// What tax rules turn on.
    #[serde(default)]
    pub facts: OptionFacts,
}

/// One charge. What is left out comes from the price book.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct NewLine {
    pub kind: ChargeKind,
    pub description: Option<String>,
    pub part_id: Option<i64>,
    pub quantity: Option<Decimal>,
    pub minutes: Option<i32>,
    pub hours: WorkHours,
    pub unit_price: Option<Cents>,
    /// What is taken off this line alone, before any discount on the option.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub discount_amount: Option<Cents>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub discount_percent: Option<Decimal>,
    /// For a part: new, used or rebuilt, if not as the catalogue has it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part_condition: Option<PartCondition>,
    /// Heading it stands under.
    pub section: Option<String>,
    /// What it names of the price book beside its kind.
    #[serde(default, skip_serializing_if = "LineTerms::is_plain")]
    pub terms: LineTerms,
    /// What tax rules turn on.
    #[serde(default)]
    pub facts: LineFacts,
}

impl Offer {
    /// The same with its texts trimmed.
    ///
    /// # Errors
    /// `Refused` with every problem found.
    pub fn checked(mut self) -> Result<Self> {
        let mut checks = Checks::new();
        self.found = checks.text_if_any("found", self.found.as_deref(), TEXT_MAX);
        self.notes = checks.text_if_any("notes", self.notes.as_deref(), TEXT_MAX);
        pictures::check(&mut checks, &mut self.pictures);
        count(&mut checks, "options", self.options.len(), OPTIONS_MAX);
        if let Some(price) = self.replacement_price {
            checks.positive("replacementPrice", price);
        }
        self.check_titles(&mut checks);
        if checks.is_clean() {
            for (at, option) in self.options.iter_mut().enumerate() {
                option.check(&mut checks, &format!("options.{at}"));
            }
        }
        checks.finish()?;
        Ok(self)
    }

    /// A customer chooses an option by its name.
    fn check_titles(&self, checks: &mut Checks) {
        let mut seen = Vec::new();
        for (at, option) in self.options.iter().enumerate().take(OPTIONS_MAX) {
            let title = option.title.trim().to_lowercase();
            if seen.contains(&title) && !title.is_empty() {
                let words = "Another option has this name. Give each its own.";
                checks.refuse(ProblemCode::Taken, &format!("options.{at}.title"), words);
            }
            seen.push(title);
        }
    }

    /// What its lines name by id beside parts.
    pub fn named(&self, what: fn(&LineTerms) -> Option<i64>) -> Vec<i64> {
        let lines = self.options.iter().flat_map(|option| &option.lines);
        let mut ids = lines
            .filter_map(|line| what(&line.terms))
            .collect::<Vec<_>>();
        ids.sort_unstable();
        ids.dedup();
        ids
    }

    /// Ids of the parts its lines name.
    pub fn part_ids(&self) -> Vec<i64> {
        let mut ids = self
            .options
            .iter()
            .flat_map(|option| option.lines.iter().filter_map(|line| line.part_id))
            .collect::<Vec<_>>();
        ids.sort_unstable();
        ids.dedup();
        ids
    }
}

fn count(checks: &mut Checks, path: &str, given: usize, most: usize) {
    if given == 0 {
        checks.refuse(ProblemCode::Missing, path, "Give at least one.");
    } else if given > most {
        checks.refuse(
            ProblemCode::TooLong,
            path,
            format!("This takes at most {most}."),
        );
    }
}

impl NewOption {
    pub(in crate::estimates) fn check(&mut self, checks: &mut Checks, below: &str) {
        self.title = checks.text(&format!("{below}.title"), &self.title, LINE_MAX);
        let path = format!("{below}.summary");
        self.summary = checks.text_if_any(&path, self.summary.as_deref(), TEXT_MAX);
        check_discount(checks, below, (self.discount_amount, self.discount_percent));
        let path = format!("{below}.notes");
        self.notes = checks.text_if_any(&path, self.notes.as_deref(), TEXT_MAX);
        self.check_deposit(checks, below);
        let parts = self.lines.iter().any(|line| line.kind == ChargeKind::Part);
        self.facts.check(checks, below, parts);
        let lines = format!("{below}.lines");
        count(checks, &lines, self.lines.len(), LINES_MAX);
        if self.lines.len() <= LINES_MAX {
            for (at, line) in self.lines.iter_mut().enumerate() {
                line.check(checks, &format!("{lines}.{at}"));
            }
            self.check_repeated(checks, &lines);
        }
    }

    fn check_deposit(&self, checks: &mut Checks, below: &str) {
        if let Some(amount) = self.deposit_amount {
            let path = format!("{below}.depositAmount");
            checks.not_negative(&path, amount);
            if self.deposit_percent.is_some() {
                checks.refuse(
                    ProblemCode::Malformed,
                    &path,
                    "Give a deposit as an amount or as a percentage, not as both.",
                );
            }
        }
        let path = format!("{below}.depositPercent");
        if let Some(Err(refusal)) = self.deposit_percent.map(Percent::new) {
            checks.refuse(ProblemCode::OutOfRange, &path, format!("{refusal}."));
        }
    }

    /// The deposit wanted; what is no percentage was checked away before.
    pub fn deposit(&self) -> Option<DepositTerms> {
        let percent = self
            .deposit_percent
            .and_then(|percent| Percent::new(percent).ok());
        self.deposit_amount
            .map(DepositTerms::Amount)
            .or(percent.map(DepositTerms::Percent))
    }

    /// One trip and one diagnosis; more of them for a reason.
    fn check_repeated(&self, checks: &mut Checks, lines: &str) {
        let mut seen = Vec::new();
        for (at, line) in self.lines.iter().enumerate() {
            if !line_terms::may_repeat(line.kind) {
                continue;
            }
            let several = line
                .quantity
                .is_some_and(|quantity| quantity > Decimal::ONE);
            if (several || seen.contains(&line.kind)) && line.terms.repeat_reason.is_none() {
                checks.refuse(
                    ProblemCode::Missing,
                    &format!("{lines}.{at}.repeatReason"),
                    "This option charges it already. Say why it is charged again, or take the line out.",
                );
            }
            seen.push(line.kind);
        }
    }

    /// The discount granted; none was checked away before.
    pub fn discount(&self) -> Option<Discount> {
        discount((self.discount_amount, self.discount_percent))
    }
}

/// Holds a discount, of an option or of one line, against the door.
fn check_discount(
    checks: &mut Checks,
    below: &str,
    (amount, percent): (Option<Cents>, Option<Decimal>),
) {
    if let Some(amount) = amount {
        let path = format!("{below}.discountAmount");
        checks.not_negative(&path, amount);
        if percent.is_some() {
            checks.refuse(
                ProblemCode::Malformed,
                &path,
                "Give a discount as an amount or as a percentage, not as both.",
            );
        }
    }
    if let Some(Err(refusal)) = percent.map(Percent::new) {
        let path = format!("{below}.discountPercent");
        checks.refuse(ProblemCode::OutOfRange, &path, format!("{refusal}."));
    }
}

fn discount((amount, percent): (Option<Cents>, Option<Decimal>)) -> Option<Discount> {
    let percent = percent.and_then(|percent| Percent::new(percent).ok());
    amount
        .map(Discount::Amount)
        .or(percent.map(Discount::Percent))
}

impl NewLine {
    /// A line of this kind with everything by the price book.
    pub fn of(kind: ChargeKind) -> Self {
        Self {
            kind,
            description: None,
            part_id: None,
            quantity: None,
            minutes: None,
            hours: WorkHours::Regular,
            unit_price: None,
            discount_amount: None,
            discount_percent: None,
            part_condition: None,
            section: None,
            terms: LineTerms::default(),
            facts: LineFacts::default(),
        }
    }

    /// The discount granted on it alone; none was checked away before.
    pub fn discount(&self) -> Option<Discount> {
        discount((self.discount_amount, self.discount_percent))
    }

    fn check(&mut self, checks: &mut Checks, below: &str) {
        let path = |field: &str| format!("{below}.{field}");
        check_discount(checks, below, (self.discount_amount, self.discount_percent));
        let description = path("description");
        self.description = checks.text_if_any(&description, self.description.as_deref(), LINE_MAX);
        let section = path("section");
        self.section = checks.text_if_any(&section, self.section.as_deref(), LINE_MAX);
        if let Some(quantity) = self.quantity {
            checks.positive_decimal(&path("quantity"), quantity);
            if quantity > Decimal::ZERO {
                let most = Decimal::from(QUANTITY_MAX);
                checks.between(&path("quantity"), quantity, (Decimal::ZERO, most));
            }
        }
        if let Some(price) = self.unit_price {
            checks.not_negative(&path("unitPrice"), price);
            if price > PRICE_MAX {
                let words = format!("{price} is above {PRICE_MAX}, the most one may cost.");
                checks.refuse(ProblemCode::OutOfRange, &path("unitPrice"), words);
            }
        }
        if let Some(minutes) = self.minutes {
            checks.between(&path("minutes"), minutes, (1, MINUTES_MAX));
        }
        self.terms.check(checks, self.kind, below);
        self.check_kind(checks, &path);
        self.facts.check(checks, below, self.kind);
    }

    /// What each kind needs beside the price book.
    fn check_kind(&self, checks: &mut Checks, path: &impl Fn(&str) -> String) {
        let mut needs = |field: &str, given: bool, words: &str| {
            if !given {
                checks.refuse(ProblemCode::Missing, &path(field), words);
            }
        };
        match self.kind {
            ChargeKind::Part if self.part_id.is_none() => {
                let words = "Name a part, or describe it and give its price.";
                needs("partId", self.unit_price.is_some(), words);
                needs("description", self.description.is_some(), words);
            }
            ChargeKind::Labour => {
                let words = "Say how many minutes the work takes, or name a task.";
                let by_task = self.terms.task_id.is_some();
                needs("minutes", self.minutes.is_some() || by_task, words);
            }
            ChargeKind::Freight | ChargeKind::Fee => {
                let words = "The price book has no price for this kind; give one.";
                needs("unitPrice", self.unit_price.is_some(), words);
                let words = "Say what this is for.";
                needs("description", self.description.is_some(), words);
            }
            ChargeKind::Part | ChargeKind::Trip | ChargeKind::Diagnostic => {}
        }
        let mut takes_none = |field: &str, given: bool, words: &str| {
            if given {
                checks.refuse(ProblemCode::Malformed, &path(field), words);
            }
        };
        let is_labour = self.kind == ChargeKind::Labour;
        takes_none(
            "partId",
            self.part_id.is_some() && self.kind != ChargeKind::Part,
            "Only a line for a part names one.",
        );
        takes_none(
            "partCondition",
            self.part_condition.is_some() && self.kind != ChargeKind::Part,
            "Only a part is new, used or rebuilt.",
        );
        takes_none(
            "minutes",
            self.minutes.is_some() && !is_labour,
            "Only a line for labor takes minutes.",
        );
        takes_none(
            "minutes",
            self.minutes.is_some() && self.terms.task_id.is_some(),
            "A task has its own hours; name it or give minutes, not both.",
        );
        takes_none(
            "hours",
            self.hours != WorkHours::Regular && !is_labour,
            "Only a line for labor is worked after hours.",
        );
        takes_none(
            "quantity",
            self.quantity.is_some() && is_labour,
            "Labour is given in minutes.",
        );
    }
}
