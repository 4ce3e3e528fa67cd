//! Parts in stock, on order and billed, so that something of each of their types can be reached.

use serde_json::json;

use crate::support::graphql::text;
use crate::support::shop::{Job, Machine, Shop, today};

/// A bill with parts that is paid in part, a receipt without a bill, an order that an open call waits for, and a call whose
/// parts have come; gives the supplier.
pub async fn of_everything(shop: &mut Shop, machine: &Machine, job: &Job) -> String {
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
    ordered(shop, &supplier_id, &job.call_id).await;
    let waiting = shop.call(machine).await;
    let order_id = ordered(shop, &supplier_id, text(&waiting, "call.id")).await;
    let receipt = json!({
        "idempotencyKey": shop.key(), "partId": shop.part_id, "quantity": "2", "unitCost": "11.40", "orderId": order_id
    });
    shop.done(&shop.office, "receiveParts", receipt, "stockMove { id }")
        .await;
    supplier_id
}

/// Two parts ordered for a call.
async fn ordered(shop: &mut Shop, supplier_id: &str, call_id: &str) -> String {
    let order = json!({
        "idempotencyKey": shop.key(), "partId": shop.part_id, "quantity": "2", "supplierId": supplier_id,
        "callId": call_id
    });
    let order = shop
        .done(&shop.office, "orderPart", order, "partOrder { id }")
        .await;
    text(&order, "partOrder.id").to_owned()
}
