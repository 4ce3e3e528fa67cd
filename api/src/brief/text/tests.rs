//! The text of a real brief, and that it is short enough whatever is in it.

use nameplate_entities::kinds::{Across, CallKind, Circuit, Method, Quantity};
use nameplate_rules::cautions::{Caution, DEFERENCE};
use nameplate_rules::coverage::Ahead;
use nameplate_rules::money::Cents;
use nameplate_rules::readings::Unit;
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};

use super::super::{Brief, load};
use super::{BYTES_MAX, Flagged, causes, labelled, programme, text};
use crate::calls::{RecordReading, ScheduleVisit, record_reading};
use crate::closeout::testing::{Workshop, day};
use crate::coverage::CoverAhead;
use crate::stock;

fn voltage(call_id: i64, value: &str, circuit: Circuit, across: Across) -> RecordReading {
    RecordReading {
        call_id,
        quantity: Quantity::Voltage,
        value: value.parse().expect("volts"),
        unit: Unit::Volt,
        place: "left front terminal".to_owned(),
        isolated: false,
        wire_awg: None,
        insulation_c: None,
        terminals_c: None,
        breaker_amps: None,
        continuous: false,
        circuit: Some(circuit),
        across: Some(across),
        part: None,
        supply_volts: None,
        note: None,
    }
}

/// A burnt terminal that came back twice, looked at on a second visit.
async fn returned(shop: &Workshop) -> Brief {
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let machine = shop.machine(Some("B-1")).await;
    let neighbour = shop.machine(Some("B-2")).await;
    shop.repair(&neighbour, day("2026-01-10"), failure).await;
    shop.repair(&neighbour, day("2026-02-10"), failure).await;
    shop.repair(&machine, day("2026-02-01"), failure).await;
    shop.on(day("2026-02-20"));
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    for on in ["2026-02-20", "2026-02-23"] {
        let visit = ScheduleVisit {
            call_ids: vec![call.id],
            technician_id: shop.technician_id,
            planned_on: day(on),
            window: Some("8 to 10".to_owned()),
            reason: None,
            reason_note: None,
        };
        stock::schedule_visit(&shop.owner(), visit)
            .await
            .expect("a visit");
    }
    let found = shop.find(&call, failure).await;
    shop.mend(&found, Method::ReTerminated, Vec::new()).await;
    for (value, circuit, across) in [
        ("241", Circuit::Open, Across::Supply),
        ("3.2", Circuit::Loaded, Across::Joint),
    ] {
        let read = voltage(call.id, value, circuit, across);
        record_reading(&shop.owner(), read)
            .await
            .expect("a reading");
    }
    let brief = load(shop.app.db.read(), &shop.owner(), call.id).await;
    brief.expect("a brief").expect("the owner sees every call")
}

#[tokio::test]
async fn the_text_says_who_where_and_what_before_what_can_hurt_and_then_what_was_done() {
    let shop = Workshop::open("2026-01-05").await;
    let brief = returned(&shop).await;
    let told = text(&brief);
    let lines: Vec<&str> = told.lines().collect();
    assert!(lines[0].starts_with(&brief.ticket.call.number), "{told}");
    assert!(lines[0].ends_with("2026-02-20, 8 to 10"), "{told}");
    assert_eq!(lines[1], "Ida Fell");
    assert_eq!(lines[3], "Access: key under the mat");
    assert!(
        lines[4].starts_with("Range Hearthline HX-30, serial B-1"),
        "{told}"
    );
    let at = |begins: &str| {
        let found = lines.iter().position(|line| line.starts_with(begins));
        found.unwrap_or_else(|| panic!("{begins} in: {told}"))
    };
    let in_order = [
        at("Says: it does not heat"),
        at("Perhaps a return: 19 days after"),
        at("ACT: Second burnt surface burner terminal"),
        at("CAUTION: Cut the machine off"),
        at("CAUTION: Do not return a circuit to use"),
        at(DEFERENCE),
        at("Points to a bad joint: "),
        at("So far: Surface burner terminal burnt: re-terminated."),
        at("Measured: 3.2 V across the joint at left front terminal."),
        at("2026-02-01 C-000003: Surface burner terminal burnt: replaced; cause: undersized wire."),
        at("We pay for Surface burner terminal (C-000003): labor to"),
        at("Check: Compare load current"),
    ];
    assert!(in_order.is_sorted(), "{told}");
}

