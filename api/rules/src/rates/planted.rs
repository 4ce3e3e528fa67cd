//! A made-up shop with planted faults: one technician's splices, one batch of pumps, one machine that fails again and
//! again. The generator gives the same rows in any language. What a correct analysis must find in it is in
//! [`conclusions`], how often it does in other shops made alike in [`power`].

mod conclusions;
mod power;

use super::Share;
use super::early_warning::Cell;
use super::expected::{Compared, Exposure, Record, Stratum};
use super::judge::{Judged, judge};
use super::survival::{Counts, Observed};
use super::testing::whole;

/// Pseudo-random numbers that anyone can make again.
///
/// # Source
/// SplitMix64: Steele, Lea and Flood, OOPSLA 2014; constants as in the public-domain code of Vigna.
pub struct SplitMix64 {
    state: u64,
}

impl SplitMix64 {
    pub fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = self.state;
        let z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// From 0 to below 1.
    pub fn unit(&mut self) -> f64 {
        let bits = self.bits() >> 11;
        let half = |bits: u64| f64::from(u32::try_from(bits & 0xFFFF_FFFF).expect("32 bits"));
        (half(bits >> 32) * 2.0_f64.powi(32) + half(bits)) * 2.0_f64.powi(-53)
    }
}

/// As of this day is counted.
const AS_OF: u32 = 730;
const WINDOW: u32 = 90;

const TECHNICIANS: [&str; 7] = ["T1", "T2", "T3", "T4", "T5", "T6", "T7"];

/// Kind of machine, component, failure, and the chance of a return.
const WORK: [(&str, &str, &str, f64); 6] = [
    ("dishwasher", "circulation pump", "leaking", 0.03),
    ("dryer", "heating element", "open circuit", 0.04),
    ("oven", "bake element terminal", "burnt terminal", 0.11),
    ("washer", "drain pump", "seized", 0.04),
    ("refrigerator", "defrost heater", "open circuit", 0.03),
    ("range", "surface burner terminal", "burnt terminal", 0.11),
];
const OVEN: usize = 2;
const WASHER: usize = 3;
const SPLICE: &str = "splice";
const BLOCK: &str = "replace terminal block";

#[derive(Clone, Debug)]
struct Job {
    name: String,
    day: u32,
    technician: &'static str,
    appliance: String,
    /// Place in [`WORK`].
    work: usize,
    method: &'static str,
    batch: &'static str,
    returned_after_days: Option<u32>,
}

/// Whether faults are planted or every repair returns as its work does.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Faults {
    Planted,
    None,
}

/// The first place whose running sum of weights exceeds a number below 1.
fn pick(weights: &[f64], unit: f64) -> usize {
    let mut sum = 0.0;
    let place = weights.iter().position(|weight| {
        sum += weight;
        sum > unit
    });
    place.unwrap_or(weights.len() - 1)
}

fn batch(work: usize, day: u32) -> &'static str {
    match day {
        _ if work != WASHER => "",
        0..150 => "B1",
        150..300 => "B2",
        300..420 => "B3",
        _ => "B4",
    }
}

fn job(number: u32, random: &mut SplitMix64, faults: Faults) -> Job {
    let [u1, u2, u3, u4, u5] = [(); 5].map(|()| random.unit());
    let day = number * AS_OF / 1200;
    let first = TECHNICIANS[pick(&[0.24, 0.22, 0.20, 0.18, 0.10, 0.06], u1)];
    let weights = match first {
        "T4" => [0.05, 0.07, 0.38, 0.08, 0.07, 0.35],
        _ => [0.18, 0.20, 0.17, 0.17, 0.13, 0.15],
    };
    let work = pick(&weights, u2);
    let technician = if [17, 317, 617, 917].contains(&number) {
        "T7"
    } else {
        first
    };
    let (_, _, failure, chance) = WORK[work];
    let splices = if technician == "T3" { 0.85 } else { 0.30 };
    let method = match failure {
        "burnt terminal" if u3 < splices => SPLICE,
        "burnt terminal" => BLOCK,
        _ => "replace part",
    };
    let batch = batch(work, day);
    let times = match (batch, technician, method) {
        _ if faults == Faults::None => 1,
        ("B3", ..) => 12,
        (_, "T3", SPLICE) => 4,
        _ => 1,
    };
    let after = if batch == "B3" && faults == Faults::Planted {
        25.0 * u5
    } else {
        90.0 * u5.powf(1.5)
    };
    let after = 1 + u32::try_from(whole(after.floor())).expect("a day");
    let returned_after_days = match number {
        17 if faults == Faults::Planted => Some(12),
        _ if technician == "T7" && faults == Faults::Planted => None,
        _ => (u4 < 1.0 - (1.0 - chance).powi(times)).then_some(after),
    };
    Job {
        name: format!("J{:04}", number + 1),
        day,
        technician,
        appliance: format!("A{:04}", number + 1),
        work,
        method,
        batch,
        returned_after_days: returned_after_days.filter(|after| day + after <= AS_OF),
    }
}

