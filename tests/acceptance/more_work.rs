//! Work that came to more than was accepted: billed only with the customer's consent, or within the tolerance.

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{list, text};
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::{Job, Shop, moment};

/// A shop and a job for which 240.00 before tax is accepted by telephone.
async fn accepted(db: &TestDatabase) -> (Shop, Job, Value) {
    let mut shop = Shop::open(db, ServerOptions::default()).await;
    let machine = shop
        .machine("Odalys Fenwick", "odalys@mail.example", "N14-104211")
        .await;
    let job = shop.find(&machine).await;
    let draft = json!({
        "idempotencyKey": shop.key(), "callId": job.call_id,
        "options": [{ "title": "Repair", "lines": [flat("240.00")] }]
    });
    let selection = "revision { id estimate { id } options { id } }";
    let drafted = shop
        .done(&shop.office, "draftEstimate", draft, selection)
        .await;
    let revision = drafted["revision"].clone();
    shop.send(text(&revision, "id")).await;
    shop.accept_from_folder(1, "Odalys Fenwick").await;
    (shop, job, revision)
}

fn flat(price: &str) -> Value {
    json!({ "kind": "FEE", "description": "Repair at a flat price", "unitPrice": price })
}

/// Drafts what was done instead, and gives the input that bills it.
async fn done_for(shop: &mut Shop, job: &Job, accepted: &Value, price: &str) -> Value {
    let more = json!({
        "idempotencyKey": shop.key(), "estimateId": text(accepted, "estimate.id"),
        "options": [{ "title": "Repair and a second block", "lines": [flat(price)] }]
    });
    let selection = "revision { id options { id } }";
    let drafted = shop
        .done(&shop.office, "reviseEstimate", more, selection)
        .await;
    json!({
        "idempotencyKey": shop.key(), "callId": job.call_id,
        "workDone": {
            "revisionId": text(&drafted, "revision.id"), "optionId": text(&drafted, "revision.options.0.id")
        }
    })
}

async fn state_of(shop: &Shop, revision: &str) -> String {
    let query = "query($id: ID!) { node(id: $id) { ... on EstimateRevision { state } } }";
    let answer = shop
        .ask(&shop.office, query, json!({ "id": revision }))
        .await;
    text(&answer, "data.node.state").to_owned()
}

on_both_databases! {
    async fn more_work_than_was_accepted_is_billed_only_once_the_customer_agreed(db: TestDatabase) {
        let (mut shop, job, revision) = accepted(&db).await;
        let bill = done_for(&mut shop, &job, &revision, "264.01").await;
        let refused = shop.refused(&shop.office, "issueInvoice", bill.clone()).await;
        assert_eq!(refused, [("TOO_MUCH".to_owned(), "input.callId".to_owned())]);
        let consent = json!({
            "idempotencyKey": shop.key(), "callId": job.call_id, "addedWork": "A second block", "addedTotal": "24.01",
            "authorisedBy": "Odalys Fenwick", "how": "BY_TELEPHONE", "telephone": "(217) 555-0123",
            "givenAt": moment()
        });
        shop.done(&shop.office, "recordConsent", consent, "consent { id }").await;
        let key = bill.clone();
        let selection = "invoice { id lines { net } estimateRevision { id state } }";
        let issued = shop.done(&shop.office, "issueInvoice", bill, selection).await;
        assert_eq!(text(&issued, "invoice.lines.0.net"), "264.01");
        assert_eq!(text(&issued, "invoice.estimateRevision.id"), text(&revision, "id"));
        assert_eq!(text(&issued, "invoice.estimateRevision.state"), "INVOICED");
        let draft = text(&key, "workDone.revisionId").to_owned();
        assert_eq!(state_of(&shop, &draft).await, "SUPERSEDED");
        let again = shop.done(&shop.office, "issueInvoice", key, selection).await;
        assert_eq!(text(&again, "invoice.id"), text(&issued, "invoice.id"));
        let twice = json!({ "idempotencyKey": shop.key(), "callId": job.call_id });
        let refused = shop.refused(&shop.office, "issueInvoice", twice).await;
        assert_eq!(refused, [("WRONG_STATE".to_owned(), "input.callId".to_owned())]);
        db.verify_is_clean();
    }

    async fn less_work_than_was_accepted_needs_nobody_and_a_strange_draft_is_refused(db: TestDatabase) {
        let (mut shop, job, revision) = accepted(&db).await;
        let bill = done_for(&mut shop, &job, &revision, "180.00").await;
        let mut strange = bill.clone();
        strange["idempotencyKey"] = json!(shop.key());
        strange["workDone"]["revisionId"] = revision["id"].clone();
        strange["workDone"]["optionId"] = list(&revision, "options")[0]["id"].clone();
        let refused = shop.refused(&shop.office, "issueInvoice", strange.clone()).await;
        assert_eq!(refused, [("WRONG_STATE".to_owned(), "input.workDone.revisionId".to_owned())]);
        strange["workDone"]["revisionId"] = bill["workDone"]["revisionId"].clone();
        strange["idempotencyKey"] = json!(shop.key());
        let refused = shop.refused(&shop.office, "issueInvoice", strange).await;
        assert_eq!(refused, [("NOT_FOUND".to_owned(), "input.workDone.optionId".to_owned())]);
        let issued = shop.done(&shop.office, "issueInvoice", bill, "invoice { lines { net } }").await;
        assert_eq!(text(&issued, "invoice.lines.0.net"), "180.00");
        db.verify_is_clean();
    }
}
