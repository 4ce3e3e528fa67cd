//! Repairs that came back, for the walk over what is counted of them.

use serde_json::json;

use crate::support::database::TestDatabase;
use crate::support::graphql::text;
use crate::support::repairs::put_work_back;
use crate::support::shop::{Job, Machine, Shop, today};

/// A repair of ten days ago, and its return, which took a second visit and which the shop bears; its flag stays open.
pub async fn of_everything(shop: &mut Shop, db: &TestDatabase, machine: &Machine) {
    let first = shop.find(machine).await;
    shop.mend_and_complete(&first).await;
    put_work_back(db).await;
    shop.server.restart().await;
    let mut back = shop.find(machine).await;
    back.visit_id = again(shop, &back).await;
    let callbacks = "{ callbacks(state: PROPOSED) { edges { node { id } } } }";
    let callbacks = shop.ask(&shop.office, callbacks, json!({})).await;
    let decision = json!({
        "callbackId": text(&callbacks, "data.callbacks.edges.0.node.id"), "decision": "CONFIRM", "class": "SAME_FAILURE"
    });
    shop.done(
        &shop.office,
        "decideCallback",
        decision,
        "callback { state }",
    )
    .await;
    shop.mend_and_complete(&back).await;
}

/// What was metered at the burnt joint of the call under way, and a visit of it that was missed.
pub async fn of_the_open_call(shop: &mut Shop, open: &Job) {
    let reading = json!({
        "callId": open.call_id, "quantity": "VOLTAGE", "value": "4.1", "unit": "VOLT", "place": "bake element terminal",
        "isolated": false, "circuit": "LOADED", "across": "JOINT"
    });
    shop.done(&shop.technician, "recordReading", reading, "reading { id }")
        .await;
    again(shop, open).await;
}

/// Nobody was home, so the trip is planned again; the new visit.
async fn again(shop: &mut Shop, job: &Job) -> String {
    let missed = json!({ "visitId": job.visit_id, "outcome": "MISSED" });
    shop.done(&shop.technician, "finishVisit", missed, "visit { id }")
        .await;
    let visit = json!({
        "callIds": [job.call_id], "technicianId": shop.technician_id, "plannedOn": today(), "reason": "NOT_HOME"
    });
    let visit = shop
        .done(&shop.office, "scheduleVisit", visit, "visit { id }")
        .await;
    text(&visit, "visit.id").to_owned()
}
