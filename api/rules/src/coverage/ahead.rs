//! What can be told of a programme before anybody looked: what it covers through which day, what it waits for, and what is
//! to be brought for it. No money is counted.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use super::decision::{Case, CoverageRefusal};
use super::look::{look, repaired};
use super::programme::{Covers, Evidence, Exclusion, Registration};
use super::window::{Held, Standing, standing};
use super::words::Missing;

/// One segment of a programme, looked at on a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SegmentAhead {
    pub covers: BTreeSet<Covers>,
    /// The class of component it is for; none for all of them.
    pub component_class: Option<String>,
    /// The last day, where its days are known.
    pub through_on: Option<NaiveDate>,
    pub stands: Stands,
}

/// How a segment stands on a day, in short.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Stands {
    InForce,
    /// Its first day is not known.
    NotKnown,
    NotYet,
    Over,
    /// The machine changed hands.
    Lapsed,
}

/// A programme, looked at on a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ahead {
    /// What is known to be so and it does not pay for.
    pub excluded: Option<Exclusion>,
    /// Those that may be for what failed: all of them while that is not known.
    pub segments: Vec<SegmentAhead>,
    /// Whether what failed is known.
    pub is_found: bool,
    /// What it waits for; nothing where it would not pay in any case.
    pub missing: Vec<Missing>,
    /// The evidence it asks for that is not at hand.
    pub bring: Vec<Evidence>,
}

impl Ahead {
    /// Whether it may pay: nothing is known that keeps it from it.
    #[must_use]
    pub fn may_pay(&self) -> bool {
        let runs =
            |segment: &SegmentAhead| matches!(segment.stands, Stands::InForce | Stands::NotKnown);
        self.excluded.is_none() && self.segments.iter().any(runs)
    }

    /// The last day of those in force that pay for this; a segment for one kind of component counts once it is known to
    /// have failed.
    #[must_use]
    pub fn through(&self, covers: Covers) -> Option<NaiveDate> {
        let counts = |segment: &&SegmentAhead| {
            segment.stands == Stands::InForce
                && segment.covers.contains(&covers)
                && (self.is_found || segment.component_class.is_none())
        };
        let counted = self.segments.iter().filter(counts);
        counted.filter_map(|segment| segment.through_on).max()
    }
}

/// Looks at a programme for a failure that was told of on the day of the case.
///
/// # Errors
/// Dates beyond the calendar.
///
/// # Source
/// The same windows and evidence as [`super::decide`] goes by.
pub fn ahead(case: &Case, registration: &Registration) -> Result<Ahead, CoverageRefusal> {
    let programme = &registration.programme;
    let mut segments = Vec::with_capacity(programme.segments.len());
    let class = case.finding.as_ref().map(|found| &found.component_class);
    let repaired = repaired(case, registration);
    for segment in &programme.segments {
        let is_other = |class: &Option<String>| {
            segment.component_class.is_some() && segment.component_class != *class
        };
        if class.is_some_and(is_other) {
            continue;
        }
        let standing = standing(segment, registration, case.failed_on, &repaired)?;
        let (stands, through_on) = short(standing);
        segments.push(SegmentAhead {
            covers: segment.covers.clone(),
            component_class: segment.component_class.clone(),
            through_on,
            stands,
        });
    }
    let excluded = programme.exclusions.intersection(&case.circumstances);
    let missing = look(case, 0, registration, &mut Vec::new())?.map(|look| look.lacks());
    let asked = programme.evidence.difference(&case.evidence);
    Ok(Ahead {
        excluded: excluded.copied().next(),
        segments,
        is_found: case.finding.is_some(),
        bring: if missing.is_some() {
            asked.copied().collect()
        } else {
            Vec::new()
        },
        missing: missing.unwrap_or_default(),
    })
}

/// A standing in short, and the last day where it is known.
fn short(standing: Standing) -> (Stands, Option<NaiveDate>) {
    match standing {
        Standing::InForce { held } => {
            let through_on = match held {
                Held::Dates { dates } | Held::EarliestStart { dates } => dates.through_on,
                Held::FailedRepair { through_on, .. } => through_on,
            };
            (Stands::InForce, Some(through_on))
        }
        Standing::StartUnknown => (Stands::NotKnown, None),
        Standing::NotYet { dates } => (Stands::NotYet, Some(dates.through_on)),
        Standing::Over { dates, .. } => (Stands::Over, Some(dates.through_on)),
        Standing::Lapsed { lapsed_on } => (Stands::Lapsed, Some(lapsed_on)),
    }
}

