//! Counted repairs as the statistics read them.

use std::collections::HashMap;

use nameplate_entities::kinds::Dimension;
use nameplate_rules::rates::expected::{Exposure, Stratum};
use nameplate_rules::rates::survival::Observed;
use sea_orm::ConnectionTrait;

use crate::base::Result;

use super::labels;
use super::watched::Watched;

/// The kinds of work there are, and their places.
#[derive(Default)]
pub struct Strata {
    pub names: Vec<Stratum>,
    place_of: HashMap<i64, usize>,
}

impl Strata {
    /// Those by which groups of a dimension are compared. Where the groups are kinds of work themselves, all work is one kind.
    ///
    /// # Errors
    /// Internal only.
    pub async fn to_compare(db: &impl ConnectionTrait, dimension: Dimension) -> Result<Self> {
        if dimension.is_kind_of_work() {
            Ok(Self::default())
        } else {
            Self::read(db).await
        }
    }

    /// The shop's list of components, with the types they belong to.
    ///
    /// # Errors
    /// Internal only.
    pub async fn read(db: &impl ConnectionTrait) -> Result<Self> {
        let rows = labels::components_named(db, None).await?;
        let place_of = rows.iter().enumerate().map(|(place, row)| (row.id, place));
        Ok(Self {
            place_of: place_of.collect(),
            names: rows
                .into_iter()
                .map(|row| Stratum {
                    appliance_type: row.appliance_type,
                    component: row.component,
                })
                .collect(),
        })
    }

    /// Rows as the rules read them.
    pub fn exposures<'a>(&self, rows: impl IntoIterator<Item = &'a Watched>) -> Vec<Exposure> {
        rows.into_iter()
            .map(|row| Exposure {
                // A place that names no kind is counted as one more kind.
                stratum: (self.place_of.get(&row.component_id).copied())
                    .unwrap_or(self.names.len()),
                observed: observed(row),
            })
            .collect()
    }
}

/// Repairs as the rules read them.
pub fn observed(row: &Watched) -> Observed {
    Observed {
        followed_days: u32::try_from(row.followed_days).unwrap_or(0),
        returned_after_days: u32::try_from(row.age_days).ok().filter(|age| *age > 0),
        repairs: u64::try_from(row.repairs).unwrap_or(0),
    }
}
