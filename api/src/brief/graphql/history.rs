//! The machine's history as the brief tells it. It names no customer: the machine may have changed hands.

use async_graphql::SimpleObject;
use chrono::NaiveDate;
use nameplate_entities::service_call;

use crate::calls::graphql::work::Method;
use crate::calls::graphql::{CallKind, CallState, Reading};
use crate::graphql::scalars::ExactDecimal;

use super::super::store::{Brief, Done, Found};

/// An earlier call on the machine.
#[derive(SimpleObject)]
pub struct BriefCall {
    /// Its number.
    number: String,
    /// Why it was made.
    kind: CallKind,
    /// Where it stands.
    state: CallState,
    /// The day it was taken.
    opened_on: NaiveDate,
    /// The day its work was done.
    completed_on: Option<NaiveDate>,
    /// What the customer said was wrong.
    complaint: String,
    /// Why a failure returned, where that was asked.
    root_cause: Option<String>,
    /// What was found, and what was done about it.
    findings: Vec<BriefFinding>,
    /// What was measured.
    readings: Vec<Reading>,
}

/// What was found, and what was done about it.
#[derive(SimpleObject)]
pub struct BriefFinding {
    /// What failed.
    component: String,
    /// How it failed.
    failure_mode: String,
    /// Which of several like parts.
    position: Option<String>,
    /// Why it failed.
    cause: Option<String>,
    /// What else was noted.
    note: Option<String>,
    /// What was done about it.
    remedies: Vec<BriefRemedy>,
}

/// What was done about a finding.
#[derive(SimpleObject)]
pub struct BriefRemedy {
    /// How.
    method: Method,
    /// How long it took, in minutes.
    labour_minutes: i32,
    /// What else was noted.
    note: Option<String>,
    /// What was fitted.
    parts: Vec<BriefPart>,
}

/// A part that was fitted.
#[derive(SimpleObject)]
pub struct BriefPart {
    /// Its number.
    number: String,
    /// What it is.
    description: String,
    /// How many.
    quantity: ExactDecimal,
}

/// The history, newest first as it was read.
pub fn entries(brief: &Brief) -> Vec<BriefCall> {
    brief
        .history
        .iter()
        .map(|call| entry(brief, call))
        .collect()
}

fn entry(brief: &Brief, call: &service_call::Model) -> BriefCall {
    let found = brief
        .findings
        .iter()
        .filter(|row| row.finding.call_id == call.id);
    let measured = brief.readings.iter().filter(|row| row.call_id == call.id);
    BriefCall {
        number: call.number.clone(),
        kind: call.kind.into(),
        state: call.state.into(),
        opened_on: call.opened_on,
        completed_on: call.completed_on,
        complaint: call.complaint.clone(),
        root_cause: call.root_cause.clone(),
        findings: found.map(|row| finding(&brief.remedies, row)).collect(),
        readings: measured.cloned().map(Reading::from).collect(),
    }
}

fn finding(done: &[Done], row: &Found) -> BriefFinding {
    let remedies = done
        .chunk_by(|a, b| a.remedy.id == b.remedy.id)
        .filter(|rows| {
            rows.first()
                .is_some_and(|first| first.remedy.finding_id == row.finding.id)
        });
    BriefFinding {
        component: row.component.name.clone(),
        failure_mode: row.mode.name.clone(),
        position: row.finding.position.clone(),
        cause: row.finding.cause.clone(),
        note: row.finding.note.clone(),
        remedies: remedies.filter_map(remedy).collect(),
    }
}

/// One remedy for the rows of its parts, which stand together.
fn remedy(rows: &[Done]) -> Option<BriefRemedy> {
    let remedy = &rows.first()?.remedy;
    let parts = rows.iter().filter_map(|row| {
        let (used, part) = row.fitted()?;
        Some(BriefPart {
            number: part.number.clone(),
            description: part.description.clone(),
            quantity: used.quantity.into(),
        })
    });
    Some(BriefRemedy {
        method: remedy.method.into(),
        labour_minutes: remedy.labour_minutes,
        note: remedy.note.clone(),
        parts: parts.collect(),
    })
}
