//! A call billed to two payers, an estimate sent again, and invoices as files for machines, over HTTP.

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{list, text};
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::Shop;

async fn landlord(shop: &Shop) -> String {
    let customer = json!({
        "kind": "ORGANISATION", "name": "Gull Street Lettings", "email": "bills@gullstreet.example",
        "phone": "(217) 555-0177"
    });
    let selection = "customer { id }";
    let customer = shop
        .done(&shop.office, "addCustomer", customer, selection)
        .await;
    text(&customer, "customer.id").to_owned()
}

/// Status, type and text of a document.
async fn fetched(shop: &Shop, token: Option<&str>, path: &str) -> (u16, String, String) {
    let url = format!("{}{path}", shop.server.base_url());
    let mut request = shop.server.http().get(url);
    if let Some(token) = token {
        request = request.bearer_auth(token);
    }
    let answer = request.send().await.expect("an answer");
    let kind = answer.headers().get("content-type").cloned();
    let kind = kind.map_or_else(String::new, |kind| {
        kind.to_str().expect("a type").to_owned()
    });
    let status = answer.status().as_u16();
    (status, kind, answer.text().await.expect("a body"))
}

/// The landlord's share is taken back and billed to an insurer.
async fn insurer_takes_over(shop: &mut Shop, bill: &Value) {
    let credit = json!({
        "idempotencyKey": shop.key(), "invoiceId": text(bill, "id"), "reason": "The insurer pays"
    });
    shop.done(&shop.office, "creditInvoice", credit, "creditNote { id }")
        .await;
    let insurer = json!({ "kind": "ORGANISATION", "name": "Harbour Mutual", "email": "claims@harbour.example" });
    let insurer = shop
        .done(&shop.office, "addCustomer", insurer, "customer { id }")
        .await;
    let rebill = json!({
        "idempotencyKey": shop.key(), "invoiceId": text(bill, "id"),
        "customerId": text(&insurer, "customer.id")
    });
    let selection = "invoice { total customer { name } rebills { number } }";
    let second = shop
        .done(&shop.office, "rebillInvoice", rebill, selection)
        .await;
    assert_eq!(text(&second, "invoice.total"), text(bill, "total"));
    assert_eq!(
        text(&second, "invoice.rebills.number"),
        text(bill, "number")
    );
}

on_both_databases! {
    async fn a_landlord_and_a_tenant_share_a_call_and_the_landlord_gets_a_file_for_machines(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let landlord = landlord(&shop).await;
        let machine = shop.machine("Odalys Quern", "odalys@household.example", "SN-77").await;
        let job = shop.find(&machine).await;
        let revision = shop.draft(&job).await;
        shop.send(&revision).await;

        // The first mail is lost; it is sent again with another link, and the first link ends.
        let lost = shop.link_from_folder(1).await;
        let again = json!({ "idempotencyKey": shop.key(), "revisionId": revision });
        shop.done(&shop.office, "resendEstimate", again, "mail { id }").await;
        let link = shop.link_from_folder(2).await;
        assert_ne!(lost, link);
        for (link, opens) in [(&lost, false), (&link, true)] {
            let page = shop.server.http().get(link).send().await.expect("a page");
            let page = page.text().await.expect("a text");
            assert_eq!(page.contains("content_hash"), opens, "{page}");
        }
        let (status, page) = shop.accept(&link, "Odalys Quern").await;
        assert_eq!(status, 200, "{page}");
        shop.mend_and_complete(&job).await;

        let order = json!({
            "idempotencyKey": shop.key(), "callId": job.call_id,
            "divide": [{ "customerId": landlord, "percent": "60" }]
        });
        let selection = "invoices { id number total wholeTotal customer { name } pdfPath eInvoicePath \
                         sharedWith { number } }";
        let issued = shop.done(&shop.office, "issueInvoice", order, selection).await;
        let bills = list(&issued, "invoices");
        let names: Vec<&str> = bills.iter().map(|bill| text(bill, "customer.name")).collect();
        assert_eq!(names, ["Odalys Quern", "Gull Street Lettings"]);
        let cents = |amount: &str| amount.replace('.', "").parse::<i64>().expect("an amount");
        let sum: i64 = bills.iter().map(|bill| cents(text(bill, "total"))).sum();
        assert_eq!(sum, cents(text(&bills[0], "wholeTotal")));
        assert_eq!(text(&bills[0], "sharedWith.0.number"), text(&bills[1], "number"));

        let path = text(&bills[1], "eInvoicePath").to_owned();
        let (status, kind, body) = fetched(&shop, Some(&shop.office), &path).await;
        assert_eq!((status, kind.as_str()), (409, "application/problem+json"), "{body}");
        assert!(body.contains("shop's settings") && body.contains(r#""code":"SETTING_MISSING""#), "{body}");
        let setting = json!({ "taxRegistration": "NL 418-2207" });
        shop.done(&shop.owner, "changeShop", setting, "shop { taxRegistration }").await;
        for token in [&shop.office, &shop.owner] {
            let (status, kind, body) = fetched(&shop, Some(token), &path).await;
            assert_eq!((status, kind.as_str()), (200, "application/xml"), "{body}");
            assert!(body.contains("urn:cen.eu:en16931:2017"), "{body}");
        }
        assert_eq!(fetched(&shop, Some(&shop.technician), &path).await.0, 404);
        assert_eq!(fetched(&shop, None, &path).await.0, 401);
        assert_eq!(bills[0]["eInvoicePath"], json!(null), "a household has none");
        let household = text(&bills[0], "pdfPath").replace(".pdf", "/e-invoice.xml");
        let (status, _, body) = fetched(&shop, Some(&shop.office), &household).await;
        assert!(status == 409 && body.contains(r#""code":"WRONG_STATE""#), "{body}");
        assert_eq!(fetched(&shop, Some(&shop.office), "/documents/nothing/e-invoice.xml").await.0, 404);

        insurer_takes_over(&mut shop, &bills[1]).await;
        assert_eq!(shop.server.verify().code, Some(0));
    }
}

on_both_databases! {
    async fn a_call_without_an_estimate_is_billed_by_the_work_on_record(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let machine = shop.machine("Odalys Quern", "odalys@household.example", "SN-78").await;
        let job = shop.find(&machine).await;
        shop.mend_and_complete(&job).await;
        let query = "query($call: ID!) { workToBill(callId: $call) { total leftOut inTheWay { message } \
                     lines { kind quantity minutes part { id } technician { id } } charges { description net } } }";
        let found = shop.ask(&shop.office, query, json!({ "call": job.call_id })).await;
        assert!(list(&found, "data.workToBill.inTheWay").is_empty(), "{found}");
        assert!(list(&found, "data.workToBill.leftOut").is_empty(), "{found}");
        let lines: Vec<Value> = list(&found, "data.workToBill.lines")
            .iter()
            .map(|line| json!({
                "kind": line["kind"], "quantity": line["quantity"], "minutes": line["minutes"],
                "partId": line["part"]["id"], "technicianId": line["technician"]["id"]
            }))
            .collect();
        assert_eq!(lines.len(), 3, "{found}");
        let order = json!({
            "idempotencyKey": shop.key(), "callId": job.call_id,
            "option": { "title": "Work done", "lines": lines }
        });
        let bill = shop.done(&shop.office, "issueInvoice", order, "invoice { total }").await;
        assert_eq!(text(&bill, "invoice.total"), text(&found, "data.workToBill.total"));
        assert_eq!(shop.server.verify().code, Some(0));
    }
}
