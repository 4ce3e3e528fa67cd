//! Findings and remedies as the sentences of a claim, and the names of what it asks for.

use nameplate_entities::kinds::{EvidenceKind, Method};
use nameplate_entities::{part_used, remedy};
use nameplate_rules::coverage::{Evidence, StartEvent};

use super::known::{Done, Found};

/// What was found and done, in words: a paragraph for each finding.
pub fn diagnosis(done: &Done) -> String {
    let paragraphs: Vec<String> = (done.found.iter())
        .map(|found| paragraph(done, found))
        .collect();
    paragraphs.join("\n\n")
}

fn paragraph(done: &Done, found: &Found) -> String {
    let finding = &found.work.finding;
    let place = (finding.position.as_deref()).map_or_else(String::new, |at| format!(" ({at})"));
    let mut sentences = vec![format!("{}: {}{place}.", found.component, found.failure)];
    let cause = (finding.cause.as_deref()).map(|cause| sentence(&format!("Cause: {cause}")));
    sentences.extend(cause);
    sentences.extend(finding.note.as_deref().map(sentence));
    let remedies = found.work.remedies.iter();
    sentences.extend(
        remedies.map(|(remedy, used)| {
            sentence(&format!("Done: {}", remedy_words(done, (remedy, used))))
        }),
    );
    sentences.join(" ")
}

/// A text that ends like a sentence.
fn sentence(text: &str) -> String {
    let text = text.trim();
    if text.ends_with(['.', '!', '?']) {
        text.to_owned()
    } else {
        format!("{text}.")
    }
}

fn remedy_words(done: &Done, (remedy, used): (&remedy::Model, &[part_used::Model])) -> String {
    let parts: Vec<String> = (used.iter())
        .filter_map(|used| {
            let part = done.parts.iter().find(|part| part.id == used.part_id)?;
            let quantity = used.quantity.0.normalize();
            Some(format!("{quantity} × {} {}", part.number, part.description))
        })
        .collect();
    let minutes = remedy.labour_minutes;
    let said = [
        Some(method(remedy.method).to_owned()),
        (!parts.is_empty()).then(|| format!("with {}", parts.join(", "))),
        (minutes > 0).then(|| format!("{minutes} minutes")),
        remedy.note.as_deref().map(|note| note.trim().to_owned()),
    ];
    said.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// What was done, in a word.
pub const fn method(method: Method) -> &'static str {
    match method {
        Method::Replaced => "replaced",
        Method::ReTerminated => "re-terminated",
        Method::Spliced => "spliced",
        Method::Cleaned => "cleaned",
        Method::Adjusted => "adjusted",
        Method::Tightened => "tightened",
        Method::Unblocked => "unblocked",
        Method::Other => "other work",
        Method::None => "nothing",
    }
}

/// What a payer wants to see, as kept.
pub const fn evidence_kind(evidence: Evidence) -> EvidenceKind {
    match evidence {
        Evidence::ProofOfPurchase => EvidenceKind::ProofOfPurchase,
        Evidence::PlatePicture => EvidenceKind::PlatePicture,
        Evidence::FaultPicture => EvidenceKind::FaultPicture,
        Evidence::OldPart => EvidenceKind::OldPart,
        Evidence::CustomerSignature => EvidenceKind::CustomerSignature,
        Evidence::ContractNumber => EvidenceKind::ContractNumber,
    }
}

/// The same for the rules.
pub const fn evidence_rule(kind: EvidenceKind) -> Evidence {
    match kind {
        EvidenceKind::ProofOfPurchase => Evidence::ProofOfPurchase,
        EvidenceKind::PlatePicture => Evidence::PlatePicture,
        EvidenceKind::FaultPicture => Evidence::FaultPicture,
        EvidenceKind::OldPart => Evidence::OldPart,
        EvidenceKind::CustomerSignature => Evidence::CustomerSignature,
        EvidenceKind::ContractNumber => Evidence::ContractNumber,
    }
}

/// Its name in a file, and in a path of the input.
pub const fn evidence_key(evidence: EvidenceKind) -> &'static str {
    match evidence {
        EvidenceKind::ProofOfPurchase => "proof_of_purchase",
        EvidenceKind::PlatePicture => "plate_picture",
        EvidenceKind::FaultPicture => "fault_picture",
        EvidenceKind::OldPart => "old_part",
        EvidenceKind::CustomerSignature => "customer_signature",
        EvidenceKind::ContractNumber => "contract_number",
    }
}

/// Its name for whoever reads it.
pub const fn evidence_words(evidence: EvidenceKind) -> &'static str {
    match evidence {
        EvidenceKind::ProofOfPurchase => "Proof of purchase",
        EvidenceKind::PlatePicture => "Picture of the rating plate",
        EvidenceKind::FaultPicture => "Picture of the fault",
        EvidenceKind::OldPart => "Part taken out",
        EvidenceKind::CustomerSignature => "The customer's signature",
        EvidenceKind::ContractNumber => "Contract number",
    }
}

/// What would bring it.
pub const fn evidence_settles(evidence: EvidenceKind) -> &'static str {
    match evidence {
        EvidenceKind::ProofOfPurchase => {
            "A scan of the receipt on the machine or the call settles this."
        }
        EvidenceKind::PlatePicture => "A picture of the rating plate settles this.",
        EvidenceKind::FaultPicture => "A picture of what failed settles this.",
        EvidenceKind::OldPart => "The part that was taken out, kept under its tag, settles this.",
        EvidenceKind::CustomerSignature => {
            "A scan of the paper that the customer signed settles this."
        }
        EvidenceKind::ContractNumber => {
            "The number of the contract on the cover, or as a paper of the claim, settles this."
        }
    }
}

/// A day that cover counts from, in a path of the input.
pub const fn start_key(event: StartEvent) -> &'static str {
    match event {
        StartEvent::Manufacture => "manufacture",
        StartEvent::Purchase => "purchase",
        StartEvent::Delivery => "delivery",
        StartEvent::Installation => "installation",
        StartEvent::Repair => "repair",
        StartEvent::Contract => "contract",
    }
}

/// The name of a kind of evidence by its name in a file.
pub fn evidence_of_key(key: &str) -> &'static str {
    let kinds = [
        EvidenceKind::ProofOfPurchase,
        EvidenceKind::PlatePicture,
        EvidenceKind::FaultPicture,
        EvidenceKind::OldPart,
        EvidenceKind::CustomerSignature,
        EvidenceKind::ContractNumber,
    ];
    let found = kinds.into_iter().find(|kind| evidence_key(*kind) == key);
    found.map_or("Paper", evidence_words)
}
