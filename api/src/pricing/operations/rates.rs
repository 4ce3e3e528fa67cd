//! Recording published tables of tax rates, and letting places follow them.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use nameplate_entities::{tax_jurisdiction, tax_level, tax_method, tax_rate, taxability};
use nameplate_rules::percent::Percent;
use nameplate_rules::tax::{RateRow, read_rates};
use sea_orm::{
    ActiveModelTrait, ActiveValue::NotSet, ActiveValue::Set, ColumnTrait, ConnectionTrait,
    EntityTrait, IntoActiveModel, QueryFilter,
};

use crate::base::audit::{self, Subject};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};

use super::super::rates::{self, RateChange};
use super::super::{store, tax};
use super::taxes;

/// Rows of one statement; a row has eight values, and `SQLite` takes some thirty thousand.
const ROWS_AT_ONCE: usize = 1_000;
/// Lines that are named when a table cannot be read.
const FAULTS_MAX: usize = 50;

/// What recording a table did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Imported {
    pub added: usize,
    pub changed: usize,
    pub unchanged: usize,
}

/// Records a published table of rates, or a part of one; rows known already are brought up to date.
///
/// # Errors
/// `Forbidden`; `Malformed` at `content` for each line that cannot be read, and then nothing is recorded.
pub async fn import_tax_rates(act: &Act, content: &str) -> Result<Imported> {
    act.staff_with(Right::ImportTaxRates)?;
    let rows = checked(content)?;
    let tx = act.app.db.write().await?;
    let states = rows.iter().map(|row| row.code.state.clone());
    let mut known = tax_rate::Entity::find()
        .filter(tax_rate::Column::StateCode.is_in(states.collect::<BTreeSet<_>>()))
        .all(&tx)
        .await?
        .into_iter()
        .map(|row| ((rates::code_of(&row), row.begins_on), row))
        .collect::<BTreeMap<_, _>>();
    let mut done = Imported::default();
    let mut fresh = Vec::new();
    for row in rows {
        match known.remove(&(row.code.clone(), row.begins_on)) {
            None => fresh.push(new_row(act, &row)),
            Some(before) if is_same(&before, &row) => done.unchanged += 1,
            Some(before) => {
                let id = before.id;
                let change = tax_rate::ActiveModel {
                    id: Set(id),
                    ..new_row(act, &row)
                };
                let after = change.update(&tx).await?;
                let verb = Right::ImportTaxRates.mutation();
                let both = (Some(&before), Some(&after));
                audit::record(&tx, act, verb, subject("tax_rate", id), both).await?;
                done.changed += 1;
            }
        }
    }
    done.added = fresh.len();
    for some in fresh.chunks(ROWS_AT_ONCE) {
        tax_rate::Entity::insert_many(some.iter().cloned())
            .exec(&tx)
            .await?;
    }
    let counts = [done.added, done.changed, done.unchanged];
    let verb = Right::ImportTaxRates.mutation();
    audit::created(&tx, act, verb, subject("tax_rate", 0), &counts).await?;
    tx.commit().await?;
    Ok(done)
}

fn checked(content: &str) -> Result<Vec<RateRow>> {
    let mut checks = Checks::new();
    match read_rates(content) {
        Ok(rows) if !rows.is_empty() => return Ok(rows),
        Ok(_) => checks.refuse(ProblemCode::Missing, "content", "The table has no rows."),
        Err(faults) => {
            for fault in faults.iter().take(FAULTS_MAX) {
                let words = format!("Line {}: {}.", fault.line, fault.reason);
                checks.refuse(ProblemCode::Malformed, "content", words);
            }
        }
    }
    checks.finish()?;
    Err(Error::internal(
        "a table of rates that is refused without a reason",
    ))
}

fn new_row(act: &Act, row: &RateRow) -> tax_rate::ActiveModel {
    tax_rate::ActiveModel {
        id: NotSet,
        state_code: Set(row.code.state.clone()),
        jurisdiction_type: Set(row.code.kind.clone()),
        jurisdiction_code: Set(row.code.jurisdiction.clone()),
        intrastate_percent: Set(row.intrastate.per_hundred().into()),
        interstate_percent: Set(row.interstate.per_hundred().into()),
        begins_on: Set(row.begins_on),
        ends_on: Set(row.ends_on),
        imported_at: Set(act.at),
    }
}

fn is_same(known: &tax_rate::Model, row: &RateRow) -> bool {
    known.intrastate_percent.0 == row.intrastate.per_hundred()
        && known.interstate_percent.0 == row.interstate.per_hundred()
        && known.ends_on == row.ends_on
}

