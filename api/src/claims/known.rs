//! All that a claim rests on: its call and machine, the decision, the terms, what was found and done, and its papers.

use nameplate_entities::{
    appliance, appliance_cover, appliance_type, attachment, claim, claim_paper, component,
    coverage_decision, failure_mode, invoice, invoice_line, kept_part, part, programme_terms,
    service_call, warranty_payer, warranty_programme,
};
use nameplate_rules::coverage::{Programme, Starts};
use sea_orm::ConnectionTrait;

use super::store;
use crate::base::{Error, Result};
use crate::calls::{self, Work};
use crate::coverage::{self, Kept};
use crate::{appliances, attachments, warranty};

/// A paper with what it is.
#[derive(Clone, Debug)]
pub struct Paper {
    pub row: claim_paper::Model,
    /// Also one that was removed since.
    pub attachment: Option<attachment::Model>,
    pub kept_part: Option<kept_part::Model>,
}

impl Paper {
    /// Whether it can still be shown.
    pub fn is_there(&self) -> bool {
        let removed = (self.attachment.as_ref()).is_some_and(|file| file.removed_at.is_some());
        let scrapped = (self.kept_part.as_ref()).is_some_and(|part| part.scrapped_on.is_some());
        !removed && !scrapped
    }
}

/// A finding in words, and what was done about it.
#[derive(Clone, Debug)]
pub struct Found {
    pub component: String,
    pub failure: String,
    pub work: Work,
}

/// What was found and done on a call, with the names of all that it names.
#[derive(Clone, Debug)]
pub struct Done {
    pub found: Vec<Found>,
    pub parts: Vec<part::Model>,
}

/// All that a claim rests on.
#[derive(Clone, Debug)]
pub struct Known {
    pub claim: claim::Model,
    pub call: service_call::Model,
    pub machine: appliance::Model,
    pub of_type: appliance_type::Model,
    pub payer: warranty_payer::Model,
    pub programme: warranty_programme::Model,
    pub terms_row: programme_terms::Model,
    pub terms: Programme,
    pub cover: Option<appliance_cover::Model>,
    pub decision: coverage_decision::Model,
    pub kept: Kept,
    pub invoice: invoice::Model,
    pub lines: Vec<invoice_line::Model>,
    pub done: Done,
    /// The days that cover counts from, as they are on record now.
    pub starts: Starts,
    pub papers: Vec<Paper>,
}

impl Known {
    /// Reads it.
    ///
    /// # Errors
    /// Internal only.
    pub async fn of(db: &impl ConnectionTrait, claim: claim::Model) -> Result<Self> {
        let call = calls::get_call(db, "", claim.call_id).await?;
        let machine = appliances::get_appliance(db, "", call.appliance_id).await?;
        let decision = coverage::get_decision(db, "", claim.decision_id).await?;
        let terms_row = terms_row(db, (claim.programme_id, claim.terms_id)).await?;
        let cover = match claim.cover_id {
            Some(id) => store::cover(db, id).await?,
            None => None,
        };
        let kept = coverage::kept(&decision)?;
        let invoice = store::get_invoice(db, "", claim.invoice_id).await?;
        Ok(Self {
            of_type: appliances::get_type(db, "", machine.appliance_type_id).await?,
            payer: warranty::get_payer(db, "", claim.payer_id).await?,
            programme: warranty::get_programme(db, "", claim.programme_id).await?,
            terms: serde_json::from_str(&terms_row.terms_json)
                .map_err(|error| Error::caused("terms of a programme", error))?,
            lines: store::lines_of(db, invoice.id).await?,
            done: Done::of(db, call.id).await?,
            starts: starts(db, (&machine, &claim), &kept).await?,
            papers: papers(db, claim.id).await?,
            claim,
            call,
            machine,
            terms_row,
            cover,
            decision,
            kept,
            invoice,
        })
    }

    /// Place of the programme among those the decision weighed.
    pub fn place(&self) -> Option<usize> {
        place(&self.kept, &self.claim)
    }
}

/// The papers of a claim with what they are, oldest first.
///
/// # Errors
/// Internal only.
pub async fn papers(db: &impl ConnectionTrait, claim_id: i64) -> Result<Vec<Paper>> {
    let rows = store::papers_of(db, claim_id).await?;
    let files = rows.iter().filter_map(|row| row.attachment_id);
    let files = attachments::by_ids(db, files.collect::<Vec<_>>()).await?;
    let parts = rows.iter().filter_map(|row| row.kept_part_id);
    let parts = store::kept_parts(db, parts.collect()).await?;
    Ok((rows.into_iter())
        .map(|row| Paper {
            attachment: (files.iter())
                .find(|file| Some(file.id) == row.attachment_id)
                .cloned(),
            kept_part: (parts.iter())
                .find(|part| Some(part.id) == row.kept_part_id)
                .cloned(),
            row,
        })
        .collect())
}

fn place(kept: &Kept, claim: &claim::Model) -> Option<usize> {
    (kept.holdings.iter())
        .position(|held| held.terms_id == Some(claim.terms_id) && held.cover_id == claim.cover_id)
}

/// The terms that a claim names.
///
/// # Errors
/// Internal, for terms that are not there.
pub async fn terms_row(
    db: &impl ConnectionTrait,
    (programme_id, terms_id): (i64, i64),
) -> Result<programme_terms::Model> {
    let rows = warranty::terms_of(db, &[programme_id]).await?;
    (rows.into_iter().find(|row| row.id == terms_id))
        .ok_or_else(|| Error::internal("a claim has no terms"))
}

/// Days on record now, and those that the decision knew where the record has none.
async fn starts(
    db: &impl ConnectionTrait,
    (machine, claim): (&appliance::Model, &claim::Model),
    kept: &Kept,
) -> Result<Starts> {
    let then = (place(kept, claim).and_then(|at| kept.holdings.get(at)))
        .map_or_else(Starts::default, |held| held.registration.starts);
    let used = warranty::use_of(db, machine.id).await?;
    Ok(Starts {
        manufacture: machine.made_on.or(then.manufacture),
        purchase: machine.bought_on.or(then.purchase),
        delivery: used.and_then(|used| used.delivered_on).or(then.delivery),
        installation: machine.installed_on.or(then.installation),
        repair: then.repair,
        contract: then.contract,
    })
}

impl Done {
    /// Reads it.
    ///
    /// # Errors
    /// Internal only.
    pub async fn of(db: &impl ConnectionTrait, call_id: i64) -> Result<Self> {
        let work = calls::work_of_calls(db, [call_id]).await?;
        let components: Vec<component::Model> =
            appliances::components_by_ids(db, work.iter().map(|done| done.finding.component_id))
                .await?;
        let modes: Vec<failure_mode::Model> =
            store::failure_modes(db, work.iter().map(|done| done.finding.failure_mode_id)).await?;
        let used = (work.iter().flat_map(|done| &done.remedies))
            .flat_map(|(_, parts)| parts.iter().map(|part| part.part_id));
        let parts = store::parts(db, used.collect()).await?;
        let found = (work.into_iter())
            .map(|work| Found {
                component: (components.iter())
                    .find(|row| row.id == work.finding.component_id)
                    .map_or_else(String::new, |row| row.name.clone()),
                failure: (modes.iter())
                    .find(|row| row.id == work.finding.failure_mode_id)
                    .map_or_else(String::new, |row| row.name.clone()),
                work,
            })
            .collect();
        Ok(Self { found, parts })
    }
}
