//! What was found, measured, done and fitted, in a line a call.

use chrono::NaiveDate;
use nameplate_entities::kinds::{Across, Circuit, Method, Verdict};
use nameplate_entities::{reading, service_call};

use crate::calls;

use super::super::store::{Brief, Done, Flagged, Found};

/// What was found and measured on the call itself, on a visit before.
pub fn so_far(brief: &Brief) -> Vec<String> {
    let call = &brief.ticket.call;
    let found = findings(brief, call, None).into_iter();
    let found = found.map(|words| format!("So far: {words}."));
    let read = readings(brief, call).into_iter();
    let read = read.map(|words| format!("Measured: {words}."));
    found.chain(read).collect()
}

/// Earlier calls, the newest first.
pub struct Past {
    /// The last of each flagged component that was repaired; flags in the order in which they are given.
    pub repairs: Vec<String>,
    pub others: Vec<String>,
}

/// Tells the earlier calls.
pub fn history(brief: &Brief, flags: &[&Flagged]) -> Past {
    let mut last: Vec<(i64, String)> = Vec::new();
    for flagged in flags {
        let component_id = flagged.flag.component_id;
        let mut calls = brief.history.iter();
        let Some(call) = calls.find(|call| is_repaired(brief, call, component_id)) else {
            continue;
        };
        if last.iter().all(|(id, _)| *id != call.id) {
            last.push((call.id, line(brief, call, Some(component_id))));
        }
    }
    let others = brief.history.iter();
    let others = others.filter(|call| last.iter().all(|(id, _)| *id != call.id));
    Past {
        others: others.map(|call| line(brief, call, None)).collect(),
        repairs: last.into_iter().map(|(_, line)| line).collect(),
    }
}

/// What other calls on the machine came to that were taken after this one.
pub fn later(brief: &Brief) -> Vec<String> {
    let calls = brief.later.iter();
    let told = calls.map(|call| format!("Since then: {}", line(brief, call, None)));
    told.collect()
}

/// Whether anything was done about a component on a call.
fn is_repaired(brief: &Brief, call: &service_call::Model, component_id: i64) -> bool {
    let mut found = brief.findings.iter();
    found.any(|row| {
        let finding = &row.finding;
        let mut done = brief.remedies.iter().map(|done| &done.remedy);
        (finding.call_id, finding.component_id) == (call.id, component_id)
            && done.any(|done| done.finding_id == finding.id && done.method != Method::None)
    })
}

/// A call in a line, what was found of one component first.
fn line(brief: &Brief, call: &service_call::Model, component_id: Option<i64>) -> String {
    let day = day_of(call);
    let mut words = findings(brief, call, component_id);
    words.extend(readings(brief, call));
    if words.is_empty() {
        words.push(call.complaint.clone());
    }
    let cause = call.root_cause.as_ref();
    words.extend(cause.map(|cause| format!("cause: {}", cause.trim_end_matches('.'))));
    format!("{day} {}: {}.", call.number, words.join("; "))
}

/// The day by which a call is told.
pub fn day_of(call: &service_call::Model) -> NaiveDate {
    call.completed_on.unwrap_or(call.opened_on)
}

fn findings(
    brief: &Brief,
    call: &service_call::Model,
    first_component: Option<i64>,
) -> Vec<String> {
    let rows = brief.findings.iter();
    let mut rows: Vec<&Found> = rows.filter(|row| row.finding.call_id == call.id).collect();
    rows.sort_by_key(|row| Some(row.finding.component_id) != first_component);
    let told = rows.into_iter().map(|row| finding(row, &brief.remedies));
    told.collect()
}

/// "Surface burner terminal burnt (left front): re-terminated, 1 TB-1".
fn finding(row: &Found, remedies: &[Done]) -> String {
    let mode = row.mode.name.to_lowercase();
    let position = row.finding.position.as_ref();
    let position = position.map_or_else(String::new, |at| format!(" ({at})"));
    let failed = format!("{} {mode}{position}", row.component.name);
    let done = remedies
        .iter()
        .filter(|done| done.remedy.finding_id == row.finding.id);
    let mut words: Vec<String> = Vec::new();
    let mut last = None;
    for done in done {
        if last != Some(done.remedy.id) {
            words.push(method(done.remedy.method).to_owned());
            last = Some(done.remedy.id);
        }
        let fitted = done.fitted();
        words.extend(fitted.map(|(used, part)| format!("{} {}", used.quantity, part.number)));
    }
    if words.is_empty() {
        failed
    } else {
        format!("{failed}: {}", words.join(", "))
    }
}

fn method(method: Method) -> &'static str {
    match method {
        Method::Replaced => "replaced",
        Method::ReTerminated => "re-terminated",
        Method::Spliced => "spliced",
        Method::Cleaned => "cleaned",
        Method::Adjusted => "adjusted",
        Method::Tightened => "tightened",
        Method::Unblocked => "unblocked",
        Method::Other => "other work",
        Method::None => "nothing done",
    }
}

/// What was measured on a call; what reads alike is said once.
fn readings(brief: &Brief, call: &service_call::Model) -> Vec<String> {
    let mut told: Vec<String> = Vec::new();
    for row in brief.readings.iter().filter(|row| row.call_id == call.id) {
        let words = reading(row);
        if !told.contains(&words) {
            told.push(words);
        }
    }
    told
}

/// "208 V under load at terminal block, below what was expected".
fn reading(row: &reading::Model) -> String {
    let circuit = match (row.across, row.circuit) {
        (Some(Across::Joint), _) => " across the joint",
        (_, Some(Circuit::Open)) => " without load",
        (_, Some(Circuit::Loaded)) => " under load",
        (_, None) => "",
    };
    let verdict = match row.verdict {
        Verdict::Below => ", below what was expected",
        Verdict::Above => ", above what was expected",
        Verdict::MayBeParallelPath => ", not isolated",
        Verdict::Inside | Verdict::NoBand => "",
    };
    let sign = calls::sign_of(row);
    let value = row.value.0.normalize();
    format!("{value} {sign}{circuit} at {}{verdict}", row.place)
}
