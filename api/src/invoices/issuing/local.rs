//! Holding a bill to the local rules of where the machine stands.

use nameplate_entities::kinds::{ReceivableKind, WhenMissing};
use nameplate_entities::{invoice, service_address, service_call, staff};
use nameplate_rules::estimate::Line;
use nameplate_rules::local_rules::{self, Missing, Paper, PaperKind};
use nameplate_rules::money::Cents;
use sea_orm::{ConnectionTrait, EntityTrait};

use crate::base::{Error, Problem, ProblemCode, Result};
use crate::local_rules as places;
use crate::shop;

use crate::invoices::content::Content;
use crate::invoices::store;

/// What a bill lacks, what it prints because the place asks for it, and whether it may go out so.
#[derive(Default)]
pub struct Held {
    pub missing: Vec<Missing>,
    pub lines: Vec<String>,
    refuses: bool,
}

impl Held {
    /// Refuses a bill that lacks something, where the place's rules say so.
    ///
    /// # Errors
    /// `SettingMissing` at `callId` for each thing missing.
    pub fn must_hold(self) -> Result<Vec<String>> {
        if !self.refuses || self.missing.is_empty() {
            return Ok(self.lines);
        }
        let problem =
            |missing: Missing| Problem::new(ProblemCode::SettingMissing, "callId", missing.words);
        Err(Error::Refused(
            self.missing.into_iter().map(problem).collect(),
        ))
    }
}

/// Holds what an invoice says to the rules of its place on its day.
///
/// # Errors
/// Internal only.
pub async fn held(
    db: &impl ConnectionTrait,
    (call, address): (&service_call::Model, &service_address::Model),
    content: &Content,
    issued_by: i64,
) -> Result<Held> {
    let place = (address.country.as_str(), address.region.as_str());
    let Some(found) = places::in_force(db, place, content.issued_on).await? else {
        return Ok(Held::default());
    };
    let settings = shop::settings(db).await?;
    let prepared_by = staff::Entity::find_by_id(issued_by)
        .one(db)
        .await?
        .map(|person| person.name);
    let days = u32::try_from(settings.row.labour_warranty_days)
        .map_err(|error| Error::caused("days of warranty", error))?;
    let sum = |of: fn(&Line) -> Cents| {
        Cents::sum(content.lines.iter().map(of))
            .map_err(|refusal| Error::caused("sum of a bill", refusal))
    };
    let total = sum(|line| line.net)?
        .checked_sub(sum(|line| line.discount)?)
        .ok_or_else(|| Error::internal("sum of a bill"))?;
    let paper = Paper {
        shop: &content.shop,
        customer: &content.customer,
        appliance: &content.appliance,
        complaint: &content.complaint,
        found: &content.found,
        lines: content.lines.iter().collect(),
        one_amount: content.printed_as.one_amount,
        tax_inside: !content.printed_as.with_tax.is_empty(),
        received_on: Some(call.opened_on),
        promised_on: content.service_on,
        prepared_by: prepared_by.as_deref(),
        // Whether the estimate was in writing is asked of the estimate; a bill is.
        in_writing: true,
        total,
        labour_warranty_days: days,
    };
    let kind = PaperKind::Bill;
    Ok(Held {
        missing: local_rules::missing(&found.rules, kind, &paper),
        lines: local_rules::lines(&found.rules, kind, &paper),
        refuses: found.row.when_missing == WhenMissing::Refuse,
    })
}

/// What an issued invoice lacks; nothing for a credit note.
///
/// # Errors
/// Internal only.
pub async fn missing_of(db: &impl ConnectionTrait, row: &invoice::Model) -> Result<Vec<Missing>> {
    let (ReceivableKind::Invoice, Some(call_id)) = (row.kind, row.call_id) else {
        return Ok(Vec::new());
    };
    let billed = store::billed(db, "", call_id).await?;
    let content = Content::of(row)?;
    let about = (&billed.call, &billed.address);
    Ok(held(db, about, &content, row.issued_by).await?.missing)
}
