//! Tax rules of a place: who levies, on what, and how it is rounded.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use nameplate_entities::kinds::{ChargeKind, LevelKind, TaxBasis};
use nameplate_entities::{tax_jurisdiction, tax_level, tax_method, taxability};
use nameplate_rules::percent::Percent;
use nameplate_rules::tax::{self, Counted, LevelFault};
use rust_decimal::Decimal;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};

use super::super::rates::{self, RateCode};
use super::super::tax::json_of;
use super::super::{kinds, store};
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
    /// Said outright of a place where nobody levies a tax on sales; such a place has no levels.
    pub without_tax: bool,
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
            without_tax: false,
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
async fn insert(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    new: &AddTaxJurisdiction,
) -> Result<tax_jurisdiction::Model> {
    let Checked { row, lists } = checked(tx, new).await?;
    let row = row.insert(tx).await?;
    lists.write(tx, row.id).await?;
    audit::created(tx, act, verb, subject(row.id), &row).await?;
    Ok(row)
}

/// Puts other rules in the place of ones recorded by mistake, under the same id, in the caller's transaction. The
/// caller knows that no document was priced by them.
///
/// # Errors
/// `Taken` when the place has other rules from that day; refusals name the field.
pub async fn replace_tax_jurisdiction(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, place): (&'static str, tax_jurisdiction::Model),
    new: &AddTaxJurisdiction,
) -> Result<tax_jurisdiction::Model> {
    let Checked { mut row, lists } = checked(tx, new).await?;
    must_keep_its_family(tx, &place, new.name.trim()).await?;
    let id = place.id;
    let before = Whole::read(tx, place).await?;
    tax_level::Entity::delete_many()
        .filter(tax_level::Column::TaxJurisdictionId.eq(id))
        .exec(tx)
        .await?;
    taxability::Entity::delete_many()
        .filter(taxability::Column::TaxJurisdictionId.eq(id))
        .exec(tx)
        .await?;
    tax_method::Entity::delete_many()
        .filter(tax_method::Column::TaxJurisdictionId.eq(id))
        .exec(tx)
        .await?;
    row.id = Set(id);
    let place = row.update(tx).await?;
    lists.write(tx, id).await?;
    let after = Whole::read(tx, place).await?;
    let both = (Some(&before), Some(&after));
    audit::record(tx, act, verb, subject(id), both).await?;
    Ok(after.place)
}

/// Rules of one name follow one another, and addresses go by whichever they were confirmed for. So a name is put right
/// only where these rules are the only ones of it, and where no others have the right one.
async fn must_keep_its_family(
    tx: &impl ConnectionTrait,
    place: &tax_jurisdiction::Model,
    name: &str,
) -> Result<()> {
    if name == place.name {
        return Ok(());
    }
    let Some(other) = store::other_rules_named(tx, place.id, &[&place.name, name]).await? else {
        return Ok(());
    };
    let words = format!(
        "There are rules of {} from {} too, and addresses go by the name. Keep the name {}.",
        other.name, other.effective_from, place.name
    );
    Err(Error::refused(ProblemCode::WrongState, "name", words))
}

/// The rules of a place with everything below them, as the audit log keeps what was replaced.
#[derive(Serialize)]
struct Whole {
    place: tax_jurisdiction::Model,
    levels: Vec<tax_level::Model>,
    taxability: Vec<taxability::Model>,
    methods: Vec<tax_method::Model>,
}

impl Whole {
    async fn read(tx: &impl ConnectionTrait, place: tax_jurisdiction::Model) -> Result<Self> {
        Ok(Self {
            levels: store::levels_of(tx, place.id).await?,
            taxability: store::taxability_of(tx, place.id).await?,
            methods: store::methods_of(tx, place.id).await?,
            place,
        })
    }
}

/// The rules of a place as rows, held against the door.
struct Checked {
    row: tax_jurisdiction::ActiveModel,
    lists: Lists,
}

/// Everything below the row of a place.
struct Lists {
    levels: Vec<tax_level::ActiveModel>,
    rules: Vec<taxability::ActiveModel>,
    methods: Vec<tax_method::ActiveModel>,
}

impl Lists {
    async fn write(self, tx: &impl ConnectionTrait, place_id: i64) -> Result<()> {
        let levels = self.levels.into_iter().map(|level| tax_level::ActiveModel {
            tax_jurisdiction_id: Set(place_id),
            ..level
        });
        let levels = levels.collect::<Vec<_>>();
        if !levels.is_empty() {
            tax_level::Entity::insert_many(levels).exec(tx).await?;
        }
        let rules = self.rules.into_iter().map(|rule| taxability::ActiveModel {
            tax_jurisdiction_id: Set(place_id),
            ..rule
        });
        taxability::Entity::insert_many(rules).exec(tx).await?;
        let methods = self.methods.into_iter();
        let methods = methods.map(|method| tax_method::ActiveModel {
            tax_jurisdiction_id: Set(place_id),
            ..method
        });
        let methods = methods.collect::<Vec<_>>();
        if !methods.is_empty() {
            tax_method::Entity::insert_many(methods).exec(tx).await?;
        }
        Ok(())
    }
}

