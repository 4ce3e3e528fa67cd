//! The brief as text for a phone on a poor connection: below 2,000 bytes, who and where first, then what can hurt.
//!
//! What must stay true: a caution stands whole or is counted; the sentence that all of them end with stands once behind the
//! last; the last repair of what came back and the first two checks stand whatever else there is. What a technician may not
//! know is not in the brief, so it is not in here: no costs, no margins.

mod burns;
mod past;

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallState, CallbackState, FlagLevel, Fuel, VisitReason};
use nameplate_entities::{appliance, estimate_revision, service_call, visit};
use nameplate_rules::cautions::{Caution, DEFERENCE};
use nameplate_rules::compact::{Length, Section, compact};
use nameplate_rules::coverage::Covers;
use nameplate_rules::money::Cents;
use nameplate_rules::plural::counted;

use crate::coverage::CoverAhead;
use crate::customers;

use super::dangers;
use super::store::{Brief, Flagged, Offer, Ordered, Promise};
use burns::causes;

/// The longest text.
const BYTES_MAX: usize = 1_999;
/// Earlier calls that are told before who pays, beside the last repair.
const LAST_CALLS: usize = 2;
/// Checks that always stand.
const FIRST_CHECKS: usize = 2;
/// Behind this a flag says which rule was met, which its level tells in short.
const WHY: &str = " Why: ";

/// The brief as text, a line for each thing to know, the most important first.
pub fn text(brief: &Brief) -> String {
    let loud = |row: &&Flagged| row.flag.level == FlagLevel::Act;
    let (act, watch): (Vec<&Flagged>, Vec<&Flagged>) = brief.flags.iter().partition(loud);
    let cautions = cautions(brief, &act);
    let deferring = vec![DEFERENCE.to_owned()];
    let mut sections = vec![
        cut(
            ("line on the visit", "lines on the visit"),
            150,
            place(brief),
        ),
        cut(
            ("line on the machine", "lines on the machine"),
            200,
            machine(brief),
        ),
        kept(1, cut(("flag", "flags"), 260, flags("ACT", &act))),
        kept(cautions.len(), whole(("caution", "cautions"), cautions)),
        kept(1, whole(("sentence", "sentences"), deferring)),
        cut(("recall", "recalls"), 220, recalls(brief)),
        cut(("likely cause", "likely causes"), 220, causes(brief, &act)),
    ];
    sections.extend(work(brief, (act.as_slice(), watch.as_slice())));
    compact(&sections, BYTES_MAX)
}

/// What was done and is to be looked at, then who pays, then what else is there. The last repair of what came back and the
/// first checks always stand.
fn work(brief: &Brief, (act, watch): (&[&Flagged], &[&Flagged])) -> Vec<Section> {
    let loud_first: Vec<&Flagged> = act.iter().chain(watch).copied().collect();
    let past::Past { repairs, others } = past::history(brief, &loud_first);
    let mut recent = others;
    let older = recent.split_off(recent.len().min(LAST_CALLS));
    let mut checks = checks(act);
    let further = checks.split_off(checks.len().min(FIRST_CHECKS));
    let so_far = past::so_far(brief);
    vec![
        kept(1, cut(("last repair", "last repairs"), 220, repairs)),
        kept(FIRST_CHECKS, cut(("check", "checks"), 160, checks)),
        cut(("line on this call", "lines on this call"), 220, so_far),
        cut(("later call", "later calls"), 160, past::later(brief)),
        cut(("part ordered", "parts ordered"), 120, parts(brief)),
        cut(("recent call", "recent calls"), 220, recent),
        cut(("further check", "further checks"), 160, further),
        cut(("warranty line", "warranty lines"), 200, payers(brief)),
        cut(("amount", "amounts"), 140, money(brief)),
        cut(
            ("flag to watch", "flags to watch"),
            200,
            flags("WATCH", watch),
        ),
        cut(("other machine", "other machines"), 140, neighbours(brief)),
        cut(("older call", "older calls"), 160, older),
    ]
}

fn cut(name: (&'static str, &'static str), bytes_max: usize, lines: Vec<String>) -> Section {
    section(name, Length::UpTo(bytes_max), lines)
}

fn whole(name: (&'static str, &'static str), lines: Vec<String>) -> Section {
    section(name, Length::Whole, lines)
}

fn section(
    (one, many): (&'static str, &'static str),
    length: Length,
    lines: Vec<String>,
) -> Section {
    Section {
        one,
        many,
        lines,
        length,
        kept: 0,
    }
}

/// The section with room held free for its first lines.
fn kept(lines: usize, section: Section) -> Section {
    Section {
        kept: lines,
        ..section
    }
}

/// When, who, where, and how to get in.
fn place(brief: &Brief) -> Vec<String> {
    let ticket = &brief.ticket;
    let mut first = vec![ticket.call.number.clone(), state(&ticket.call)];
    let to_come = (brief.visits.iter()).find(|trip| trip.visit.planned_on >= brief.today);
    if let Some(trip) = to_come.or(brief.visits.last()) {
        first.push(trip.visit.planned_on.to_string());
        first.extend(trip.visit.window.clone());
        first.extend(reason(&trip.visit));
    }
    let phone = ticket.customer.phone_e164.as_deref();
    let who = [Some(ticket.customer.name.as_str()), phone];
    let mut lines = vec![
        first.join(", "),
        who.into_iter().flatten().collect::<Vec<_>>().join(", "),
        customers::address_line(&ticket.address),
    ];
    let access = ticket.address.access_notes.as_deref();
    lines.extend(access.map(|notes| format!("Access: {notes}")));
    lines
}

