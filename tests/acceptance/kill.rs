//! The server is killed in the middle of the job: what was acknowledged is there, nothing is there twice.

use serde_json::{Value, json};

use crate::main_job::offered_and_accepted;
use crate::support::database::TestDatabase;
use crate::support::graphql::{at, data, list, text};
use crate::support::on_both_databases;
use crate::support::server::{Ask, ServerOptions};
use crate::support::shop::Shop;
use crate::support::smtp::{SmtpOptions, SmtpServer};

const EMAIL: &str = "odalys@mail.example";

async fn accepted_by(shop: &Shop) -> Value {
    let query = "{ estimates(first: 5) { edges { node { latest { state answeredName } } } } }";
    let answer = shop.ask(&shop.office, query, json!({})).await;
    data(&answer);
    at(&answer, "data.estimates.edges.0.node.latest").clone()
}

async fn invoice_numbers(shop: &Shop) -> Vec<String> {
    let answer = shop
        .ask(
            &shop.office,
            "{ invoices(first: 100) { edges { node { number } } } }",
            json!({}),
        )
        .await;
    data(&answer);
    list(&answer, "data.invoices.edges")
        .iter()
        .map(|edge| text(edge, "node.number").to_owned())
        .collect()
}

on_both_databases! {
    async fn killed_between_accepting_and_invoicing_nothing_is_lost_and_nothing_doubled(db: TestDatabase) {
        let smtp = SmtpServer::start(SmtpOptions::default());
        let mut shop = Shop::open(&db, ServerOptions::default().smtp(&smtp)).await;
        let machine = shop.machine("Odalys Fenwick", EMAIL, "N14-104211").await;
        let job = shop.find(&machine).await;
        offered_and_accepted(&mut shop, &smtp, &job, EMAIL).await;
        shop.server.kill_9();
        shop.server.restart().await;
        let answered = accepted_by(&shop).await;
        assert_eq!(text(&answered, "state"), "ACCEPTED");
        assert_eq!(text(&answered, "answeredName"), "Odalys Fenwick");

        // Killed while the invoice is asked for, at five different moments; the key makes it one invoice.
        shop.mend_and_complete(&job).await;
        let order = json!({ "idempotencyKey": "the one invoice", "callId": job.call_id });
        let query = "mutation($input: IssueInvoiceInput!) { issueInvoice(input: $input) { invoice { number } problems { code } } }";
        for delay_ms in [0, 2, 5, 10, 20] {
            let ask = Ask { token: Some(&shop.office), query, variables: json!({ "input": order }), headers: Vec::new() };
            let asked = shop.server.ask(ask);
            // Cut off or answered in time: either is fine, and what counts is what is there afterwards.
            let _ = tokio::time::timeout(std::time::Duration::from_millis(delay_ms), asked).await;
            shop.server.kill_9();
            shop.server.restart().await;
        }
        let issued = shop.done(&shop.office, "issueInvoice", order, "invoice { number }").await;
        assert_eq!(invoice_numbers(&shop).await, [text(&issued, "invoice.number").to_owned()]);
        assert_eq!(text(&issued, "invoice.number"), "I-000001");
        smtp.wait_for_messages(EMAIL, 2).await;
        let mut ids: Vec<String> = smtp.messages_to(EMAIL).into_iter().map(|mail| mail.message_id).collect();
        ids.sort();
        ids.dedup();
        assert_eq!(ids.len(), 2, "one estimate and one invoice were mailed");
        db.verify_is_clean();
    }
}
