//! A claim on paper.

use nameplate_documents as documents;
use nameplate_rules::money::Cents;

use super::super::words;
use super::content::{Asked, ContentPaper, Line};
use super::{Content, Submission};
use crate::base::{Error, Result};

/// The page as PDF.
///
/// # Errors
/// Internal, when the typesetter fails.
pub fn of(content: &Content) -> Result<Vec<u8>> {
    documents::claim_pdf(&document(content)).map_err(|error| Error::caused("claim PDF", error))
}

fn document(content: &Content) -> documents::ClaimDocument {
    let amounts = &content.amounts;
    let machine = &content.appliance;
    let shop = &content.shop;
    let submission = content.submission.as_ref();
    documents::ClaimDocument {
        shop: documents::ShopBlock {
            name: shop.name.clone(),
            address_lines: shop.address.clone(),
            phone: shop.phone.clone().unwrap_or_default(),
            email: shop.email.clone().unwrap_or_default(),
            licence_line: shop.registration.clone(),
        },
        payer: content.payer.clone(),
        customer: documents::CustomerBlock {
            name: content.customer.name.clone(),
            address_lines: content.customer.address.clone(),
            ..documents::CustomerBlock::default()
        },
        appliance: documents::ApplianceBlock {
            appliance_type: machine.of_type.clone(),
            make: machine.make.clone(),
            model: machine.model.clone(),
            serial: (machine.serial.clone())
                .or_else(|| machine.shop_tag.clone())
                .unwrap_or_default(),
            is_shop_tag: machine.serial.is_none() && machine.shop_tag.is_some(),
            ratings: (machine.ratings.iter())
                .map(|figure| documents::PlateEntry {
                    label: figure.label.clone(),
                    value: figure.value.clone(),
                })
                .collect(),
        },
        number: content.number.clone(),
        dated_on: submission
            .map_or(content.invoice.issued_on, |sent| sent.on)
            .to_string(),
        facts: facts(content),
        currency: content.currency.clone(),
        complaint: content.complaint.clone(),
        diagnosis: content.diagnosis.clone(),
        codes: codes(content),
        answer: submission.and_then(answer),
        lines: content.lines.iter().map(line).collect(),
        subtotal: Cents(amounts.net_cents).to_string(),
        discount: (amounts.discount_cents != 0)
            .then(|| format!("-{}", Cents(amounts.discount_cents))),
        tax: Cents(amounts.tax_cents).to_string(),
        total: Cents(amounts.total_cents).to_string(),
        counted: content.counted.clone(),
        asked: (content.asked.iter())
            .map(|asked| required(asked, content))
            .collect(),
        papers: content.papers.iter().map(paper).collect(),
    }
}

/// What is asked for by name, and what of it is there. What the paper says further up is not said twice.
fn required(asked: &Asked, content: &Content) -> documents::ClaimFact {
    let state = if asked.is_there { "There" } else { "Missing" };
    let Some(name) = asked.name.clone() else {
        return documents::ClaimFact {
            label: state.to_owned(),
            value: asked.words.clone(),
        };
    };
    let said = [&content.complaint, &content.diagnosis];
    let words = if asked.is_there && said.contains(&&asked.words) {
        "as written above"
    } else {
        let named = asked.words.strip_prefix(name.as_str());
        let value = named.and_then(|rest| rest.strip_prefix(": "));
        value.unwrap_or(&asked.words)
    };
    documents::ClaimFact {
        value: format!("{state}: {words}"),
        label: name,
    }
}

fn answer(submission: &Submission) -> Option<String> {
    submission.note.clone()
}

fn fact(label: &str, value: Option<String>) -> Option<documents::ClaimFact> {
    Some(documents::ClaimFact {
        label: label.to_owned(),
        value: value?,
    })
}

fn facts(content: &Content) -> Vec<documents::ClaimFact> {
    let day = |label: &str, key: &str| {
        let day = content.cover.starts.get(key);
        fact(label, day.map(ToString::to_string))
    };
    let call = &content.call;
    let given = [
        fact("Programme", Some(content.programme.clone())),
        fact("Contract", content.cover.contract_number.clone()),
        fact("Your reference", content.payer_reference.clone()),
        fact("Call", Some(call.number.clone())),
        fact("Invoice", Some(content.invoice.number.clone())),
        day("Bought on", "purchase"),
        day("Delivered on", "delivery"),
        day("Installed on", "installation"),
        day("Made on", "manufacture"),
        day("Part fitted on", "repair"),
        day("Contract from", "contract"),
        fact("Failed on", Some(call.failed_on.to_string())),
        fact("Completed on", call.completed_on.map(|day| day.to_string())),
    ];
    given.into_iter().flatten().collect()
}

fn codes(content: &Content) -> Vec<documents::ClaimFact> {
    let Some(codes) = &content.codes else {
        return Vec::new();
    };
    let joined = |list: &[String]| (!list.is_empty()).then(|| list.join(", "));
    let given = [
        fact("Condition", codes.condition.clone()),
        fact("Extended condition", codes.extended_condition.clone()),
        fact("Symptom", codes.symptom.clone()),
        fact("Section", codes.section.clone()),
        fact("Defect", joined(&codes.defects)),
        fact("Repair", joined(&codes.repairs)),
    ];
    given.into_iter().flatten().collect()
}

fn line(line: &Line) -> documents::DocumentLine {
    let kind = match line.kind.as_str() {
        "part" => "Part",
        "labour" => "Labor",
        "trip" => "Trip",
        "diagnostic" => "Diagnosis",
        "freight" => "Freight",
        _ => "Fee",
    };
    documents::DocumentLine {
        kind: kind.to_owned(),
        description: line.description.clone(),
        note: (line.part_number.as_ref()).map(|number| format!("Part number {number}")),
        quantity: line.quantity.clone(),
        unit_price: Cents(line.unit_price_cents).to_string(),
        amount: Cents(line.net_cents).to_string(),
        taxed: line.tax_cents != 0,
        section: None,
    }
}

fn paper(paper: &ContentPaper) -> documents::ClaimFact {
    let kind = words::evidence_of_key(&paper.evidence);
    let what = [
        paper.file.clone(),
        paper
            .tag
            .as_ref()
            .map(|tag| format!("kept under tag {tag}")),
        paper.part.clone(),
        paper.note.clone(),
    ];
    let what: Vec<String> = what.into_iter().flatten().collect();
    documents::ClaimFact {
        label: kind.to_owned(),
        value: what.join("; "),
    }
}
