//! Which repairs came back, and for how long each was watched.

use chrono::{Datelike, NaiveDate};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;

use super::experience::{Figures, Record, worked_out};
use super::store::{CalledBack, Cost, Promised, Repeated, Span};

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

/// A repair of a component on 1 January under 90 days of free labor.
fn promised(warranty_id: i64, call_id: i64, component_id: i64) -> Promised {
    Promised {
        warranty_id,
        call_id,
        appliance_type_id: 1,
        component_id,
        written_on: day("2026-01-01"),
        labour_through: day("2026-04-01"),
    }
}

fn called_back(earlier_call_id: i64, (call_id, on): (i64, &str), component_id: i64) -> CalledBack {
    CalledBack {
        earlier_call_id,
        call_id,
        opened_on: day(on),
        completed_on: Some(day(on)),
        component_id: Some(component_id),
    }
}

fn figures(record: &Record, through: &str) -> Vec<Figures> {
    let month = Span {
        from: day(through).with_day(1).expect("a first"),
        through: day(through),
    };
    worked_out(record, month).expect("figures")
}

fn record(promised: Vec<Promised>, called_back: Vec<CalledBack>) -> Record {
    Record {
        promised,
        called_back,
        repeated: Vec::new(),
        costs: vec![Cost {
            call_id: 90,
            cents: 6_000,
        }],
    }
}

#[test]
fn a_callback_brings_back_the_component_that_was_found_again() {
    let two = vec![promised(1, 10, 7), promised(2, 10, 8)];
    let found = record(two, vec![called_back(10, (90, "2026-01-06"), 8)]);
    let figures = figures(&found, "2026-01-31");
    let told: Vec<_> = (figures.iter())
        .map(|row| (row.component_id, row.returns, row.open_repairs))
        .collect();
    assert_eq!(told, [(7, 0, 1), (8, 1, 0)]);
}

#[test]
fn a_callback_on_another_component_brings_back_the_first_of_its_call() {
    let two = vec![promised(1, 10, 7), promised(2, 10, 8)];
    let found = record(two, vec![called_back(10, (90, "2026-01-06"), 9)]);
    let returns: Vec<_> = (figures(&found, "2026-01-31").iter())
        .map(|row| row.returns)
        .collect();
    assert_eq!(returns, [1, 0]);
}

#[test]
fn what_comes_back_after_the_promise_is_no_return_under_it() {
    let one = vec![promised(1, 10, 7), promised(2, 11, 7)];
    let found = record(one, vec![called_back(10, (90, "2026-04-02"), 7)]);
    assert!(
        figures(&found, "2026-04-30").is_empty(),
        "nothing is open or new"
    );
    let early = vec![called_back(10, (90, "2026-04-01"), 7)];
    let mut again = vec![promised(1, 10, 7), promised(2, 11, 7)];
    again.push(Promised {
        written_on: day("2026-04-10"),
        labour_through: day("2026-07-09"),
        ..promised(3, 12, 7)
    });
    let found = record(again, early);
    let figures = figures(&found, "2026-04-30");
    let [only] = &figures[..] else {
        panic!("one stratum");
    };
    assert_eq!((only.repairs, only.returns, only.open_repairs), (3, 1, 1));
    assert_eq!(only.mean_cost, Cents(6_000));
    assert_eq!(only.expected_returns, Decimal::new(5, 1));
    assert_eq!((only.amount, only.new_amount), (Cents(3_000), Cents(3_000)));
}

#[test]
fn a_call_brings_back_one_repair_and_a_repair_comes_back_once() {
    let twice = Record {
        repeated: vec![
            Repeated {
                warranty_id: 2,
                call_id: 90,
                opened_on: day("2026-01-20"),
                completed_on: None,
            },
            Repeated {
                warranty_id: 1,
                call_id: 90,
                opened_on: day("2026-01-20"),
                completed_on: None,
            },
        ],
        ..record(
            vec![promised(1, 10, 7), promised(2, 11, 7)],
            vec![called_back(11, (91, "2026-01-25"), 7)],
        )
    };
    let figures = figures(&twice, "2026-01-31");
    let [only] = &figures[..] else {
        panic!("one stratum");
    };
    assert_eq!((only.repairs, only.returns, only.open_repairs), (2, 1, 1));
    assert_eq!(
        only.mean_cost,
        Cents::ZERO,
        "the first return is not done yet"
    );
}
