//! What is known of a failure: from the call's findings, its pictures and kept parts, and what the desk adds.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use nameplate_entities::kinds::AttachmentKind;
use nameplate_entities::{appliance, service_call};
use nameplate_rules::callback::NO_FAULT_FOUND;
use nameplate_rules::coverage::{Case, Evidence, Exclusion, Finding};
use nameplate_rules::flags::ComponentClass;
use sea_orm::ConnectionTrait;
use serde::Serialize;

use super::holdings::Failure;
use super::store::{self, Found};
use crate::base::Result;
use crate::{attachments, warranty};

/// What the desk says beside what is on record.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Said {
    /// What is so.
    pub circumstances: Vec<Exclusion>,
    /// What was asked and is not settled yet.
    pub unsettled: Vec<Exclusion>,
    /// Evidence that is at hand on paper only.
    pub evidence: Vec<Evidence>,
}

/// What was found to have failed.
#[derive(Clone, Debug, Default)]
pub struct Findings {
    /// The finding that counts, or comes first.
    pub first: Option<Found>,
    /// Those of other components.
    pub others: Vec<Found>,
    /// Whether the desk named the one that counts.
    pub is_named: bool,
}

impl Findings {
    /// Those on a call, of which the desk may have named one.
    ///
    /// # Errors
    /// `NotFound` at `findingId`.
    pub async fn on_call(
        db: &impl ConnectionTrait,
        call_id: i64,
        named_id: Option<i64>,
    ) -> Result<Self> {
        let faults = store::faults_on(db, call_id).await?;
        let first = match named_id {
            Some(id) => Some(store::get_found(db, "findingId", (call_id, id)).await?),
            None => faults.first().cloned(),
        };
        let mut seen = BTreeSet::new();
        seen.extend(first.iter().map(|found| found.component.clone()));
        let others = (faults.into_iter())
            .filter(|found| found.failure_key != NO_FAULT_FOUND)
            .filter(|found| seen.insert(found.component.clone()))
            .collect();
        Ok(Self {
            first,
            others,
            is_named: named_id.is_some(),
        })
    }
}

fn as_rule(found: &Found) -> Finding {
    Finding {
        component: found.component.clone(),
        component_class: Some(ComponentClass::named(&found.component).key().to_owned()),
        failure: found.failure_key.clone(),
    }
}

/// The case of a call.
///
/// # Errors
/// Internal only.
pub async fn of_call(
    db: &impl ConnectionTrait,
    (call, machine): (&service_call::Model, &appliance::Model),
    (failed_on, found, said): (NaiveDate, &Findings, &Said),
) -> Result<Case> {
    let failure = Failure {
        on: failed_on,
        call_id: Some(call.id),
    };
    let mut case = of_machine(db, machine, failure, found).await?;
    let papers = attachments::attached_to_call(db, call).await?;
    case.evidence
        .extend(papers.iter().filter_map(|paper| match paper.kind {
            AttachmentKind::Plate => Some(Evidence::PlatePicture),
            AttachmentKind::ProofOfPurchase => Some(Evidence::ProofOfPurchase),
            AttachmentKind::Damage | AttachmentKind::Before => Some(Evidence::FaultPicture),
            AttachmentKind::After | AttachmentKind::Other => None,
        }));
    let kept = warranty::kept_of_call(db, call.id).await?;
    if kept.iter().any(|part| part.scrapped_on.is_none()) {
        case.evidence.insert(Evidence::OldPart);
    }
    case.evidence.extend(said.evidence.iter().copied());
    case.circumstances
        .extend(said.circumstances.iter().copied());
    let settled = &case.circumstances;
    let open = said
        .unsettled
        .iter()
        .filter(|asked| !settled.contains(asked));
    case.unsettled = open.copied().collect();
    Ok(case)
}

/// The case of a machine without a call: what is known before somebody rings.
///
/// # Errors
/// Internal only.
pub async fn of_machine(
    db: &impl ConnectionTrait,
    machine: &appliance::Model,
    failure: Failure,
    found: &Findings,
) -> Result<Case> {
    let mut circumstances = BTreeSet::new();
    let used = warranty::use_of(db, machine.id).await?;
    if used.is_some_and(|used| used.in_business == Some(true)) {
        circumstances.insert(Exclusion::CommercialUse);
    }
    let first = found.first.as_ref();
    if first.is_some_and(|found| found.failure_key == NO_FAULT_FOUND) {
        circumstances.insert(Exclusion::NoFaultFound);
    }
    Ok(Case {
        failed_on: failure.on,
        finding: first.map(as_rule),
        also_found: found.others.iter().map(as_rule).collect(),
        is_finding_named: found.is_named,
        circumstances,
        unsettled: BTreeSet::new(),
        evidence: BTreeSet::new(),
    })
}
