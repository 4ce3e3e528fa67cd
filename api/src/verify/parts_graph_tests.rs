//! Parts, asked for and changed through the graph.

use nameplate_rules::money::Cents;
use serde_json::Value;

use super::graph_tests::ask;
use super::payable_tests::{Desk, ON};
use crate::closeout::testing::Workshop;
use crate::graphql::ids::Kind;
use crate::stock::{self, OrderPart, ReceiveParts};

#[tokio::test]
async fn a_receipt_is_taken_back_and_its_order_expected_anew_through_the_graph() {
    let shop = Workshop::open(ON).await;
    let desk = Desk::of(&shop).await;
    let part = shop.part(Cents(1_000)).await;
    let order = OrderPart {
        idempotency_key: shop.key(),
        part_id: part.id,
        quantity: 10.into(),
        supplier_id: desk.supplier_id,
        call_id: None,
        expected_on: None,
        reference: None,
    };
    let order = stock::order_part(&shop.owner(), order).await.unwrap();
    let receipt = ReceiveParts {
        order_id: Some(order.id),
        paid_from: None,
        ..desk.parts.receipt(part.id, (10, 5_000))
    };
    let receipt = stock::receive_parts(&shop.owner(), receipt).await.unwrap();
    let back = format!(
        "mutation {{ takeReceiptBack(input: {{ idempotencyKey: \"back\", moveId: \"{}\", quantity: \"9\", \
         because: WRITTEN_WRONGLY, reason: \"one came\" }}) \
         {{ stockMove {{ kind value invoice {{ id }} settles {{ id }} undoes {{ kind }} }} problems {{ message }} }} }}",
        Kind::StockMove.id(receipt.id).as_str()
    );
    let technician = shop.technician(shop.technician_id);
    let refused = ask(&technician, &back).await;
    assert_eq!(refused["errors"][0]["extensions"]["code"], "FORBIDDEN");
    let answer = ask(&shop.owner(), &back).await;
    assert_eq!(answer["errors"], Value::Null, "{answer:#}");
    let row = &answer["data"]["takeReceiptBack"]["stockMove"];
    assert_eq!(
        (&row["kind"], &row["value"], &row["undoes"]["kind"]),
        (&"SENT_BACK".into(), &"-450.00".into(), &"RECEIVED".into()),
        "{answer:#}"
    );
    let change = format!(
        "mutation {{ changePartOrder(input: {{ orderId: \"{}\", version: 3, expectedOn: \"2026-03-09\" }}) \
         {{ partOrder {{ state receivedQuantity expectedOn version reference }} problems {{ message }} }} }}",
        Kind::PartOrder.id(order.id).as_str()
    );
    let answer = ask(&shop.owner(), &change).await;
    let order = &answer["data"]["changePartOrder"]["partOrder"];
    let expected = serde_json::json!({
        "state": "ORDERED", "receivedQuantity": "1", "expectedOn": "2026-03-09", "version": 4, "reference": null
    });
    assert_eq!(order, &expected, "{answer:#}");
    let answer = ask(
        &shop.owner(),
        "{ unbilledReceipts { edges { node { openQuantity openCost } } }
           stockValue(on: \"2026-03-02\", first: 1) { total more parts { quantity value } }
           callsWithPartsIn { edges { node { id } } } }",
    )
    .await;
    let expected = serde_json::json!({
        "unbilledReceipts": { "edges": [{ "node": { "openQuantity": "1", "openCost": "50.00" } }] },
        "stockValue": { "total": "50.00", "more": false, "parts": [{ "quantity": "1", "value": "50.00" }] },
        "callsWithPartsIn": { "edges": [] }
    });
    assert_eq!(answer["data"], expected, "{answer:#}");
}
