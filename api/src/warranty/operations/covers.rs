//! What a machine holds: registering a programme, ending it, and what cover asks of its use.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallState, ProgrammeRank};
use nameplate_entities::{appliance, appliance_cover, appliance_use, warranty_programme};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use super::super::store;
use super::payers::same_version;
use super::programmes::active_programme;
use crate::base::audit::{self, Subject};
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::{appliances, calls, shop};

/// Most registrations of one machine that have not ended.
const COVERS_MAX: usize = 8;

/// A programme that a machine holds, or does not though its make would bring it.
#[derive(Clone, Debug)]
pub struct RegisterCover {
    pub appliance_id: i64,
    pub programme_id: i64,
    /// False keeps the machine out of a programme that comes with its make.
    pub held: bool,
    pub contract_number: Option<String>,
    /// First day of a service contract.
    pub begins_on: Option<NaiveDate>,
    /// The call that fitted the part under the part's own warranty.
    pub repair_call_id: Option<i64>,
    /// The component that part is.
    pub component_id: Option<i64>,
    pub note: Option<String>,
}

/// Registers a programme on a machine.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a programme out of use or a repair that is not completed; `Taken` for one the
/// machine holds already, or a contract number of another machine; `TooMuch` beyond eight; refusals name the field.
pub async fn register_cover(act: &Act, new: RegisterCover) -> Result<appliance_cover::Model> {
    let staff_id = act.staff_with(Right::RegisterCover)?;
    let tx = act.app.db.write().await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let machine = appliances::get_appliance(&tx, "applianceId", new.appliance_id).await?;
    let programme = active_programme(&tx, "programmeId", new.programme_id).await?;
    let mut checks = Checks::new();
    let number = new.contract_number.as_deref();
    let number = checks.text_if_any("contractNumber", number, LINE_MAX);
    let note = checks.text_if_any("note", new.note.as_deref(), TEXT_MAX);
    if let Some(day) = new.begins_on {
        checks.near("beginsOn", day, today);
    }
    fits_rank(&mut checks, &new, programme.rank);
    checks.finish()?;
    is_repair(&tx, (&new, &machine)).await?;
    is_free(&tx, (&machine, &programme, &new), number.as_deref()).await?;
    let row = appliance_cover::ActiveModel {
        appliance_id: Set(machine.id),
        programme_id: Set(programme.id),
        held: Set(new.held),
        contract_number: Set(number),
        begins_on: Set(new.begins_on),
        repair_call_id: Set(new.repair_call_id),
        component_id: Set(new.component_id),
        note: Set(note),
        registered_at: Set(act.at),
        registered_by: Set(staff_id),
        ended_on: Set(None),
        ended_because: Set(None),
        version: Set(1),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    let verb = Right::RegisterCover.mutation();
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    tx.commit().await?;
    Ok(row)
}

/// Each rank asks for what its days are counted from.
fn fits_rank(checks: &mut Checks, new: &RegisterCover, rank: ProgrammeRank) {
    let is_contract = rank == ProgrammeRank::ServiceContract;
    if is_contract && new.held && new.begins_on.is_none() {
        let message = "A service contract needs its first day.";
        checks.refuse(ProblemCode::Missing, "beginsOn", message);
    }
    if !is_contract && new.begins_on.is_some() {
        let message = "Only a service contract has a first day of its own; the others count from the machine's days.";
        checks.refuse(ProblemCode::Malformed, "beginsOn", message);
    }
    let is_part = rank == ProgrammeRank::PartMaker;
    let of_repair = [
        ("repairCallId", new.repair_call_id.is_some()),
        ("componentId", new.component_id.is_some()),
    ];
    for (path, is_there) in of_repair {
        if is_part && new.held && !is_there {
            let message =
                "A part's own warranty needs the repair that fitted it and the component it is.";
            checks.refuse(ProblemCode::Missing, path, message);
        }
        if !is_part && is_there {
            let message = "Only the warranty of a part is of one repair and component.";
            checks.refuse(ProblemCode::Malformed, path, message);
        }
    }
    if !new.held && rank != ProgrammeRank::ApplianceMaker {
        let message = "Only a programme that comes with a make has machines kept out of it.";
        checks.refuse(ProblemCode::Malformed, "held", message);
    }
}

/// The repair is of this machine and completed, and the component of its type.
async fn is_repair(
    tx: &impl ConnectionTrait,
    (new, machine): (&RegisterCover, &appliance::Model),
) -> Result<()> {
    if let Some(id) = new.component_id {
        appliances::get_component_of(tx, "componentId", (machine, id)).await?;
    }
    let Some(id) = new.repair_call_id else {
        return Ok(());
    };
    let call = calls::get_call(tx, "repairCallId", id).await?;
    if call.appliance_id != machine.id {
        return Err(Error::not_found("repairCallId", "call of this machine"));
    }
    if call.state != CallState::Completed {
        let message = format!("Call {} is not completed.", call.number);
        return Err(Error::refused(
            ProblemCode::WrongState,
            "repairCallId",
            message,
        ));
    }
    Ok(())
}

async fn is_free(
    tx: &impl ConnectionTrait,
    (machine, programme, new): (
        &appliance::Model,
        &warranty_programme::Model,
        &RegisterCover,
    ),
    number: Option<&str>,
) -> Result<()> {
    let covers = store::covers_of(tx, machine.id).await?;
    let standing = covers.iter().filter(|row| row.ended_on.is_none());
    if standing.clone().count() >= COVERS_MAX {
        let message = format!("A machine holds at most {COVERS_MAX} programmes at a time.");
        return Err(Error::refused(ProblemCode::TooMuch, "programmeId", message));
    }
    let same = |row: &&appliance_cover::Model| {
        row.programme_id == programme.id
            && row.repair_call_id == new.repair_call_id
            && row.component_id == new.component_id
    };
    if standing.clone().any(|row| same(&row)) {
        let message = format!(
            "{} is registered on this machine already; end that first.",
            programme.name
        );
        return Err(Error::refused(ProblemCode::Taken, "programmeId", message));
    }
    let Some(number) = number else {
        return Ok(());
    };
    let Some(cover) = store::contract_of(tx, (programme.id, number)).await? else {
        return Ok(());
    };
    // One contract may cover a household's machines, and no other's.
    let other = appliances::get_appliance(tx, "contractNumber", cover.appliance_id).await?;
    if other.customer_id == machine.customer_id {
        return Ok(());
    }
    let message = format!(
        "This contract number is registered on a machine of another customer, {} {}.",
        other.make, other.model
    );
    Err(Error::refused(
        ProblemCode::Taken,
        "contractNumber",
        message,
    ))
}

/// What ends a registration before its term.
#[derive(Clone, Debug)]
pub struct EndCover {
    pub cover_id: i64,
    pub version: i32,
    /// The last day it counts.
    pub ended_on: NaiveDate,
    pub because: String,
}

/// Ends a registration, such as a contract given up or one recorded by mistake.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; `WrongState` for one that ended; refusals name the field.
pub async fn end_cover(act: &Act, end: EndCover) -> Result<appliance_cover::Model> {
    act.staff_with(Right::EndCover)?;
    let tx = act.app.db.write().await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let before = store::get_cover(&tx, "coverId", end.cover_id).await?;
    same_version(before.version, end.version)?;
    let mut checks = Checks::new();
    checks.near("endedOn", end.ended_on, today);
    let because = checks.text("because", &end.because, LINE_MAX);
    checks.finish()?;
    if before.ended_on.is_some() {
        let message = "This cover was ended already.";
        return Err(Error::refused(ProblemCode::WrongState, "coverId", message));
    }
    let mut row = before.clone().into_active_model();
    row.ended_on = Set(Some(end.ended_on));
    row.ended_because = Set(Some(because));
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::EndCover.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

/// What cover asks of a machine beside its plate.
#[derive(Clone, Copy, Debug)]
pub struct ChangeApplianceUse {
    pub appliance_id: i64,
    pub delivered_on: Option<NaiveDate>,
    /// Whether it is used in a business; none where nobody asked.
    pub in_business: Option<bool>,
}

/// Writes when a machine was delivered and how it is used, in place of what was written before.
///
/// # Errors
/// `Forbidden`; `NotFound`; `ImpossibleDate`.
pub async fn change_appliance_use(
    act: &Act,
    change: ChangeApplianceUse,
) -> Result<appliance_use::Model> {
    act.staff_with(Right::ChangeApplianceUse)?;
    let tx = act.app.db.write().await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let machine = appliances::get_appliance(&tx, "applianceId", change.appliance_id).await?;
    let mut checks = Checks::new();
    if let Some(day) = change.delivered_on {
        checks.not_after("deliveredOn", day, today);
        checks.of_our_time("deliveredOn", day);
    }
    checks.in_order(&[
        ("deliveredOn", "Manufacture", machine.made_on),
        ("deliveredOn", "Delivery", change.delivered_on),
    ]);
    checks.finish()?;
    let before = store::use_of(&tx, machine.id).await?;
    let row = appliance_use::ActiveModel {
        appliance_id: Set(machine.id),
        delivered_on: Set(change.delivered_on),
        in_business: Set(change.in_business),
        version: Set(before.as_ref().map_or(1, |row| row.version + 1)),
    };
    let after = match &before {
        Some(_) => row.update(&tx).await?,
        None => row.insert(&tx).await?,
    };
    let of_use = Subject {
        kind: "appliance_use",
        id: machine.id,
    };
    let verb = Right::ChangeApplianceUse.mutation();
    audit::record(&tx, act, verb, of_use, (before.as_ref(), Some(&after))).await?;
    tx.commit().await?;
    Ok(after)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "appliance_cover",
        id,
    }
}
