//! Deciding who pays, and looking ahead.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallState, CoverageSplit};
use nameplate_entities::{
    appliance, coverage_decision, coverage_portion, estimate_line, service_call,
};
use nameplate_rules::coverage::{
    self as rules, Case, CoverageRefusal, Covers, Decision, Line, PROGRAMMES_MAX, Registration,
};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait, IntoActiveModel};
use serde::Serialize;

use super::facts::{self, Findings, Said};
use super::holdings::{self, Failure, Holding};
use super::kept::Kept;
use super::kinds;
use super::store::{self, Found};
use crate::base::audit::{self, Subject};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::{appliances, estimates, shop};

/// The longest trip that is paid by distance.
const DISTANCE_MAX: Decimal = Decimal::from_parts(1_000, 0, 0, false, 0);
/// The longest work of one line.
const HOURS_MAX: Decimal = Decimal::from_parts(1_000, 0, 0, false, 0);
/// Most lines of an outlook, or lines whose hours are said.
const LINES_MAX: usize = 50;
/// Portions written in one statement.
const PIECE: usize = 500;

/// What is decided.
#[derive(Clone, Debug, Serialize)]
pub struct DecideCoverage {
    #[serde(skip)]
    pub idempotency_key: String,
    pub call_id: i64,
    /// The option whose lines are decided; the accepted one when left out.
    pub option_id: Option<i64>,
    /// The day the failure was told of; the day the call was opened when left out.
    pub failed_on: Option<NaiveDate>,
    /// The finding that counts; the first fault found when left out.
    pub finding_id: Option<i64>,
    /// How far the trip was, for payers who pay by distance.
    pub distance: Option<Decimal>,
    /// Hours of labor lines that have none of their own, for payers who pay by the hour.
    pub hours: Vec<LineHours>,
    pub said: Said,
}

/// How long the work of a line took.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct LineHours {
    /// Place of the line, from 1.
    pub line: i32,
    pub hours: Decimal,
}

/// Decides who pays the lines of an option of a call, and writes it down in place of an earlier decision on the call.
///
/// What the shop bears by it is settled by the act that calls this, in the same transaction.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Missing` at `optionId` for a call with nothing accepted; `WrongState` for a cancelled call or
/// lines below zero; `TooMuch` for a machine with more programmes than are decided at a time; refusals name the field.
pub async fn decide(
    tx: &impl ConnectionTrait,
    act: &Act,
    (call, order): (&service_call::Model, &DecideCoverage),
) -> Result<coverage_decision::Model> {
    let staff_id = act.staff_with(Right::DecideCoverage)?;
    let today = shop::settings(tx).await?.day_of(act.at);
    if call.state == CallState::Cancelled {
        let message = format!("Call {} is cancelled.", call.number);
        return Err(Error::refused(ProblemCode::WrongState, "callId", message));
    }
    let machine = appliances::get_appliance(tx, "callId", call.appliance_id).await?;
    let failed_on = order.failed_on.unwrap_or(call.opened_on);
    let mut checks = Checks::new();
    checks.not_after("failedOn", failed_on, today);
    checks.near("failedOn", failed_on, today);
    check_distance(&mut checks, "distance", order.distance);
    checks.finish()?;
    let found = Findings::on_call(tx, call.id, order.finding_id).await?;
    let (option_id, rows) = lines_of(tx, order).await?;
    let mut lines: Vec<Line> = (rows.iter())
        .map(|row| line(row, order.distance))
        .collect::<Result<_>>()?;
    say_hours(&mut lines, &order.hours)?;
    let of_call = (call, &machine);
    let said = (failed_on, &found, &order.said);
    let case = facts::of_call(tx, of_call, said).await?;
    let failure = Failure {
        on: failed_on,
        call_id: Some(call.id),
    };
    let made = made(tx, (&machine, failure), (case, lines)).await?;
    write(tx, act, (&made, call.id, option_id, staff_id)).await
}

fn check_distance(checks: &mut Checks, path: &str, distance: Option<Decimal>) {
    if let Some(distance) = distance {
        checks.between(path, distance, (Decimal::ZERO, DISTANCE_MAX));
    }
}

