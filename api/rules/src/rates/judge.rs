//! A whole table of groups at once, such as all technicians or all part numbers: how often the repairs of each return, how
//! sure that is, against what their work lets expect, and who stands out.
//!
//! What must stay true: a group with few repairs is not judged, whatever its share. The claims of one table are held
//! together as one family, of which every group with enough repairs is a member however few returned. Groups come back in
//! their order and are not ranked.

use serde::Serialize;

use super::discovery::{FALSE_SHARE_MAX, benjamini_hochberg};
use super::expected::{Compared, Ratio, Record};
use super::shrink::{Prior, Shrunk};
use super::survival::{CallbackRate, Counts, Effective, LifeTable, rate_of};

pub use super::expected::{Exposure, Stratum};

/// A group with fewer repairs is not judged, and no chance is worked out for it.
pub const REPAIRS_MIN: u64 = 10;

/// A group with fewer returns is not called worse.
pub const RETURNS_MIN: u64 = 3;

/// What a table says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Judged {
    /// The whole shop, each repair once.
    pub counts: Counts,
    pub rate: Option<CallbackRate>,
    /// What the rates of the groups are drawn toward. `None` where the shop has no rate for the whole window yet.
    pub prior: Option<Prior>,
    /// One for each group, in the order given.
    pub groups: Vec<GroupRate>,
}

/// What a table says of one group.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GroupRate {
    pub counts: Counts,
    /// `None` without a repair older than a day.
    pub rate: Option<CallbackRate>,
    /// Returns that its work lets expect, and what the others' record lets expect.
    pub compared: Compared,
    /// Returned by expected; `None` where nothing is expected.
    pub ratio: Option<Ratio>,
    /// The same by the record of the rest of the shop.
    pub ratio_to_rest: Option<Ratio>,
    /// As many returns or more; `None` for a group not judged.
    pub worse: Option<Claim>,
    /// As few returns or fewer; `None` for a group not judged.
    pub better: Option<Claim>,
    /// Its rate drawn toward the shop's; `None` while none of its repairs was watched for the whole window, as what returned
    /// until then would be left out.
    pub shrunk: Option<Shrunk>,
    pub verdict: Verdict,
}

/// How well founded it would be to say so.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Claim {
    /// The chance (p) of it by luck alone.
    pub chance: f64,
    /// The same held to the number of groups judged (q).
    pub held: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Not enough repairs to judge.
    TooFew,
    AsExpected,
    Worse,
    Better,
}

/// Judges groups of a shop's repairs.
///
/// Shape: `shop` holds each repair once; the repairs of a group are among them, and one may stand in several groups, as a
/// call with two parts does. `groups` is one family: one screen. Unit: days.
///
/// # Source
/// Rate and limits: [`super::survival`]; expected and exact limits: [`super::expected`]; claims: exact Poisson tails held
/// by [`super::discovery`]; drawn rates: [`super::shrink`].
#[must_use]
pub fn judge(
    shop: &[Exposure],
    groups: &[Vec<Exposure>],
    strata: &[Stratum],
    window_days: u32,
) -> Judged {
    let record = Record::of(shop, strata, window_days);
    let (counts, rate) = counts_and_rate(shop, window_days);
    let mut judged: Vec<GroupRate> = (groups.iter())
        .map(|group| before_claims(group, &record, window_days))
        .collect();
    let effective: Vec<Effective> = (judged.iter())
        .map(|group| effective(group.rate.as_ref(), window_days))
        .collect();
    let prior = (rate.filter(|rate| rate.at_days == window_days))
        .and_then(|rate| Prior::of(&effective, rate.value));
    for (group, effective) in judged.iter_mut().zip(effective) {
        let is_whole = (group.rate.as_ref()).is_some_and(|rate| rate.at_days == window_days);
        group.shrunk = (prior.filter(|_| is_whole)).map(|prior| prior.shrunk(effective));
    }
    claim(&mut judged);
    Judged {
        counts,
        rate,
        prior,
        groups: judged,
    }
}

fn counts_and_rate(repairs: &[Exposure], window_days: u32) -> (Counts, Option<CallbackRate>) {
    let observed = || repairs.iter().map(|exposure| exposure.observed);
    let rate = rate_of(&LifeTable::of(observed(), window_days), window_days);
    (Counts::of(observed(), window_days), rate)
}

