//! Payers, what machines hold of their programmes, a decision and a recall, so that something of each of their types can
//! be reached.

use serde_json::json;

use crate::support::graphql::text;
use crate::support::shop::{Job, Machine, Shop, today};

/// A machine under its maker's programme and a contract, a call decided by them with a part kept, and a recall that was
/// looked into.
pub async fn of_everything(shop: &mut Shop, machine: &Machine, job: &Job) {
    shop.maker().await;
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
    shop.decide(job).await;
    recalled(shop, machine).await;
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
