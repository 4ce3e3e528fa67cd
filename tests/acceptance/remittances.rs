//! A payer's advice over HTTP: its layout, a look at the file, what is wrong with it, and what waits for somebody.

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{at, list, text};
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::Shop;

const FILE: &[u8] = b"Claim,Paid,Why\nCL-000009,12.50,\nX-1,0,NWR\n";

/// Sends a file of a payer.
async fn send(shop: &Shop, token: Option<&str>, (path, file): (&str, &[u8])) -> (u16, Value) {
    let url = format!("{}/warranty-payers/{path}", shop.server.base_url());
    let mut request = shop.server.http().post(url);
    if let Some(token) = token {
        request = request.bearer_auth(token);
    }
    let request = request
        .header("Content-Type", "text/csv")
        .body(file.to_vec());
    let answer = request.send().await.expect("an answer");
    let status = answer.status().as_u16();
    (status, answer.json().await.unwrap_or_default())
}

async fn payer(shop: &Shop) -> String {
    let maker = json!({ "kind": "ORGANISATION", "name": "Halvorsen Claims", "email": "claims@halvorsen.example" });
    let maker = shop
        .done(&shop.office, "addCustomer", maker, "customer { id }")
        .await;
    let payer = json!({
        "customerId": text(&maker, "customer.id"),
        "ways": { "claimDaysMoveOn": true, "mayBillRest": true, "daysToPay": 45 }
    });
    let payer = shop
        .done(&shop.office, "addWarrantyPayer", payer, "payer { id }")
        .await;
    text(&payer, "payer.id").to_owned()
}

fn layout(payer: &str) -> Value {
    json!({
        "payerId": payer, "delimiter": "COMMA", "hasHeader": true, "encoding": "UTF8",
        "dateOrder": "YEAR_MONTH_DAY", "decimalSign": "POINT",
        "columns": { "claim": "Claim", "paid": "Paid", "reason": "Why" }
    })
}

on_both_databases! {
    async fn a_payers_file_is_looked_at_taken_in_once_and_its_rows_wait(db: TestDatabase) {
        let shop = Shop::open(&db, ServerOptions::default()).await;
        let payer = payer(&shop).await;
        let path = format!("{payer}/advice?reference=EFT-1&advisedOn=2026-01-05");
        assert_eq!(send(&shop, None, (&path, FILE)).await.0, 401);
        assert_eq!(send(&shop, Some(&shop.technician), (&path, FILE)).await.0, 403);
        assert_eq!(send(&shop, Some(&shop.office), (&path, FILE)).await.0, 409, "no layout");
        let selection = "layout { version columns { claim paid refused reason } }";
        shop.done(&shop.office, "setAdviceLayout", layout(&payer), selection)
            .await;
        let broken = b"Claim,Paid,Why\nCL-1,ten,\n";
        let (status, refused) = send(&shop, Some(&shop.office), (&path, broken)).await;
        assert_eq!((status, at(&refused, "faults.0.line")), (422, &json!(2)));
        assert_eq!(text(&refused, "faults.0.column"), "Paid");

        let look = format!("{path}&preview=true");
        let (status, seen) = send(&shop, Some(&shop.office), (&look, FILE)).await;
        assert_eq!(status, 200);
        assert_eq!(text(&seen, "total"), "12.50");
        assert_eq!(text(&seen, "rows.0.finding"), "NO_CLAIM");
        assert_eq!(at(&seen, "adviceId"), &Value::Null);
        let (status, taken) = send(&shop, Some(&shop.office), (&path, FILE)).await;
        assert_eq!(status, 200);
        assert_eq!(send(&shop, Some(&shop.office), (&path, FILE)).await.0, 409, "the same file");

        let query = "{ adviceWorkList { nodes { rowId line claimText reasonMeaning advice { reference } } } }";
        let waiting = shop.ask(&shop.office, query, json!({})).await;
        let rows = list(&waiting, "data.adviceWorkList.nodes");
        assert_eq!(rows.len(), 2);
        assert_eq!(text(&rows[0], "reasonMeaning"), "no warranty is on record");
        let aside = json!({ "rowId": text(&rows[0], "rowId"), "reason": "Not ours" });
        shop.done(&shop.office, "setAdviceRowAside", aside, "row { setAsideBecause }")
            .await;
        let drop = json!({ "adviceId": text(&taken, "adviceId") });
        shop.done(&shop.office, "dropAdvice", drop, "advice { droppedAt }")
            .await;
        let waiting = shop.ask(&shop.office, query, json!({})).await;
        assert_eq!(list(&waiting, "data.adviceWorkList.nodes").len(), 0);
    }
}
