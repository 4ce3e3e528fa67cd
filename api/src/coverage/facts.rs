//! What is known of a failure: from the call's findings, its pictures and kept parts, and what the desk adds.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use nameplate_entities::kinds::AttachmentKind;
use nameplate_entities::{appliance, service_call};
use nameplate_rules::callback::NO_FAULT_FOUND;
use nameplate_rules::coverage::{Case, EarlierRepair, Evidence, Exclusion, Finding};
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

/// The case of a call.
///
/// # Errors
/// Internal only.
pub async fn of_call(
    db: &impl ConnectionTrait,
    (call, machine): (&service_call::Model, &appliance::Model),
    (failed_on, found, said): (NaiveDate, Option<&Found>, &Said),
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
    found: Option<&Found>,
) -> Result<Case> {
    let mut circumstances = BTreeSet::new();
    let used = warranty::use_of(db, machine.id).await?;
    if used.is_some_and(|used| used.in_business == Some(true)) {
        circumstances.insert(Exclusion::CommercialUse);
    }
    if found.is_some_and(|found| found.failure_key == NO_FAULT_FOUND) {
        circumstances.insert(Exclusion::NoFaultFound);
    }
    let repairs = store::repairs_before(db, machine.id, failure).await?;
    Ok(Case {
        failed_on: failure.on,
        finding: found.map(|found| Finding {
            component: found.component.clone(),
            component_class: Some(ComponentClass::named(&found.component).key().to_owned()),
            failure: found.failure_key.clone(),
        }),
        circumstances,
        unsettled: BTreeSet::new(),
        evidence: BTreeSet::new(),
        repairs: (repairs.into_iter())
            .map(|repair| EarlierRepair {
                component: repair.component,
                failure: repair.failure_key,
                failed_on: repair.opened_on,
                completed_on: repair.completed_on,
            })
            .collect(),
    })
}
