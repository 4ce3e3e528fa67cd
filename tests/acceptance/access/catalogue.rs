//! A catalogue in which something of every type can be reached.

use serde_json::json;

use crate::support::graphql::text;
use crate::support::shop::{Job, Shop, today};

/// What queries about the catalogue are asked with.
pub struct Catalogue {
    pub price_book_id: String,
    pub price_list_id: String,
}

/// A book with rates, zones and tasks, a part known by batch, and a price list with a fault, a rise and a part that
/// would sell below its cost.
pub async fn of_everything(shop: &mut Shop, job: &Job) -> Catalogue {
    let price_book_id = book(shop).await;
    let grade = json!({ "staffId": shop.technician_id, "grade": "Senior" });
    shop.done(
        &shop.owner,
        "setLabourGrade",
        grade,
        "labourGrade { grade }",
    )
    .await;
    let remedy = json!({
        "idempotencyKey": shop.key(), "findingId": job.finding_id, "method": "REPLACED", "labourMinutes": 20,
        "parts": [{ "partId": shop.part_id, "quantity": "1", "lot": "L-7" }]
    });
    shop.done(&shop.technician, "recordRemedy", remedy, "remedy { id }")
        .await;
    let price_list_id = list(shop).await;
    Catalogue {
        price_book_id,
        price_list_id,
    }
}

async fn book(shop: &Shop) -> String {
    let books = shop
        .ask(&shop.owner, "{ priceBookInForce { id } }", json!({}))
        .await;
    let copy = json!({
        "priceBookId": text(&books, "data.priceBookInForce.id"), "name": "In full", "effectiveFrom": today()
    });
    let copy = shop
        .done(&shop.owner, "clonePriceBook", copy, "priceBook { id }")
        .await;
    let id = text(&copy, "priceBook.id").to_owned();
    let change = json!({
        "priceBookId": id, "version": 1, "rates": [{ "name": "Senior", "hourlyRate": "150.00" }],
        "zones": [{ "name": "Marrow", "charge": "55.00", "postalCodes": ["004*"] }],
        "tasks": [{ "key": "block", "name": "Terminal block", "hours": "0.5" }]
    });
    shop.done(&shop.owner, "changePriceBook", change, "priceBook { id }")
        .await;
    let adopt = json!({ "priceBookId": id });
    shop.done(&shop.owner, "adoptPriceBook", adopt, "priceBook { id }")
        .await;
    id
}

async fn list(shop: &mut Shop) -> String {
    let supplier = json!({ "name": "Quarry Parts" });
    let supplier = shop
        .done(&shop.office, "addSupplier", supplier, "supplier { id }")
        .await;
    let part = json!({ "partId": shop.part_id, "version": 1, "supplier": "Quarry Parts" });
    shop.done(&shop.office, "changePart", part, "part { id }")
        .await;
    let order = json!({
        "idempotencyKey": shop.key(), "supplierId": text(&supplier, "supplier.id"), "name": "Spring",
        "columns": { "number": "Part", "description": "Text", "cost": "Net", "listPrice": "List" }
    });
    let begun = shop
        .done(
            &shop.office,
            "beginPriceList",
            order,
            "priceList { id uploadPath }",
        )
        .await;
    let url = format!(
        "{}{}",
        shop.server.base_url(),
        text(&begun, "priceList.uploadPath")
    );
    let body = "Part,Text,Net,List\nTB-210,Block,99.00,12.00\nNEW-1,Pump,\"8,50\",\n";
    let sent = shop
        .server
        .http()
        .post(url)
        .bearer_auth(&shop.office)
        .header("Content-Type", "text/csv")
        .body(body)
        .send()
        .await;
    assert!(sent.expect("an answer").status().is_success());
    text(&begun, "priceList.id").to_owned()
}
