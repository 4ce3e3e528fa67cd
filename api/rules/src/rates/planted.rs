//! A made-up shop with planted faults, and what a correct analysis must find in it: one technician's splices, one batch of
//! pumps, one machine that fails again and again, and nobody else. The generator gives the same rows in any language.

use super::early_warning::{Cell, Level, RatioPrior};
use super::expected::{Compared, Exposure, Record, Stratum};
use super::funnel::exact_greater;
use super::judge::{Judged, RETURNS_MIN, Verdict, judge};
use super::survival::{CallbackRate, Counts, Observed, callback_rate};
use super::testing::{limits, near, whole, within};
use super::{Share, discovery, real};
use crate::dates::days_after;
use crate::flags::{
    EarlierRepair, FlagLevel, FlagLimits, FlagReason, Hazard, Identity, RepeatQuestion, repeat_flag,
};

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

fn rate(repairs: &[Exposure], window_days: u32) -> CallbackRate {
    callback_rate(repairs.iter().map(|one| one.observed), window_days).expect("a rate")
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

/// R package survival 3.5-3 and Python. Within a millionth.
#[test]
fn recent_repairs_make_the_plain_share_too_low() {
    let jobs = made_up_shop();
    let all = exposures(&jobs, |_| true);
    let seen = counts(&all);
    assert_eq!((seen.returned, seen.open), (104, 134));
    near(seen.naive().expect("a share"), 0.086_450_540_32);
    assert_eq!(
        seen.followed,
        Share {
            returned: 92,
            repairs: 1_057
        }
    );
    near(seen.followed.value().expect("a share"), 0.087_038_789_03);
    let month = rate(&all, 30);
    near(month.value, 0.042_944_380_42);
    limits(month.log_log, 0.032_805_862_39, 0.056_124_063_55);
    let whole_window = rate(&all, WINDOW);
    near(whole_window.value, 0.090_693_035_85);
    near(whole_window.std_error, 0.008_495_920_734);
    limits(whole_window.log_log, 0.075_419_990_98, 0.108_872_365_4);

    let recent = exposures(&jobs, |job| job.day > 550);
    let seen = counts(&recent);
    assert_eq!(
        (seen.repairs, seen.followed),
        (
            294,
            Share {
                returned: 10,
                repairs: 148
            }
        )
    );
    near(seen.naive().expect("a share"), 0.074_829_931_97);
    near(seen.followed.value().expect("a share"), 0.067_567_567_57);
    let recent = rate(&recent, WINDOW);
    near(recent.value, 0.090_101_374_75);
    limits(recent.log_log, 0.059_685_233_03, 0.134_867_264_2);
}

/// Returned and expected by technician: R package survival 3.5-3, null `coxph(ties = "breslow")`, and Python. Within a
/// millionth.
#[test]
fn one_technician_stands_out_and_one_with_hard_work_is_better_than_expected() {
    let judged = technicians(&made_up_shop());
    let computed = [
        (24, 24.799_546_04),
        (22, 20.276_351_60),
        (34, 19.144_725_62),
        (15, 25.030_439_09),
        (6, 9.422_214_372),
        (2, 4.965_381_951),
    ];
    for (group, (returned, expected)) in judged.groups.iter().zip(computed) {
        assert_eq!(group.compared.returned, returned);
        near(group.compared.expected, expected);
    }
    near(
        judged
            .groups
            .iter()
            .map(|group| group.compared.expected)
            .sum(),
        104.0,
    );
    let third = &judged.groups[2];
    let ratio = third.ratio.expect("a ratio");
    near(ratio.value, 1.775_946_058);
    limits(Some(ratio.limits), 1.229_894_272, 2.481_706_608);
    let claim = third.worse.expect("a claim");
    near(claim.chance, 0.001_362_445);
    near(claim.held, 0.008_174_673);
    near(third.compared.expected_by_rest, 16.536_147_15);
    near(third.ratio_to_rest.expect("a ratio").value, 2.056_101_683);
    let fourth = &judged.groups[3];
    near(fourth.ratio.expect("a ratio").value, 0.599_270_350_1);
    near(fourth.ratio.expect("a ratio").limits.high, 0.988_405_308_3);
    within(fourth.counts.naive().expect("a share"), 0.0785, 1e-3);
    let seventh = &judged.groups[6];
    assert_eq!(
        (
            seventh.counts.returned,
            seventh.counts.repairs,
            seventh.worse
        ),
        (1, 4, None)
    );
    let verdicts: Vec<_> = judged.groups.iter().map(|group| group.verdict).collect();
    let as_expected = Verdict::AsExpected;
    assert_eq!(
        verdicts,
        [
            as_expected,
            as_expected,
            Verdict::Worse,
            Verdict::Better,
            as_expected,
            as_expected,
            Verdict::TooFew
        ]
    );
}

/// Fisher's exact test by scipy 1.17.1 and R 4.2.2, the rest by Python. Within a millionth.
#[test]
fn the_reason_is_that_technicians_splices_and_not_splices() {
    let jobs = made_up_shop();
    let [own, others] = splices(&jobs, "T3");
    assert_eq!(
        share(&own),
        Share {
            returned: 25,
            repairs: 65
        }
    );
    assert_eq!(
        share(&others),
        Share {
            returned: 10,
            repairs: 110
        }
    );
    near(rate(&own, WINDOW).value, 0.398_948);
    near(
        exact_greater(share(&own), share(&others)).expect("a tail"),
        4.438_647_843e-6,
    );
    let record = Record::of(&[own.as_slice(), &others].concat(), &strata(), WINDOW);
    near(
        record.compare(&own).ratio_to_rest().expect("a ratio").value,
        4.942_382_433,
    );
    let blocks = exposures(&jobs, |job| job.technician == "T3" && job.method == BLOCK);
    assert_eq!(
        share(&blocks),
        Share {
            returned: 0,
            repairs: 10
        }
    );
    assert_eq!(
        share(&own).and(share(&others)),
        Share {
            returned: 35,
            repairs: 175
        }
    );
}

/// scipy 1.17.1. Within a millionth, or a thousandth where three digits are printed.
#[test]
fn one_batch_of_pumps_gives_an_early_warning_and_the_others_none() {
    let jobs = made_up_shop();
    let bad = exposures(&jobs, |job| job.batch == "B3");
    let other = exposures(&jobs, |job| job.work == WASHER && job.batch != "B3");
    assert_eq!(
        share(&bad),
        Share {
            returned: 7,
            repairs: 24
        }
    );
    assert_eq!(
        share(&other),
        Share {
            returned: 9,
            repairs: 147
        }
    );
    near(rate(&bad, WINDOW).value, 0.291_666_666_7);
    near(rate(&bad, 30).value, 0.291_666_666_7);
    let (compared, cell) = batch_cell(&jobs, "B3");
    near(cell.expected, 1.249_501);
    near(compared.ratio_to_rest().expect("a ratio").value, 5.602_236);
    let signal = RatioPrior::default().judge(cell).expect("a signal");
    near(signal.middle, 2.617_291_53);
    near(signal.low, 1.444_907_22);
    assert_eq!(signal.level, Level::Amber);
    for (batch, printed) in [("B1", 0.704), ("B2", 0.238), ("B4", 0.070)] {
        let signal = RatioPrior::default()
            .judge(batch_cell(&jobs, batch).1)
            .expect("a signal");
        assert!(
            (signal.low - printed).abs() < 5.1e-4,
            "{batch} {}",
            signal.low
        );
        assert_eq!(signal.level, Level::Nothing);
    }
}

/// The third time in 420 days, and no visit within 90 days of another: no callback rate can see it.
#[test]
fn a_machine_that_fails_again_and_again_is_seen_by_the_rule_alone() {
    let jobs = made_up_shop();
    let start = "2024-01-01".parse().expect("a day");
    let on = |job: &Job| days_after(start, i64::from(job.day)).expect("a day");
    let mut repeated: Vec<&str> = jobs.iter().map(|job| job.appliance.as_str()).collect();
    repeated.sort_unstable();
    let more = repeated
        .chunk_by(|one, next| one == next)
        .filter(|same| same.len() > 1);
    assert_eq!(more.map(|same| same[0]).collect::<Vec<_>>(), ["A9001"]);
    let visits: Vec<_> = jobs
        .iter()
        .filter(|job| job.appliance == "A9001")
        .map(on)
        .collect();
    let earlier = |visits: &[chrono::NaiveDate]| {
        let repaired = |on: &chrono::NaiveDate| EarlierRepair {
            completed_on: *on,
            workmanship_through: None,
        };
        visits.iter().map(repaired).collect::<Vec<_>>()
    };
    let flag = |visits: &[chrono::NaiveDate]| {
        let (last, before) = visits.split_last().expect("a visit");
        repeat_flag(&RepeatQuestion {
            failure: "burnt terminal",
            identity: Identity::Serial,
            opened_on: *last,
            hazard: Hazard::None,
            earlier: &earlier(before),
            limits: FlagLimits::default(),
        })
    };
    assert_eq!(flag(&visits[..2]).level, FlagLevel::Watch);
    let third = flag(&visits);
    assert_eq!(third.level, FlagLevel::Act);
    assert_eq!(
        third.reasons,
        [
            FlagReason::SecondWithinWatchDays,
            FlagReason::ThirdWithinWatchDays
        ]
    );
    assert_eq!(third.evidence[0].days_apart, 420);
}

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
        (own.repairs >= 10)
            .then(|| exact_greater(own, others))
            .flatten()
    };
    let held = discovery::benjamini_hochberg(&cells.map(judged));
    for ((name, [own, _]), q) in TECHNICIANS.into_iter().zip(cells).zip(held) {
        if own.returned >= RETURNS_MIN && q.is_some_and(|q| q <= discovery::FALSE_SHARE_MAX) {
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
    real(super::count(shops.iter().filter(|shop| of(shop)).count()))
        / real(super::count(shops.len()))
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
