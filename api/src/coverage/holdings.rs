//! What a machine holds on a day, as the rules read it.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use nameplate_entities::{
    appliance, appliance_cover, appliance_stay, programme_terms, service_call, shop_warranty,
    warranty_programme,
};
use nameplate_rules::coverage::{
    Covers, EarlierRepair, Evidence, Exclusion, Pays, Programme, Rank, Registration, RestBearer,
    Segment, StartEvent, Starts, lapsed_on,
};
use nameplate_rules::dates::{Term, whole_days_between};
use nameplate_rules::money::Cents;
use nameplate_rules::percent::Percent;
use sea_orm::ConnectionTrait;
use serde::{Deserialize, Serialize};

use super::store::{self, Repaired};
use crate::base::{Error, Result};
use crate::shop::{self, Settings};
use crate::warranty;

/// A programme that a machine holds, and whose it is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Holding {
    /// None for the shop itself.
    pub payer_id: Option<i64>,
    pub programme_id: Option<i64>,
    pub terms_id: Option<i64>,
    pub cover_id: Option<i64>,
    pub registration: Registration,
}

/// What a machine holds, and the days its cover counts from.
struct Machine<'a> {
    row: &'a appliance::Model,
    starts: Starts,
    /// Days on which it changed hands.
    changes: Vec<NaiveDate>,
    covers: Vec<appliance_cover::Model>,
    settings: Settings,
}

/// When a machine failed, and on which call that is told.
#[derive(Clone, Copy, Debug)]
pub struct Failure {
    pub on: NaiveDate,
    /// None before anybody called. What this very call repaired and promised is no answer to who pays for it.
    pub call_id: Option<i64>,
}

impl Failure {
    /// Whether a row is of another call.
    pub fn is_before(self, call_id: i64) -> bool {
        self.call_id != Some(call_id)
    }
}

/// All that a machine holds or held near the day, the shop's own promises first. A fixed number of statements.
///
/// # Errors
/// Internal only.
pub async fn of_machine(
    db: &impl ConnectionTrait,
    row: &appliance::Model,
    failure: Failure,
) -> Result<Vec<Holding>> {
    let used = warranty::use_of(db, row.id).await?;
    let machine = Machine {
        starts: Starts {
            manufacture: row.made_on,
            purchase: row.bought_on,
            delivery: used.and_then(|used| used.delivered_on),
            installation: row.installed_on,
            ..Starts::default()
        },
        changes: changes(&store::stays_of(db, row.id).await?),
        covers: (warranty::covers_of(db, row.id).await?.into_iter())
            .filter(|cover| cover.repair_call_id.is_none_or(|id| failure.is_before(id)))
            .collect(),
        settings: shop::settings(db).await?,
        row,
    };
    let promises = promises(db, row.id, failure).await?;
    let of_covers = machine.covers.iter().filter_map(|row| row.component_id);
    let of_work = promises.iter().map(|row| row.component_id);
    let components: Vec<i64> = of_covers.chain(of_work).collect();
    let components = store::component_names(db, &components).await?;
    let mut holdings: Vec<Holding> = (promises.iter())
        .map(|row| own_work(row, components.get(&row.component_id)))
        .collect::<Result<_>>()?;
    let registered: Vec<i64> = machine.covers.iter().map(|row| row.programme_id).collect();
    let programmes = warranty::programmes_for(db, machine.row, &registered).await?;
    let ids: Vec<i64> = programmes.iter().map(|row| row.id).collect();
    let terms = warranty::terms_of(db, &ids).await?;
    let repairs = store::repair_calls(db, &machine.covers).await?;
    let out_of_use = store::out_of_use(db, (row.id, failure.call_id)).await?;
    let paid = store::repairs_paid(db, row.id, failure).await?;
    for programme in &programmes {
        let first = holdings.len();
        for (cover, starts) in machine.held_of(programme, failure.on, &repairs) {
            let Some((row, terms)) = terms_from(&terms, programme.id, &starts)? else {
                continue;
            };
            let same_as = Some(first).filter(|first| *first < holdings.len());
            let component = cover.and_then(|cover| cover.component_id);
            let component = component.and_then(|id| components.get(&id).cloned());
            holdings.push(Holding {
                payer_id: Some(programme.payer_id),
                programme_id: Some(programme.id),
                terms_id: Some(row.id),
                cover_id: cover.map(|cover| cover.id),
                registration: Registration {
                    lapsed_on: machine.lapses(row, cover, &starts),
                    programme: known(terms, cover),
                    starts,
                    component,
                    out_of_use: days_of(&out_of_use, programme.id),
                    repairs: repairs_of(&paid, programme.id),
                    same_as,
                },
            });
        }
    }
    Ok(holdings)
}

