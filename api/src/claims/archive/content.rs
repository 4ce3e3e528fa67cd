//! What a claim says, in one value: the content of `claim.json`, from which the other files are made.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use nameplate_entities::kinds::ChargeKind;
use nameplate_entities::{attachment, customer, invoice_line, service_address};
use nameplate_rules::claims::FailureCodes;
use serde::{Deserialize, Serialize};

use super::super::known::{Done, Found, Known, Paper};
use super::super::required::required_of;
use super::super::words;
use crate::base::{Error, Result};
use crate::estimates::parties;
use crate::shop::Settings;

/// The name of the format, and which edition of it.
const FORMAT: &str = "nameplate-claim";
const EDITION: u32 = 1;

/// Everything a payer is told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Content {
    pub format: String,
    pub edition: u32,
    /// ISO 4217, of every amount; amounts are whole hundredths of it.
    pub currency: String,
    pub number: String,
    pub programme: String,
    pub payer: String,
    pub payer_reference: Option<String>,
    pub file_by: Option<NaiveDate>,
    pub submission: Option<Submission>,
    pub shop: Party,
    pub customer: Party,
    pub cover: Cover,
    pub appliance: Appliance,
    pub call: Call,
    pub complaint: String,
    pub diagnosis: String,
    pub codes: Option<FailureCodes>,
    pub work: Vec<Work>,
    pub invoice: Invoice,
    pub lines: Vec<Line>,
    pub amounts: Amounts,
    /// How it was counted where less than the price is asked; none in what was sent before this was kept.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub counted: Vec<String>,
    pub asked: Vec<Asked>,
    pub papers: Vec<ContentPaper>,
}

/// How it goes out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Submission {
    /// How many times it went out, this one counted.
    pub count: u64,
    pub on: NaiveDate,
    /// What the shop answers to the payer's question, or why it is late.
    pub note: Option<String>,
}

/// A name with where it is reached.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Party {
    pub name: String,
    pub address: Vec<String>,
    pub phone: Option<String>,
    pub email: Option<String>,
    pub registration: Option<String>,
}

/// What the machine holds of the programme.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cover {
    pub contract_number: Option<String>,
    /// The days that cover counts from, by event, as far as they are known.
    pub starts: BTreeMap<String, NaiveDate>,
}

/// The machine, as its plate names it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Appliance {
    #[serde(rename = "type")]
    pub of_type: String,
    pub make: String,
    pub model: String,
    pub serial: Option<String>,
    pub shop_tag: Option<String>,
    pub ratings: Vec<PlateFigure>,
}

/// A figure of the plate.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlateFigure {
    pub label: String,
    pub value: String,
}

/// The call.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Call {
    pub number: String,
    pub failed_on: NaiveDate,
    pub opened_on: NaiveDate,
    pub completed_on: Option<NaiveDate>,
}

/// A finding, and what was done about it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Work {
    pub component: String,
    pub failure: String,
    pub position: Option<String>,
    pub cause: Option<String>,
    pub note: Option<String>,
    pub done: Vec<Remedy>,
}

/// What was done.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Remedy {
    pub method: String,
    pub labour_minutes: i32,
    pub note: Option<String>,
    pub parts: Vec<PartUsed>,
}

/// A part that was fitted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PartUsed {
    pub number: String,
    pub description: String,
    /// A plain decimal.
    pub quantity: String,
}

/// The payer's invoice.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Invoice {
    pub number: String,
    pub issued_on: NaiveDate,
    pub due_on: NaiveDate,
}

/// A charge.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Line {
    pub position: i32,
    pub kind: String,
    pub description: String,
    pub part_number: Option<String>,
    /// A plain decimal.
    pub quantity: String,
    pub unit_price_cents: i64,
    /// Before discount and tax.
    pub net_cents: i64,
    pub discount_cents: i64,
    pub tax_cents: i64,
    pub labour_minutes: Option<i32>,
}

/// What is asked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[expect(
    clippy::struct_field_names,
    reason = "the names that readers of claim.json see, unit last"
)]
pub struct Amounts {
    pub net_cents: i64,
    pub discount_cents: i64,
    pub tax_cents: i64,
    pub total_cents: i64,
}

