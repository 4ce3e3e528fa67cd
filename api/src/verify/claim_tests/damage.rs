//! Damage to claims is found and named.

use super::*;

/// What is done to the rows, and how the finding begins.
const TAMPERED: [(&str, &str); 18] = [
    (
        "UPDATE claim SET claimed_cents = claimed_cents - 1",
        "claim 1: cents claimed",
    ),
    (
        "UPDATE claim SET state = 'approved'",
        "claim 1: it is approved",
    ),
    (
        "UPDATE claim_step SET state = 'paid' WHERE step = 'submit'",
        "claim 1: the step submit does not follow",
    ),
    (
        "UPDATE claim_step SET step = 'appeal' WHERE step = 'make_ready'",
        "claim 1: the step appeal does not follow",
    ),
    (
        "UPDATE claim_step SET taken_on = '2020-01-01' WHERE step = 'make_ready'",
        "claim 1: a step is dated before",
    ),
    (
        "UPDATE claim SET submitted_on = NULL",
        "claim 1: a day of submission",
    ),
    ("DELETE FROM claim_sending", "claim 1: archives kept of it"),
    (
        "UPDATE claim SET submitted_on = '2020-01-01'",
        "claim 1: a day of submission before its call",
    ),
    (
        "UPDATE claim SET standing_call_id = NULL, standing_invoice_id = NULL",
        "claim 1: whether it stands",
    ),
    (
        "UPDATE claim SET standing_call_id = standing_call_id + 1",
        "claim 1: whether it stands",
    ),
    (
        "UPDATE receivable SET taken_back = TRUE",
        "claim 1: an invoice that was taken back",
    ),
    (
        "UPDATE claim_sending SET step_id = (SELECT MIN(id) FROM claim_step)",
        "claim_sending 1: claim of the step",
    ),
    (
        "UPDATE claim SET number = 'CL-000007'",
        "claim 1: its number is CL-000007",
    ),
    (
        "UPDATE coverage_portion SET payer_id = NULL",
        "claim 1: a claim whose decision gives its payer nothing",
    ),
    (
        "UPDATE kept_part SET call_id = (SELECT MAX(id) FROM service_call)",
        "claim_paper 2: call of its kept part",
    ),
    (
        "UPDATE attachment SET call_id = (SELECT MAX(id) FROM service_call)",
        "claim_paper 1: a file of another call",
    ),
    (
        "UPDATE invoice SET call_id = (SELECT MAX(id) FROM service_call)",
        "claim 1: call of its invoice",
    ),
    (
        "UPDATE coverage_decision SET call_id = (SELECT MAX(id) FROM service_call)",
        "claim 1: call of its decision",
    ),
];

#[tokio::test]
async fn a_claim_that_was_tampered_with_is_found_and_named() {
    for (sql, expected) in TAMPERED {
        let shop = TestShop::open().await;
        let claimed = shop
            .claimable(vec![Evidence::OldPart, Evidence::FaultPicture], None)
            .await;
        shop.kept(claimed.call.id).await;
        shop.scan(On::Call(claimed.call.id), AttachmentKind::Damage)
            .await;
        shop.opened_call().await;
        let claim = shop.drafted(&claimed).await;
        let claim = shop.ready(&claim).await;
        shop.submitted(&claim).await;
        shop.claims_in_order().await;
        let findings = shop.spoil(sql).await;
        let found = findings.iter().any(|finding| finding.starts_with(expected));
        assert!(found, "{sql} is not found: {findings:#?}");
    }
}

#[tokio::test]
async fn terms_of_another_payer_under_a_claim_are_found() {
    let shop = TestShop::open().await;
    let claimed = shop.claimable(Vec::new(), None).await;
    shop.drafted(&claimed).await;
    let other = customers::add_customer(
        &shop.owner,
        AddCustomer {
            kind: CustomerKind::Organisation,
            name: "Other Payer".to_owned(),
            email: None,
            phone: None,
            billing: None,
            terms_days: None,
            notes: None,
        },
    );
    let ways = PayerWays {
        claim_mail: None,
        claim_days_move_on: false,
        may_bill_rest: false,
        days_to_pay: None,
    };
    let other = warranty::add_warranty_payer(&shop.owner, (other.await.unwrap().id, ways)).await;
    let sql = format!(
        "UPDATE warranty_programme SET payer_id = {}",
        other.unwrap().id
    );
    let findings = shop.spoil(&sql).await;
    let found = findings
        .iter()
        .any(|line| line.starts_with("claim 1: payer of its terms"));
    assert!(found, "{findings:#?}");
}
