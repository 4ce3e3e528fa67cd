//! The page of a claim.

use super::*;

#[test]
fn a_claim_shows_the_plate_what_was_found_and_what_is_missing() -> Outcome {
    let fact = |label: &str, value: &str| ClaimFact {
        label: label.to_owned(),
        value: value.to_owned(),
    };
    let document = ClaimDocument {
        shop: invoice()?.shop,
        payer: "Halvorsen Claims".to_owned(),
        customer: invoice()?.customer,
        appliance: invoice()?.appliance.unwrap_or_default(),
        number: "CL-000003".to_owned(),
        dated_on: "2026-12-02".to_owned(),
        facts: vec![
            fact("Bought on", "2026-01-10"),
            fact("Programme", "First year"),
        ],
        currency: "USD".to_owned(),
        complaint: "It does not heat".to_owned(),
        diagnosis: "Upper element: open circuit.".to_owned(),
        codes: vec![fact("Symptom", "110")],
        answer: None,
        lines: invoice()?.lines,
        subtotal: "1205.00".to_owned(),
        discount: None,
        tax: "0.08".to_owned(),
        total: "1205.08".to_owned(),
        counted: vec!["First year allows 85.00 for Labor, by its rate.".to_owned()],
        asked: vec![
            fact("Serial number", "There: Q7-118823"),
            fact("Complaint", "There: as written above"),
            fact(
                "Proof of purchase",
                "Missing: Proof of purchase is asked for and not there. A scan of the receipt settles this.",
            ),
        ],
        papers: vec![fact("Part taken out", "kept under tag KP-000001")],
    };
    let pdf = claim_pdf(&document)?;
    assert_eq!(pdf, claim_pdf(&document)?, "the same input, the same bytes");
    let text = text_of(&pdf)?;
    for part in [
        "CL-000003",
        "December 2, 2026",
        "Halvorsen Claims",
        "It does not heat",
        "Upper element",
        "110",
        "1,205.08",
        "How it is counted",
        "allows 85.00 for Labor",
        "KP-000001",
        "Serial number",
        "There: Q7-118823",
        "Proof of purchase",
        "Missing: Proof of purchase is asked for",
    ] {
        assert!(text.contains(part), "{part} is missing from:\n{text}");
    }
    Ok(())
}
