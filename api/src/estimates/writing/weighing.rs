//! Figures a customer may weigh: how old the machine is against the life such machines usually have, and what each
//! option costs against a new one. The usual lives are the shop's own list, begun from a published study.

use chrono::NaiveDate;
use nameplate_entities::kinds::{Fuel, LifeFuel};
use nameplate_entities::{appliance, appliance_type, expected_life};
use nameplate_rules::estimate::OfferOption;
use nameplate_rules::estimate::repair_or_replace::{Dates, ExpectedLife, Weighing, age, weigh};
use nameplate_rules::money::Cents;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel,
    QueryFilter, QueryOrder,
};
use serde::Serialize;

use crate::appliances;
use crate::base::audit::{self, Subject};
use crate::base::check::TEXT_MAX;
use crate::base::{Act, Checks, Error, Result, Right};

/// Where the figures that a shop starts with come from.
const STUDY: &str = "National Association of Home Builders and Bank of America Home Equity, \
    Study of Life Expectancy of Home Components, February 2007";
/// What its copies do not agree on.
const CONFLICT: &str =
    "Copies of the study differ: one prints 10 years for both kinds of water heater.";

/// Type, which of its machines, years.
const LIVES: [(&str, LifeFuel, i32); 10] = [
    ("dishwasher", LifeFuel::Any, 9),
    ("dryer", LifeFuel::Any, 13),
    ("washer", LifeFuel::Any, 10),
    ("refrigerator", LifeFuel::Any, 13),
    ("range", LifeFuel::Electric, 13),
    ("range", LifeFuel::Gas, 15),
    ("microwave", LifeFuel::Any, 9),
    ("room_air_conditioner", LifeFuel::Any, 10),
    ("water_heater", LifeFuel::Electric, 11),
    ("water_heater", LifeFuel::Gas, 10),
];

/// Writes the list on an empty database, for the types there are. Does nothing later: what the shop wrote stays.
///
/// # Errors
/// Internal only.
pub async fn open(act: &Act) -> Result<()> {
    let tx = act.app.db.write().await?;
    if expected_life::Entity::find().one(&tx).await?.is_some() {
        return Ok(());
    }
    let types = appliance_type::Entity::find().all(&tx).await?;
    let rows = LIVES
        .iter()
        .filter_map(|(key, fuel, years)| {
            let of_type = types.iter().find(|row| row.key == *key)?;
            let caution = (*key == "water_heater").then(|| CONFLICT.to_owned());
            Some(expected_life::ActiveModel {
                appliance_type_id: Set(of_type.id),
                fuel: Set(*fuel),
                years: Set(*years),
                source: Set(STUDY.to_owned()),
                caution: Set(caution),
                version: Set(1),
                ..Default::default()
            })
        })
        .collect::<Vec<_>>();
    if !rows.is_empty() {
        expected_life::Entity::insert_many(rows).exec(&tx).await?;
    }
    Ok(tx.commit().await?)
}

/// How long a type of machine usually lasts, as the shop wants it shown.
#[derive(Clone, Debug, Serialize)]
pub struct ChangeExpectedLife {
    pub appliance_type_id: i64,
    pub fuel: LifeFuel,
    pub years: i32,
    pub source: String,
    pub caution: Option<String>,
}

/// Writes a usual life, in place of the one there was for this type and fuel.
///
/// # Errors
/// `Forbidden`; `NotFound` for a type; refusals name the field.
pub async fn change_expected_life(
    act: &Act,
    change: ChangeExpectedLife,
) -> Result<expected_life::Model> {
    act.staff_with(Right::ChangeExpectedLife)?;
    let mut checks = Checks::new();
    let years = checks.between("years", change.years, (1, 100));
    let source = checks.text("source", &change.source, TEXT_MAX);
    let caution = checks.text_if_any("caution", change.caution.as_deref(), TEXT_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let known = appliances::types_by_ids(&tx, [change.appliance_type_id]).await?;
    if known.is_empty() {
        return Err(Error::not_found("applianceTypeId", "type of machine"));
    }
    let before = expected_life::Entity::find()
        .filter(expected_life::Column::ApplianceTypeId.eq(change.appliance_type_id))
        .filter(expected_life::Column::Fuel.eq(change.fuel))
        .one(&tx)
        .await?;
    let mut row = match &before {
        Some(before) => before.clone().into_active_model(),
        None => expected_life::ActiveModel {
            appliance_type_id: Set(change.appliance_type_id),
            fuel: Set(change.fuel),
            ..Default::default()
        },
    };
    row.years = Set(years);
    row.source = Set(source);
    row.caution = Set(caution);
    row.version = Set(before.as_ref().map_or(1, |before| before.version + 1));
    let after = row.save(&tx).await?;
    let after = expected_life::Model::try_from(after)
        .map_err(|error| Error::caused("a usual life", error))?;
    let subject = Subject {
        kind: "expected_life",
        id: after.id,
    };
    let verb = Right::ChangeExpectedLife.mutation();
    audit::record(&tx, act, verb, subject, (before.as_ref(), Some(&after))).await?;
    tx.commit().await?;
    Ok(after)
}

/// Every usual life on record; a row or two for each type of machine.
///
/// # Errors
/// Internal only.
pub async fn expected_lives(db: &impl ConnectionTrait) -> Result<Vec<expected_life::Model>> {
    Ok(expected_life::Entity::find()
        .order_by_asc(expected_life::Column::ApplianceTypeId)
        .order_by_asc(expected_life::Column::Id)
        .all(db)
        .await?)
}

/// The figures of a machine and what is offered for it.
///
/// # Errors
/// Internal only.
pub async fn weighing(
    db: &impl ConnectionTrait,
    machine: &appliance::Model,
    options: &[OfferOption],
    (replacement_price, on): (Option<Cents>, NaiveDate),
) -> Result<Weighing> {
    let dates = Dates {
        made_on: machine.made_on,
        bought_on: machine.bought_on,
        installed_on: machine.installed_on,
    };
    let totals = options
        .iter()
        .map(|option| (option.title.clone(), option.total))
        .collect::<Vec<_>>();
    let life = life_of(db, machine).await?;
    Ok(weigh(age(dates, on), life, replacement_price, &totals))
}

/// What is known of machines like this one: of its fuel, else of its type.
async fn life_of(
    db: &impl ConnectionTrait,
    machine: &appliance::Model,
) -> Result<Option<ExpectedLife>> {
    let rows = expected_life::Entity::find()
        .filter(expected_life::Column::ApplianceTypeId.eq(machine.appliance_type_id))
        .all(db)
        .await?;
    let fuel = match machine.fuel {
        Fuel::Electric => LifeFuel::Electric,
        Fuel::NaturalGas | Fuel::LiquidGas => LifeFuel::Gas,
        Fuel::None => LifeFuel::Any,
    };
    let of = |fuel: LifeFuel| rows.iter().find(|row| row.fuel == fuel);
    let Some(row) = of(fuel).or_else(|| of(LifeFuel::Any)) else {
        return Ok(None);
    };
    Ok(Some(ExpectedLife {
        years: u32::try_from(row.years)
            .map_err(|error| Error::caused("years of a usual life", error))?,
        source: row.source.clone(),
        caution: row.caution.clone().unwrap_or_default(),
    }))
}
