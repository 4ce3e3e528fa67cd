//! Money owed, over HTTP: invoices without a call, credit notes in part, credit that is used, payments undone; and many
//! clients at once who must not tear a gap into the numbers.

use std::sync::Arc;

use serde_json::{Value, json};
use tokio::task::JoinSet;

use crate::support::database::TestDatabase;
use crate::support::graphql::{data, list, text};
use crate::support::on_both_databases;
use crate::support::server::{Ask, ServerOptions};
use crate::support::shop::{Shop, today};

/// A customer without an e-mail address, so that nothing is mailed; with an address whose taxes are confirmed.
pub async fn neighbour(shop: &Shop) -> (String, String) {
    let customer =
        json!({ "kind": "HOUSEHOLD", "name": "Wenna Tarrow", "phone": "(217) 555-0188" });
    let customer = shop
        .done(&shop.office, "addCustomer", customer, "customer { id }")
        .await;
    let customer_id = text(&customer, "customer.id").to_owned();
    let address = json!({
        "customerId": customer_id, "taxJurisdictionId": shop.jurisdiction_id,
        "address": { "line1": "3 Plover Lane", "city": "Marrowby", "region": "NL", "postalCode": "00412" }
    });
    let selection = "serviceAddress { id }";
    let address = shop
        .done(&shop.office, "addServiceAddress", address, selection)
        .await;
    (customer_id, text(&address, "serviceAddress.id").to_owned())
}

/// Two terminal blocks over the counter: 68.40, of which 7.25 % are 4.959.
pub fn sale(key: &str, (customer_id, address_id): &(String, String), part_id: &str) -> Value {
    json!({
        "idempotencyKey": key, "customerId": customer_id, "serviceAddressId": address_id,
        "about": "Two terminal blocks over the counter",
        "option": { "title": "Sale", "lines": [{ "kind": "PART", "partId": part_id, "quantity": "2" }] }
    })
}

fn payment(key: &str, customer_id: &str, amount: &str) -> Value {
    json!({
        "idempotencyKey": key, "customerId": customer_id, "method": "CHECK", "receivedOn": today(),
        "amount": amount, "allowCredit": true
    })
}

async fn owed(shop: &Shop, customer_id: &str) -> (String, String) {
    let query = "query($id: ID!) { receivables(customerId: $id) { owed credit } }";
    let answer = shop
        .ask(&shop.office, query, json!({ "id": customer_id }))
        .await;
    data(&answer);
    (
        text(&answer, "data.receivables.owed").to_owned(),
        text(&answer, "data.receivables.credit").to_owned(),
    )
}

on_both_databases! {
    async fn a_sale_over_the_counter_is_billed_credited_in_part_overpaid_refunded_and_its_check_bounces(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let who = neighbour(&shop).await;
        let selection = "invoice { id number total tax open call { id } lines { position quantity } }";
        let order = sale(&shop.key(), &who, &shop.part_id);
        let bill = shop.done(&shop.office, "issueFreeInvoice", order, selection).await;
        assert_eq!((text(&bill, "invoice.total"), text(&bill, "invoice.tax")), ("73.36", "4.96"));
        let invoice_id = text(&bill, "invoice.id").to_owned();

        let part = |quantity: &str, key: String| json!({
            "idempotencyKey": key, "invoiceId": invoice_id, "reason": "One came back",
            "lines": [{ "position": 1, "quantity": quantity }]
        });
        let selection = "creditNote { number total tax taxes { name tax } credits { open takenBack creditNotes { number } } }";
        let key = shop.key();
        let note = shop.done(&shop.office, "creditInvoice", part("1", key), selection).await;
        assert_eq!((text(&note, "creditNote.total"), text(&note, "creditNote.tax")), ("-36.68", "-2.48"));
        assert_eq!(text(&note, "creditNote.credits.open"), "36.68");
        let key = shop.key();
        let refused = shop.refused(&shop.office, "creditInvoice", part("2", key)).await;
        assert_eq!(refused, [("TOO_MUCH".to_owned(), "input.lines.0.quantity".to_owned())]);

        let order = payment(&shop.key(), &who.0, "50.00");
        let paid = shop.done(&shop.office, "recordPayment", order, "payment { id unallocated }").await;
        assert_eq!(text(&paid, "payment.unallocated"), "13.32");
        let refund = json!({
            "idempotencyKey": shop.key(), "customerId": who.0, "amount": "13.33", "method": "CHECK", "refundedOn": today()
        });
        let refused = shop.refused(&shop.owner, "refundCredit", refund).await;
        assert_eq!(refused, [("TOO_MUCH".to_owned(), "input.amount".to_owned())]);
        let reverse = json!({
            "idempotencyKey": shop.key(), "paymentId": text(&paid, "payment.id"), "kind": "BOUNCED",
            "reason": "Not honoured", "reversedOn": today()
        });
        let undone = shop.done(&shop.office, "reversePayment", reverse, "payment { reversedOn reversal { kind } }").await;
        assert_eq!(text(&undone, "payment.reversal.kind"), "BOUNCED");
        assert_eq!(owed(&shop, &who.0).await, ("36.68".to_owned(), "0.00".to_owned()));
        db.verify_is_clean();
    }
}

