//! What burnt a joint, cause by cause.

use async_graphql::{Enum, SimpleObject};
use nameplate_rules::readings::joint::{self, Measure};

use crate::calls::graphql::Reading;

use super::super::joint::Examined;

/// What may burn a joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "joint::Cause")]
pub enum BurnCause {
    /// Loose, worn, the wrong connector, or mixed metals.
    LooseJoint,
    /// The wire is too small for its load.
    UndersizedConductor,
    /// More flows than the part's plate or the breaker accounts for.
    Overload,
    /// The supply is too high.
    HighSupply,
    /// Heat is not carried off.
    BlockedAirflow,
}

/// What the facts say about a cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "joint::Speaks")]
pub enum Speaks {
    /// They speak for it.
    For,
    /// They speak against it.
    Against,
    /// They settle nothing.
    Unsettled,
}

/// One cause, and what speaks for or against it.
#[derive(SimpleObject)]
pub struct CauseBearing {
    /// The cause.
    cause: BurnCause,
    /// What the facts say about it.
    speaks: Speaks,
    /// Why, with the figures.
    why: String,
    /// What would settle more. What is read under load says whom it is for.
    missing: Vec<String>,
}

impl From<joint::Bearing> for CauseBearing {
    fn from(bearing: joint::Bearing) -> Self {
        Self {
            cause: bearing.cause.into(),
            speaks: bearing.speaks.into(),
            why: bearing.why,
            missing: bearing.missing.iter().map(|what| text(*what)).collect(),
        }
    }
}

fn text(what: Measure) -> String {
    what.text().to_owned()
}

/// A reading that the causes are weighed by.
#[derive(SimpleObject)]
pub struct BearingReading {
    /// The reading; it says when it was taken.
    reading: Reading,
    /// Whether it is of an earlier call on the machine, and so perhaps of before a repair.
    is_of_earlier_call: bool,
}

/// What may have burnt a joint, by what was measured. A help to whoever looks at it, and no code rule.
#[derive(SimpleObject)]
pub struct Bearings {
    /// All five causes, the most telling first; none where the readings cannot be used.
    causes: Vec<CauseBearing>,
    /// Why the readings cannot be used together; null where they can.
    unusable: Option<String>,
    /// The readings they are weighed by, oldest first.
    readings: Vec<BearingReading>,
    /// What to mind before touching it.
    cautions: Vec<String>,
}

impl Bearings {
    /// The causes as they are weighed for a flag of this call.
    pub fn of(examined: Examined<'_>, call_id: i64) -> Self {
        let used = examined.readings.into_iter().map(|row| BearingReading {
            is_of_earlier_call: row.call_id != call_id,
            reading: row.clone().into(),
        });
        let readings = used.collect();
        match examined.report {
            Ok(report) => Self {
                causes: report.bearings.into_iter().map(Into::into).collect(),
                unusable: None,
                readings,
                cautions: (report.cautions.iter())
                    .map(|caution| caution.text().to_owned())
                    .collect(),
            },
            Err(refusal) => Self {
                causes: Vec::new(),
                unusable: Some(format!("The readings do not fit together: {refusal}.")),
                readings,
                cautions: Vec::new(),
            },
        }
    }
}
