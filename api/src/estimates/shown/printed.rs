//! Frozen content as people see it: the link's page, the PDF and the mail.
//!
//! What stays true: all three are made from the frozen content alone, so that they say the same for ever.

use nameplate_documents as documents;
use nameplate_entities::estimate_revision;
use nameplate_rules::estimate::repair_or_replace::Weighing;
use nameplate_rules::estimate::{Content, Line, OfferOption, TaxLevel, Taxed};
use nameplate_rules::money::Cents;

use crate::base::letter::{CustomerMail, EstimateMail, MailOption, MailShop};
use crate::base::wording;
use crate::base::{Error, Result};
use crate::estimates::shown::page::{
    EstimatePage, LineView, OptionView, PlateFigure, PlateView, ShopView, TaxView,
};
use crate::pricing;
use crate::shop::Settings;

/// The sentence a customer agrees to by accepting.
pub(in crate::estimates) const CONSENT: &str = "By accepting I ask the shop to do the work of the chosen option at the total shown. \
    My name, the time and my network address are recorded with this answer.";

/// What a sent revision says.
///
/// # Errors
/// Internal, for a revision that was never sent or holds what cannot be read.
pub fn content(revision: &estimate_revision::Model) -> Result<Content> {
    let text = revision
        .content_json
        .as_deref()
        .ok_or_else(|| Error::internal("a revision has no frozen content"))?;
    serde_json::from_str(text).map_err(|error| Error::caused("frozen content", error))
}

/// The shop as a link page names it; from its settings, never from an estimate.
pub fn shop_view(settings: &Settings) -> ShopView {
    ShopView {
        name: settings.row.name.clone(),
        phone: wording::phone(&settings.row.phone_e164),
        phone_link: settings.row.phone_e164.clone(),
    }
}

/// The page behind a link.
pub fn page(content: Content, shop: ShopView, token: &str, content_hash: &str) -> EstimatePage {
    let figure = |label, value| PlateFigure { label, value };
    let (since, different) = (changed_since(&content), changes(&content));
    let revision = shown_revision(&content);
    let figures = weighing(&content);
    let registration = Some(content.shop.registration).filter(|line| !line.is_empty());
    EstimatePage {
        token: token.to_owned(),
        shop,
        shop_lines: content
            .shop
            .address
            .into_iter()
            .chain(registration)
            .collect(),
        number: content.number,
        revision,
        issued_on: wording::day(content.sent_on),
        valid_until: wording::day(content.valid_until),
        customer_name: content.customer.name,
        appliance: PlateView {
            appliance_type: content.appliance.kind,
            make: content.appliance.make,
            model: content.appliance.model,
            serial: content.appliance.serial,
            is_shop_tag: content.appliance.is_shop_tag,
            ratings: content
                .ratings
                .into_iter()
                .map(|rating| figure(rating.label, rating.value))
                .collect(),
        },
        problem_told: content.complaint,
        found: content.found,
        currency: content.currency,
        options: (1..).zip(content.options).map(option_view).collect(),
        changed_since: since,
        changes: different,
        weighing: figures,
        notes: paragraphs(&content.notes),
        warranty: content.warranty,
        terms: content.terms,
        local_lines: content.around.local_lines,
        pictures: content
            .around
            .pictures
            .into_iter()
            .map(|picture| picture.words)
            .collect(),
        cautions: content.around.cautions,
        consent: agreed(content.around.consent),
        content_hash: content_hash.to_owned(),
        ..EstimatePage::default()
    }
}

fn option_view((position, option): (usize, OfferOption)) -> OptionView {
    let (option, taxed) = as_printed(option);
    OptionView {
        id: position.to_string(),
        subtotal: option.subtotal.to_string(),
        discount: discount(option.discount).unwrap_or_default(),
        total: option.total.to_string(),
        deposit: deposit(&option).unwrap_or_default(),
        notes: paragraphs(&option.notes),
        title: option.title,
        summary: option.summary,
        lines: headings(&option.lines)
            .into_iter()
            .zip(option.lines)
            .zip(taxed)
            .map(|((section, line), taxed)| LineView {
                section,
                ..line_view(line, taxed)
            })
            .collect(),
        tax_lines: option
            .tax_levels
            .into_iter()
            .map(|level| TaxView {
                level: pricing::level_printed(level.kind, &level.name),
                rate: rate(&level),
                amount: level.tax.to_string(),
            })
            .collect(),
    }
}

