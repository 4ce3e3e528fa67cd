//! What the pictures say, of figures made up here.

use nameplate_rules::rates::Share;
use nameplate_rules::rates::expected::{Exposure, Stratum};
use nameplate_rules::rates::judge::judge;
use nameplate_rules::rates::months::point;
use nameplate_rules::rates::survival::{Counts, Observed, callback_rate};
use nameplate_rules::rates::trend::Trend;
use nameplate_rules::rates::visits::{Unit, mean_visits};

use super::super::machines::{Pooled, Watching};
use super::super::rates::Shop;
use super::*;

const WINDOW_DAYS: u32 = 90;

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

fn watch() -> Watch {
    Watch {
        from: day("2026-01-01"),
        through: day("2026-06-30"),
        window_days: WINDOW_DAYS,
        today: day("2026-06-30"),
    }
}

/// So many repairs, each followed for so many days, one of them back on the third.
fn repairs(count: u64, followed_days: u32) -> Vec<Exposure> {
    [(count - 1, None), (1, Some(3))]
        .map(|(repairs, returned_after_days)| Exposure {
            stratum: 0,
            observed: Observed {
                followed_days,
                returned_after_days,
                repairs,
            },
        })
        .to_vec()
}

/// A table of these groups, the shop being all of them.
fn table(groups: &[(&str, Vec<Exposure>)]) -> Rates {
    let shop = groups.iter().flat_map(|(_, rows)| rows.clone());
    let exposures = groups.iter().map(|(_, rows)| rows.clone());
    let strata = [Stratum {
        appliance_type: "Washer".to_owned(),
        component: "Drain pump".to_owned(),
    }];
    let judged = judge(
        &shop.collect::<Vec<_>>(),
        &exposures.collect::<Vec<_>>(),
        &strata,
        WINDOW_DAYS,
    );
    let groups = groups.iter().zip(judged.groups);
    let groups = groups.map(|((label, _), figures)| Group {
        key: (*label).to_owned(),
        label: (*label).to_owned(),
        figures,
        same_component: 0,
        lost: Cents(0),
    });
    let groups = groups.collect::<Vec<_>>();
    Rates {
        watch: watch(),
        shop: Shop {
            counts: judged.counts,
            rate: judged.rate,
            same_component: 0,
            lost: Cents(0),
        },
        groups_in_all: groups.len(),
        groups,
    }
}

#[test]
fn a_share_that_is_known_by_day_20_is_not_drawn_as_that_of_90_days() {
    let young = of_rates(&table(&[("Batch B3", repairs(12, 20))]), "By batch");
    assert!(young.svg.contains("By day 20: Batch B3"), "{}", young.svg);
    assert!(!young.alternative.contains("The shop is at"));
    let both = [
        ("Batch B3", repairs(12, 20)),
        ("Batch A1", repairs(40, 200)),
    ];
    let both = of_rates(&table(&both), "By batch");
    assert_eq!(both.alternative.matches("By day").count(), 1);
    assert!(both.alternative.contains("The shop is at"));
}

/// A month that is over, of a shop with 234 returns of 2,450 repairs: its lines are those of `rules/rates/months.rs`.
fn month_over(returned: u64, repairs: u64) -> Month {
    let observed = |returned_after_days, repairs| Observed {
        followed_days: 200,
        returned_after_days,
        repairs,
    };
    let all = [
        observed(Some(3), returned),
        observed(None, repairs - returned),
    ];
    Month {
        first_on: day("2026-01-01"),
        counts: Counts::of(all, WINDOW_DAYS),
        is_over: true,
        rate: callback_rate(all, WINDOW_DAYS),
        point: point(Share { returned, repairs }, 234.0 / 2450.0),
    }
}

/// 20 of 110 is beyond three standard deviations and no alarm; the line that is drawn is that of the alarm.
#[test]
fn a_month_lies_above_the_drawn_line_if_and_only_if_it_stands_out() {
    let quiet = month_over(20, 110);
    assert!(
        quiet
            .point
            .is_some_and(|point| point.value > point.line_high)
    );
    for month in [quiet, month_over(30, 110)] {
        let drawn = month_point(&month);
        let (rate, limit) = (drawn.rate.expect("a rate"), drawn.upper.expect("a line"));
        assert_eq!(rate > limit, drawn.alarm.is_some(), "{rate} at {limit}");
        assert_eq!(rate > limit, month.counts.returned == 30);
    }
}

/// Machines watched for so many days, with their ages at further repairs.
fn model(label: &str, units: &[Unit]) -> Machines {
    let longest = units.iter().map(|unit| unit.watched_days).max();
    Machines {
        today: day("2026-06-30"),
        key: label.to_owned(),
        label: label.to_owned(),
        machines: units.len(),
        further_repairs: 0,
        cut: false,
        steps: mean_visits(units),
        watching: Watching {
            end: Watched {
                days: longest.unwrap_or_default(),
                machines: 1,
            },
            few_after: None,
        },
        trend: Pooled {
            failures: 0,
            trend: Trend::NoClearTrend,
            test: None,
        },
        components: Vec::new(),
    }
}

fn unit(watched_days: u32, visits_at_days: &[u32]) -> Unit {
    Unit {
        watched_days,
        visits_at_days: visits_at_days.to_vec(),
    }
}