/// The days a machine was out of use for repairs that a programme paid.
fn days_of(
    out_of_use: &[(i64, (NaiveDate, NaiveDate))],
    programme_id: i64,
) -> Vec<(NaiveDate, NaiveDate)> {
    let its = out_of_use.iter().filter(|(id, _)| *id == programme_id);
    its.map(|(_, days)| *days).collect()
}

/// The repairs that a programme paid.
fn repairs_of(paid: &[Repaired], programme_id: i64) -> Vec<EarlierRepair> {
    let its = paid.iter().filter(|paid| paid.programme_id == programme_id);
    its.map(|paid| paid.repair.clone()).collect()
}

impl Machine<'_> {
    /// The registrations of a programme, the one that began last by the day of the failure first, or the machine itself for
    /// a programme that comes with its make. All of them are kept, as an older one may run longer; the rules let a programme
    /// pay once. Where one ended, the make does not bring the programme back.
    fn held_of<'c>(
        &'c self,
        programme: &warranty_programme::Model,
        failed_on: NaiveDate,
        repairs: &[service_call::Model],
    ) -> Vec<(Option<&'c appliance_cover::Model>, Starts)> {
        let registered = |row: &&appliance_cover::Model| row.programme_id == programme.id;
        let (rows, ended): (Vec<_>, Vec<_>) = (self.covers.iter())
            .filter(registered)
            .partition(|row| row.ended_on.is_none_or(|ended_on| failed_on <= ended_on));
        if rows.is_empty() {
            let by_make = programme.make_key.as_ref() == Some(&self.row.make_key)
                && !ended.iter().any(|row| row.held);
            return if by_make && self.began_in_use(programme) {
                vec![(None, self.starts)]
            } else {
                Vec::new()
            };
        }
        let held = rows.into_iter().filter(|row| row.held).map(|row| {
            let repair = repairs
                .iter()
                .find(|call| Some(call.id) == row.repair_call_id);
            let starts = Starts {
                contract: row.begins_on,
                repair: repair.and_then(|call| call.completed_on),
                ..self.starts
            };
            (Some(row), starts)
        });
        let mut held: Vec<_> = held.collect();
        held.sort_by_key(|(row, starts)| {
            let began_on = starts.contract.or(starts.repair);
            let is_to_come = began_on.is_some_and(|day| day > failed_on);
            Reverse((!is_to_come, began_on, row.map(|row| row.id)))
        });
        held
    }

    /// Whether a programme that comes with the make was in use when cover began: one that was taken out of use is kept for
    /// the machines that came under it before, and for those of which no day is known.
    fn began_in_use(&self, programme: &warranty_programme::Model) -> bool {
        let retired_on = programme.retired_at.map(|at| self.settings.day_of(at));
        match (retired_on, began(&self.starts)) {
            (Some(retired_on), Some(began_on)) => began_on <= retired_on,
            _ => true,
        }
    }

    /// The day cover lapsed with a change of hands.
    fn lapses(
        &self,
        terms: &programme_terms::Model,
        cover: Option<&appliance_cover::Model>,
        starts: &Starts,
    ) -> Option<NaiveDate> {
        if terms.stays_with_machine {
            return None;
        }
        let began_on = cover
            .and_then(|cover| cover.begins_on)
            .or_else(|| began(starts));
        lapsed_on(began_on?, &self.changes)
    }
}

/// The first known day among those a cover may count from.
fn began(starts: &Starts) -> Option<NaiveDate> {
    let in_order = [
        starts.contract,
        starts.repair,
        starts.purchase,
        starts.delivery,
        starts.installation,
        starts.manufacture,
    ];
    in_order.into_iter().flatten().next()
}

