//! Tax rules of a place: who levies, on what, and how it is rounded.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use nameplate_entities::kinds::{ChargeKind, LevelKind, TaxBasis};
use nameplate_entities::{tax_jurisdiction, tax_level, tax_method, taxability};
use nameplate_rules::percent::Percent;
use nameplate_rules::tax::{self, Counted};
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, ProblemCode, Result, Right};

use super::super::kinds;
use super::super::rates::{self, RateCode};
use super::super::tax::json_of;
use super::tax_rules::{NewMethod, NewTaxability, checked_methods, checked_rules};

/// Authorities over one address; the United States have four ranks, districts may repeat.
const LEVELS_MAX: usize = 20;

/// Where and how sales are taxed, from a day on.
#[derive(Clone, Debug)]
pub struct AddTaxJurisdiction {
    pub name: String,
    pub basis: TaxBasis,
    pub effective_from: NaiveDate,
    /// In the order of reporting.
    pub levels: Vec<NewLevel>,
    /// In order for each kind of charge; the last of a kind always applies.
    pub taxability: Vec<NewTaxability>,
    /// Ways of rounding by their days; none for rounding by rule.
    pub methods: Vec<NewMethod>,
    /// Whether prices hold the tax.
    pub prices: tax::Prices,
    /// The most that all levels but the state's may add up to.
    pub local_ceiling_percent: Option<Decimal>,
}

impl AddTaxJurisdiction {
    /// Rules that round by rule, on prices before tax, without a ceiling.
    pub fn plain(
        name: &str,
        basis: TaxBasis,
        effective_from: NaiveDate,
        (levels, taxability): (Vec<NewLevel>, Vec<NewTaxability>),
    ) -> Self {
        Self {
            name: name.to_owned(),
            basis,
            effective_from,
            levels,
            taxability,
            methods: Vec::new(),
            prices: tax::Prices::BeforeTax,
            local_ceiling_percent: None,
        }
    }
}

/// One levying authority.
#[derive(Clone, Debug)]
pub struct NewLevel {
    pub name: String,
    pub kind: LevelKind,
    /// Left out, the published rate of `rate_code` is taken.
    pub rate_percent: Option<Decimal>,
    pub rate_code: Option<String>,
    pub from_on: Option<NaiveDate>,
    pub until_on: Option<NaiveDate>,
    /// Kinds of charge it leaves alone.
    pub exempts: Vec<ChargeKind>,
}

impl NewLevel {
    /// A level that is always in force and taxes what the place taxes.
    pub fn plain(name: &str, kind: LevelKind, rate_percent: Decimal) -> Self {
        Self {
            name: name.to_owned(),
            kind,
            rate_percent: Some(rate_percent),
            rate_code: None,
            from_on: None,
            until_on: None,
            exempts: Vec::new(),
        }
    }
}

/// Records where and how sales are taxed. New rules of the same place are recorded beside the old ones.
///
/// # Errors
/// `Forbidden`; `Taken` when the place has rules from that day; refusals name the field.
pub async fn add_tax_jurisdiction(
    act: &Act,
    new: AddTaxJurisdiction,
) -> Result<tax_jurisdiction::Model> {
    act.staff_with(Right::AddTaxJurisdiction)?;
    let tx = act.app.db.write().await?;
    let row = insert(&tx, act, Right::AddTaxJurisdiction.mutation(), &new).await?;
    tx.commit().await?;
    Ok(row)
}

/// Checks and writes the rules of a place in the caller's transaction.
pub(super) async fn insert(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    new: &AddTaxJurisdiction,
) -> Result<tax_jurisdiction::Model> {
    let mut checks = Checks::new();
    let name = checks.text("name", &new.name, LINE_MAX);
    let levels = checked_levels(tx, &mut checks, new).await?;
    let rules = checked_rules(&mut checks, &new.taxability)?;
    let methods = checked_methods(&mut checks, &new.methods, new.prices)?;
    checks.finish()?;
    let row = tax_jurisdiction::ActiveModel {
        name: Set(name),
        basis: Set(new.basis),
        effective_from: Set(new.effective_from),
        prices: Set(kinds::prices_for_row(new.prices)),
        local_ceiling_percent: Set(new.local_ceiling_percent.map(Into::into)),
        ..Default::default()
    }
    .insert(tx)
    .await?;
    let levels = levels.into_iter().map(|level| tax_level::ActiveModel {
        tax_jurisdiction_id: Set(row.id),
        ..level
    });
    tax_level::Entity::insert_many(levels).exec(tx).await?;
    let rules = rules.into_iter().map(|rule| taxability::ActiveModel {
        tax_jurisdiction_id: Set(row.id),
        ..rule
    });
    taxability::Entity::insert_many(rules).exec(tx).await?;
    if !methods.is_empty() {
        let methods = methods.into_iter().map(|method| tax_method::ActiveModel {
            tax_jurisdiction_id: Set(row.id),
            ..method
        });
        tax_method::Entity::insert_many(methods).exec(tx).await?;
    }
    let subject = Subject {
        kind: "tax_jurisdiction",
        id: row.id,
    };
    audit::created(tx, act, verb, subject, &row).await?;
    Ok(row)
}