/// Where the call stands.
fn state(call: &service_call::Model) -> String {
    match (call.state, call.completed_on) {
        (CallState::Open, _) => "open".to_owned(),
        (CallState::Completed, Some(day)) => format!("completed {day}"),
        (CallState::Completed, None) => "completed".to_owned(),
        (CallState::Cancelled, _) => "cancelled".to_owned(),
    }
}

/// Why the call needs another visit.
fn reason(visit: &visit::Model) -> Option<String> {
    let words = match visit.reason? {
        VisitReason::PartOrdered => "part was ordered",
        VisitReason::WrongPart => "wrong part last time",
        VisitReason::MoreTime => "more time needed",
        VisitReason::NotHome => "nobody home last time",
        VisitReason::CustomerDecides => "customer was deciding",
        VisitReason::NoAccess => "no access last time",
        VisitReason::SecondPerson => "takes two",
        VisitReason::Other => "again",
    };
    let note = visit.reason_note.as_deref();
    Some(note.map_or_else(|| words.to_owned(), |note| format!("{words}: {note}")))
}

/// The plate, what is said to be wrong, and whether it is a return.
fn machine(brief: &Brief) -> Vec<String> {
    let ticket = &brief.ticket;
    let mut lines = vec![
        plate(&ticket.appliance_type.name, &ticket.appliance),
        format!("Says: {}", ticket.call.complaint),
    ];
    if let (Some(callback), Some(earlier)) = (&ticket.callback, &ticket.earlier) {
        let what = match callback.state {
            CallbackState::Proposed => Some("Perhaps a return"),
            CallbackState::Confirmed => Some("A return"),
            CallbackState::Rejected => None,
        };
        // One that is back on the same day counts as a day old.
        let is_same_day = (earlier.completed_on).is_some_and(|day| day >= ticket.call.opened_on);
        let when = if is_same_day {
            "the same day as".to_owned()
        } else {
            format!("{} after", counted(callback.age_days, "day", "days"))
        };
        let number = &earlier.number;
        lines.extend(what.map(|what| format!("{what}: {when} {number}.")));
    }
    lines
}