async fn checked(tx: &impl ConnectionTrait, new: &AddTaxJurisdiction) -> Result<Checked> {
    let mut checks = Checks::new();
    let name = checks.text("name", &new.name, LINE_MAX);
    must_say_who_levies(&mut checks, new);
    let levels = checked_levels(tx, &mut checks, new).await?;
    let rules = checked_rules(&mut checks, &new.taxability)?;
    let methods = checked_methods(&mut checks, &new.methods, new.prices)?;
    if let Some(known) = &levels.known {
        check_together(&mut checks, known, new);
        check_tables(&mut checks, known, new);
    }
    checks.finish()?;
    Ok(Checked {
        row: tax_jurisdiction::ActiveModel {
            name: Set(name),
            basis: Set(new.basis),
            effective_from: Set(new.effective_from),
            prices: Set(kinds::prices_for_row(new.prices)),
            local_ceiling_percent: Set(new.local_ceiling_percent.map(Into::into)),
            ..Default::default()
        },
        lists: Lists {
            levels: levels.rows,
            rules,
            methods,
        },
    })
}

/// A list of levels that was forgotten would leave every sale untaxed in silence.
fn must_say_who_levies(checks: &mut Checks, new: &AddTaxJurisdiction) {
    if new.levels.is_empty() && !new.without_tax {
        let words = "Say who levies the tax, or say `withoutTax` where nobody does.";
        checks.refuse(ProblemCode::Missing, "levels", words);
    }
    if !new.levels.is_empty() && new.without_tax {
        let words = "A place without tax has no levels; leave out one of them.";
        checks.refuse(ProblemCode::Malformed, "withoutTax", words);
    }
}

pub(super) fn subject(id: i64) -> Subject {
    Subject {
        kind: "tax_jurisdiction",
        id,
    }
}

/// Levels as rows and, unless one was refused for itself, as the rules know them.
struct CheckedLevels {
    rows: Vec<tax_level::ActiveModel>,
    known: Option<Vec<tax::Level>>,
}

async fn checked_levels(
    tx: &impl ConnectionTrait,
    checks: &mut Checks,
    new: &AddTaxJurisdiction,
) -> Result<CheckedLevels> {
    if new.levels.len() > LEVELS_MAX {
        checks.refuse(
            ProblemCode::TooLong,
            "levels",
            format!("A place takes at most {LEVELS_MAX} levels."),
        );
        return Ok(CheckedLevels {
            rows: Vec::new(),
            known: None,
        });
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
    let known = Some(known).filter(|known| known.len() == new.levels.len());
    Ok(CheckedLevels { rows, known })
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
    let ceiling = match new.local_ceiling_percent.map(Percent::new) {
        None => None,
        Some(Ok(ceiling)) => Some(ceiling),
        Some(Err(refusal)) => {
            let path = "localCeilingPercent";
            checks.refuse(ProblemCode::OutOfRange, path, format!("{refusal}."));
            None
        }
    };
    for over in too_high_together(levels, ceiling, new.effective_from) {
        let path = match over.level {
            None => "levels".to_owned(),
            Some(level) => format!("levels.{level}.ratePercent"),
        };
        checks.refuse(ProblemCode::OutOfRange, &path, over.words);
    }
}

/// Rates that may not stand together.
pub(super) struct TooHigh {
    /// The local level that goes too far; `None` when all levels do.
    pub level: Option<usize>,
    pub words: String,
}

/// What is wrong with these levels together, from a day on.
pub(super) fn too_high_together(
    levels: &[tax::Level],
    ceiling: Option<Percent>,
    from: NaiveDate,
) -> Vec<TooHigh> {
    let whole = Percent::new(Decimal::ONE_HUNDRED).unwrap_or(Percent::ZERO);
    let above = tax::over_ceiling(levels, Counted::All, whole, from).map(|over| TooHigh {
        level: None,
        words: format!(
            "The levels together: {} % is more than 100 %.",
            over.together
        ),
    });
    let local = ceiling.and_then(|ceiling| {
        let over = tax::over_ceiling(levels, Counted::Local, ceiling, from)?;
        Some(TooHigh {
            level: Some(over.level),
            words: format!(
                "With this level the local rates are {} % on {}, above their ceiling of {ceiling} %.",
                over.together, over.on
            ),
        })
    });
    above.into_iter().chain(local).collect()
}

/// A bracket table holds the tax of all levels, so all of them must apply wherever it does.
fn check_tables(checks: &mut Checks, levels: &[tax::Level], new: &AddTaxJurisdiction) {
    let methods = new.methods.iter().map(NewMethod::dated);
    let methods = methods.collect::<Vec<_>>();
    for problem in tax::check_bracketed(levels, &methods, new.effective_from) {
        let (code, field) = match problem.fault {
            LevelFault::Exempts => (ProblemCode::Malformed, "exempts"),
            LevelFault::Begins(_) => (ProblemCode::ImpossibleDate, "fromOn"),
            LevelFault::Ends => (ProblemCode::ImpossibleDate, "untilOn"),
        };
        let path = format!("levels.{}.{field}", problem.level);
        checks.refuse(code, &path, sentence(&problem.fault));
    }
}

/// A fault of the rules as a sentence of its own.
pub(super) fn sentence(fault: &impl std::fmt::Display) -> String {
    let mut words = format!("{fault}.");
    if let Some(first) = words.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    words
}
