//! Parts in stock, on order and billed, so that something of each of their types can be reached.

use serde_json::json;

use crate::support::graphql::text;
use crate::support::shop::{Job, Shop, today};

/// A bill with parts that is paid in part, a receipt without a bill, an order that an open call waits for; gives the
/// supplier.
pub async fn of_everything(shop: &mut Shop, job: &Job) -> String {
    let supplier = json!({ "name": "Gannet Parts", "termsDays": 10 });
    let supplier = shop
        .done(&shop.office, "addSupplier", supplier, "supplier { id }")
        .await;
    let supplier_id = text(&supplier, "supplier.id").to_owned();
    let bill = json!({
        "idempotencyKey": shop.key(), "supplierId": supplier_id, "supplierNumber": "4711", "billedOn": today(),
        "lines": [{ "partId": shop.part_id, "quantity": "9", "unitCost": "11.40" }, { "amount": "2.50" }]
    });
    shop.done(&shop.office, "recordSupplierBill", bill, "bill { id }")
        .await;
    let payment = json!({
        "idempotencyKey": shop.key(), "supplierId": supplier_id, "method": "CHECK", "paidOn": today(),
        "amount": "20.00", "paidFrom": "1010"
    });
    shop.done(&shop.office, "paySupplier", payment, "payment { id }")
        .await;
    let receipt = json!({
        "idempotencyKey": shop.key(), "partId": shop.part_id, "quantity": "1", "unitCost": "11.40"
    });
    shop.done(&shop.office, "receiveParts", receipt, "stockMove { id }")
        .await;
    let order = json!({
        "idempotencyKey": shop.key(), "partId": shop.part_id, "quantity": "2", "supplierId": supplier_id,
        "callId": job.call_id
    });
    shop.done(&shop.office, "orderPart", order, "partOrder { id }")
        .await;
    supplier_id
}
