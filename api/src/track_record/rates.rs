//! Rates of return by group, with what they compare with and what they cost.

use std::collections::HashMap;

use nameplate_entities::kinds::Dimension;
use nameplate_rules::money::Cents;
use nameplate_rules::plural::counted;
use nameplate_rules::rates::judge::{GroupRate, Judged, judge};
use nameplate_rules::rates::survival::{CallbackRate, Counts};
use sea_orm::ConnectionTrait;

use crate::base::Result;
use crate::callbacks::outcomes::{Of, Strata, Watch, Watched, labels, watched};

use super::off_thread::off_thread;
use super::store::lost;

/// A table of groups, as of today.
pub struct Rates {
    pub watch: Watch,
    pub shop: Shop,
    /// What costs most first; of equals the group with more repairs.
    pub groups: Vec<Group>,
    /// How many groups there are, those that are not shown included.
    pub groups_in_all: usize,
}

/// All repairs of the span, each once.
pub struct Shop {
    pub counts: Counts,
    /// `None` without a repair older than a day.
    pub rate: Option<CallbackRate>,
    pub same_component: u64,
    pub lost: Cents,
}

/// One group and what its repairs came to.
pub struct Group {
    pub key: String,
    pub label: String,
    pub figures: GroupRate,
    /// Of those that returned, how many for a component repaired then.
    pub same_component: u64,
    /// What the shop bore of the calls by which they came back, at cost.
    pub lost: Cents,
}

/// Rates of return of the groups of a dimension, at most so many.
///
/// A group is compared with the same kinds of work of the whole shop; one that is a kind of work itself, such as a component,
/// with all the shop's work, as nothing else is like it.
///
/// Every group is judged, also those not shown: how many claims are looked at decides how sure each must be.
///
/// Repairs of today are in no figure of it, and make no group.
///
/// # Errors
/// Internal only.
pub async fn rates(
    db: &impl ConnectionTrait,
    dimension: Dimension,
    watch: Watch,
    groups_max: usize,
) -> Result<Rates> {
    let strata = Strata::to_compare(db, dimension).await?;
    let counted = watch.before_today();
    let of_shop = watched(db, Of::all(Dimension::Shop), &counted).await?;
    let of_groups = watched(db, Of::all(dimension), &counted).await?;
    let mut by_key: HashMap<&str, Vec<&Watched>> = HashMap::new();
    for row in &of_groups {
        by_key.entry(&row.group_key).or_default().push(row);
    }
    let mut keys: Vec<&str> = by_key.keys().copied().collect();
    keys.sort_unstable();
    let rows_of = |key: &str| by_key.get(key).map_or(&[][..], Vec::as_slice);
    let exposures = keys
        .iter()
        .map(|key| strata.exposures(rows_of(key).iter().copied()))
        .collect::<Vec<_>>();
    let shop = strata.exposures(&of_shop);
    let (names, window_days) = (strata.names, watch.window_days);
    let judged: Judged = off_thread("judging a table of rates", move || {
        judge(&shop, &exposures, &names, window_days)
    })
    .await?;
    let money = lost::lost(db, dimension, &counted).await?;
    let mut groups = keys
        .iter()
        .zip(judged.groups)
        .map(|(key, figures)| Group {
            key: (*key).to_owned(),
            label: String::new(),
            figures,
            same_component: same_component(rows_of(key).iter().copied()),
            lost: money.get(*key).copied().unwrap_or(Cents::ZERO),
        })
        .collect::<Vec<_>>();
    groups.sort_by(|a, b| {
        let rank = |group: &Group| (group.lost, group.figures.counts.repairs);
        rank(b).cmp(&rank(a)).then_with(|| a.key.cmp(&b.key))
    });
    let groups_in_all = groups.len();
    groups.truncate(groups_max);
    let shown = groups
        .iter()
        .map(|group| group.key.clone())
        .collect::<Vec<_>>();
    let mut names = labels(db, dimension, &shown).await?;
    for group in &mut groups {
        group.label = names
            .remove(&group.key)
            .unwrap_or_else(|| group.key.clone());
    }
    let of_shop_lost = lost::lost(db, Dimension::Shop, &counted).await?;
    Ok(Rates {
        watch,
        shop: Shop {
            counts: judged.counts,
            rate: judged.rate,
            same_component: same_component(&of_shop),
            lost: of_shop_lost.get("").copied().unwrap_or(Cents::ZERO),
        },
        groups,
        groups_in_all,
    })
}

/// How many repairs came back, and how many are still being watched; `which` is said of the repairs after the noun.
#[must_use]
pub fn came_back(counts: Counts, which: &str) -> String {
    let repairs = counted(counts.repairs, "repair", "repairs");
    let said = format!("{} of {repairs}{which} came back", counts.returned);
    match still_watched(counts.open, counts.repairs) {
        Some(watched) => format!("{said}; {watched}"),
        None => said,
    }
}

/// How many of all repairs are still being watched; `None` where none is.
#[must_use]
pub fn still_watched(open: u64, repairs: u64) -> Option<String> {
    Some(match (open, repairs) {
        (0, _) => return None,
        (1, 1) => "it is still being watched".to_owned(),
        (1, _) => format!("1 of the {repairs} is still being watched"),
        _ if open == repairs => format!("all {repairs} are still being watched"),
        _ => format!("{open} of the {repairs} are still being watched"),
    })
}

fn same_component<'a>(rows: impl IntoIterator<Item = &'a Watched>) -> u64 {
    let sum = rows.into_iter().map(|row| row.same_component).sum::<i64>();
    u64::try_from(sum).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn those_still_watched_are_told_of_all_repairs_and_left_out_where_there_are_none() {
        let told = |returned, repairs, open| {
            let counts = Counts {
                repairs,
                returned,
                open,
                ..Counts::default()
            };
            came_back(counts, "")
        };
        for (said, wanted) in [
            (
                told(10, 128, 2),
                "10 of 128 repairs came back; 2 of the 128 are still being watched",
            ),
            (told(10, 128, 0), "10 of 128 repairs came back"),
            (
                told(0, 2, 1),
                "0 of 2 repairs came back; 1 of the 2 is still being watched",
            ),
            (
                told(0, 3, 3),
                "0 of 3 repairs came back; all 3 are still being watched",
            ),
            (
                told(0, 1, 1),
                "0 of 1 repair came back; it is still being watched",
            ),
        ] {
            assert_eq!(said, wanted);
        }
    }
}
