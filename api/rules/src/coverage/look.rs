//! Whether a programme is asked at all: what failed, when, and what is known to be so, before any money is counted.

use super::decision::{Case, CoverageRefusal, Finding, Line};
use super::payment::is_unmeasured;
use super::programme::{Covers, EarlierRepair, Programme, Registration, Segment};
use super::window::{Held, Repaired, Standing, standing};
use super::words::{Missing, Reason, Step};
use crate::money::Cents;

impl Case {
    /// The findings that may count: one, or several of different components while nobody said which.
    pub(super) fn findings(&self) -> impl Iterator<Item = &Finding> + Clone {
        let also = self.also_found.iter();
        let also = also.take(if self.is_finding_named { 0 } else { usize::MAX });
        self.finding.iter().chain(also)
    }

    /// How something that only some findings meet stands with these.
    fn fits(&self, fits: impl Fn(&Finding) -> bool) -> Fits {
        if self.finding.is_none() {
            return Fits::Unless(Missing::Finding);
        }
        let count = self.findings().filter(|finding| fits(finding)).count();
        match count {
            0 => Fits::No,
            count if count == self.findings().count() => Fits::Yes,
            _ => Fits::Unless(Missing::OneFinding),
        }
    }
}

/// Whether what failed is what something is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fits {
    Yes,
    No,
    /// Yes, once this is known.
    Unless(Missing),
}

/// What a programme would do, before any money is counted.
pub(super) struct Look<'a> {
    /// Place in what was given.
    pub place: usize,
    /// The segments that are in force, or would be once this is known.
    segments: Vec<(&'a Segment, Option<Missing>)>,
    /// What the whole programme waits for.
    missing: Vec<Missing>,
    /// What its rates go by and nobody knows, of lines that it covers.
    unmeasured: Vec<Missing>,
}

impl<'a> Look<'a> {
    /// The segments that pay once everything is settled, or those that pay today.
    pub(super) fn segments(&self, only_sure: bool) -> Vec<&'a Segment> {
        let counts =
            |lacks: &Option<Missing>| !only_sure || (lacks.is_none() && self.missing.is_empty());
        (self.segments.iter())
            .filter(|(_, lacks)| counts(lacks))
            .map(|(segment, _)| *segment)
            .collect()
    }

    pub(super) fn lacks(&self) -> Vec<Missing> {
        let of_segments = self.segments.iter().filter_map(|(_, lacks)| *lacks);
        let of_lines = self.unmeasured.iter().copied();
        let all = self.missing.iter().copied().chain(of_segments);
        let mut lacks: Vec<Missing> = all.chain(of_lines).collect();
        lacks.sort_unstable();
        lacks.dedup();
        lacks
    }

    /// Notes the lines that its rates cannot be applied to.
    pub(super) fn measure(&mut self, programme: &Programme, lines: &[Line]) {
        for (place, line) in lines.iter().enumerate() {
            let is_covered = |covers: Covers| {
                let mut segments = self.segments.iter();
                segments.any(|(segment, _)| segment.covers.contains(&covers))
            };
            let Some(covers) = is_unmeasured(programme, line) else {
                continue;
            };
            if line.amount > Cents::ZERO && is_covered(covers) {
                let line = place;
                self.unmeasured.push(match covers {
                    Covers::Trip => Missing::Distance { line },
                    Covers::Parts | Covers::Labour => Missing::Hours { line },
                });
            }
        }
    }
}

/// Whether a programme is asked at all; the reasons go into the trace.
pub(super) fn look<'a>(
    case: &Case,
    place: usize,
    registration: &'a Registration,
    steps: &mut Vec<Step>,
) -> Result<Option<Look<'a>>, CoverageRefusal> {
    let programme = &registration.programme;
    let mut say = |reason| steps.push(Step::of(place, reason));
    let excluded = programme
        .exclusions
        .intersection(&case.circumstances)
        .next();
    if let Some(exclusion) = excluded.copied() {
        say(Reason::Excluded { exclusion });
        return Ok(None);
    }
    let mut missing = Vec::new();
    if let Some(component) = &registration.component {
        match case.fits(|finding| finding.component == *component) {
            Fits::Yes => {}
            Fits::No => {
                let component = component.clone();
                say(Reason::OtherComponent { component });
                return Ok(None);
            }
            Fits::Unless(lacks) => missing.push(lacks),
        }
    }
    let segments = segments_asked(case, registration, &mut say)?;
    if segments.is_empty() {
        return Ok(None);
    }
    let papers = programme.evidence.difference(&case.evidence);
    missing.extend(papers.map(|evidence| Missing::Evidence {
        evidence: *evidence,
    }));
    let questions = programme.exclusions.intersection(&case.unsettled);
    missing.extend(questions.map(|exclusion| Missing::Answer {
        exclusion: *exclusion,
    }));
    let look = Look {
        place,
        segments,
        missing,
        unmeasured: Vec::new(),
    };
    for missing in look.lacks() {
        say(Reason::Lacks { missing });
    }
    Ok(Some(look))
}

/// The segments of a programme that are in force, or would be once something is known; the reasons go into the trace.
fn segments_asked<'a>(
    case: &Case,
    registration: &'a Registration,
    say: &mut impl FnMut(Reason),
) -> Result<Vec<(&'a Segment, Option<Missing>)>, CoverageRefusal> {
    let repaired = repaired(case, registration);
    let mut segments = Vec::new();
    for (index, segment) in registration.programme.segments.iter().enumerate() {
        let mut lacks = None;
        if let Some(class) = &segment.component_class {
            match case.fits(|finding| finding.component_class.as_ref() == Some(class)) {
                Fits::Yes => {}
                Fits::No => {
                    say(Reason::OtherClass { segment: index });
                    continue;
                }
                Fits::Unless(missing) => lacks = Some(missing),
            }
        }
        match standing(segment, registration, case.failed_on, &repaired)? {
            Standing::InForce { held } => {
                if matches!(held, Held::FailedRepair { .. }) && case.findings().count() > 1 {
                    lacks = Some(Missing::OneFinding);
                }
                let segment = index;
                say(Reason::InForce { segment, held });
            }
            Standing::StartUnknown => {
                let event = segment.start;
                say(Reason::StartUnknown { segment: index });
                lacks = Some(Missing::Start { event });
            }
            over => {
                say(Reason::NotInForce {
                    segment: index,
                    standing: over,
                });
                continue;
            }
        }
        segments.push((segment, lacks));
    }
    Ok(segments)
}

/// Earlier repairs of the failure at hand that this programme paid.
pub(super) fn repaired(case: &Case, registration: &Registration) -> Vec<Repaired> {
    let is_same = |repair: &EarlierRepair| {
        let mut findings = case.findings();
        findings
            .any(|found| (&repair.component, &repair.failure) == (&found.component, &found.failure))
    };
    (registration.repairs.iter())
        .filter(|repair| is_same(repair))
        .map(|repair| (repair.failed_on, repair.completed_on))
        .collect()
}