/// Puts the hours that the desk says on lines of labor that have none.
fn say_hours(lines: &mut [Line], said: &[LineHours]) -> Result<()> {
    let mut checks = Checks::new();
    if said.len() > LINES_MAX {
        checks.refuse(
            ProblemCode::TooLong,
            "hours",
            format!("At most {LINES_MAX} lines."),
        );
    }
    for (at, said) in said.iter().enumerate().take(LINES_MAX) {
        let path = |field: &str| format!("hours.{at}.{field}");
        checks.between(&path("hours"), said.hours, (Decimal::ZERO, HOURS_MAX));
        let place = usize::try_from(said.line)
            .ok()
            .and_then(|line| line.checked_sub(1));
        let line = place.and_then(|place| lines.get_mut(place));
        match line.filter(|line| line.covers == Some(Covers::Labour)) {
            None => {
                let message = format!("Line {} is no line of labor of this option.", said.line);
                checks.refuse(ProblemCode::NotFound, &path("line"), message);
            }
            Some(line) if line.hours.is_some() => {
                let message = format!("The hours of line {} are known already.", said.line);
                checks.refuse(ProblemCode::WrongState, &path("line"), message);
            }
            Some(line) => line.hours = Some(said.hours),
        }
    }
    checks.finish()
}

/// The lines of the option named, or of the accepted one.
async fn lines_of(
    tx: &impl ConnectionTrait,
    order: &DecideCoverage,
) -> Result<(i64, Vec<estimate_line::Model>)> {
    if let Some(id) = order.option_id {
        let (option, lines) = store::get_option(tx, "optionId", (order.call_id, id)).await?;
        return Ok((option.id, lines));
    }
    let accepted = estimates::accepted_for_call(tx, order.call_id).await?;
    let accepted = accepted.ok_or_else(|| {
        let message = "Nothing is accepted for this call; name the option whose lines are decided.";
        Error::refused(ProblemCode::Missing, "optionId", message)
    })?;
    Ok((accepted.option.id, accepted.lines))
}

/// A line as the rules read it: after discount, before tax.
fn line(row: &estimate_line::Model, distance: Option<Decimal>) -> Result<Line> {
    let covers = kinds::covers(row.kind);
    let amount = Cents(row.net_cents)
        .checked_sub(Cents(row.discount_cents))
        .ok_or_else(|| Error::internal("a line is too large"))?;
    let hours = row.labour_minutes.map(|minutes| {
        // Minutes are whole and few, so sixtieths are exact enough to a cent at any rate.
        Decimal::from(minutes) / Decimal::from(60)
    });
    Ok(Line {
        covers,
        amount,
        hours,
        distance: distance.filter(|_| covers == Some(Covers::Trip)),
    })
}

/// Decides on a case over all that a machine holds.
async fn made(
    db: &impl ConnectionTrait,
    (machine, failure): (&appliance::Model, Failure),
    (case, lines): (Case, Vec<Line>),
) -> Result<Kept> {
    let holdings = holdings::of_machine(db, machine, failure).await?;
    let held: Vec<Registration> = (holdings.iter())
        .map(|holding| holding.registration.clone())
        .collect();
    let decision = rules::decide(&case, &lines, &held).map_err(|refusal| refused(&refusal))?;
    Ok(Kept {
        case,
        lines,
        holdings,
        decision,
    })
}

fn refused(refusal: &CoverageRefusal) -> Error {
    let (code, path) = match refusal {
        CoverageRefusal::NegativeLine { .. } => (ProblemCode::WrongState, "optionId"),
        CoverageRefusal::TooManyProgrammes { .. } => (ProblemCode::TooMuch, "callId"),
        CoverageRefusal::TooLarge => (ProblemCode::OutOfRange, "optionId"),
        CoverageRefusal::Date(_) => (ProblemCode::ImpossibleDate, "failedOn"),
    };
    let message = match refusal {
        CoverageRefusal::TooManyProgrammes { count } => format!(
            "This machine holds {count} programmes; at most {PROGRAMMES_MAX} are decided at a time. End those that are over, \
             or record first what failed (recordFinding): promises on other components then do not count."
        ),
        other => format!("{other}."),
    };
    Error::refused(code, path, message)
}