/// What the terms ask for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Asked {
    /// What it is called; none in what was sent before this was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    pub is_there: bool,
    pub words: String,
}

/// A paper that goes with it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ContentPaper {
    pub evidence: String,
    /// Its name in the archive; none for a kept part or a number.
    pub file: Option<String>,
    pub media_type: Option<String>,
    pub sha256: Option<String>,
    pub byte_count: Option<i64>,
    /// The tag of a kept part.
    pub tag: Option<String>,
    pub part: Option<String>,
    pub note: Option<String>,
    /// The shop's own number of the file.
    pub attachment: Option<i64>,
}

/// Who is named in it.
pub struct Places<'a> {
    pub settings: &'a Settings,
    pub customer: &'a customer::Model,
    pub address: Option<&'a service_address::Model>,
    pub payer: &'a customer::Model,
    /// What the lines that were decided on say.
    pub says: &'a [String],
}

impl Content {
    /// What a claim says now.
    pub fn of(known: &Known, places: &Places<'_>, submission: Option<Submission>) -> Self {
        let claim = &known.claim;
        Self {
            format: FORMAT.to_owned(),
            edition: EDITION,
            currency: places.settings.row.currency.clone(),
            number: claim.number.clone(),
            programme: known.programme.name.clone(),
            payer: places.payer.name.clone(),
            payer_reference: claim.payer_reference.clone(),
            file_by: claim.file_by,
            submission,
            shop: shop(places.settings),
            customer: customer(places),
            cover: cover(known),
            appliance: appliance(known),
            call: Call {
                number: known.call.number.clone(),
                failed_on: known.decision.failed_on,
                opened_on: known.call.opened_on,
                completed_on: known.call.completed_on,
            },
            complaint: claim.complaint.clone(),
            diagnosis: claim.diagnosis.clone(),
            codes: (claim.codes_json.as_deref()).and_then(|text| serde_json::from_str(text).ok()),
            work: (known.done.found.iter())
                .map(|found| work(&known.done, found))
                .collect(),
            invoice: Invoice {
                number: known.invoice.number.clone(),
                issued_on: known.invoice.issued_on,
                due_on: known.invoice.due_on,
            },
            lines: (known.lines.iter()).map(|row| line(known, row)).collect(),
            amounts: Amounts {
                net_cents: known.invoice.net_cents,
                discount_cents: known.invoice.discount_cents,
                tax_cents: known.invoice.tax_cents,
                total_cents: known.invoice.total_cents,
            },
            counted: (known.kept).counted(places.says, |held| {
                (held.terms_id, held.cover_id) == (Some(claim.terms_id), claim.cover_id)
            }),
            asked: (required_of(known).into_iter())
                .map(|wanted| Asked {
                    name: Some(wanted.wanted.name()),
                    is_there: wanted.is_there,
                    words: wanted.words,
                })
                .collect(),
            papers: papers(&known.papers),
        }
    }

    /// As `claim.json`.
    ///
    /// # Errors
    /// Internal only.
    pub fn json(&self) -> Result<Vec<u8>> {
        let mut text = serde_json::to_vec_pretty(self)
            .map_err(|error| Error::caused("content of an archive", error))?;
        text.push(b'\n');
        Ok(text)
    }
}

fn shop(settings: &Settings) -> Party {
    let block = parties::shop_block(settings);
    Party {
        name: block.name,
        address: block.address,
        phone: Some(block.phone),
        email: Some(block.email),
        registration: Some(block.registration).filter(|text| !text.is_empty()),
    }
}

/// The customer, where the machine stands.
fn customer(places: &Places<'_>) -> Party {
    let block = places
        .address
        .map(|address| parties::customer_block(places.customer, address));
    Party {
        name: places.customer.name.clone(),
        address: block.map_or_else(Vec::new, |block| block.service_address),
        phone: None,
        email: None,
        registration: None,
    }
}

