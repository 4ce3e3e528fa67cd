//! What the pictures say, of figures made up here.

use nameplate_rules::rates::expected::{Exposure, Stratum};
use nameplate_rules::rates::judge::judge;
use nameplate_rules::rates::survival::{Counts, Observed};

use super::super::rates::Shop;
use super::*;
use crate::callbacks::outcomes::Watch;

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
