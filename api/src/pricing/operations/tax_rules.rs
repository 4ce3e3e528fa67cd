//! Rules of taxability and ways of rounding as typed, held against the door.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use nameplate_entities::kinds::ChargeKind;
use nameplate_entities::{tax_method, taxability};
use nameplate_rules::percent::Percent;
use nameplate_rules::tax::{self, BracketTable, Prices, RuleFault, Treatment, When};
use rust_decimal::Decimal;
use sea_orm::ActiveValue::Set;

use crate::base::check::LINE_MAX;
use crate::base::{Checks, ProblemCode, Result};

use super::super::kinds;
use super::super::tax::json_of;
use super::taxes::sentence;

/// Rules of one kind of charge; published ones need a handful.
const RULES_MAX: usize = 20;
/// Ways of rounding a place ever had.
const METHODS_MAX: usize = 20;

/// One rule of taxability.
#[derive(Clone, Debug)]
pub struct NewTaxability {
    pub charge_kind: ChargeKind,
    pub treatment: Treatment,
    /// Conditions; the share of parts apart, because its range is checked here.
    pub when: When,
    pub parts_share_at_most: Option<Decimal>,
    pub reason: String,
    pub from_on: Option<NaiveDate>,
    pub until_on: Option<NaiveDate>,
    /// Whether a sale decided by it must state parts apart from labour.
    pub parts_apart: bool,
}

impl NewTaxability {
    /// A rule without conditions: always taxed, or never.
    pub fn plain(charge_kind: ChargeKind, taxable: bool, reason: &str) -> Self {
        Self {
            charge_kind,
            treatment: if taxable {
                Treatment::Taxed
            } else {
                Treatment::NotTaxed
            },
            when: When::default(),
            parts_share_at_most: None,
            reason: reason.to_owned(),
            from_on: None,
            until_on: None,
            parts_apart: false,
        }
    }
}

/// A way of rounding and the day it begins to apply.
#[derive(Clone, Debug)]
pub struct NewMethod {
    pub from_on: NaiveDate,
    /// None for rounding by rule.
    pub brackets: Option<BracketTable>,
}

impl NewMethod {
    /// As the rules know it.
    pub(super) fn dated(&self) -> tax::DatedMethod {
        tax::DatedMethod {
            from_on: self.from_on,
            method: match &self.brackets {
                None => tax::Method::Section324,
                Some(table) => tax::Method::Brackets(table.clone()),
            },
        }
    }
}

/// The rules as rows: a list for each kind that ends in one that always applies, none hidden by those before it.
pub(super) fn checked_rules(
    checks: &mut Checks,
    rules: &[NewTaxability],
) -> Result<Vec<taxability::ActiveModel>> {
    let mut by_kind: BTreeMap<tax::ChargeKind, Vec<(usize, tax::Rule)>> = BTreeMap::new();
    let mut rows = Vec::with_capacity(rules.len());
    for (at, new) in rules.iter().enumerate() {
        let list = by_kind
            .entry(kinds::charge_of_row(new.charge_kind))
            .or_default();
        if list.len() == RULES_MAX {
            checks.refuse(
                ProblemCode::TooLong,
                &format!("taxability.{at}"),
                format!("A kind of charge takes at most {RULES_MAX} rules."),
            );
            return Ok(Vec::new());
        }
        let rule = checked_rule(checks, new, &format!("taxability.{at}"));
        list.push((at, rule.clone()));
        rows.push(taxability::ActiveModel {
            charge_kind: Set(new.charge_kind),
            position: Set(i32::try_from(list.len()).unwrap_or(i32::MAX)),
            treatment: Set(kinds::treatment_for_row(rule.treatment)),
            when_json: Set(json_of("conditions of a tax rule", &rule.when)?),
            reason: Set(rule.reason),
            from_on: Set(rule.from_on),
            until_on: Set(rule.until_on),
            parts_apart: Set(rule.parts_apart),
            ..Default::default()
        });
    }
    for (kind, list) in &by_kind {
        let (places, list): (Vec<usize>, Vec<tax::Rule>) = list.iter().cloned().unzip();
        for problem in tax::check_rules(*kind, &list) {
            let at = places.get(problem.rule).copied().unwrap_or_default();
            refuse_fault(checks, at, &problem.fault);
        }
    }
    let missing = tax::ChargeKind::ALL
        .into_iter()
        .filter(|kind| !by_kind.contains_key(kind))
        .map(|kind| kind.to_string())
        .collect::<Vec<_>>();
    if !missing.is_empty() {
        checks.refuse(
            ProblemCode::Missing,
            "taxability",
            format!(
                "Say whether these charges are taxed: {}.",
                missing.join(", ")
            ),
        );
    }
    Ok(rows)
}

