//! Deciding who pays: an ordinary call, and the dearest one that the limits let through.
//!
//! `cargo bench -p nameplate-rules`; figures are in DEVELOPERS.md.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use divan::{Bencher, black_box};
use nameplate_rules::coverage::{
    Case, Covers, Finding, Line, PROGRAMMES_MAX, Pays, Programme, Rank, Registration, RestBearer,
    Segment, StartEvent, Starts, decide,
};
use nameplate_rules::dates::Term;
use nameplate_rules::money::Cents;
use nameplate_rules::percent::Percent;
use rust_decimal::Decimal;

const LINES: usize = 50;

fn main() {
    divan::main();
}

fn bought() -> NaiveDate {
    "2026-01-05".parse().expect("a day")
}

fn percent(whole: i64) -> Percent {
    Percent::new(Decimal::from(whole)).expect("a percent")
}

fn segment(pays: i64, at_most: Option<i64>) -> Segment {
    Segment {
        covers: BTreeSet::from([Covers::Parts, Covers::Labour, Covers::Trip]),
        component_class: None,
        start: StartEvent::Purchase,
        after: None,
        through: Term::Months(12),
        pays: Pays {
            percent: percent(pays),
            at_most: at_most.map(Cents),
            flat_labour: None,
        },
    }
}

fn registration(segments: Vec<Segment>) -> Registration {
    Registration {
        programme: Programme {
            name: "Benchmark".to_owned(),
            rank: Rank::ApplianceMaker,
            segments,
            exclusions: BTreeSet::new(),
            evidence: BTreeSet::new(),
            deductible: Cents(2_500),
            labour_rate: Some(Cents(8_500)),
            distance_rate: None,
            out_of_use: None,
            failed_repair_days: None,
            rest_borne_by: RestBearer::Customer,
        },
        starts: Starts {
            purchase: Some(bought()),
            ..Starts::default()
        },
        component: None,
        lapsed_on: None,
        out_of_use: Vec::new(),
        repairs: Vec::new(),
        same_as: None,
    }
}

fn case() -> Case {
    Case {
        failed_on: "2026-06-01".parse().expect("a day"),
        finding: Some(Finding {
            component: "bake_element".to_owned(),
            component_class: Some("heating_circuit".to_owned()),
            failure: "open".to_owned(),
        }),
        also_found: Vec::new(),
        is_finding_named: false,
        circumstances: BTreeSet::new(),
        unsettled: BTreeSet::new(),
        evidence: BTreeSet::new(),
    }
}

fn lines(count: usize) -> Vec<Line> {
    let covers = [Covers::Parts, Covers::Labour, Covers::Trip];
    (0..count)
        .zip(covers.into_iter().cycle())
        .map(|(_, covers)| Line {
            covers: Some(covers),
            amount: Cents(12_345),
            hours: Some(Decimal::ONE),
            distance: None,
        })
        .collect()
}

/// The shop's own promise, a maker and a contract; five lines.
#[divan::bench]
fn an_ordinary_call(bencher: Bencher) {
    let held = vec![registration(vec![segment(100, None)]); 3];
    let (case, lines) = (case(), lines(5));
    bencher.bench(|| decide(black_box(&case), black_box(&lines), black_box(&held)));
}

/// As many programmes as a machine may hold, each with as many capped segments, all in force; fifty lines.
#[divan::bench(args = [1, 3, 9], sample_count = 5, sample_size = 1)]
fn all_programmes_with_capped_segments(bencher: Bencher, capped: i64) {
    let segments = (1..=capped).map(|at| segment(100 - at, Some(20_000 + at)));
    let held = registration(segments.chain([segment(40, None)]).collect());
    let held = vec![held; PROGRAMMES_MAX];
    let (case, lines) = (case(), lines(LINES));
    bencher.bench(|| decide(black_box(&case), black_box(&lines), black_box(&held)));
}