fn line_view(line: Line, taxed: Taxed) -> LineView {
    LineView {
        kind: kind(&line),
        unit_price: line.unit_price.to_string(),
        amount: line.net.to_string(),
        taxed: taxed.words(),
        note: line.note(),
        description: line.description,
        quantity: line.quantity,
        section: String::new(),
    }
}

/// The sentence agreed to; estimates sent before it was frozen with them had this one.
pub fn agreed(consent: String) -> String {
    if consent.is_empty() {
        CONSENT.to_owned()
    } else {
        consent
    }
}

/// The heading to print above each line: a section's name above its first line.
fn headings(lines: &[Line]) -> Vec<String> {
    let mut current = "";
    let mut headings = Vec::with_capacity(lines.len());
    for line in lines {
        let begins = line.section != current;
        current = &line.section;
        headings.push(if begins {
            line.section.clone()
        } else {
            String::new()
        });
    }
    headings
}

/// The deposit wanted, with the share it was agreed as; none for none.
fn deposit(option: &OfferOption) -> Option<String> {
    let wanted = option.deposit?;
    (wanted.amount != Cents::ZERO).then(|| match wanted.percent {
        Some(percent) => format!("{} ({percent} % of the total)", wanted.amount),
        None => wanted.amount.to_string(),
    })
}

/// The revision, for who had another one before; drafts that were never sent count for nobody.
fn shown_revision(content: &Content) -> String {
    let changes = content.changes.as_ref();
    changes.map_or_else(String::new, |_| content.revision.to_string())
}

fn changed_since(content: &Content) -> String {
    let changes = content.changes.as_ref();
    changes.map_or_else(String::new, |changes| changes.since.to_string())
}

fn changes(content: &Content) -> Vec<String> {
    let changes = content.changes.as_ref();
    changes.map_or_else(Vec::new, |changes| changes.sentences.clone())
}

fn weighing(content: &Content) -> Vec<String> {
    let weighing = content.weighing.as_ref();
    weighing.map_or_else(Vec::new, Weighing::sentences)
}

/// The PDF's document, with its pictures and the answer, if there is one.
pub fn document(
    content: Content,
    pictures: Vec<documents::Picture>,
    (answered_by_link, accepted): (bool, Option<String>),
) -> documents::EstimateDocument {
    let (since, different) = (changed_since(&content), changes(&content));
    let revision = shown_revision(&content);
    let figures = weighing(&content);
    let service_address = if content.customer.service_address == content.customer.billing_address {
        Vec::new()
    } else {
        content.customer.service_address
    };
    documents::EstimateDocument {
        shop: documents::ShopBlock {
            name: content.shop.name,
            address_lines: content.shop.address,
            phone: content.shop.phone,
            email: content.shop.email,
            licence_line: Some(content.shop.registration).filter(|line| !line.is_empty()),
        },
        customer: documents::CustomerBlock {
            name: content.customer.name,
            address_lines: content.customer.billing_address,
            service_address_lines: service_address,
            phone: None,
            email: None,
        },
        appliance: documents::ApplianceBlock {
            appliance_type: content.appliance.kind,
            make: content.appliance.make,
            model: content.appliance.model,
            serial: content.appliance.serial,
            is_shop_tag: content.appliance.is_shop_tag,
            ratings: content
                .ratings
                .into_iter()
                .map(|rating| documents::PlateEntry {
                    label: rating.label,
                    value: rating.value,
                })
                .collect(),
        },
        number: content.number,
        revision,
        issued_on: content.sent_on.to_string(),
        valid_until: Some(content.valid_until.to_string()),
        currency: content.currency,
        problem_told: content.complaint,
        found: content.found,
        changed_since: since,
        changes: different,
        weighing: figures,
        options: content.options.into_iter().map(option_block).collect(),
        notes: paragraphs(&content.notes),
        warranty: content.warranty,
        terms: content.terms,
        cautions: content.around.cautions,
        local_lines: content.around.local_lines,
        pictures,
        answered_by_link,
        accepted,
    }
}

fn option_block(option: OfferOption) -> documents::OptionBlock {
    let (option, taxed) = as_printed(option);
    documents::OptionBlock {
        subtotal: option.subtotal.to_string(),
        discount: discount(option.discount),
        total: option.total.to_string(),
        deposit: deposit(&option),
        notes: paragraphs(&option.notes),
        title: option.title,
        summary: option.summary,
        lines: headings(&option.lines)
            .into_iter()
            .zip(option.lines)
            .zip(taxed)
            .map(|((section, line), taxed)| documents::DocumentLine {
                section: Some(section).filter(|section| !section.is_empty()),
                ..document_line(line, taxed)
            })
            .collect(),
        tax_lines: option
            .tax_levels
            .into_iter()
            .map(|level| documents::TaxLine {
                level: pricing::level_printed(level.kind, &level.name),
                rate: rate(&level),
                amount: level.tax.to_string(),
            })
            .collect(),
    }
}