#[tokio::test]
async fn what_two_flags_say_alike_is_told_once() {
    let shop = Workshop::open("2026-01-05").await;
    let brief = returned(&shop).await;
    let once: Vec<&Flagged> = brief.flags.iter().collect();
    let lines = causes(&brief, &once);
    assert!(!lines.is_empty());
    let twice: Vec<&Flagged> = once.iter().chain(&once).copied().collect();
    assert_eq!(causes(&brief, &twice), lines);
}

#[test]
fn a_check_that_begins_with_the_word_has_no_label_before_it() {
    let label = |check: &str| labelled(check.to_owned());
    let said = "Check the outlet, cord and supply terminals too.";
    assert_eq!(label(said), said);
    assert_eq!(label("Compare both."), "Check: Compare both.");
    assert_eq!(label("Checks of the maker."), "Check: Checks of the maker.");
}

#[tokio::test]
async fn a_promise_that_is_over_is_not_told_as_if_it_held() {
    let shop = Workshop::open("2026-01-05").await;
    let mut brief = returned(&shop).await;
    let (today, before) = (brief.today, brief.today.pred_opt());
    for row in &mut brief.warranties {
        row.warranty.labour_through = Some(today);
        row.warranty.parts_through = before;
    }
    let told = text(&brief);
    let line = told.lines().find(|line| line.starts_with("We pay for"));
    let line = line.unwrap_or_else(|| panic!("no promise in: {told}"));
    assert!(line.ends_with(&format!(": labor to {today}.")), "{line}");
    for row in &mut brief.warranties {
        row.warranty.labour_through = before;
    }
    assert!(!text(&brief).contains("We pay for"));
}

#[test]
fn a_programme_whose_days_are_not_known_is_told_in_a_whole_sentence() {
    let ahead = Ahead {
        excluded: None,
        segments: Vec::new(),
        is_found: false,
        missing: Vec::new(),
        bring: Vec::new(),
    };
    let cover = CoverAhead {
        programme: "Hearthline five years".to_owned(),
        payer: Some("Hearthline".to_owned()),
        component: None,
        exclusions: Vec::new(),
        deductible: Cents::ZERO,
        told: ahead.clone(),
        on_visit: ahead,
    };
    assert_eq!(programme(&cover), "Hearthline five years may pay.");
}

#[tokio::test]
async fn the_text_is_short_enough_and_cautions_whole_whatever_is_in_the_brief() {
    let shop = Workshop::open("2026-01-05").await;
    let brief = returned(&shop).await;
    let words = || ".{0,900}";
    let kept = proptest::collection::vec(words(), 0..9);
    let all = (words(), words(), words(), kept, 1_usize..40);
    let mut runner = TestRunner::new(Config::with_cases(60));
    let outcome = runner.run(&all, |(name, notes, reason, kept, count)| {
        let mut long = brief.clone();
        long.ticket.customer.name.clone_from(&name);
        long.ticket.call.complaint.clone_from(&notes);
        long.ticket.address.access_notes = Some(notes);
        for row in &mut long.flags {
            row.flag.reason.clone_from(&reason);
            row.flag.cautions_json = serde_json::to_string(&kept).expect("texts");
        }
        long.flags = repeated(&long.flags, count);
        long.history = repeated(&long.history, count);
        long.other_machines = repeated(&long.other_machines, count);
        long.balance = Cents(i64::MAX);
        let told = text(&long);
        prop_assert!(told.len() <= BYTES_MAX);
        let isolate = Caution::IsolateAndProveDead.text();
        let isolate = isolate
            .strip_suffix(DEFERENCE)
            .expect("it defers")
            .trim_end();
        let whole = told.contains(isolate);
        prop_assert!(whole || told.contains("more cautions: see the full brief."));
        prop_assert!(!told.contains("CAUTION: Cut") || whole);
        Ok(())
    });
    outcome.expect("short enough");
}

fn repeated<T: Clone>(rows: &[T], count: usize) -> Vec<T> {
    rows.iter()
        .cycle()
        .take(rows.len() * count)
        .cloned()
        .collect()
}
