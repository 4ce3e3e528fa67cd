//! Programmes of payers, and their terms from a day on.

use nameplate_entities::kinds::ProgrammeRank;
use nameplate_entities::{programme_terms, warranty_programme};
use nameplate_rules::coverage::{Programme, Rank};
use nameplate_rules::recall::is_pattern;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use super::super::store;
use super::payers::{active_payer, same_version};
use super::terms::NewTerms;
use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::{appliances, shop};

/// A programme with its first terms.
#[derive(Clone, Debug)]
pub struct AddProgramme {
    pub payer_id: i64,
    pub name: String,
    pub rank: ProgrammeRank,
    /// The make it comes with; without one it is registered machine by machine.
    pub make: Option<String>,
    pub appliance_type_id: Option<i64>,
    pub model_pattern: Option<String>,
    pub terms: NewTerms,
}

/// Takes a payer's programme on record, with its first terms.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a retired payer; `Taken` for a name this payer has; refusals name the field.
pub async fn add_programme(act: &Act, new: AddProgramme) -> Result<warranty_programme::Model> {
    let staff_id = act.staff_with(Right::AddWarrantyProgramme)?;
    let tx = act.app.db.write().await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let payer = active_payer(&tx, "payerId", new.payer_id).await?;
    if let Some(id) = new.appliance_type_id {
        appliances::get_type(&tx, "applianceTypeId", id).await?;
    }
    let mut checks = Checks::new();
    let name = checks.text("name", &new.name, LINE_MAX);
    let make_key = make_key(&mut checks, &new);
    let pattern = pattern(&mut checks, new.model_pattern.as_deref());
    if make_key.is_none() && (pattern.is_some() || new.appliance_type_id.is_some()) {
        let message = "A model or type is of a make; name the make too.";
        checks.refuse(ProblemCode::Missing, "make", message);
    }
    checks.near("terms.appliesFrom", new.terms.applies_from, today);
    let mut below = Checks::new();
    let terms = new
        .terms
        .checked(&mut below, (&name, rank(new.rank)), &payer);
    checks.add_below("terms", below);
    checks.finish()?;
    let name_key = name.to_lowercase();
    if store::has_programme(&tx, (payer.id, &name_key)).await? {
        let message = format!("This payer has a programme named {name} already.");
        return Err(Error::refused(ProblemCode::Taken, "name", message));
    }
    let row = warranty_programme::ActiveModel {
        payer_id: Set(payer.id),
        name: Set(name),
        name_key: Set(name_key),
        rank: Set(new.rank),
        make_key: Set(make_key),
        appliance_type_id: Set(new.appliance_type_id),
        model_pattern: Set(pattern),
        component_class: Set(None),
        retired_at: Set(None),
        version: Set(1),
        ..Default::default()
    };
    let row = row.insert(&tx).await?;
    let verb = Right::AddWarrantyProgramme.mutation();
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    write_terms(&tx, act, verb, (&row, &new.terms, &terms, staff_id)).await?;
    tx.commit().await?;
    Ok(row)
}

/// Writes terms that hold for cover beginning on their day or later; what began before keeps its own.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a retired programme; `Taken` for a day that has terms; refusals name the field.
pub async fn add_programme_terms(
    act: &Act,
    (programme_id, new): (i64, NewTerms),
) -> Result<programme_terms::Model> {
    let staff_id = act.staff_with(Right::AddProgrammeTerms)?;
    let tx = act.app.db.write().await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let programme = active_programme(&tx, "programmeId", programme_id).await?;
    let mut below = Checks::new();
    below.near("appliesFrom", new.applies_from, today);
    let payer = store::get_payer(&tx, "programmeId", programme.payer_id).await?;
    let named = (programme.name.as_str(), rank(programme.rank));
    let terms = new.checked(&mut below, named, &payer);
    let mut checks = Checks::new();
    checks.add_below("terms", below);
    checks.finish()?;
    let day = new.applies_from;
    if store::has_terms(&tx, (programme.id, day)).await? {
        let message = "This programme has terms from that day already; take another day.";
        return Err(Error::refused(
            ProblemCode::Taken,
            "terms.appliesFrom",
            message,
        ));
    }
    let verb = Right::AddProgrammeTerms.mutation();
    let row = write_terms(&tx, act, verb, (&programme, &new, &terms, staff_id)).await?;
    tx.commit().await?;
    Ok(row)
}