fn cover(known: &Known) -> Cover {
    let starts = &known.starts;
    let days = [
        ("manufacture", starts.manufacture),
        ("purchase", starts.purchase),
        ("delivery", starts.delivery),
        ("installation", starts.installation),
        ("repair", starts.repair),
        ("contract", starts.contract),
    ];
    Cover {
        contract_number: (known.cover.as_ref()).and_then(|row| row.contract_number.clone()),
        starts: (days.into_iter())
            .filter_map(|(event, day)| Some((event.to_owned(), day?)))
            .collect(),
    }
}

fn appliance(known: &Known) -> Appliance {
    Appliance {
        of_type: known.of_type.name.clone(),
        make: known.machine.make.clone(),
        model: known.machine.model.clone(),
        serial: known.machine.serial.clone(),
        shop_tag: known.machine.shop_tag.clone(),
        ratings: (parties::ratings(&known.machine).into_iter())
            .map(|rating| PlateFigure {
                label: rating.label,
                value: rating.value,
            })
            .collect(),
    }
}

fn work(done: &Done, found: &Found) -> Work {
    let finding = &found.work.finding;
    let remedies = found.work.remedies.iter().map(|(remedy, used)| Remedy {
        method: words::method(remedy.method).to_owned(),
        labour_minutes: remedy.labour_minutes,
        note: remedy.note.clone(),
        parts: (used.iter())
            .filter_map(|used| {
                let part = done.parts.iter().find(|part| part.id == used.part_id)?;
                Some(PartUsed {
                    number: part.number.clone(),
                    description: part.description.clone(),
                    quantity: used.quantity.0.normalize().to_string(),
                })
            })
            .collect(),
    });
    Work {
        component: found.component.clone(),
        failure: found.failure.clone(),
        position: finding.position.clone(),
        cause: finding.cause.clone(),
        note: finding.note.clone(),
        done: remedies.collect(),
    }
}

fn line(known: &Known, row: &invoice_line::Model) -> Line {
    let part = (known.done.parts.iter()).find(|part| Some(part.id) == row.part_id);
    Line {
        position: row.position,
        kind: charge(row.kind).to_owned(),
        description: row.description.clone(),
        part_number: part.map(|part| part.number.clone()),
        quantity: row.quantity.0.normalize().to_string(),
        unit_price_cents: row.unit_price_cents,
        net_cents: row.net_cents,
        discount_cents: row.discount_cents,
        tax_cents: row.tax_cents,
        labour_minutes: row.labour_minutes,
    }
}

const fn charge(kind: ChargeKind) -> &'static str {
    match kind {
        ChargeKind::Part => "part",
        ChargeKind::Labour => "labour",
        ChargeKind::Trip => "trip",
        ChargeKind::Diagnostic => "diagnostic",
        ChargeKind::Freight => "freight",
        ChargeKind::Fee => "fee",
    }
}

/// Papers in the order they were added; what was removed or scrapped is left out.
fn papers(papers: &[Paper]) -> Vec<ContentPaper> {
    let there = papers.iter().filter(|paper| paper.is_there());
    (1_u32..)
        .zip(there)
        .map(|(place, paper)| {
            let evidence = words::evidence_key(paper.row.evidence);
            let file = paper.attachment.as_ref();
            ContentPaper {
                evidence: evidence.to_owned(),
                file: file.map(|row| format!("attachments/{place:02}-{evidence}.{}", ending(row))),
                media_type: file.map(|row| row.media_type.clone()),
                sha256: file.map(|row| row.sha256.clone()),
                byte_count: file.map(|row| row.byte_count),
                tag: paper.kept_part.as_ref().map(|part| part.number.clone()),
                part: (paper.kept_part.as_ref()).map(|part| part.description.clone()),
                note: (paper.row.note.clone()).or_else(|| file.and_then(|row| row.caption.clone())),
                attachment: file.map(|row| row.id),
            }
        })
        .collect()
}

/// The ending of a file by what it is.
fn ending(row: &attachment::Model) -> &'static str {
    match row.media_type.as_str() {
        "image/jpeg" => "jpg",
        "image/png" => "png",
        "image/webp" => "webp",
        "application/pdf" => "pdf",
        _ => "bin",
    }
}
