//! The terms of a programme as they are typed, held against what the rules take.

use chrono::NaiveDate;
use nameplate_entities::warranty_payer;
use nameplate_rules::coverage::{
    Covers, Evidence, Exclusion, Pays, Programme, Rank, RestBearer, Segment, StartEvent,
};
use nameplate_rules::dates::{self, OutOfUseCount, Term};
use nameplate_rules::flags::ComponentClass;
use nameplate_rules::money::Cents;
use nameplate_rules::percent::Percent;
use rust_decimal::Decimal;
use serde::Serialize;

use crate::base::{Checks, ProblemCode};

/// Most segments of one programme.
const SEGMENTS_MAX: usize = 20;
/// Longest term, in months; a heat exchanger has the longest that is common.
const MONTHS_MAX: u32 = 1_200;
/// Longest term, in days.
const DAYS_MAX: u32 = 36_500;
/// Longest time to file, and longest time after a repair that did not hold.
const FILE_DAYS_MAX: i32 = 3_650;

/// A stretch of cover as typed.
#[derive(Clone, Debug, Serialize)]
pub struct NewSegment {
    pub covers: Vec<Covers>,
    pub component_class: Option<String>,
    pub start: StartEvent,
    pub after: Option<Term>,
    pub through: Term,
    pub percent: Decimal,
    pub at_most: Option<Cents>,
    pub flat_labour: Option<Cents>,
}

/// The terms of a programme as typed.
#[derive(Clone, Debug, Serialize)]
pub struct NewTerms {
    /// For cover that begins on this day or later.
    pub applies_from: NaiveDate,
    /// Whether cover goes with the machine when it changes hands.
    pub stays_with_machine: bool,
    pub days_to_file: Option<i32>,
    pub segments: Vec<NewSegment>,
    pub exclusions: Vec<Exclusion>,
    pub evidence: Vec<Evidence>,
    pub deductible: Cents,
    pub labour_rate: Option<Cents>,
    pub distance_rate: Option<Cents>,
    pub out_of_use: Option<OutOfUseCount>,
    pub failed_repair_days: Option<i32>,
    /// Who bears what rates, flat labor and caps leave. When left out the customer, where the payer lets its rest be billed,
    /// or else the shop.
    pub rest_borne_by: Option<RestBearer>,
}

impl NewTerms {
    /// The programme that the rules read; every problem is named with its field.
    pub fn checked(
        &self,
        checks: &mut Checks,
        (name, rank): (&str, Rank),
        payer: &warranty_payer::Model,
    ) -> Programme {
        let count = self.segments.len();
        if count == 0 || count > SEGMENTS_MAX {
            let message =
                format!("A programme has 1 to {SEGMENTS_MAX} segments; this has {count}.");
            checks.refuse(ProblemCode::OutOfRange, "segments", message);
        }
        let segments = (self.segments.iter().take(SEGMENTS_MAX).enumerate())
            .filter_map(|(at, segment)| segment.checked(checks, at))
            .collect();
        checks.not_negative("deductible", self.deductible);
        for (path, rate) in [
            ("labourRate", self.labour_rate),
            ("distanceRate", self.distance_rate),
        ] {
            if let Some(rate) = rate {
                checks.positive(path, rate);
            }
        }
        if let Some(days) = self.days_to_file {
            checks.between("daysToFile", days, (1, FILE_DAYS_MAX));
        }
        if self.rest_borne_by == Some(RestBearer::Customer) && !payer.may_bill_rest {
            let message = "What this payer does not pay may not be billed to the customer (mayBillRest), so the shop bears what \
                 its rates and caps leave. Leave this out, or change the payer first.";
            checks.refuse(ProblemCode::WrongState, "restBorneBy", message);
        }
        let failed = self.failed_repair_days.map(|days| {
            checks.between("failedRepairDays", days, (1, FILE_DAYS_MAX));
            u32::try_from(days).unwrap_or(0)
        });
        Programme {
            name: name.to_owned(),
            rank,
            segments,
            exclusions: self.exclusions.iter().copied().collect(),
            evidence: self.evidence.iter().copied().collect(),
            deductible: self.deductible,
            labour_rate: self.labour_rate,
            distance_rate: self.distance_rate,
            out_of_use: self.out_of_use,
            failed_repair_days: failed,
            rest_borne_by: self.rest_borne_by.unwrap_or(if payer.may_bill_rest {
                RestBearer::Customer
            } else {
                RestBearer::Shop
            }),
        }
    }
}

impl NewSegment {
    fn checked(&self, checks: &mut Checks, at: usize) -> Option<Segment> {
        let path = |field: &str| format!("segments.{at}.{field}");
        if self.covers.is_empty() {
            let message = "Say what it pays: parts, labor, trip.";
            checks.refuse(ProblemCode::Missing, &path("covers"), message);
        }
        let class = self.component_class.as_deref().map(str::trim);
        let class = class.filter(|class| !class.is_empty());
        if let Some(class) = class
            && ComponentClass::ALL.iter().all(|known| known.key() != class)
        {
            let known: Vec<&str> = ComponentClass::ALL
                .iter()
                .map(|known| known.key())
                .collect();
            let message = format!("No such class; it is one of {}.", known.join(", "));
            checks.refuse(ProblemCode::NotFound, &path("componentClass"), message);
        }
        length(checks, &path("through"), self.through);
        if let Some(after) = self.after {
            length(checks, &path("after"), after);
            self.follows(checks, &path("after"), after);
        }
        for (field, amount) in [("atMost", self.at_most), ("flatLabour", self.flat_labour)] {
            if let Some(amount) = amount {
                checks.positive(&path(field), amount);
            }
        }
        let percent = match Percent::new(self.percent) {
            Ok(percent) if percent > Percent::ZERO => percent,
            Ok(_) => {
                let message = "A segment that pays nothing is left out.";
                checks.refuse(ProblemCode::OutOfRange, &path("percent"), message);
                return None;
            }
            Err(refusal) => {
                let message = format!("{refusal}.");
                checks.refuse(ProblemCode::OutOfRange, &path("percent"), message);
                return None;
            }
        };
        Some(Segment {
            covers: self.covers.iter().copied().collect(),
            component_class: class.map(str::to_owned),
            start: self.start,
            after: self.after,
            through: self.through,
            pays: Pays {
                percent,
                at_most: self.at_most,
                flat_labour: self.flat_labour,
            },
        })
    }

    /// A segment must end after it begins, whatever the day it is counted from.
    fn follows(&self, checks: &mut Checks, path: &str, after: Term) {
        let day = NaiveDate::from_ymd_opt(2000, 1, 1).unwrap_or_default();
        let ends = |term| dates::cover_through(day, term);
        if let (Ok(begins), Ok(ends)) = (ends(after), ends(self.through))
            && begins >= ends
        {
            let message = "The segment would end before it begins.";
            checks.refuse(ProblemCode::OutOfRange, path, message);
        }
    }
}

fn length(checks: &mut Checks, path: &str, term: Term) {
    match term {
        Term::Days(days) => checks.between(path, days, (1, DAYS_MAX)),
        Term::Months(months) => checks.between(path, months, (1, MONTHS_MAX)),
        Term::Years(years) => checks.between(path, years, (1, MONTHS_MAX / 12)),
    };
}
