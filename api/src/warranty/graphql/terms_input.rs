//! Terms of a programme as they are written down.

use async_graphql::InputObject;
use chrono::NaiveDate;
use nameplate_rules::dates::Term;

use crate::base::{Error, ProblemCode, Result};
use crate::graphql::scalars::{ExactDecimal, Money};

use super::super::{NewSegment, NewTerms};
use super::programmes::{
    CoverEvidence, CoverExclusion, CoverStart, CoveredCharge, OutOfUseDays, TermUnit,
    UnpaidRestBearer,
};

/// A length of cover.
#[derive(InputObject)]
pub struct CoverTermInput {
    /// How many.
    count: i32,
    /// Of what.
    unit: TermUnit,
}

impl CoverTermInput {
    fn term(&self, path: &str) -> Result<Term> {
        let count = u32::try_from(self.count).map_err(|_| {
            let message = format!("{} is below zero.", self.count);
            Error::refused(ProblemCode::OutOfRange, path, message)
        })?;
        Ok(match self.unit {
            TermUnit::Days => Term::Days(count),
            TermUnit::Months => Term::Months(count),
            TermUnit::Years => Term::Years(count),
        })
    }
}

/// A stretch of cover.
#[derive(InputObject)]
pub struct CoverSegmentInput {
    /// What it pays.
    covers: Vec<CoveredCharge>,
    /// The class of component it is for, such as `sealed_system`; left out for all.
    component_class: Option<String>,
    /// The event it is counted from.
    start: CoverStart,
    /// It begins on the day after this; left out: with the event.
    after: Option<CoverTermInput>,
    /// It ends with this, counted from the event; the last day is inside.
    through: CoverTermInput,
    /// What of a hundred it pays; all of it when left out.
    percent: Option<ExactDecimal>,
    /// At most this on one call.
    at_most: Option<Money>,
    /// For all labor of one call, never more than the labor.
    flat_labour: Option<Money>,
}

/// What a programme pays for cover that begins on a day or later.
#[derive(InputObject)]
pub struct ProgrammeTermsInput {
    /// For cover that begins on this day or later.
    applies_from: NaiveDate,
    /// Whether cover goes with the machine when it changes hands; else it lapses.
    stays_with_machine: bool,
    /// Within how many days after completion a claim is filed.
    days_to_file: Option<i32>,
    /// What it pays, and when; 1 to 20.
    segments: Vec<CoverSegmentInput>,
    /// What it does not pay for.
    #[graphql(default)]
    exclusions: Vec<CoverExclusion>,
    /// What its payer wants to see.
    #[graphql(default)]
    evidence: Vec<CoverEvidence>,
    /// What the customer bears on one call; nothing when left out.
    deductible: Option<Money>,
    /// What an hour of labor is paid at most.
    labour_rate: Option<Money>,
    /// What a mile or kilometre of a trip is paid at most.
    distance_rate: Option<Money>,
    /// How days out of use for a covered repair lengthen it; they do not when left out.
    out_of_use: Option<OutOfUseDays>,
    /// So many days after a covered repair the same failure is covered still.
    failed_repair_days: Option<i32>,
    /// Who bears what the rates, the flat labor and the caps leave of what is covered. When left out the customer, where the
    /// payer lets what it does not pay be billed, or else the shop; of such a payer it cannot be the customer.
    rest_borne_by: Option<UnpaidRestBearer>,
}

impl ProgrammeTermsInput {
    /// The terms as the operations take them; paths begin with `below`.
    pub(super) fn command(self, below: &str) -> Result<NewTerms> {
        let segment = |(at, segment): (usize, CoverSegmentInput)| {
            let path = |field: &str| format!("{below}segments.{at}.{field}");
            Ok(NewSegment {
                covers: segment.covers.into_iter().map(Into::into).collect(),
                component_class: segment.component_class,
                start: segment.start.into(),
                after: match segment.after {
                    Some(after) => Some(after.term(&path("after"))?),
                    None => None,
                },
                through: segment.through.term(&path("through"))?,
                percent: segment
                    .percent
                    .map_or(rust_decimal::Decimal::ONE_HUNDRED, |percent| percent.0),
                at_most: segment.at_most.map(|amount| amount.0),
                flat_labour: segment.flat_labour.map(|amount| amount.0),
            })
        };
        Ok(NewTerms {
            applies_from: self.applies_from,
            stays_with_machine: self.stays_with_machine,
            days_to_file: self.days_to_file,
            segments: (self.segments.into_iter().enumerate())
                .map(segment)
                .collect::<Result<_>>()?,
            exclusions: self.exclusions.into_iter().map(Into::into).collect(),
            evidence: self.evidence.into_iter().map(Into::into).collect(),
            deductible: self.deductible.map(|amount| amount.0).unwrap_or_default(),
            labour_rate: self.labour_rate.map(|rate| rate.0),
            distance_rate: self.distance_rate.map(|rate| rate.0),
            out_of_use: self.out_of_use.map(Into::into),
            failed_repair_days: self.failed_repair_days,
            rest_borne_by: self.rest_borne_by.map(Into::into),
        })
    }
}
