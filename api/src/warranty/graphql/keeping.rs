//! Where kept parts went, in the graph.

use async_graphql::{Enum, ID, InputObject};
use chrono::NaiveDate;

use crate::base::Result;
use crate::graphql::ids::Kind;
use crate::payload;

use super::super::operations::keeping::{LeftBy, ReleaseKeptPart};
use super::covers::KeptPart;

/// How a kept part left the shop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum KeptPartOutcome {
    /// It went back to its payer, or its maker.
    SentBack,
    /// It was thrown away.
    Scrapped,
}

impl From<KeptPartOutcome> for LeftBy {
    fn from(outcome: KeptPartOutcome) -> Self {
        match outcome {
            KeptPartOutcome::SentBack => Self::SentBack,
            KeptPartOutcome::Scrapped => Self::Scrapped,
        }
    }
}

/// What became of a kept part.
#[derive(InputObject)]
pub struct ReleaseKeptPartInput {
    /// The kept part.
    kept_part_id: ID,
    /// The version that was read.
    version: i32,
    /// The day it left.
    on: NaiveDate,
    /// How it left.
    outcome: KeptPartOutcome,
    /// Carrier and number of the parcel, of one that was sent back.
    sent_how: Option<String>,
}

impl ReleaseKeptPartInput {
    pub(super) fn command(self) -> Result<ReleaseKeptPart> {
        Ok(ReleaseKeptPart {
            kept_part_id: Kind::KeptPart.row("keptPartId", &self.kept_part_id)?,
            version: self.version,
            on: self.on,
            left_by: self.outcome.into(),
            sent_how: self.sent_how,
        })
    }
}

payload! {
    /// What became of a kept part.
    ReleaseKeptPartPayload {
        /// It as it is now.
        kept_part: KeptPart
    }
}

/// A kept part that did not leave the shop.
#[derive(InputObject)]
pub struct UndoKeptPartReleaseInput {
    /// The kept part.
    kept_part_id: ID,
    /// The version that was read.
    version: i32,
}

impl UndoKeptPartReleaseInput {
    pub(super) fn command(self) -> Result<(i64, i32)> {
        let id = Kind::KeptPart.row("keptPartId", &self.kept_part_id)?;
        Ok((id, self.version))
    }
}

payload! {
    /// What taking it back gave.
    UndoKeptPartReleasePayload {
        /// It as it is now.
        kept_part: KeptPart
    }
}