fn plate(kind: &str, row: &appliance::Model) -> String {
    let serial = (row.serial.as_ref()).map(|serial| format!("serial {serial}"));
    let tag = || row.shop_tag.as_ref().map(|tag| format!("tag {tag}"));
    let fuel = match row.fuel {
        Fuel::Electric => Some("electric"),
        Fuel::NaturalGas => Some("natural gas"),
        Fuel::LiquidGas => Some("liquid gas"),
        Fuel::None => None,
    };
    let facts = [
        Some(format!("{kind} {} {}", row.make, row.model)),
        serial.or_else(tag),
        row.rated_volts.map(|volts| format!("{volts} V")),
        row.rated_watts.map(|watts| format!("{watts} W")),
        row.rated_amps.map(|amps| format!("{amps} A")),
        fuel.map(str::to_owned),
        row.built_in.then(|| "built in".to_owned()),
        row.made_on.map(|day| format!("made {day}")),
    ];
    facts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn flags(word: &str, rows: &[&Flagged]) -> Vec<String> {
    let line = |row: &&Flagged| {
        let reason = &row.flag.reason;
        let what = reason
            .split_once(WHY)
            .map_or(reason.as_str(), |(what, _)| what);
        format!("{word}: {what}")
    };
    rows.iter().map(line).collect()
}

/// Those of the machine and its dangers, then what the flags kept beside them: in short, without the sentence they all end
/// with.
fn cautions(brief: &Brief, act: &[&Flagged]) -> Vec<String> {
    let own = dangers::cautions(brief);
    let mut lines: Vec<String> = own.iter().map(|own| caution(own.short())).collect();
    for row in act {
        for kept in listed(&row.flag.cautions_json) {
            // What the shop itself wrote stands as it is.
            let line = match Caution::of_text(&kept) {
                Some(known) => caution(known.short()),
                None => caution(kept.strip_suffix(DEFERENCE).unwrap_or(&kept)),
            };
            if !lines.contains(&line) {
                lines.push(line);
            }
        }
    }
    lines
}

fn caution(text: &str) -> String {
    format!("CAUTION: {}", text.trim_end())
}

/// Texts that a flag keeps; what cannot be read back is nothing.
fn listed(json: &str) -> Vec<String> {
    serde_json::from_str(json).unwrap_or_default()
}

fn recalls(brief: &Brief) -> Vec<String> {
    let open = (brief.recalls.iter()).filter(|matched| matched.check.is_none());
    open.map(|matched| {
        let recall = &matched.recall;
        format!(
            "RECALL {}: {} The maker's notice comes first.",
            recall.number, recall.hazard
        )
    })
    .collect()
}

fn checks(act: &[&Flagged]) -> Vec<String> {
    let checks = act
        .iter()
        .flat_map(|row| listed(&row.flag.next_checks_json));
    let mut lines: Vec<String> = Vec::new();
    for check in checks.map(labelled) {
        if !lines.contains(&check) {
            lines.push(check);
        }
    }
    lines
}

/// A check behind its label; one that begins with the word needs none.
fn labelled(check: String) -> String {
    if check.starts_with("Check ") {
        check
    } else {
        format!("Check: {check}")
    }
}

/// What the shop stands behind, then every programme that may pay.
fn payers(brief: &Brief) -> Vec<String> {
    let own = (brief.warranties.iter()).filter_map(|row| promise(row, brief.today));
    let others = (brief.cover.iter()).filter(|cover| cover.payer.is_some() && cover.told.may_pay());
    own.chain(others.map(programme)).collect()
}

/// What of the shop's promise still holds on a day; a half that is over is left out.
fn promise(row: &Promise, today: NaiveDate) -> Option<String> {
    let halves = [
        ("labor", row.warranty.labour_through),
        ("parts", row.warranty.parts_through),
    ];
    let holding: Vec<String> = (halves.into_iter())
        .filter_map(|(what, through)| Some((what, through.filter(|day| *day >= today)?)))
        .map(|(what, day)| format!("{what} to {day}"))
        .collect();
    let (component, call) = (&row.component.name, &row.call.number);
    let said = || format!("We pay for {component} ({call}): {}.", holding.join(", "));
    (!holding.is_empty()).then(said)
}

fn programme(cover: &CoverAhead) -> String {
    let through = [
        (Covers::Parts, "parts"),
        (Covers::Labour, "labor"),
        (Covers::Trip, "trip"),
    ];
    let through = through.map(|(covers, word)| {
        let day = cover.on_visit.through(covers)?;
        Some(format!("{word} to {day}"))
    });
    let mut words: Vec<String> = through.into_iter().flatten().collect();
    if cover.deductible != Cents::ZERO {
        words.push(format!("customer pays the first {}", cover.deductible));
    }
    words.extend(cover.told.bring.iter().map(|what| format!("bring: {what}")));
    if words.is_empty() {
        return format!("{} may pay.", cover.programme);
    }
    format!("{} may pay: {}.", cover.programme, words.join(", "))
}

/// What the customer owes, and was offered.
fn money(brief: &Brief) -> Vec<String> {
    let owes = (brief.balance > Cents::ZERO).then(|| format!("Owes {}.", brief.balance));
    let offers = (brief.estimates).chunk_by(|a, b| a.revision.id == b.revision.id);
    owes.into_iter().chain(offers.filter_map(offer)).collect()
}

fn offer(rows: &[Offer]) -> Option<String> {
    let first = rows.first()?;
    let stands = stands(&first.revision);
    let accepted = first.revision.accepted_option_id;
    let options = rows.iter().filter_map(|row| row.option.as_ref());
    let wanted = options.filter(|option| accepted.is_none_or(|id| id == option.id));
    let options: Vec<String> = wanted
        .map(|option| format!("{} {}", option.title, Cents(option.total_cents)))
        .collect();
    let number = &first.estimate.number;
    Some(format!(
        "Estimate {number} {stands}: {}.",
        options.join("; ")
    ))
}

fn stands(revision: &estimate_revision::Model) -> &'static str {
    if revision.accepted_option_id.is_some() {
        "accepted"
    } else {
        "not answered"
    }
}

fn parts(brief: &Brief) -> Vec<String> {
    let line = |row: &Ordered| {
        let (part, order) = (&row.part, &row.order);
        let here = format!("{} of {} here", order.received_quantity, order.quantity);
        let expected = order.expected_on.filter(|_| order.closed_on.is_none());
        let expected = expected.map_or_else(String::new, |day| format!(", expected {day}"));
        format!(
            "Part {} {}: {here}{expected}.",
            part.number, part.description
        )
    };
    brief.part_orders.iter().map(line).collect()
}

/// Machines with flags before those without.
fn neighbours(brief: &Brief) -> Vec<String> {
    let mut lines: Vec<(usize, String)> = Vec::new();
    for row in &brief.other_machines {
        let its =
            (brief.other_flags.iter()).filter(|flag| flag.flag.appliance_id == row.appliance.id);
        let flags: Vec<String> = its
            .map(|flag| format!("{} {}", flag.component.name, flag.mode.name.to_lowercase()))
            .collect();
        let (make, model) = (&row.appliance.make, &row.appliance.model);
        let named = format!("Also here: {} {make} {model}", row.appliance_type.name);
        if flags.is_empty() {
            lines.push((0, format!("{named}.")));
        } else {
            lines.push((
                flags.len(),
                format!("{named}, came back: {}.", flags.join(", ")),
            ));
        }
    }
    lines.sort_by_key(|(flags, _)| std::cmp::Reverse(*flags));
    lines.into_iter().map(|(_, line)| line).collect()
}

#[cfg(test)]
mod tests;