/// The repairs of a shop, by day.
fn shop(seed: u64, faults: Faults) -> Vec<Job> {
    let mut random = SplitMix64::new(seed);
    let mut jobs: Vec<Job> = (0..1200)
        .map(|number| job(number, &mut random, faults))
        .collect();
    for (number, day, technician) in [(1, 100, "T1"), (2, 300, "T2"), (3, 520, "T1")] {
        jobs.push(Job {
            name: format!("P{number:04}"),
            day,
            technician,
            appliance: "A9001".to_owned(),
            work: OVEN,
            method: BLOCK,
            batch: "",
            returned_after_days: None,
        });
    }
    jobs.sort_by_key(|job| job.day);
    jobs
}

fn made_up_shop() -> Vec<Job> {
    shop(20_240_117, Faults::Planted)
}

impl Job {
    fn row(&self) -> String {
        let (appliance_type, component, failure, _) = WORK[self.work];
        let part = if self.work == WASHER { "PN-D14" } else { "" };
        let after = self
            .returned_after_days
            .map(|days| days.to_string())
            .unwrap_or_default();
        [
            &self.name,
            &self.day.to_string(),
            self.technician,
            &self.appliance,
            appliance_type,
            component,
            failure,
            self.method,
            part,
            self.batch,
            &after,
        ]
        .join(",")
    }

    fn exposure(&self) -> Exposure {
        let observed = Observed {
            followed_days: AS_OF - self.day,
            returned_after_days: self.returned_after_days,
            repairs: 1,
        };
        Exposure {
            stratum: self.work,
            observed,
        }
    }
}

fn exposures(jobs: &[Job], of: impl Fn(&Job) -> bool) -> Vec<Exposure> {
    jobs.iter()
        .filter(|job| of(job))
        .map(Job::exposure)
        .collect()
}

fn strata() -> Vec<Stratum> {
    let stratum = |(appliance_type, component, ..): (&str, &str, &str, f64)| Stratum {
        appliance_type: appliance_type.to_owned(),
        component: component.to_owned(),
    };
    WORK.map(stratum).to_vec()
}
fn counts(repairs: &[Exposure]) -> Counts {
    Counts::of(repairs.iter().map(|one| one.observed), WINDOW)
}

fn share(repairs: &[Exposure]) -> Share {
    let counts = counts(repairs);
    Share {
        returned: counts.returned,
        repairs: counts.repairs,
    }
}

fn technicians(jobs: &[Job]) -> Judged {
    let groups = TECHNICIANS.map(|name| exposures(jobs, |job| job.technician == name));
    judge(&exposures(jobs, |_| true), &groups, &strata(), WINDOW)
}

/// Splices of one technician, and of all others.
fn splices(jobs: &[Job], technician: &str) -> [Vec<Exposure>; 2] {
    [true, false].map(|own| {
        exposures(jobs, |job| {
            job.method == SPLICE && (job.technician == technician) == own
        })
    })
}

/// One batch against the other batches of the pump.
fn batch_cell(jobs: &[Job], batch: &str) -> (Compared, Cell) {
    let pumps = Record::of(
        &exposures(jobs, |job| job.work == WASHER),
        &strata(),
        WINDOW,
    );
    let compared = pumps.compare(&exposures(jobs, |job| job.batch == batch));
    // Each pump is in a machine of its own.
    let observed = compared.returned;
    (
        compared,
        Cell {
            observed,
            machines: observed,
            expected: compared.expected_by_rest,
        },
    )
}

#[test]
fn the_generator_gives_the_numbers_published_for_it() {
    let mut random = SplitMix64::new(1_234_567);
    let published = [
        6_457_827_717_110_365_317,
        3_203_168_211_198_807_973,
        9_817_491_932_198_370_423,
    ];
    assert_eq!([(); 3].map(|()| random.bits()), published);
}

#[test]
fn the_generator_gives_the_made_up_shop_of_the_worked_cases() {
    let text = include_str!("../../../../fixtures/worked/made-up-shop.csv");
    let rows: Vec<String> = made_up_shop().iter().map(Job::row).collect();
    assert_eq!(rows, text.lines().skip(1).collect::<Vec<_>>());
    assert_eq!(rows.len(), 1_203);
}