/// The terms that hold for cover beginning on that day: the latest that apply by then; the newest where no day is known.
fn terms_from<'t>(
    terms: &'t [programme_terms::Model],
    programme_id: i64,
    starts: &Starts,
) -> Result<Option<(&'t programme_terms::Model, Programme)>> {
    let began_on = began(starts);
    let found = (terms.iter())
        .filter(|row| row.programme_id == programme_id)
        .filter(|row| began_on.is_none_or(|day| row.applies_from <= day))
        .max_by_key(|row| row.applies_from);
    let Some(row) = found else { return Ok(None) };
    let read = serde_json::from_str(&row.terms_json)
        .map_err(|error| Error::caused("terms of a programme", error))?;
    Ok(Some((row, read)))
}

/// A contract whose number is on record needs no paper for it.
fn known(mut programme: Programme, cover: Option<&appliance_cover::Model>) -> Programme {
    if cover.is_some_and(|cover| cover.contract_number.is_some()) {
        programme.evidence.remove(&Evidence::ContractNumber);
    }
    programme
}

/// The days from which another customer has the machine.
fn changes(stays: &[appliance_stay::Model]) -> Vec<NaiveDate> {
    (stays.iter().zip(stays.iter().skip(1)))
        .filter(|(before, after)| before.customer_id != after.customer_id)
        .map(|(_, after)| after.from_on)
        .collect()
}

/// The shop's own promises on what it repaired: of each component that of the longest labor and that of the longest parts,
/// which are one and the same unless it promised less when it came again.
async fn promises(
    db: &impl ConnectionTrait,
    appliance_id: i64,
    failure: Failure,
) -> Result<Vec<shop_warranty::Model>> {
    let mut rows = warranty::in_force(db, appliance_id, failure.on).await?;
    rows.retain(|row| failure.is_before(row.call_id));
    let mut longest: BTreeMap<i64, [&shop_warranty::Model; 2]> = BTreeMap::new();
    for row in &rows {
        let [labour, parts] = longest.entry(row.component_id).or_insert([row, row]);
        if row.labour_through > labour.labour_through {
            *labour = row;
        }
        if row.parts_through > parts.parts_through {
            *parts = row;
        }
    }
    let kept = longest.into_values().flatten().map(|row| row.id);
    let kept: BTreeSet<i64> = kept.collect();
    rows.retain(|row| kept.contains(&row.id));
    Ok(rows)
}

/// The shop's promise as a holding.
fn own_work(row: &shop_warranty::Model, component: Option<&String>) -> Result<Holding> {
    Ok(Holding {
        payer_id: None,
        programme_id: None,
        terms_id: None,
        cover_id: None,
        registration: Registration {
            programme: own_terms(row)?,
            starts: Starts {
                repair: Some(row.written_on),
                ..Starts::default()
            },
            component: component.cloned(),
            lapsed_on: None,
            out_of_use: Vec::new(),
            repairs: Vec::new(),
            same_as: None,
        },
    })
}

/// The shop's promise as a programme: labor and trip through one day, parts through another.
fn own_terms(row: &shop_warranty::Model) -> Result<Programme> {
    let whole = Percent::parse("100").map_err(|error| Error::caused("a hundred", error))?;
    let segment = |covers: &[Covers], through_on: Option<NaiveDate>| {
        let days = whole_days_between(row.written_on, through_on?);
        Some(Segment {
            covers: covers.iter().copied().collect(),
            component_class: None,
            start: StartEvent::Repair,
            after: None,
            through: Term::Days(u32::try_from(days).ok()?),
            pays: Pays {
                percent: whole,
                at_most: None,
                flat_labour: None,
            },
        })
    };
    let labour = segment(&[Covers::Labour, Covers::Trip], row.labour_through);
    let parts = segment(&[Covers::Parts], row.parts_through);
    let not_ours = [
        Exclusion::Misuse,
        Exclusion::Accident,
        Exclusion::HouseSupply,
        Exclusion::LackOfCare,
        Exclusion::WorkByOthers,
    ];
    Ok(Programme {
        name: "Our own work".to_owned(),
        rank: Rank::Workmanship,
        segments: labour.into_iter().chain(parts).collect(),
        exclusions: not_ours.into_iter().collect(),
        evidence: BTreeSet::new(),
        deductible: Cents::ZERO,
        labour_rate: None,
        distance_rate: None,
        out_of_use: None,
        failed_repair_days: None,
        rest_borne_by: RestBearer::Customer,
    })
}
