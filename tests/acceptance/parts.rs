//! Parts over HTTP: on order for a call, billed by the supplier, loaded into a van, fitted, counted, and paid for.

use serde_json::json;

use crate::support::database::TestDatabase;
use crate::support::graphql::{data, list, text};
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::{Shop, today};

const EMAIL: &str = "odalys@mail.example";

/// A bill for the order, with freight spread over its parts and an expense; its number is taken once.
async fn billed(shop: &mut Shop, (supplier_id, order_id): (&str, &str)) {
    let bill = json!({
        "idempotencyKey": shop.key(), "supplierId": supplier_id, "supplierNumber": "G-77", "billedOn": today(),
        "lines": [
            { "partId": shop.part_id, "quantity": "3", "unitCost": "10.00", "orderId": order_id },
            { "description": "Freight", "amount": "0.90" },
            { "description": "Rags", "account": "6900", "amount": "5.00" }
        ]
    });
    let selection = "bill { id number total open dueOn lines { amount cost partOrder { state } } }";
    let billed = shop
        .done(&shop.office, "recordSupplierBill", bill.clone(), selection)
        .await;
    assert_eq!(
        (text(&billed, "bill.number"), text(&billed, "bill.total")),
        ("SB-000001", "35.90")
    );
    assert_eq!(text(&billed, "bill.lines.0.cost"), "30.90");
    assert_eq!(text(&billed, "bill.lines.0.partOrder.state"), "RECEIVED");
    let mut twin = bill;
    twin["idempotencyKey"] = json!(shop.key());
    twin["lines"] = json!([{ "account": "6900", "amount": "1.00" }]);
    let refused = shop.refused(&shop.office, "recordSupplierBill", twin).await;
    assert_eq!(
        refused,
        [("TAKEN".to_owned(), "input.supplierNumber".to_owned())]
    );
}

/// A technician sees how many lie where, and the office what they are worth.
async fn is_there_without_its_cost(shop: &Shop) {
    let stock = "query($id: ID!) { partStock(partId: $id) { quantity levels { quantity place { name } } } }";
    let there = shop
        .ask(&shop.technician, stock, json!({ "id": shop.part_id }))
        .await;
    assert_eq!(text(&there, "data.partStock.quantity"), "2", "{there}");
    assert_eq!(
        data(&there)["partStock"]["levels"],
        json!([
            { "quantity": "1", "place": { "name": "Shelf" } }, { "quantity": "1", "place": { "name": "Van one" } }
        ])
    );
    let cost = "query($id: ID!) { partStock(partId: $id) { value unitValue } }";
    let hidden = shop
        .ask(&shop.technician, cost, json!({ "id": shop.part_id }))
        .await;
    assert_eq!(text(&hidden, "errors.0.extensions.code"), "FORBIDDEN");
    let shown = shop
        .ask(&shop.office, cost, json!({ "id": shop.part_id }))
        .await;
    assert_eq!(
        data(&shown)["partStock"],
        json!({ "value": "20.60", "unitValue": "10.30" })
    );
}

on_both_databases! {
    async fn a_part_is_ordered_for_a_call_billed_loaded_fitted_and_its_supplier_paid(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let machine = shop.machine("Odalys Fenwick", EMAIL, "N14-104211").await;
        let job = shop.find(&machine).await;
        let supplier = json!({ "name": "Gannet Parts", "termsDays": 10 });
        let supplier = shop.done(&shop.office, "addSupplier", supplier, "supplier { id termsDays }").await;
        let supplier_id = text(&supplier, "supplier.id").to_owned();
        let order = json!({
            "idempotencyKey": shop.key(), "partId": shop.part_id, "quantity": "3", "supplierId": supplier_id,
            "callId": job.call_id
        });
        let order = shop.done(&shop.office, "orderPart", order, "partOrder { id state }").await;
        let brief = "query($id: ID!) { arrivalBrief(callId: $id) { partOrders { state part receivedQuantity } } }";
        let before = shop.ask(&shop.technician, brief, json!({ "id": job.call_id })).await;
        assert_eq!(data(&before)["arrivalBrief"]["partOrders"][0]["state"], "ORDERED", "{before}");

        billed(&mut shop, (&supplier_id, text(&order, "partOrder.id"))).await;

        let van = json!({ "name": "Van one", "kind": "VAN", "technicianId": shop.technician_id });
        let van = shop.done(&shop.office, "addStockPlace", van, "place { id }").await;
        let places = shop.ask(&shop.technician, "{ stockPlaces { id isMain } }", json!({})).await;
        let shelf = list(&places, "data.stockPlaces").iter().find(|place| place["isMain"] == true).expect("a shelf").clone();
        let load = json!({
            "idempotencyKey": shop.key(), "fromId": shelf["id"], "toId": van["place"]["id"],
            "lines": [{ "partId": shop.part_id, "quantity": "2" }]
        });
        let moved = shop.done(&shop.technician, "moveStock", load, "stockMoves { placeAfter }").await;
        assert_eq!(text(&moved, "stockMoves.0.placeAfter"), "2");
        shop.mend_and_complete(&job).await;
        is_there_without_its_cost(&shop).await;

        let count = json!({
            "idempotencyKey": shop.key(), "placeId": van["place"]["id"], "lines": [{ "partId": shop.part_id, "quantity": "0" }]
        });
        shop.done(&shop.technician, "countStock", count, "stockMoves { id }").await;
        let payment = json!({
            "idempotencyKey": shop.key(), "supplierId": supplier_id, "method": "CHECK", "reference": "1044",
            "paidOn": today(), "amount": "20.00", "paidFrom": "1010"
        });
        let paid = shop.done(&shop.office, "paySupplier", payment, "payment { id allocations { bill { open } } }").await;
        assert_eq!(text(&paid, "payment.allocations.0.bill.open"), "15.90");
        let ageing = "query($on: Date!) { payablesAgeing(on: $on) { owed brackets { notYetDue total } } \
             stockValue(on: $on) { total unassigned } }";
        let ageing = ageing.replace("Date!", "NaiveDate!");
        let owed = shop.ask(&shop.office, &ageing, json!({ "on": today() })).await;
        assert_eq!(text(&owed, "data.payablesAgeing.owed"), "15.90", "{owed}");
        assert_eq!(text(&owed, "data.stockValue.total"), "10.30");
        let csv = shop.server.http().get(format!("{}/reports/payables-ageing.csv?through={}", shop.server.base_url(), today()));
        let csv = csv.bearer_auth(&shop.office).send().await.expect("an answer").text().await.expect("text");
        assert_eq!(csv, "supplier,not_yet_due,days_1_to_30,days_31_to_60,days_61_to_90,over_90,credit,owed\r\n\
             Gannet Parts,15.90,0.00,0.00,0.00,0.00,0.00,15.90\r\n");
        let undo = json!({
            "idempotencyKey": shop.key(), "paymentId": paid["payment"]["id"], "reason": "Voided", "undoneOn": today()
        });
        let undone = shop.done(&shop.office, "undoSupplierPayment", undo, "payment { undoneBecause allocations { amount } }").await;
        assert_eq!(text(&undone, "payment.allocations.1.amount"), "-20.00");
        db.verify_is_clean();
    }
}
