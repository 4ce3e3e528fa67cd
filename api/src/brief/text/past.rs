//! What was found, measured, done and fitted, in a line a call.

use nameplate_entities::kinds::{Across, Circuit, Method, Verdict};
use nameplate_entities::{reading, service_call};

use crate::calls;

use super::super::store::{Brief, Done, Found};

/// What was found and measured on the call itself, on a visit before.
pub fn so_far(brief: &Brief) -> Vec<String> {
    let call = &brief.ticket.call;
    let found = findings(brief, call).map(|words| format!("So far: {words}."));
    let read = readings(brief, call).map(|words| format!("Measured: {words}."));
    found.chain(read).collect()
}

/// Earlier calls, the newest first.
pub fn history(brief: &Brief) -> Vec<String> {
    let line = |call: &service_call::Model| {
        let day = call.completed_on.unwrap_or(call.opened_on);
        let odd = readings(brief, call);
        let mut words: Vec<String> = findings(brief, call).chain(odd).collect();
        if words.is_empty() {
            words.push(call.complaint.clone());
        }
        let cause = call.root_cause.as_ref();
        words.extend(cause.map(|cause| format!("cause: {}", cause.trim_end_matches('.'))));
        format!("{day} {}: {}.", call.number, words.join("; "))
    };
    brief.history.iter().map(line).collect()
}

fn findings<'b>(
    brief: &'b Brief,
    call: &service_call::Model,
) -> impl Iterator<Item = String> + use<'b> {
    let call_id = call.id;
    let of_call = (brief.findings.iter()).filter(move |row| row.finding.call_id == call_id);
    of_call.map(|row| finding(row, &brief.remedies))
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
        let fitted = done.used.as_ref().zip(done.part.as_ref());
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

fn readings<'b>(
    brief: &'b Brief,
    call: &service_call::Model,
) -> impl Iterator<Item = String> + use<'b> {
    let call_id = call.id;
    let of_call = brief
        .readings
        .iter()
        .filter(move |row| row.call_id == call_id);
    of_call.map(reading)
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
    format!("{} {sign}{circuit} at {}{verdict}", row.value, row.place)
}