fn checked_rule(checks: &mut Checks, new: &NewTaxability, below: &str) -> tax::Rule {
    let path = format!("{below}.when.partsShareAtMost");
    let share = match new.parts_share_at_most.map(Percent::new) {
        None => None,
        Some(Ok(share)) => Some(share),
        Some(Err(refusal)) => {
            checks.refuse(ProblemCode::OutOfRange, &path, format!("{refusal}."));
            None
        }
    };
    tax::Rule {
        when: When {
            parts_share_at_most: share,
            ..new.when.clone()
        },
        treatment: new.treatment,
        reason: checks.text(&format!("{below}.reason"), &new.reason, LINE_MAX),
        from_on: new.from_on,
        until_on: new.until_on,
        parts_apart: new.parts_apart,
    }
}

fn refuse_fault(checks: &mut Checks, at: usize, fault: &RuleFault) {
    let (code, field) = match fault {
        RuleFault::NoCatchAll => (ProblemCode::Missing, "when"),
        RuleFault::Backwards => (ProblemCode::ImpossibleDate, "untilOn"),
        RuleFault::Foreign { .. } => (ProblemCode::Malformed, "when"),
        RuleFault::Unfit { .. } => (ProblemCode::Malformed, "treatment"),
        RuleFault::Unreachable => (ProblemCode::Taken, "chargeKind"),
    };
    let path = format!("taxability.{at}.{field}");
    checks.refuse(code, &path, sentence(fault));
}

/// The ways of rounding as rows, each from a day of its own.
pub(super) fn checked_methods(
    checks: &mut Checks,
    methods: &[NewMethod],
    prices: Prices,
) -> Result<Vec<tax_method::ActiveModel>> {
    if methods.len() > METHODS_MAX {
        checks.refuse(
            ProblemCode::TooLong,
            "methods",
            format!("A place takes at most {METHODS_MAX} ways of rounding."),
        );
        return Ok(Vec::new());
    }
    let mut days = BTreeSet::new();
    let mut rows = Vec::with_capacity(methods.len());
    for (at, method) in methods.iter().enumerate() {
        if !days.insert(method.from_on) {
            checks.refuse(
                ProblemCode::Taken,
                &format!("methods.{at}.fromOn"),
                "Another way of rounding begins on this day.",
            );
        }
        let path = format!("methods.{at}.brackets");
        if let Some(Err(fault)) = method.brackets.as_ref().map(BracketTable::check) {
            checks.refuse(
                ProblemCode::OutOfRange,
                &path,
                format!("The table: {fault}."),
            );
        }
        if method.brackets.is_some() && prices == Prices::WithTax {
            let words = "A price that holds the tax cannot be looked up in a table.";
            checks.refuse(ProblemCode::Malformed, &path, words);
        }
        let table = method.brackets.as_ref();
        rows.push(tax_method::ActiveModel {
            from_on: Set(method.from_on),
            brackets_json: Set(table
                .map(|table| json_of("a bracket table", table))
                .transpose()?),
            ..Default::default()
        });
    }
    Ok(rows)
}