/// How many clients, and how many invoices and payments each of them asks for: few in a usual run.
fn load() -> (usize, usize) {
    let number = |name: &str, usual: usize| {
        std::env::var(name).map_or(usual, |text| text.parse().expect("a whole number"))
    };
    (number("LOAD_CLIENTS", 16), number("LOAD_EACH", 4))
}

/// Asks until the server is not busy, always with the same key; gives the number of the document.
async fn numbered(shop: &Shop, mutation: &str, input: Value, field: &str) -> String {
    let name = format!("{}{}", mutation[..1].to_uppercase(), &mutation[1..]);
    let query = format!(
        "mutation($input: {name}Input!) {{ {mutation}(input: $input) {{ {field} {{ number }} problems {{ code }} }} }}"
    );
    loop {
        let ask = Ask {
            token: Some(&shop.office),
            query: &query,
            variables: json!({ "input": input }),
            headers: Vec::new(),
        };
        let Ok(reply) = shop.server.ask(ask).await else {
            continue;
        };
        let number = reply
            .body
            .pointer(&format!("/data/{mutation}/{field}/number"));
        if let Some(number) = number.and_then(Value::as_str) {
            return number.to_owned();
        }
        let code = reply.body.pointer("/errors/0/extensions/code");
        let code = code.and_then(Value::as_str).unwrap_or_default();
        assert!(reply.status == 503 || code == "BUSY", "{}", reply.body);
    }
}

fn without_gap_or_twin(mut numbers: Vec<String>, prefix: &str) {
    numbers.sort();
    let expected: Vec<String> = (1..=numbers.len())
        .map(|at| format!("{prefix}{at:06}"))
        .collect();
    assert_eq!(numbers, expected);
}

on_both_databases! {
    async fn many_clients_at_once_tear_no_gap_into_the_numbers_and_lose_nothing(db: TestDatabase) {
        let shop = Arc::new(Shop::open(&db, ServerOptions::default()).await);
        let who = neighbour(&shop).await;
        let (clients, each) = load();
        let mut working = JoinSet::new();
        for client in 0..clients {
            let (shop, who) = (Arc::clone(&shop), who.clone());
            working.spawn(async move {
                let mut got = (Vec::new(), Vec::new());
                for at in 0..each {
                    let order = sale(&format!("sale {client} {at}"), &who, &shop.part_id);
                    got.0.push(numbered(&shop, "issueFreeInvoice", order, "invoice").await);
                    let order = payment(&format!("payment {client} {at}"), &who.0, "73.36");
                    got.1.push(numbered(&shop, "recordPayment", order, "payment").await);
                }
                got
            });
        }
        let (mut invoices, mut payments) = (Vec::new(), Vec::new());
        while let Some(done) = working.join_next().await {
            let (of_invoices, of_payments) = done.expect("a client that did not panic");
            invoices.extend(of_invoices);
            payments.extend(of_payments);
        }
        assert_eq!((invoices.len(), payments.len()), (clients * each, clients * each));
        without_gap_or_twin(invoices, "I-");
        without_gap_or_twin(payments, "P-");
        assert_eq!(owed(&shop, &who.0).await, ("0.00".to_owned(), "0.00".to_owned()), "each sale was paid");
        let newest = shop.ask(&shop.office, "{ invoices(first: 1) { edges { node { number open } } } }", json!({})).await;
        assert_eq!(text(&list(&newest, "data.invoices.edges")[0], "node.open"), "0.00");
        db.verify_is_clean();
    }
}