#[test]
fn a_curve_begins_at_no_repair_and_runs_on_to_where_watching_ends() {
    let one = model("CL-30", &[unit(41, &[10])]);
    let drawn = curve(&one, AgeUnit::Days).moments;
    let corners: Vec<_> = drawn
        .iter()
        .map(|moment| (moment.age, moment.mean))
        .collect();
    assert_eq!(corners, [(0.0, 0.0), (10.0, 1.0), (41.0, 1.0)]);
    assert!(drawn.iter().all(|moment| moment.limits.is_none()));
    let told = of_machines(&[one], day("2026-06-30")).alternative;
    let said =
        "CL-30: 1 repair per machine at 10 days, watched for 41 days; fewer than 5 machines.";
    assert!(told.contains(said), "{told}");
    assert!(told.contains("Days since the first repair"), "{told}");

    let two = model("CL-40", &[unit(1_500, &[10]), unit(900, &[])]);
    let told = of_machines(&[two], day("2026-06-30"));
    let said = "CL-40: 0.5 repairs per machine (";
    assert!(told.alternative.contains(said), "{}", told.alternative);
    let said = ") at 0.03 years, watched for 4.1 years";
    assert!(told.alternative.contains(said), "{}", told.alternative);
    assert!(told.svg.contains("Bands are 95 %."));
    let none = model("CL-50", &[unit(30, &[])]);
    let told = of_machines(&[none], day("2026-06-30")).alternative;
    let said = "CL-50: 0 repairs per machine, watched for 30 days";
    assert!(told.contains(said), "{told}");
}

#[test]
fn a_curve_has_few_machines_from_the_age_on_at_which_there_are_few() {
    let mut six = model("CL-30", &[(); 6].map(|()| unit(100, &[10])));
    six.watching.few_after = Some(Watched {
        days: 60,
        machines: 4,
    });
    let units = curve(&six, AgeUnit::Days).moments;
    let units: Vec<_> = units
        .iter()
        .map(|moment| (moment.age, moment.units))
        .collect();
    assert_eq!(units, [(0.0, 6), (10.0, 6), (60.0, 4), (100.0, 1)]);
}

#[test]
fn a_model_that_is_asked_for_twice_is_drawn_once() {
    let keys =
        |keys: &[&str]| -> Vec<String> { keys.iter().map(|key| (*key).to_owned()).collect() };
    let twice = keys(&["B", "A", "B", "A", "B"]);
    let once = each_once(&twice).expect("two models");
    assert_eq!(once, ["B", "A"]);
    assert!(each_once(&[]).is_err());
    assert!(each_once(&keys(&["A", "B", "C", "D", "E"])).is_err());
}

#[test]
fn what_the_groups_leave_of_the_money_is_named() {
    let mut batches = table(&[("Batch B3", repairs(12, 200))]);
    batches.shop.lost = Cents(81_509);
    batches.groups[0].lost = Cents(30_156);
    let rest = Rest {
        lost: Cents(51_353),
        had: "no batch",
    };
    let told = of_money_with_rest(&batches, ("By batch", "USD"), Some(rest)).alternative;
    let said = "USD 815.09 in all, at cost; the rest, USD 513.53, had no batch.";
    assert!(told.contains(said), "{told}");
    let told = of_money(&batches, "By batch", "USD").alternative;
    assert!(told.contains("USD 815.09 in all, at cost. "), "{told}");
}

#[test]
fn a_month_without_repairs_stands_between_its_neighbours_without_a_point() {
    let month = |first_on| Month {
        first_on: day(first_on),
        counts: Counts::default(),
        is_over: true,
        rate: None,
        point: None,
    };
    let points = without_gaps(&[month("2025-11-01"), month("2026-02-01")]);
    let names = points.iter().map(|point| point.name.as_str());
    assert_eq!(
        names.collect::<Vec<_>>(),
        ["Nov 25", "Dec 25", "Jan 26", "Feb 26"]
    );
    assert!(points.iter().all(|point| point.rate.is_none()));
    assert_eq!(without_gaps(&[]), []);
}

#[test]
fn groups_that_are_left_out_are_counted_in_the_note() {
    let mut few = table(&[
        ("Batch B3", repairs(12, 20)),
        ("Batch A1", repairs(40, 200)),
    ]);
    assert_eq!(cut(&few), "");
    assert!(!of_rates(&few, "By batch").svg.contains("yet."));
    few.groups_in_all = 412;
    assert_eq!(cut(&few), " Shown are 2 of 412 groups.");
    // A note is broken into lines, so that a word is looked for.
    assert!(of_rates(&few, "By batch").svg.contains("Shown"));
    assert!(of_money(&few, "By batch", "USD").svg.contains("Shown"));
    for group in few.groups.iter_mut().take(1) {
        group.figures.rate = None;
    }
    let told = of_rates(&few, "By batch");
    assert!(told.svg.contains("yet."), "{}", told.svg);
    assert!(!told.alternative.contains("Batch B3"));
}

#[test]
fn a_picture_names_its_groups_as_the_graph_does() {
    use async_graphql::resolver_utils::EnumType;

    use crate::track_record::graphql::groups::RateDimension;

    for item in RateDimension::items() {
        let (named, _) = dimension(Some(item.name), Role::Owner).expect(item.name);
        let asked = item.value.seen_by(Role::Owner).expect(item.name);
        assert_eq!(named, asked, "{}", item.name);
    }
    for unknown in [None, Some("failureMode"), Some("component"), Some("")] {
        assert!(dimension(unknown, Role::Owner).is_err(), "{unknown:?}");
    }
}