async fn checked_levels(
    tx: &impl ConnectionTrait,
    checks: &mut Checks,
    new: &AddTaxJurisdiction,
) -> Result<Vec<tax_level::ActiveModel>> {
    if new.levels.len() > LEVELS_MAX {
        checks.refuse(
            ProblemCode::TooLong,
            "levels",
            format!("A place takes at most {LEVELS_MAX} levels."),
        );
        return Ok(Vec::new());
    }
    let mut known = Vec::with_capacity(new.levels.len());
    let mut names = BTreeSet::new();
    let mut rows = Vec::with_capacity(new.levels.len());
    for (position, (at, level)) in (0..).zip(new.levels.iter().enumerate()) {
        let below = format!("levels.{at}");
        let path = format!("{below}.name");
        let name = checks.text(&path, &level.name, LINE_MAX);
        if !names.insert(name.clone()) {
            checks.refuse(ProblemCode::Taken, &path, "Another level has this name.");
        }
        checks.in_order(&[
            (&format!("{below}.fromOn"), "The first day", level.from_on),
            (&format!("{below}.untilOn"), "The last day", level.until_on),
        ]);
        let Some((rate, code)) = rate_of(tx, checks, level, (&below, new.effective_from)).await?
        else {
            continue;
        };
        let exempts = level.exempts.iter().copied().map(kinds::charge_of_row);
        let exempts = exempts
            .collect::<BTreeSet<_>>()
            .into_iter()
            .collect::<Vec<_>>();
        rows.push(tax_level::ActiveModel {
            position: Set(position),
            name: Set(name.clone()),
            kind: Set(level.kind),
            rate_percent: Set(rate.per_hundred().into()),
            from_on: Set(level.from_on),
            until_on: Set(level.until_on),
            exempts_json: Set(json_of("kinds a level exempts", &exempts)?),
            rate_code: Set(code.map(|code| code.to_string())),
            ..Default::default()
        });
        known.push(tax::Level {
            name,
            kind: kinds::level_of_row(level.kind),
            rate,
            from_on: level.from_on,
            until_on: level.until_on,
            exempts,
        });
    }
    if known.len() == new.levels.len() {
        check_together(checks, &known, new);
    }
    Ok(rows)
}

/// The level's rate, given or published, and the code it follows; nothing when refused.
async fn rate_of(
    tx: &impl ConnectionTrait,
    checks: &mut Checks,
    level: &NewLevel,
    (below, on): (&str, NaiveDate),
) -> Result<Option<(Percent, Option<RateCode>)>> {
    let code_path = format!("{below}.rateCode");
    let code = match level.rate_code.as_deref().map(RateCode::parse) {
        None => None,
        Some(Ok(code)) => Some(code),
        Some(Err(refusal)) => {
            checks.refuse(ProblemCode::Malformed, &code_path, format!("{refusal}."));
            return Ok(None);
        }
    };
    let path = format!("{below}.ratePercent");
    let rate = match (level.rate_percent, &code) {
        (Some(rate), _) => rate,
        (None, Some(code)) => {
            let Some(published) = rates::rate_on(tx, code, level.from_on.unwrap_or(on)).await?
            else {
                let words = "No rate of this code is recorded for that day.";
                checks.refuse(ProblemCode::NotFound, &code_path, words);
                return Ok(None);
            };
            published.intrastate_percent.0
        }
        (None, None) => {
            let words = "Give the rate, or the code of a published one.";
            checks.refuse(ProblemCode::Missing, &path, words);
            return Ok(None);
        }
    };
    match Percent::new(rate) {
        Ok(rate) => Ok(Some((rate, code))),
        Err(refusal) => {
            checks.refuse(ProblemCode::OutOfRange, &path, format!("{refusal}."));
            Ok(None)
        }
    }
}

/// Levels together: never above 100 %, and the local ones never above their ceiling.
fn check_together(checks: &mut Checks, levels: &[tax::Level], new: &AddTaxJurisdiction) {
    let from = new.effective_from;
    let whole = Percent::new(Decimal::ONE_HUNDRED).unwrap_or(Percent::ZERO);
    if let Some(over) = tax::over_ceiling(levels, Counted::All, whole, from) {
        let words = format!(
            "The levels together: {} % is more than 100 %.",
            over.together
        );
        checks.refuse(ProblemCode::OutOfRange, "levels", words);
    }
    let Some(ceiling) = new.local_ceiling_percent else {
        return;
    };
    match Percent::new(ceiling) {
        Err(refusal) => {
            let path = "localCeilingPercent";
            checks.refuse(ProblemCode::OutOfRange, path, format!("{refusal}."));
        }
        Ok(ceiling) => {
            if let Some(over) = tax::over_ceiling(levels, Counted::Local, ceiling, from) {
                checks.refuse(
                    ProblemCode::OutOfRange,
                    &format!("levels.{}.ratePercent", over.level),
                    format!(
                        "With this level the local rates are {} % on {}, above their ceiling of {ceiling} %.",
                        over.together, over.on
                    ),
                );
            }
        }
    }
}
