//! What the readings say of a burnt joint, each with the day on which it was measured.

use nameplate_entities::service_call;
use nameplate_rules::readings::joint::{Cause, Speaks};

use super::super::dangers;
use super::super::store::{Brief, Flagged};
use super::past;

/// What speaks for a cause of a burnt joint, or that the readings do not fit together. Two joints that were found on one
/// call share its readings: a line is said once.
pub fn causes(brief: &Brief, act: &[&Flagged]) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for row in act {
        for line in of_flag(brief, row) {
            if !lines.contains(&line) {
                lines.push(line);
            }
        }
    }
    lines
}

fn of_flag(brief: &Brief, row: &Flagged) -> Vec<String> {
    let Some(examined) = dangers::joint(brief, row) else {
        return Vec::new();
    };
    let report = match &examined.report {
        Ok(report) => report,
        Err(refusal) => {
            let when = when(brief, "by readings of", &examined.calls());
            return vec![format!(
                "The readings of the burnt joint{when} do not fit together: {refusal}."
            )];
        }
    };
    let bearings = report.bearings.iter();
    let speaking = bearings.filter(|bearing| bearing.speaks == Speaks::For);
    let said = speaking.map(|bearing| {
        let cause = match bearing.cause {
            Cause::LooseJoint => "a bad joint",
            Cause::UndersizedConductor => "a small wire",
            Cause::Overload => "an overload",
            Cause::HighSupply => "a high supply",
            Cause::BlockedAirflow => "blocked air",
        };
        let when = match bearing.cause {
            Cause::BlockedAirflow => when(brief, "by what was found on", &[row.flag.call_id]),
            of_readings => when(brief, "by readings of", &examined.calls_of(of_readings)),
        };
        format!("Points to {cause}{when}: {}", bearing.why)
    });
    said.collect()
}

/// On which other calls it was measured, as the joint may have been repaired since; nothing where it was all on this one.
fn when(brief: &Brief, by: &str, call_ids: &[i64]) -> String {
    let own = brief.ticket.call.id;
    let others: Vec<String> = (call_ids.iter().filter(|id| **id != own))
        .map(|id| named(brief, *id))
        .collect();
    if others.is_empty() {
        return String::new();
    }
    let partly = if call_ids.contains(&own) {
        "partly "
    } else {
        ""
    };
    format!(", {partly}{by} {}", others.join(" and "))
}

/// "2025-11-03 (C-000128)".
fn named(brief: &Brief, call_id: i64) -> String {
    let mut calls = brief.history.iter().chain(&brief.later);
    let told = |call: &service_call::Model| format!("{} ({})", past::day_of(call), call.number);
    let call = calls.find(|call| call.id == call_id);
    call.map_or_else(|| "another call".to_owned(), told)
}