fn before_claims(group: &[Exposure], record: &Record, window_days: u32) -> GroupRate {
    let (counts, rate) = counts_and_rate(group, window_days);
    let compared = record.compare(group);
    GroupRate {
        counts,
        rate,
        compared,
        ratio: compared.ratio(),
        ratio_to_rest: compared.ratio_to_rest(),
        worse: None,
        better: None,
        shrunk: None,
        verdict: Verdict::TooFew,
    }
}

/// What a group tells about the whole window: nothing while nobody in it was followed that long.
fn effective(rate: Option<&CallbackRate>, window_days: u32) -> Effective {
    let whole = rate.filter(|rate| rate.at_days == window_days);
    whole.map(|rate| rate.effective).unwrap_or_default()
}

/// Works out the claims of one family, and the verdicts.
fn claim(groups: &mut [GroupRate]) {
    let family = |chance: fn(&Compared) -> f64| {
        let chances: Vec<Option<f64>> = (groups.iter())
            .map(|group| (group.counts.repairs >= REPAIRS_MIN).then(|| chance(&group.compared)))
            .collect();
        let held = benjamini_hochberg(&chances);
        chances
            .into_iter()
            .zip(held)
            .map(|(chance, held)| {
                Some(Claim {
                    chance: chance?,
                    held: held?,
                })
            })
            .collect::<Vec<_>>()
    };
    let worse = family(Compared::chance_of_more);
    let better = family(Compared::chance_of_fewer);
    for (group, (worse, better)) in groups.iter_mut().zip(worse.into_iter().zip(better)) {
        (group.worse, group.better) = (worse, better);
        group.verdict = verdict(group);
    }
}

fn verdict(group: &GroupRate) -> Verdict {
    let founded = |claim: Claim| claim.held <= FALSE_SHARE_MAX;
    match (group.worse, group.better) {
        (Some(worse), _) if founded(worse) && group.counts.returned >= RETURNS_MIN => {
            Verdict::Worse
        }
        (_, Some(better)) if founded(better) => Verdict::Better,
        (Some(_), _) => Verdict::AsExpected,
        (None, _) => Verdict::TooFew,
    }
}

#[cfg(test)]
mod tests {
    use proptest::collection::vec;
    use proptest::prelude::*;

    use super::super::survival::Observed;
    use super::*;
    use crate::rates::testing::near;

    fn fate(stratum: usize, returned_after_days: Option<u32>, repairs: u64) -> Exposure {
        Exposure {
            stratum,
            observed: Observed {
                followed_days: 90,
                returned_after_days,
                repairs,
            },
        }
    }

    fn strata() -> Vec<Stratum> {
        let stratum = |appliance_type: &str| Stratum {
            appliance_type: appliance_type.to_owned(),
            component: "pump".to_owned(),
        };
        vec![stratum("washer"), stratum("dishwasher")]
    }

    fn table_of(groups: &[Vec<Exposure>]) -> Judged {
        judge(&groups.concat(), groups, &strata(), 90)
    }

    #[test]
    fn four_repairs_are_too_few_whatever_their_share() {
        let groups = [
            vec![fate(0, Some(3), 4)],
            vec![fate(0, Some(9), 4), fate(0, None, 96)],
        ];
        let judged = table_of(&groups);
        let four = &judged.groups[0];
        assert_eq!(
            (four.verdict, four.worse, four.better),
            (Verdict::TooFew, None, None)
        );
        near(four.rate.expect("a rate").value, 1.0);
        // The other is alone in its family.
        let other = judged.groups[1].worse.expect("a claim");
        near(other.held, other.chance);
    }

    #[test]
    fn ten_of_ten_repairs_by_one_are_worse_and_nothing_of_many_is_better() {
        let groups = [
            vec![fate(0, Some(3), 8), fate(0, None, 2)],
            vec![fate(0, Some(9), 1), fate(0, None, 59)],
            vec![fate(0, Some(9), 20), fate(0, None, 180)],
        ];
        let verdicts: Vec<_> = table_of(&groups)
            .groups
            .iter()
            .map(|group| group.verdict)
            .collect();
        assert_eq!(
            verdicts,
            [Verdict::Worse, Verdict::Better, Verdict::AsExpected]
        );
    }

    #[test]
    fn two_returns_are_not_called_worse() {
        let groups = [
            vec![fate(0, Some(3), 2), fate(0, None, 8)],
            vec![fate(0, Some(3), 1), fate(0, None, 2_000)],
        ];
        let judged = table_of(&groups);
        assert!(judged.groups[0].worse.expect("a claim").held < 0.1);
        assert_eq!(judged.groups[0].verdict, Verdict::AsExpected);
    }