#[cfg(test)]
mod tests {
    use super::super::decision::Finding;
    use super::super::programme::{
        EarlierRepair, Pays, Programme, Rank, RestBearer, Segment, StartEvent, Starts,
    };
    use super::*;
    use crate::dates::Term;
    use crate::money::Cents;
    use crate::percent::Percent;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a day")
    }

    fn segment(covers: &[Covers], class: Option<&str>, months: u32) -> Segment {
        Segment {
            covers: covers.iter().copied().collect(),
            component_class: class.map(str::to_owned),
            start: StartEvent::Purchase,
            after: None,
            through: Term::Months(months),
            pays: Pays {
                percent: Percent::parse("100").expect("all"),
                at_most: None,
                flat_labour: None,
            },
        }
    }

    /// A year of everything and ten years of parts of the motor, bought on 10 January 2025.
    fn held(purchase: Option<&str>) -> Registration {
        Registration {
            programme: Programme {
                name: "Maker".to_owned(),
                rank: Rank::ApplianceMaker,
                segments: vec![
                    segment(&[Covers::Parts, Covers::Labour], None, 12),
                    segment(&[Covers::Parts], Some("motor"), 120),
                ],
                exclusions: BTreeSet::from([Exclusion::CommercialUse]),
                evidence: BTreeSet::from([Evidence::ProofOfPurchase, Evidence::OldPart]),
                deductible: Cents::ZERO,
                labour_rate: None,
                distance_rate: None,
                out_of_use: None,
                failed_repair_days: None,
                rest_borne_by: RestBearer::Customer,
            },
            starts: Starts {
                purchase: purchase.map(day),
                ..Starts::default()
            },
            component: None,
            lapsed_on: None,
            out_of_use: Vec::new(),
            repairs: Vec::new(),
            same_as: None,
        }
    }

    fn case(on: &str, class: Option<&str>) -> Case {
        Case {
            failed_on: day(on),
            finding: class.map(|class| Finding {
                component: "Something".to_owned(),
                component_class: Some(class.to_owned()),
                failure: "worn".to_owned(),
            }),
            circumstances: BTreeSet::new(),
            unsettled: BTreeSet::new(),
            also_found: Vec::new(),
            is_finding_named: false,
            evidence: BTreeSet::from([Evidence::OldPart]),
        }
    }

    /// By hand: twelve months from 10 January 2025 end with 10 January 2026, a hundred and twenty with 10 January 2035.
    #[test]
    fn before_a_finding_only_what_is_for_every_component_has_a_last_day() {
        let seen = ahead(&case("2026-01-10", None), &held(Some("2025-01-10"))).expect("seen");
        assert!(seen.may_pay());
        assert_eq!(seen.through(Covers::Parts), Some(day("2026-01-10")));
        assert_eq!(seen.through(Covers::Labour), Some(day("2026-01-10")));
        assert_eq!(seen.through(Covers::Trip), None);
        assert_eq!(seen.bring, [Evidence::ProofOfPurchase]);
        let all = seen.segments.iter().map(|segment| segment.through_on);
        assert_eq!(
            all.collect::<Vec<_>>(),
            [Some(day("2026-01-10")), Some(day("2035-01-10"))]
        );
        let later = ahead(
            &case("2026-01-11", Some("motor")),
            &held(Some("2025-01-10")),
        );
        let later = later.expect("seen");
        assert_eq!(later.through(Covers::Parts), Some(day("2035-01-10")));
        assert_eq!(later.through(Covers::Labour), None);
        let other = ahead(&case("2026-01-11", Some("pump")), &held(Some("2025-01-10")));
        let other = other.expect("seen");
        assert!(!other.may_pay());
        assert_eq!((other.segments.len(), other.missing.len()), (1, 0));
        assert!(
            other.bring.is_empty(),
            "nothing to bring where nothing is paid"
        );
    }

    /// The year ended with 10 January 2026; the motor was repaired under it on 8 January, and sixty days count until 9 March.
    #[test]
    fn cover_by_a_repair_that_did_not_hold_is_told_as_in_force() {
        let mut held = held(Some("2025-01-10"));
        held.programme.failed_repair_days = Some(60);
        held.repairs.push(EarlierRepair {
            component: "Something".to_owned(),
            failure: "worn".to_owned(),
            failed_on: day("2026-01-05"),
            completed_on: day("2026-01-08"),
        });
        let seen = ahead(&case("2026-03-09", Some("pump")), &held).expect("seen");
        assert!(seen.may_pay());
        assert_eq!(seen.through(Covers::Labour), Some(day("2026-03-09")));
        let late = ahead(&case("2026-03-10", Some("pump")), &held).expect("seen");
        assert!(!late.may_pay());
        held.repairs.clear();
        let unpaid = ahead(&case("2026-03-09", Some("pump")), &held).expect("seen");
        assert!(!unpaid.may_pay(), "no repair that it paid");
    }

    #[test]
    fn a_day_that_is_not_known_and_what_is_not_paid_for_are_told() {
        let unknown = ahead(&case("2026-01-10", None), &held(None)).expect("seen");
        assert!(unknown.may_pay());
        assert_eq!(unknown.through(Covers::Parts), None);
        let event = StartEvent::Purchase;
        assert!(unknown.missing.contains(&Missing::Start { event }));
        let mut in_business = case("2025-06-01", None);
        in_business.circumstances.insert(Exclusion::CommercialUse);
        let excluded = ahead(&in_business, &held(Some("2025-01-10"))).expect("seen");
        assert_eq!(excluded.excluded, Some(Exclusion::CommercialUse));
        assert!(!excluded.may_pay() && excluded.bring.is_empty());
    }
}
