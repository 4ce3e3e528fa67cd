//! Holding a bill to the local rules of where the machine stands.

use nameplate_entities::kinds::{ReceivableKind, WhenMissing};
use nameplate_entities::{invoice, service_address, service_call, staff};
use nameplate_rules::estimate::Line;
use nameplate_rules::local_rules::{self, Missing, Paper, PaperKind};
use nameplate_rules::money::Cents;
use nameplate_rules::tax::ChargeKind;
use sea_orm::{ConnectionTrait, EntityTrait};

use crate::base::{Error, Problem, ProblemCode, Result};
use crate::local_rules as places;
use crate::shop;

use crate::invoices::content::Content;
use crate::invoices::store;
use crate::{calls, customers};

use super::writing::Issue;

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
    /// `SettingMissing` at `path` for each thing missing.
    pub fn must_hold(self, path: &'static str) -> Result<Vec<String>> {
        if !self.refuses || self.missing.is_empty() {
            return Ok(self.lines);
        }
        let problem =
            |missing: Missing| Problem::new(ProblemCode::SettingMissing, path, missing.words);
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
    (call, address): (Option<&service_call::Model>, &service_address::Model),
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
        received_on: call.map(|call| call.opened_on),
        promised_on: content.service_on,
        prepared_by: prepared_by.as_deref(),
        // Whether the estimate was in writing is asked of the estimate; a bill is.
        in_writing: true,
        total,
        labour_warranty_days: days,
    };
    let kind = PaperKind::Bill;
    // Over the counter no machine was taken in or repaired, so nothing is asked about one. Work is work, with a call or
    // without.
    let rules = match call {
        None if !content.lines.iter().any(is_work) => found.rules.for_sale_of_goods(),
        _ => found.rules,
    };
    Ok(Held {
        missing: local_rules::missing(&rules, kind, &paper),
        lines: local_rules::lines(&rules, kind, &paper),
        refuses: found.row.when_missing == WhenMissing::Refuse,
    })
}

/// Whether a line charges for work at a machine.
pub fn is_work(line: &Line) -> bool {
    match line.kind {
        ChargeKind::Labour | ChargeKind::Trip | ChargeKind::Diagnostic => true,
        ChargeKind::Part | ChargeKind::Freight | ChargeKind::Fee => false,
    }
}

/// The same words with the lines that the local rules want, if they let the bill go out.
///
/// # Errors
/// `SettingMissing` for each thing missing, at the call or, without one, at the address.
pub async fn held_words(
    db: &impl ConnectionTrait,
    about: (Option<&service_call::Model>, &service_address::Model),
    words: Content,
    issue: &Issue<'_>,
) -> Result<Content> {
    let path = match about.0 {
        Some(_) => "callId",
        None => "serviceAddressId",
    };
    let held = held(db, about, &words, issue.staff_id).await?;
    Ok(Content {
        local_lines: held.must_hold(path)?,
        ..words
    })
}

/// What an issued invoice lacks; nothing for a credit note.
///
/// # Errors
/// Internal only.
pub async fn missing_of(db: &impl ConnectionTrait, row: &invoice::Model) -> Result<Vec<Missing>> {
    let (ReceivableKind::Invoice, Some(address_id)) = (row.kind, row.service_address_id) else {
        return Ok(Vec::new());
    };
    if row.charge_for_invoice_id.is_some() {
        return Ok(Vec::new());
    }
    let content = of_whole_sale(db, row).await?;
    let address = customers::get_address(db, "", address_id).await?;
    let call = match row.call_id {
        Some(call_id) => Some(calls::get_call(db, "", call_id).await?),
        None => None,
    };
    let about = (call.as_ref(), &address);
    Ok(held(db, about, &content, row.issued_by).await?.missing)
}

/// What an invoice says, with the lines of all shares where several payers share a sale: a place asks for what the whole
/// of it says.
///
/// # Errors
/// Internal only.
pub async fn of_whole_sale(db: &impl ConnectionTrait, row: &invoice::Model) -> Result<Content> {
    let mut content = Content::of(row)?;
    if row.division_id.is_some() {
        content.lines.clear();
        for share in store::issued_with(db, row.id).await? {
            content.lines.extend(Content::of(&share)?.lines);
        }
    }
    Ok(content)
}
