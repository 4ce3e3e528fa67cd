//! What the machine is covered by, for whoever drives out: no amounts but what the customer pays first.

use async_graphql::{Enum, SimpleObject};
use chrono::NaiveDate;
use nameplate_rules::coverage::{Ahead, Covers, SegmentAhead, Stands, settles};
use nameplate_rules::money::Cents;

use crate::coverage::CoverAhead;
use crate::graphql::scalars::Money;
use crate::warranty::graphql::{CoverEvidence, CoveredCharge};

/// How a stretch of cover stands on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum CoverStanding {
    /// It covers.
    InForce,
    /// Its first day is not known.
    StartNotKnown,
    /// It begins later.
    NotYet,
    /// It ended.
    Over,
    /// It ended when the machine changed hands.
    Lapsed,
}

impl From<Stands> for CoverStanding {
    fn from(stands: Stands) -> Self {
        match stands {
            Stands::InForce => Self::InForce,
            Stands::NotKnown => Self::StartNotKnown,
            Stands::NotYet => Self::NotYet,
            Stands::Over => Self::Over,
            Stands::Lapsed => Self::Lapsed,
        }
    }
}

/// A stretch of a programme's cover.
#[derive(SimpleObject)]
pub struct BriefCoverSegment {
    /// What it pays for.
    covers: Vec<CoveredCharge>,
    /// The kind of component it is for; null for all of them.
    component_class: Option<String>,
    /// Its last day; null where its first day is not known.
    through: Option<NaiveDate>,
    /// How it stands on the day the call was taken, by which the failure counts.
    told: CoverStanding,
    /// How it stands on the day of the visit.
    on_visit: CoverStanding,
}

/// A programme that the machine holds, as far as it can be told before the visit.
#[derive(SimpleObject)]
pub struct BriefCover {
    /// Its place in the order in which programmes are asked, from 1; each pays of what those before it left.
    place: i32,
    /// What the programme is called.
    programme: String,
    /// Who pays; null for the shop itself, for its own work.
    payer: Option<String>,
    /// The component it is on; null for the whole machine.
    component: Option<String>,
    /// Whether it may pay for the failure as it was told of.
    may_pay: bool,
    /// Why it does not pay whatever failed; null where nothing of the sort is known.
    excluded: Option<String>,
    /// What it does not pay for.
    exclusions: Vec<String>,
    /// What the customer pays of a call before it pays; null for nothing.
    deductible: Option<Money>,
    /// Last day of parts, of those stretches that are in force on the day of the visit; null where none is.
    parts_through: Option<NaiveDate>,
    /// The same of labor.
    labour_through: Option<NaiveDate>,
    /// The same of the trip.
    trip_through: Option<NaiveDate>,
    /// Its stretches of cover, those for other kinds of component left out once it is known what failed.
    segments: Vec<BriefCoverSegment>,
    /// What would settle whether it pays, in words.
    missing: Vec<String>,
    /// The evidence to bring back or to keep.
    bring: Vec<CoverEvidence>,
}

impl BriefCover {
    /// All of them, with their places.
    pub fn all(covers: Vec<CoverAhead>) -> Vec<Self> {
        (1..)
            .zip(covers)
            .map(|(place, cover)| Self::of(place, cover))
            .collect()
    }

    fn of(place: i32, cover: CoverAhead) -> Self {
        let (told, on_visit) = (cover.told, cover.on_visit);
        let excluded = told.excluded;
        Self {
            place,
            programme: cover.programme,
            payer: cover.payer,
            component: cover.component,
            may_pay: told.may_pay(),
            excluded: excluded.map(|exclusion| format!("It does not pay where {exclusion}.")),
            exclusions: (cover.exclusions.iter())
                .map(|exclusion| format!("It does not pay where {exclusion}."))
                .collect(),
            deductible: (cover.deductible != Cents::ZERO).then(|| cover.deductible.into()),
            parts_through: on_visit.through(Covers::Parts),
            labour_through: on_visit.through(Covers::Labour),
            trip_through: on_visit.through(Covers::Trip),
            segments: segments(&told, &on_visit),
            missing: told.missing.iter().copied().map(settles).collect(),
            bring: told.bring.into_iter().map(Into::into).collect(),
        }
    }
}

/// The stretches of cover on both days; they stand in the same order.
fn segments(told: &Ahead, on_visit: &Ahead) -> Vec<BriefCoverSegment> {
    let both = told.segments.iter().zip(&on_visit.segments);
    let segment = |(told, on_visit): (&SegmentAhead, &SegmentAhead)| BriefCoverSegment {
        covers: told.covers.iter().copied().map(Into::into).collect(),
        component_class: told.component_class.clone(),
        through: on_visit.through_on,
        told: told.stands.into(),
        on_visit: on_visit.stands.into(),
    };
    both.map(segment).collect()
}