async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    (made, call_id, option_id, staff_id): (&Kept, i64, i64, i64),
) -> Result<coverage_decision::Model> {
    fn json<T: Serialize>(value: &T) -> Result<String> {
        serde_json::to_string(value).map_err(|error| Error::caused("a coverage decision", error))
    }
    let verb = Right::DecideCoverage.mutation();
    if let Some(before) = store::standing_of_call(tx, call_id).await? {
        let mut row = before.clone().into_active_model();
        row.standing_call_id = Set(None);
        let after = row.update(tx).await?;
        let both = (Some(&before), Some(&after));
        audit::record(tx, act, verb, subject(after.id), both).await?;
    }
    let total = Cents::sum(made.lines.iter().map(|line| line.amount))
        .map_err(|error| Error::caused("lines of a decision", error))?;
    let decision = &made.decision;
    let row = coverage_decision::ActiveModel {
        call_id: Set(call_id),
        estimate_option_id: Set(Some(option_id)),
        failed_on: Set(made.case.failed_on),
        case_json: Set(json(&made.case)?),
        lines_json: Set(json(&made.lines)?),
        holdings_json: Set(json(&made.holdings)?),
        decision_json: Set(json(decision)?),
        total_cents: Set(total.0),
        customer_cents: Set(decision.customer.0),
        at_most_cents: Set(decision.customer_at_most.0),
        is_sure: Set(decision.lines == decision.sure_lines),
        standing_call_id: Set(Some(call_id)),
        decided_at: Set(act.at),
        decided_by: Set(staff_id),
        ..Default::default()
    };
    let row = row.insert(tx).await?;
    let portions: Vec<coverage_portion::ActiveModel> =
        (made.portions(CoverageSplit::Settled).into_iter())
            .map(|portion| coverage_portion::ActiveModel {
                decision_id: Set(row.id),
                position: Set(portion.position),
                payer_id: Set(portion.payer_id),
                terms_id: Set(portion.terms_id),
                cover_id: Set(portion.cover_id),
                cents: Set(portion.amount.0),
                ..Default::default()
            })
            .collect();
    for piece in portions.chunks(PIECE) {
        coverage_portion::Entity::insert_many(piece.iter().cloned())
            .exec_without_returning(tx)
            .await?;
    }
    audit::created(tx, act, verb, subject(row.id), &row).await?;
    Ok(row)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "coverage_decision",
        id,
    }
}

/// A charge to be expected.
#[derive(Clone, Debug)]
pub struct OutlookLine {
    pub covers: Covers,
    pub amount: Cents,
    pub hours: Option<Decimal>,
    pub distance: Option<Decimal>,
}

/// What is asked before somebody drives out.
#[derive(Clone, Debug)]
pub struct Outlook {
    pub appliance_id: i64,
    /// Today when left out.
    pub failed_on: Option<NaiveDate>,
    pub component_id: Option<i64>,
    pub failure_mode_id: Option<i64>,
    pub said: Said,
    pub lines: Vec<OutlookLine>,
}

/// A decision that nobody wrote down.
#[derive(Clone, Debug)]
pub struct Sight {
    pub failed_on: NaiveDate,
    pub holdings: Vec<Holding>,
    pub decision: Decision,
}

/// What would be paid if the machine had failed on a day, of a component if one is named.
///
/// # Errors
/// `NotFound`; refusals name the field.
pub async fn outlook(act: &Act, ask: &Outlook) -> Result<Sight> {
    let db = act.app.db.read();
    let today = shop::settings(db).await?.day_of(act.at);
    let machine = appliances::get_appliance(db, "applianceId", ask.appliance_id).await?;
    let failed_on = ask.failed_on.unwrap_or(today);
    let mut checks = Checks::new();
    checks.near("failedOn", failed_on, today);
    if ask.lines.len() > LINES_MAX {
        let message = format!("At most {LINES_MAX} lines.");
        checks.refuse(ProblemCode::TooLong, "lines", message);
    }
    for (at, line) in ask.lines.iter().enumerate().take(LINES_MAX) {
        checks.not_negative(&format!("lines.{at}.amount"), line.amount);
        check_distance(&mut checks, &format!("lines.{at}.distance"), line.distance);
        if let Some(hours) = line.hours {
            let path = format!("lines.{at}.hours");
            checks.between(&path, hours, (Decimal::ZERO, HOURS_MAX));
        }
    }
    checks.finish()?;
    let found = Findings {
        first: found(db, &machine, ask).await?,
        ..Findings::default()
    };
    let failure = Failure {
        on: failed_on,
        call_id: None,
    };
    let mut case = facts::of_machine(db, &machine, failure, &found).await?;
    case.circumstances
        .extend(ask.said.circumstances.iter().copied());
    case.unsettled.extend(ask.said.unsettled.iter().copied());
    case.evidence.extend(ask.said.evidence.iter().copied());
    let lines = (ask.lines.iter())
        .map(|line| Line {
            covers: Some(line.covers),
            amount: line.amount,
            hours: line.hours,
            distance: line.distance,
        })
        .collect();
    let made = made(db, (&machine, failure), (case, lines)).await?;
    Ok(Sight {
        failed_on,
        holdings: made.holdings,
        decision: made.decision,
    })
}

async fn found(
    db: &impl ConnectionTrait,
    machine: &appliance::Model,
    ask: &Outlook,
) -> Result<Option<Found>> {
    let Some(id) = ask.component_id else {
        return Ok(None);
    };
    let component = appliances::get_component_of(db, "componentId", (machine, id)).await?;
    let failure_key = match ask.failure_mode_id {
        Some(id) => {
            appliances::get_failure_mode(db, "failureModeId", id)
                .await?
                .key
        }
        None => String::new(),
    };
    Ok(Some(Found {
        component: component.name,
        failure_key,
    }))
}
