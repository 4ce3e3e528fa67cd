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
        at("2026-02-01 C-000003: Surface burner terminal burnt: replaced; cause: undersized wire."),
        at("Check: Compare load current"),
        at("Check: With the machine isolated"),
        at("So far: Surface burner terminal burnt: re-terminated."),
        at("Measured: 3.2 V across the joint at left front terminal."),
        at("We pay for Surface burner terminal (C-000003): labor to"),
    ];
    assert!(in_order.is_sorted(), "{told}");
}

#[tokio::test]
async fn what_was_measured_before_the_last_repair_is_told_with_its_day() {
    let shop = Workshop::open("2026-01-05").await;
    let mut brief = returned(&shop).await;
    let [measured, earlier] = [brief.ticket.call.id, brief.history[0].id];
    for row in &mut brief.readings {
        row.call_id = earlier;
    }
    let told = text(&brief);
    let says =
        "\nPoints to a bad joint, by readings of 2026-02-01 (C-000003): The joint loses 3.2 V";
    assert!(told.contains(says), "{told}");
    assert!(!told.contains("\nMeasured: "), "{told}");
    brief.readings[0].call_id = measured;
    brief.readings[0].circuit = Some(Circuit::Loaded);
    brief.readings[0].value = "2".parse().expect("volts");
    brief.readings[0].across = Some(Across::Joint);
    let told = text(&brief);
    let says = "\nPoints to a bad joint: The joint loses 2 V";
    assert!(told.contains(says), "{told}");
}

#[tokio::test]
async fn readings_that_do_not_fit_together_are_said_to() {
    let shop = Workshop::open("2026-01-05").await;
    let mut brief = returned(&shop).await;
    brief.readings[0].value = "2".parse().expect("volts");
    let told = text(&brief);
    let says =
        "\nThe readings of the burnt joint do not fit together: the drop over the joint (3.2 V)";
    assert!(told.contains(says), "{told}");
}

#[tokio::test]
async fn equal_measurements_and_a_part_taken_back_are_no_lines_of_their_own() {
    let shop = Workshop::open("2026-01-05").await;
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let machine = shop.machine(Some("B-1")).await;
    let part = shop.part(Cents(1_200)).await;
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    let found = shop.find(&call, failure).await;
    shop.mend(&found, Method::Replaced, vec![part.id]).await;
    for value in ["3.2", "3.20", "3.2"] {
        let read = voltage(call.id, value, Circuit::Loaded, Across::Joint);
        let read = record_reading(&shop.owner(), read).await;
        read.expect("a reading");
    }
    let brief = load(shop.app.db.read(), &shop.owner(), call.id).await;
    let mut brief = brief.expect("a brief").expect("the owner sees it");
    let told = text(&brief);
    let fitted = format!("burnt: replaced, 1 {}.", part.number);
    assert!(told.contains(&fitted), "{told}");
    assert_eq!(told.matches("Measured: 3.2 V").count(), 1, "{told}");
    for done in &mut brief.remedies {
        let used = done.used.as_mut().expect("a part");
        used.quantity = "0".parse().expect("nothing");
    }
    let told = text(&brief);
    assert!(told.contains("terminal burnt: replaced."), "{told}");
}

#[tokio::test]
async fn a_return_on_the_same_day_says_so_and_a_call_taken_later_is_not_an_earlier_one() {
    let shop = Workshop::open("2026-01-05").await;
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let machine = shop.machine(Some("B-1")).await;
    let (first, _) = shop.repair(&machine, day("2026-02-01"), failure).await;
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    let of = async |call_id: i64| {
        let brief = load(shop.app.db.read(), &shop.owner(), call_id).await;
        brief.expect("a brief").expect("the owner sees every call")
    };
    let told = text(&of(call.id).await);
    let says = format!("Perhaps a return: the same day as {}.", first.number);
    assert!(told.contains(&says), "{told}");
    assert!(
        told.starts_with(&format!("{}, open", call.number)),
        "{told}"
    );
    let brief = of(first.id).await;
    assert_eq!((brief.history.len(), brief.later.len()), (0, 1));
    let told = text(&brief);
    let begins = format!("{}, completed 2026-02-01", first.number);
    assert!(told.starts_with(&begins), "{told}");
    let says = format!(
        "\nSince then: 2026-02-01 {}: it does not heat.",
        call.number
    );
    assert!(told.contains(&says), "{told}");
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
        let always = [
            Caution::IsolateAndProveDead.short(),
            DEFERENCE,
            "2026-02-01 C-000003: Surface burner terminal burnt: replaced; cause: undersized wire.",
            "Check: Compare load current",
            "Check: With the machine isolated",
        ];
        for line in always {
            prop_assert!(told.contains(line), "{line} in: {told}");
        }
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