fn document_line(line: Line, taxed: Taxed) -> documents::DocumentLine {
    documents::DocumentLine {
        kind: kind(&line),
        unit_price: line.unit_price.to_string(),
        amount: line.net.to_string(),
        taxed: taxed != Taxed::No,
        note: line.note_with_tax(taxed),
        description: line.description,
        quantity: line.quantity,
        section: None,
    }
}

/// The option as it is printed, and how much of each line is taxed; its sums were checked when it was frozen, so they fit.
fn as_printed(option: OfferOption) -> (OfferOption, Vec<Taxed>) {
    let untold = vec![Taxed::No; option.lines.len()];
    option.clone().as_printed().unwrap_or((option, untold))
}

/// The mail that brings the link.
pub fn mail(content: Content, link: String) -> EstimateMail {
    let (since, different) = (changed_since(&content), changes(&content));
    let revision = shown_revision(&content);
    let label = content.appliance.serial_label();
    let machine = [
        content.appliance.kind,
        format!("{} {}", content.appliance.make, content.appliance.model),
        format!("{label} {}", content.appliance.serial),
    ];
    EstimateMail {
        shop: MailShop {
            name: content.shop.name,
            address_lines: content.shop.address,
            phone: content.shop.phone,
            email: content.shop.email,
        },
        customer_name: content.customer.name,
        number: content.number,
        revision,
        appliance_line: machine.join(", "),
        problem_told: content.complaint,
        message: String::new(),
        changed_since: since,
        changes: different,
        currency: content.currency,
        options: content
            .options
            .into_iter()
            .map(|option| MailOption {
                deposit: deposit(&option).unwrap_or_default(),
                total: option.total.to_string(),
                title: option.title,
            })
            .collect(),
        valid_until: wording::day(content.valid_until),
        link,
    }
}

/// The mail that reminds of what has no answer yet.
pub fn reminder(
    content: Content,
    (link, stop_link): (String, String),
    ends_soon: bool,
) -> CustomerMail {
    let (number, until) = (&content.number, wording::day(content.valid_until));
    let machine = &content.appliance;
    let machine = format!("{}, {} {}", machine.kind, machine.make, machine.model);
    let headline = if ends_soon {
        format!("Estimate {number} ends soon")
    } else {
        format!("Estimate {number} waits for your answer")
    };
    CustomerMail {
        headline,
        sentences: vec![
            format!(
                "On {} we sent you estimate {number} for your appliance ({machine}). We have no answer yet.",
                wording::day(content.sent_on)
            ),
            format!("You can accept or decline it until {until}."),
        ],
        link,
        link_label: "See the estimate and answer".to_owned(),
        stop_link,
        ..to_customer(content)
    }
}

/// The mail that confirms an acceptance, which these sentences tell.
pub fn confirmation(content: Content, mut sentences: Vec<String>) -> CustomerMail {
    sentences.push(
        "If this is not what you agreed to, please call us before the work begins. The estimate is attached as PDF."
            .to_owned(),
    );
    CustomerMail {
        headline: format!("Your acceptance of estimate {}", content.number),
        sentences,
        ..to_customer(content)
    }
}

fn to_customer(content: Content) -> CustomerMail {
    CustomerMail {
        shop: MailShop {
            name: content.shop.name,
            address_lines: content.shop.address,
            phone: content.shop.phone,
            email: content.shop.email,
        },
        customer_name: content.customer.name,
        ..CustomerMail::default()
    }
}

/// Name of the PDF file.
pub fn file_name(content: &Content) -> String {
    format!("estimate-{}-{}.pdf", content.number, content.revision)
}

fn kind(line: &Line) -> String {
    pricing::charge_printed(pricing::charge_for_row(line.kind)).to_owned()
}

fn rate(level: &TaxLevel) -> String {
    format!("{} %", level.rate)
}

/// A discount with its sign; none for nothing.
fn discount(amount: Cents) -> Option<String> {
    (amount != Cents::ZERO).then(|| format!("-{amount}"))
}

fn paragraphs(text: &str) -> Vec<String> {
    text.split("\n\n")
        .map(|paragraph| paragraph.trim().to_owned())
        .filter(|paragraph| !paragraph.is_empty())
        .collect()
}
