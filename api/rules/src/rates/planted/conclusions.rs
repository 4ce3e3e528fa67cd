//! What a correct analysis must conclude from the made-up shop, each figure as computed elsewhere.

use super::*;
use crate::dates::days_after;
use crate::flags::{
    EarlierRepair, FlagLevel, FlagLimits, FlagReason, Hazard, Identity, RepeatQuestion, repeat_flag,
};
use crate::rates::early_warning::{Level, RatioPrior};
use crate::rates::funnel::exact_greater;
use crate::rates::judge::Verdict;
use crate::rates::survival::{CallbackRate, callback_rate};
use crate::rates::testing::{limits, near, within};

fn rate(repairs: &[Exposure], window_days: u32) -> CallbackRate {
    callback_rate(repairs.iter().map(|one| one.observed), window_days).expect("a rate")
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
fn one_technician_stands_out_and_one_of_average_share_does_better_than_hard_work_lets_expect() {
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
    // Below 1 with both limits, but as one of six too weak a ground for a claim: 6 times 0.022.
    near(
        6.0 * fourth.better.expect("a claim").chance,
        fourth.better.expect("a claim").held,
    );
    for (name, group) in TECHNICIANS.into_iter().zip(&judged.groups) {
        let verdict = match name {
            "T3" => Verdict::Worse,
            "T7" => Verdict::TooFew,
            _ => Verdict::AsExpected,
        };
        assert_eq!(group.verdict, verdict, "{name}");
    }
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
    let record = Record::of(&exposures(&jobs, |_| true), &strata(), WINDOW);
    let ratio = |repairs: &[Exposure]| record.compare(repairs).ratio().expect("a ratio").value;
    near(ratio(&own) / ratio(&others), 4.942_382_433);
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
    let on = |job: &Job| days_after(start, job.day).expect("a day");
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
