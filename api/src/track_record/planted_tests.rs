//! A shop with planted effects, from its calls to the table that the owner reads.
//!
//! The calls are those of `fixtures/worked/made-up-shop.csv`. Its figures were computed with the R package survival 3.5-3
//! (`survfit`, `coxph` with Breslow's ties) and numpy 2.4.6; each within a millionth.

use std::collections::BTreeMap;

use nameplate_entities::kinds::Dimension;
use nameplate_rules::rates::judge::Verdict;

use crate::base::Act;
use crate::base::testing::Bench;
use crate::callbacks::outcomes::Watch;

use super::months;
use super::rates::{Rates, rates};
use shop::{on, shop};

mod shop;

const WINDOW_DAYS: u32 = 90;

fn watch(from: u64, window_days: u32) -> Watch {
    Watch {
        from: on(from),
        through: on(730),
        window_days,
        today: on(730),
    }
}

#[track_caller]
fn near(got: f64, expected: f64) {
    assert!(
        (got - expected).abs() <= 1e-6 * expected.abs(),
        "{got}, not {expected}"
    );
}

async fn table(act: &Act, dimension: Dimension) -> Rates {
    let db = act.app.db.read();
    let table = rates(db, dimension, watch(0, WINDOW_DAYS), 100).await;
    table.expect("rates")
}

/// Repairs and returns, the ratio and the verdict of each group, by label.
fn told(table: &Rates) -> BTreeMap<&str, (u64, u64, Verdict)> {
    let figures = table.groups.iter().map(|group| {
        let counts = group.figures.counts;
        (
            group.label.as_str(),
            (counts.repairs, counts.returned, group.figures.verdict),
        )
    });
    figures.collect()
}

#[tokio::test]
async fn the_planted_effects_are_found_in_the_shops_records_and_nothing_else_is() {
    for bench in Bench::everywhere().await {
        let act = shop(&bench).await;
        the_whole_shop(&act).await;
        who_does_it(&act).await;
        what_is_fitted_and_how(&act).await;
        what_fails(&act).await;
        over_time(&act).await;
    }
}

async fn the_whole_shop(act: &Act) {
    let db = act.app.db.read();
    let table = table(act, Dimension::ApplianceType).await;
    let counts = table.shop.counts;
    assert_eq!(
        (
            counts.returned,
            counts.followed.returned,
            counts.followed.repairs
        ),
        (104, 92, 1_057)
    );
    let rate = table.shop.rate.expect("a rate");
    near(rate.value, 0.090_693_035_85);
    let limits = rate.log_log.expect("limits");
    near(limits.low, 0.075_419_990_98);
    near(limits.high, 0.108_872_365_4);
    let thirty = rates(db, Dimension::Method, watch(0, 30), 10)
        .await
        .expect("rates");
    near(thirty.shop.rate.expect("a rate").value, 0.042_944_380_42);
    // Of the last half year, most of it read day by day.
    let recent = rates(db, Dimension::Method, watch(551, WINDOW_DAYS), 10)
        .await
        .expect("rates");
    assert_eq!(recent.shop.counts.repairs, 294);
    near(recent.shop.rate.expect("a rate").value, 0.090_101_374_75);
}

async fn who_does_it(act: &Act) {
    let table = table(act, Dimension::Technician).await;
    let told = told(&table);
    assert_eq!(
        told.get("T3").map(|row| (row.1, row.2)),
        Some((34, Verdict::Worse))
    );
    assert_eq!(told.get("T7"), Some(&(4, 1, Verdict::TooFew)));
    for quiet in ["T1", "T2", "T4", "T5", "T6"] {
        assert_eq!(
            told.get(quiet).map(|row| row.2),
            Some(Verdict::AsExpected),
            "{quiet}"
        );
    }
    let third = table
        .groups
        .iter()
        .find(|group| group.label == "T3")
        .expect("T3");
    let ratio = third.figures.ratio.expect("a ratio");
    near(ratio.value, 1.775_946_058);
    near(ratio.limits.low, 1.229_894_272);
    near(third.figures.worse.expect("a claim").held, 0.008_174_673);
    near(
        third.figures.ratio_to_rest.expect("a ratio").value,
        2.056_101_683,
    );
}

async fn what_is_fitted_and_how(act: &Act) {
    let lots = table(act, Dimension::Lot).await;
    assert_eq!(
        told(&lots)
            .get("PN-D14, batch B3")
            .map(|row| (row.0, row.1)),
        Some((24, 7))
    );
    let by_method = table(act, Dimension::TechnicianMethod).await;
    let told = told(&by_method);
    let spliced = told.get("T3, spliced").expect("a group");
    assert_eq!((spliced.0, spliced.1, spliced.2), (65, 25, Verdict::Worse));
    let worse = told.iter().filter(|(_, row)| row.2 == Verdict::Worse);
    assert_eq!(
        worse.map(|(name, _)| *name).collect::<Vec<_>>(),
        ["T3, spliced"]
    );
}

/// A component is held against all work: expected by the hazard of Nelson and Aalen over all repairs of the file, worked
/// out in Python 3.11 by its definition.
async fn what_fails(act: &Act) {
    for dimension in [Dimension::Component, Dimension::ApplianceType] {
        let table = table(act, dimension).await;
        let group = |name: &str| {
            let is_of = |label: &str| label.split([' ', ',', ':']).any(|word| word == name);
            let found = table.groups.iter().find(|group| is_of(&group.label));
            found.expect("a group").figures.clone()
        };
        let oven = group("oven");
        assert_eq!((oven.counts.repairs, oven.compared.returned), (244, 40));
        near(oven.compared.expected, 20.505_936_275_149_4);
        assert_eq!(oven.verdict, Verdict::Worse);
        let dryer = group("dryer");
        near(dryer.compared.expected, 19.312_143_245_285_6);
        assert_eq!(dryer.verdict, Verdict::Better);
        let washer = group("washer");
        near(washer.ratio.expect("a ratio").value, 1.098_459_800_480_6);
        assert_eq!(washer.verdict, Verdict::AsExpected);
    }
}

async fn over_time(act: &Act) {
    let begun_before = months(act.app.db.read(), watch(40, WINDOW_DAYS)).await;
    let begun_before = begun_before.expect("months").months;
    let first = begun_before.first().expect("a month");
    assert_eq!((first.first_on, first.is_over), (on(31), true));
    let months = months(act.app.db.read(), watch(0, WINDOW_DAYS))
        .await
        .expect("months");
    let all = months
        .months
        .iter()
        .map(|month| month.counts.returned)
        .sum::<u64>();
    assert_eq!(all, 104);
    let over = months.months.iter().filter(|month| month.is_over).count();
    assert_eq!(over, 21, "from January 2024 through September 2025");
    assert!(
        months
            .months
            .iter()
            .all(|month| month.is_over == month.point.is_some())
    );
}
