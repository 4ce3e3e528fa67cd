//! Payers, what machines hold of their programmes, a decision, a claim paid short, the reserve and a recall, so that
//! something of each of their types can be reached.

use serde_json::json;

use crate::support::database::TestDatabase;
use crate::support::graphql::text;
use crate::support::shop::{Job, Machine, Shop, today};
use crate::support::warranty::Programme;

/// A machine under its maker's programme and a contract, a call decided by them with a part kept, the reserve of a month, and
/// a recall that was looked into; gives the maker.
pub async fn of_everything(
    shop: &mut Shop,
    db: &TestDatabase,
    (machine, job): (&Machine, &Job),
) -> Programme {
    let maker = shop.maker().await;
    let contract = shop.contract().await;
    shop.bought(machine, &today()).await;
    shop.under_contract(machine, &contract, &today()).await;
    let used =
        json!({ "applianceId": machine.appliance_id, "deliveredOn": today(), "inBusiness": false });
    let selection = "appliance { id }";
    shop.done(&shop.office, "changeApplianceUse", used, selection)
        .await;
    let kept = json!({
        "idempotencyKey": shop.key(), "callId": job.call_id, "partId": shop.part_id, "description": "Burnt block",
        "returnBy": today()
    });
    shop.done(&shop.technician, "keepPart", kept, "keptPart { id }")
        .await;
    // Misused, so that not all of it is the shop's own.
    let misused = json!({
        "idempotencyKey": shop.key(), "callId": job.call_id, "facts": { "circumstances": ["MISUSE"] }
    });
    shop.done(&shop.office, "decideCoverage", misused, "decision { id }")
        .await;
    reserved(shop, db).await;
    let codes = json!({
        "failureModeId": machine.mode_id, "codes": { "condition": "1", "symptom": "110", "defects": ["A"] }
    });
    let selection = "failureCodes { id }";
    shop.done(&shop.office, "setFailureCodes", codes, selection)
        .await;
    recalled(shop, machine).await;
    maker
}

/// The reserve of a month that is over. What the month held and what the shop bore of a call is written in by hand: a repair
/// under promise at the end of a month lies before this test begins.
async fn reserved(shop: &mut Shop, db: &TestDatabase) {
    let run = json!({ "idempotencyKey": shop.key(), "through": "2026-01-31" });
    shop.done(&shop.owner, "runWarrantyReserve", run, "run { id }")
        .await;
    db.execute(
        "INSERT INTO reserve_stratum (run_id, appliance_type_id, component_id, repairs, returns, open_repairs, \
         expected_returns, mean_cost, cents, new_repairs, new_cents) \
         SELECT MAX(id), 1, 1, 4, 1, 2, '0.5', '40', 2000, 1, 1000 FROM reserve_run",
    )
    .await;
    db.execute(
        "INSERT INTO call_borne (call_id, borne_on, parts_cents, labour_cents, entry_id, settled_at) \
         SELECT MIN(d.standing_call_id), MIN(e.entry_on), 100, 0, MIN(e.id), MIN(e.posted_at) \
         FROM coverage_decision d CROSS JOIN journal_entry e",
    )
    .await;
}

/// A call billed to the maker, the claim of it that went out, and an advice that pays less.
pub async fn paid_short(shop: &mut Shop, maker: &Programme, machine: &Machine) {
    let job = super::offered(shop, machine, 5).await;
    shop.mend_and_complete(&job).await;
    shop.bought(machine, &today()).await;
    for (kind, shade) in [("PLATE", 30), ("PROOF_OF_PURCHASE", 40)] {
        shop.picture(&machine.appliance_id, kind, shade).await;
    }
    let decided = shop.decide(&job).await;
    let order = json!({
        "idempotencyKey": shop.key(), "callId": job.call_id,
        "coverage": { "decisionId": text(&decided, "decision.id") }
    });
    let issued = shop
        .done(
            &shop.office,
            "issueInvoice",
            order,
            "invoices { id warrantyPayer { id } }",
        )
        .await;
    let bill = crate::support::graphql::list(&issued, "invoices")
        .iter()
        .find(|bill| bill["warrantyPayer"]["id"] == json!(maker.payer_id))
        .expect("a bill of the maker's")
        .clone();
    let draft = json!({ "idempotencyKey": shop.key(), "invoiceId": text(&bill, "id") });
    let selection = "claim { id number version }";
    let drafted = shop
        .done(&shop.office, "draftClaim", draft, selection)
        .await;
    let ready =
        json!({ "claimId": text(&drafted, "claim.id"), "version": drafted["claim"]["version"] });
    let ready = shop
        .done(&shop.office, "makeClaimReady", ready, selection)
        .await;
    let submit = json!({
        "idempotencyKey": shop.key(), "claimId": text(&ready, "claim.id"), "version": ready["claim"]["version"],
        "on": today(), "byMail": false
    });
    let sent = "submission { daysLate }";
    shop.done(&shop.office, "submitClaim", submit, sent).await;
    shop.advice_layout(maker).await;
    let row = format!(
        "{};1.00;;ELR\r\nCL-999999;2.00;;",
        text(&ready, "claim.number")
    );
    shop.advised(maker, ("R-1", row)).await;
}

async fn recalled(shop: &mut Shop, machine: &Machine) {
    let file = json!([{
        "RecallNumber": "26-041", "RecallDate": "2026-02-03", "Title": "Ranges that may overheat", "URL": "https://recalls.example/26-041",
        "Products": [{ "Name": "Electric range", "Make": "Norvane", "ModelPattern": "NR-4*" }],
        "Hazards": [{ "Name": "Fire" }], "Remedies": [{ "Name": "The maker renews the terminal block." }]
    }]);
    let url = format!("{}/recalls", shop.server.base_url());
    let request = shop.server.http().post(url).bearer_auth(&shop.office);
    let answer = request.json(&file).send().await.expect("an answer");
    assert!(answer.status().is_success());
    let query = "query($id: ID!) { appliance(by: { id: $id }) { recalls { recall { id } } } }";
    let asked = json!({ "id": machine.appliance_id });
    let found = shop.ask(&shop.office, query, asked).await;
    let check = json!({
        "recallId": text(&found, "data.appliance.recalls.0.recall.id"), "applianceId": machine.appliance_id,
        "isMeant": true, "toldOn": today()
    });
    shop.done(&shop.office, "checkRecall", check, "check { isMeant }")
        .await;
}