/// Records new rules for each place whose levels follow the rate table and differ from it on `day`. The rules before
/// stay as they are; a level whose rate ended is left out of the new ones.
///
/// # Errors
/// `Forbidden`; `WrongState` when no place differs; `Taken` when a place has rules from that day already;
/// `OutOfRange` for each place whose rates would pass a limit, whose bracket table does not follow them, or that
/// would be left without a level, and then no place follows.
pub async fn adopt_tax_rates(act: &Act, day: NaiveDate) -> Result<Vec<tax_jurisdiction::Model>> {
    act.staff_with(Right::AdoptTaxRates)?;
    let tx = act.app.db.write().await?;
    let mut by_place = BTreeMap::<i64, Vec<RateChange>>::new();
    for change in rates::changes_on(&tx, day).await? {
        by_place.entry(change.place.id).or_default().push(change);
    }
    if by_place.is_empty() {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "effectiveFrom",
            "Every place that follows the rate table has its rates of that day.",
        ));
    }
    let mut checks = Checks::new();
    let mut rows = Vec::with_capacity(by_place.len());
    for changes in by_place.into_values() {
        rows.extend(follow(&tx, act, &mut checks, (day, changes)).await?);
    }
    checks.finish()?;
    tx.commit().await?;
    Ok(rows)
}

/// Copies the rules of one place with its levels' new rates, held to what rules that are typed in are held to.
async fn follow(
    tx: &impl ConnectionTrait,
    act: &Act,
    checks: &mut Checks,
    (day, changes): (NaiveDate, Vec<RateChange>),
) -> Result<Option<tax_jurisdiction::Model>> {
    let Some(before) = changes.first().map(|change| change.place.clone()) else {
        return Ok(None);
    };
    let levels = store::levels_of(tx, before.id).await?;
    let levels = levels.into_iter().filter_map(|level| {
        let change = changes.iter().find(|change| change.level.id == level.id);
        let rate = match change {
            Some(change) => change.to.as_ref()?.intrastate_percent,
            None => level.rate_percent,
        };
        Some(tax_level::Model {
            rate_percent: rate,
            ..level
        })
    });
    let levels = levels.collect::<Vec<_>>();
    let methods = store::methods_of(tx, before.id).await?;
    for words in unfit(&before, &levels, &methods, day)? {
        let words = format!("{}: {words}", before.name);
        checks.refuse(ProblemCode::OutOfRange, "effectiveFrom", words);
    }
    if !checks.is_clean() {
        return Ok(None);
    }
    let mut copy = before.clone().into_active_model();
    copy.id = NotSet;
    copy.effective_from = Set(day);
    let row = copy.insert(tx).await?;
    let levels = levels.into_iter().map(|level| {
        let mut copy = level.into_active_model();
        copy.id = NotSet;
        copy.tax_jurisdiction_id = Set(row.id);
        copy
    });
    tax_level::Entity::insert_many(levels).exec(tx).await?;
    copy_rules(tx, (before.id, row.id), methods).await?;
    let verb = Right::AdoptTaxRates.mutation();
    let of = subject("tax_jurisdiction", row.id);
    audit::record(tx, act, verb, of, (Some(&before), Some(&row))).await?;
    Ok(Some(row))
}

/// Why a place cannot have these rates from a day on.
fn unfit(
    place: &tax_jurisdiction::Model,
    levels: &[tax_level::Model],
    methods: &[tax_method::Model],
    day: NaiveDate,
) -> Result<Vec<String>> {
    if levels.is_empty() {
        let words = "no level would be left. Record its rules for that day, without tax if nobody levies one.";
        return Ok(vec![words.to_owned()]);
    }
    let known = levels.iter().map(tax::level).collect::<Result<Vec<_>>>()?;
    let ceiling = place.local_ceiling_percent.map(|ceiling| ceiling.0);
    let ceiling = ceiling
        .map(Percent::new)
        .transpose()
        .map_err(|refusal| Error::caused("ceiling of a place", refusal))?;
    let mut words = taxes::too_high_together(&known, ceiling, day)
        .into_iter()
        .map(|over| over.words)
        .collect::<Vec<_>>();
    let next = methods.iter().filter(|method| method.from_on > day);
    let now = methods.iter().rfind(|method| method.from_on <= day);
    if next.chain(now).any(|method| method.brackets_json.is_some()) {
        words.push(
            "it rounds by a bracket table, which does not follow a rate. Record its rules with the table of the new \
             rate."
                .to_owned(),
        );
    }
    Ok(words)
}

/// Gives the rules of taxability of one row of a place, and its ways of rounding, to another.
async fn copy_rules(
    tx: &impl ConnectionTrait,
    (from, to): (i64, i64),
    methods: Vec<tax_method::Model>,
) -> Result<()> {
    let rules = store::taxability_of(tx, from).await?;
    let rules = rules.into_iter().map(|rule| {
        let mut copy = rule.into_active_model();
        copy.id = NotSet;
        copy.tax_jurisdiction_id = Set(to);
        copy
    });
    taxability::Entity::insert_many(rules).exec(tx).await?;
    if methods.is_empty() {
        return Ok(());
    }
    let methods = methods.into_iter().map(|method| {
        let mut copy = method.into_active_model();
        copy.id = NotSet;
        copy.tax_jurisdiction_id = Set(to);
        copy
    });
    tax_method::Entity::insert_many(methods).exec(tx).await?;
    Ok(())
}

fn subject(kind: &'static str, id: i64) -> Subject {
    Subject { kind, id }
}
