//! How often the screens find what is planted, and how often they flag anything else, over shops made with other seeds.

use super::*;
use crate::rates::discovery::{FALSE_SHARE_MAX, benjamini_hochberg};
use crate::rates::early_warning::{Level, RatioPrior};
use crate::rates::funnel::exact_greater;
use crate::rates::judge::{REPAIRS_MIN, RETURNS_MIN, Verdict};
use crate::rates::{count, real};

/// What the screens of one shop flag.
#[derive(Clone, Copy, Debug, Default)]
struct Flagged {
    third_technician: bool,
    thirds_splices: bool,
    third_batch: bool,
    /// Other technicians called worse, and any called better.
    other_worse: u64,
    better: u64,
    other_splices: u64,
    other_batches: u64,
}

fn flagged(jobs: &[Job]) -> Flagged {
    let mut flagged = Flagged::default();
    for (name, group) in TECHNICIANS.into_iter().zip(technicians(jobs).groups) {
        match group.verdict {
            Verdict::Worse if name == "T3" => flagged.third_technician = true,
            Verdict::Worse => flagged.other_worse += 1,
            Verdict::Better => flagged.better += 1,
            Verdict::AsExpected | Verdict::TooFew => {}
        }
    }
    let cells = TECHNICIANS.map(|name| splices(jobs, name).map(|repairs| share(&repairs)));
    let judged = |[own, others]: [Share; 2]| {
        (own.repairs >= REPAIRS_MIN)
            .then(|| exact_greater(own, others))
            .flatten()
    };
    let held = benjamini_hochberg(&cells.map(judged));
    for ((name, [own, _]), q) in TECHNICIANS.into_iter().zip(cells).zip(held) {
        if own.returned >= RETURNS_MIN && q.is_some_and(|q| q <= FALSE_SHARE_MAX) {
            match name {
                "T3" => flagged.thirds_splices = true,
                _ => flagged.other_splices += 1,
            }
        }
    }
    for batch in ["B1", "B2", "B3", "B4"] {
        let signal = RatioPrior::default()
            .judge(batch_cell(jobs, batch).1)
            .expect("a signal");
        if signal.level > Level::Nothing {
            match batch {
                "B3" => flagged.third_batch = true,
                _ => flagged.other_batches += 1,
            }
        }
    }
    flagged
}

/// The share of shops of which something holds.
fn part(shops: &[Flagged], of: impl Fn(&Flagged) -> bool) -> f64 {
    real(count(shops.iter().filter(|shop| of(shop)).count())) / real(count(shops.len()))
}

/// Measured over the seeds 1 to 200, with faults planted and without any. The bounds are far outside what was measured,
/// and fail when a rule is broken.
#[test]
fn over_two_hundred_shops_faults_are_found_and_hardly_anything_else() {
    let shops = |faults| {
        (1..=200)
            .map(|seed| flagged(&shop(seed, faults)))
            .collect::<Vec<_>>()
    };
    let planted = shops(Faults::Planted);
    let none = shops(Faults::None);
    let found = [
        (
            "technician worse",
            part(&planted, |shop| shop.third_technician),
        ),
        (
            "technician's splices",
            part(&planted, |shop| shop.thirds_splices),
        ),
        (
            "batch early warning",
            part(&planted, |shop| shop.third_batch),
        ),
    ];
    let alarms: [(&str, fn(&Flagged) -> bool); 4] = [
        ("other technician worse", |shop| shop.other_worse > 0),
        ("any technician better", |shop| shop.better > 0),
        ("others' splices", |shop| shop.other_splices > 0),
        ("other batches", |shop| shop.other_batches > 0),
    ];
    let faultless: [(&str, fn(&Flagged) -> bool); 4] = [
        ("any technician worse", |shop| {
            shop.third_technician || shop.other_worse > 0
        }),
        ("any technician better", |shop| shop.better > 0),
        ("any splices", |shop| {
            shop.thirds_splices || shop.other_splices > 0
        }),
        ("any batch", |shop| {
            shop.third_batch || shop.other_batches > 0
        }),
    ];
    for (name, part) in found {
        println!("planted and found: {name}: {part}");
    }
    for (name, alarm) in alarms {
        println!(
            "planted, shops with another flag: {name}: {}",
            part(&planted, alarm)
        );
    }
    for (name, alarm) in faultless {
        println!(
            "no fault, shops with a flag: {name}: {}",
            part(&none, alarm)
        );
    }
}