    #[test]
    fn a_group_that_nobody_watched_for_the_whole_window_is_not_drawn() {
        let young = |returned_after_days, repairs| Exposure {
            observed: Observed {
                followed_days: 40,
                ..fate(0, returned_after_days, repairs).observed
            },
            stratum: 0,
        };
        let groups = [
            vec![young(Some(3), 5), young(None, 1)],
            vec![fate(0, Some(9), 10), fate(0, None, 90)],
        ];
        let judged = table_of(&groups);
        assert_eq!(judged.groups[0].rate.expect("a rate").at_days, 40);
        assert_eq!(judged.groups[0].shrunk, None);
        assert!(judged.groups[1].shrunk.is_some());
    }

    #[test]
    fn a_repair_may_stand_in_two_groups() {
        let shop = [fate(0, Some(3), 10), fate(0, None, 90)];
        let judged = judge(&shop, &[shop.to_vec(), shop.to_vec()], &strata(), 90);
        for group in &judged.groups {
            near(group.ratio.expect("a ratio").value, 1.0);
            assert_eq!(group.ratio_to_rest, None);
        }
    }

    #[test]
    fn an_empty_shop_and_a_young_one_are_judged_without_a_word_too_much() {
        let judged = judge(&[], &[Vec::new()], &[], 90);
        assert_eq!((judged.rate, judged.prior), (None, None));
        assert_eq!(judged.groups[0].verdict, Verdict::TooFew);
        let young = Exposure {
            stratum: 7,
            observed: Observed {
                followed_days: 20,
                returned_after_days: None,
                repairs: 40,
            },
        };
        let judged = judge(&[young], &[vec![young]], &[], 90);
        assert_eq!(judged.rate.expect("a rate").at_days, 20);
        assert_eq!((judged.prior, judged.groups[0].shrunk), (None, None));
        assert_eq!(judged.groups[0].verdict, Verdict::AsExpected);
    }

    /// A thousand groups of fifty rows each: the size of a large table of part numbers.
    #[test]
    fn a_thousand_groups_are_judged_at_once() {
        let mut random = super::super::planted::SplitMix64::new(7);
        let mut below = |end: f64| crate::rates::testing::whole((random.unit() * end).floor());
        let mut day = || u32::try_from(below(90.0)).expect("a day");
        let mut groups = Vec::new();
        for place in 0..1_000_usize {
            let rows = (0..50).map(|row| {
                let returned = (row % 10 == 0).then(&mut day);
                Exposure {
                    stratum: (place + row) % 40,
                    observed: Observed {
                        followed_days: 30 + day(),
                        returned_after_days: returned,
                        repairs: 1,
                    },
                }
            });
            groups.push(rows.collect::<Vec<_>>());
        }
        let strata: Vec<Stratum> = (0..40)
            .map(|place| Stratum {
                appliance_type: format!("{}", place % 8),
                component: format!("{}", place / 8),
            })
            .collect();
        let judged = judge(&groups.concat(), &groups, &strata, 90);
        let expected: f64 = judged
            .groups
            .iter()
            .map(|group| group.compared.expected)
            .sum();
        let returned: f64 = judged
            .groups
            .iter()
            .map(|group| super::super::real(group.counts.returned))
            .sum();
        near(expected, returned);
        assert_eq!(judged.counts.repairs, 50_000);
    }

    proptest! {
        #[test]
        fn groups_are_judged_alike_in_any_order(
            groups in vec(vec((0usize..3, 0u32..120, proptest::option::of(0u32..120), 1u64..30), 0..12), 0..8),
        ) {
            let groups: Vec<Vec<Exposure>> = (groups.into_iter())
                .map(|group| group.into_iter().map(|(stratum, followed_days, returned_after_days, repairs)| {
                    Exposure { stratum, observed: Observed { followed_days, returned_after_days, repairs } }
                }).collect())
                .collect();
            let backward: Vec<_> = groups.iter().rev().cloned().collect();
            let verdicts = |judged: &Judged| judged.groups.iter().map(|group| group.verdict).collect::<Vec<_>>();
            let (one, mut other) = (verdicts(&table_of(&groups)), verdicts(&table_of(&backward)));
            other.reverse();
            prop_assert_eq!(one, other);
        }
    }
}