/// Takes a programme out of use, or back: one out of use is registered on no further machine. What machines hold stays.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`.
pub async fn retire_programme(
    act: &Act,
    (programme_id, version, retired): (i64, i32, bool),
) -> Result<warranty_programme::Model> {
    act.staff_with(Right::RetireWarrantyProgramme)?;
    let tx = act.app.db.write().await?;
    let before = store::get_programme(&tx, "programmeId", programme_id).await?;
    same_version(before.version, version)?;
    let mut row = before.clone().into_active_model();
    row.retired_at = Set(retired.then_some(before.retired_at.unwrap_or(act.at)));
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::RetireWarrantyProgramme.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

/// A programme that can be registered.
///
/// # Errors
/// `NotFound`; `WrongState` for one that is out of use.
pub async fn active_programme(
    tx: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<warranty_programme::Model> {
    let programme = store::get_programme(tx, path, id).await?;
    if programme.retired_at.is_some() {
        let message = format!("{} is out of use.", programme.name);
        return Err(Error::refused(ProblemCode::WrongState, path, message));
    }
    Ok(programme)
}

async fn write_terms(
    tx: &impl ConnectionTrait,
    act: &Act,
    verb: &'static str,
    (programme, new, terms, staff_id): (&warranty_programme::Model, &NewTerms, &Programme, i64),
) -> Result<programme_terms::Model> {
    let terms_json = serde_json::to_string(terms)
        .map_err(|error| Error::caused("terms of a programme", error))?;
    let row = programme_terms::ActiveModel {
        programme_id: Set(programme.id),
        applies_from: Set(new.applies_from),
        stays_with_machine: Set(new.stays_with_machine),
        days_to_file: Set(new.days_to_file),
        terms_json: Set(terms_json),
        written_at: Set(act.at),
        written_by: Set(staff_id),
        ..Default::default()
    };
    let row = row.insert(tx).await?;
    let of_terms = Subject {
        kind: "programme_terms",
        id: row.id,
    };
    audit::created(tx, act, verb, of_terms, &row).await?;
    Ok(row)
}

fn make_key(checks: &mut Checks, new: &AddProgramme) -> Option<String> {
    let make = new.make.as_deref().filter(|make| !make.trim().is_empty())?;
    match appliances::make_key(make) {
        Ok(key) => Some(key),
        Err(refusal) => {
            checks.refuse(ProblemCode::Malformed, "make", format!("{refusal}."));
            None
        }
    }
}

/// A pattern of models as a key: capitals, letters and digits, `*` and `?`.
pub fn pattern(checks: &mut Checks, typed: Option<&str>) -> Option<String> {
    let typed = typed.filter(|text| !text.trim().is_empty())?;
    let typed = checks.text("modelPattern", typed, LINE_MAX);
    let key: String = (typed.to_uppercase().chars())
        .filter(|letter| letter.is_alphanumeric() || matches!(letter, '*' | '?'))
        .collect();
    if !is_pattern(&key) {
        let message = "A pattern holds letters or digits, with * for any of them and ? for one.";
        checks.refuse(ProblemCode::Malformed, "modelPattern", message);
    }
    Some(key)
}

/// The rank as the rules read it.
pub fn rank(rank: ProgrammeRank) -> Rank {
    match rank {
        ProgrammeRank::PartMaker => Rank::PartMaker,
        ProgrammeRank::ApplianceMaker => Rank::ApplianceMaker,
        ProgrammeRank::ServiceContract => Rank::ServiceContract,
    }
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "warranty_programme",
        id,
    }
}
