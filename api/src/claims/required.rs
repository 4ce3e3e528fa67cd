//! What a claim must have before it goes out: what is there, and what would settle what is missing.

use std::collections::BTreeSet;

use nameplate_entities::kinds::EvidenceKind;
use nameplate_rules::coverage::{Answer, Missing, Reason, StartEvent};

use super::known::Known;
use super::words;

/// What is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    Make,
    Model,
    Serial,
    /// The day from which cover counts.
    Start(StartEvent),
    /// The day the call was completed.
    Completion,
    /// What failed.
    Finding,
    Complaint,
    Diagnosis,
    /// By the programme's terms.
    Evidence(EvidenceKind),
}

/// One thing that a claim must have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Requirement {
    pub wanted: Wanted,
    pub is_there: bool,
    /// What is there; or what is missing, and what would settle it.
    pub words: String,
}

impl Wanted {
    /// What it is called on the claim's paper.
    pub fn name(self) -> String {
        let name = match self {
            Self::Make => "Make",
            Self::Model => "Model",
            Self::Serial => "Serial number",
            Self::Start(event) => return format!("Day of {event}"),
            Self::Completion => "Completed",
            Self::Finding => "What failed",
            Self::Complaint => "Complaint",
            Self::Diagnosis => "Found and done",
            Self::Evidence(kind) => words::evidence_words(kind),
        };
        name.to_owned()
    }

    /// Where a refusal for want of it points.
    pub fn path(self) -> String {
        let key = match self {
            Self::Make => "make",
            Self::Model => "model",
            Self::Serial => "serial",
            Self::Start(event) => return format!("required.start.{}", words::start_key(event)),
            Self::Completion => "completion",
            Self::Finding => "finding",
            Self::Complaint => "complaint",
            Self::Diagnosis => "diagnosis",
            Self::Evidence(kind) => {
                return format!("required.evidence.{}", words::evidence_key(kind));
            }
        };
        format!("required.{key}")
    }
}

/// All that a claim must have, in the order of a reader.
pub fn required_of(known: &Known) -> Vec<Requirement> {
    let mut all = of_the_plate(known);
    all.extend(
        starts_wanted(known)
            .into_iter()
            .map(|event| of_start(known, event)),
    );
    all.extend(of_the_work(known));
    let evidence = known.terms.evidence.iter().copied();
    all.extend(evidence.map(|evidence| of_evidence(known, words::evidence_kind(evidence))));
    all
}

fn said(wanted: Wanted, there: Option<String>, missing: &str) -> Requirement {
    let there = there.filter(|text| !text.trim().is_empty());
    Requirement {
        wanted,
        is_there: there.is_some(),
        words: there.unwrap_or_else(|| missing.to_owned()),
    }
}

fn of_the_plate(known: &Known) -> Vec<Requirement> {
    let machine = &known.machine;
    vec![
        said(
            Wanted::Make,
            Some(machine.make.clone()),
            "The make of the machine is not known; its plate shows it.",
        ),
        said(
            Wanted::Model,
            Some(machine.model.clone()),
            "The model of the machine is not known; its plate shows it.",
        ),
        said(
            Wanted::Serial,
            machine.serial.clone(),
            "The serial number of the machine is not known; its plate or the customer's papers show it.",
        ),
    ]
}

/// The days from which the segments that pay count, and those that the decision asked for.
fn starts_wanted(known: &Known) -> BTreeSet<StartEvent> {
    let Some(place) = known.place() else {
        return BTreeSet::new();
    };
    let segments = &known.terms.segments;
    let in_force = known.kept.decision.steps.iter().filter_map(|step| {
        match (step.registration == Some(place), &step.reason) {
            (true, Reason::InForce { segment, .. }) => segments.get(*segment),
            _ => None,
        }
    });
    let mut wanted: BTreeSet<StartEvent> = in_force.map(|segment| segment.start).collect();
    if let Some(Answer::PaysOnce(missing)) = known.kept.decision.answers.get(place) {
        wanted.extend(missing.iter().filter_map(|missing| match missing {
            Missing::Start { event } => Some(*event),
            _ => None,
        }));
    }
    wanted
}

fn of_start(known: &Known, event: StartEvent) -> Requirement {
    let missing = format!("The day of {event} is not known; a paper that shows it settles this.");
    let day = known.starts.of(event);
    said(
        Wanted::Start(event),
        day.map(|day| format!("Day of {event}: {day}")),
        &missing,
    )
}

fn of_the_work(known: &Known) -> Vec<Requirement> {
    let finding = known.done.found.first();
    vec![
        said(
            Wanted::Completion,
            known
                .call
                .completed_on
                .map(|day| format!("Completed: {day}")),
            "The call is not completed; complete it first.",
        ),
        said(
            Wanted::Finding,
            finding.map(|found| format!("{}: {}", found.component, found.failure)),
            "No finding is recorded on the call; record what failed.",
        ),
        said(
            Wanted::Complaint,
            Some(known.claim.complaint.clone()),
            "The claim does not say what the customer noticed.",
        ),
        said(
            Wanted::Diagnosis,
            Some(known.claim.diagnosis.clone()),
            "The claim does not say what was found and done.",
        ),
    ]
}

fn of_evidence(known: &Known, kind: EvidenceKind) -> Requirement {
    let name = words::evidence_words(kind);
    let missing = format!(
        "{name} is asked for and not there. {}",
        words::evidence_settles(kind)
    );
    let contract = (known.cover.as_ref())
        .filter(|_| kind == EvidenceKind::ContractNumber)
        .and_then(|cover| cover.contract_number.clone());
    let papers = known.papers.iter();
    let papers = papers.filter(|paper| paper.row.evidence == kind && paper.is_there());
    let there = match (contract, papers.count()) {
        (Some(number), _) => Some(format!("{name}: {number}")),
        (None, 0) => None,
        (None, 1) => Some(format!("{name}: 1 paper")),
        (None, count) => Some(format!("{name}: {count} papers")),
    };
    said(Wanted::Evidence(kind), there, &missing)
}
