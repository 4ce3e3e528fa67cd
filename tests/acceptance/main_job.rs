//! The whole job over HTTP against the built program: from the complaint to the paid invoice, with the
//! estimate read from a real mail server, and the same failure coming back.

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{data, list, text};
use crate::support::mail::Mail;
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::{Job, Machine, Shop, today};
use crate::support::smtp::{SmtpOptions, SmtpServer};

/// The customer's link in an estimate mail, on this test's server.
pub fn link_in(mail: &Mail, shop: &Shop) -> String {
    let link = mail
        .text
        .split_whitespace()
        .find(|word| word.contains("/e/"))
        .expect("the mail's text has the link");
    shop.server.local(link)
}

/// Sends the drafted estimate and has the customer accept it from the mail.
pub async fn offered_and_accepted(
    shop: &mut Shop,
    smtp: &SmtpServer,
    job: &Job,
    email: &str,
) -> Mail {
    let revision = shop.draft(job).await;
    shop.send(&revision).await;
    let mail = smtp.wait_for_messages(email, 1).await.remove(0);
    let link = link_in(&mail, shop);
    let (status, answer) = shop.accept(&link, "Odalys Fenwick").await;
    assert_eq!(status, 200, "{answer}");
    mail
}

async fn issued(shop: &mut Shop, job: &Job) -> Value {
    let order = json!({ "idempotencyKey": shop.key(), "callId": job.call_id });
    let selection = "invoice { id number total tax open taxes { name tax } }";
    shop.done(&shop.office, "issueInvoice", order, selection)
        .await
}

async fn paid(shop: &mut Shop, machine: &Machine, amount: &str) -> Value {
    let payment = json!({
        "idempotencyKey": shop.key(), "customerId": machine.customer_id, "method": "CHECK",
        "receivedOn": today(), "amount": amount, "reference": "check 1042"
    });
    shop.done(
        &shop.office,
        "recordPayment",
        payment,
        "payment { id number amount }",
    )
    .await
}

/// What the books say, by account name, on the side where it is.
async fn balances(shop: &Shop) -> Vec<(String, String)> {
    let query = "query($on: NaiveDate!) { trialBalance(on: $on) { debits credits
        rows { account { name } debit credit } } }";
    let answer = shop.ask(&shop.owner, query, json!({ "on": today() })).await;
    data(&answer);
    assert_eq!(
        text(&answer, "data.trialBalance.debits"),
        text(&answer, "data.trialBalance.credits")
    );
    list(&answer, "data.trialBalance.rows")
        .iter()
        .map(|row| {
            let side = |side: &str| {
                row.get(side)
                    .and_then(Value::as_str)
                    .unwrap_or("0.00")
                    .to_owned()
            };
            let debit = side("debit");
            let amount = if debit == "0.00" {
                format!("{} Cr", side("credit"))
            } else {
                format!("{debit} Dr")
            };
            (text(row, "account.name").to_owned(), amount)
        })
        .collect()
}

on_both_databases! {
    async fn a_repair_goes_from_the_complaint_to_a_paid_invoice_and_is_flagged_when_it_returns(db: TestDatabase) {
        let smtp = SmtpServer::start(SmtpOptions::default());
        let mut shop = Shop::open(&db, ServerOptions::default().smtp(&smtp)).await;
        let email = "odalys@mail.example";
        let machine = shop.machine("Odalys Fenwick", email, "N14-104211").await;

        let job = shop.find(&machine).await;
        let mail = offered_and_accepted(&mut shop, &smtp, &job, email).await;
        assert!(mail.text.contains("199.68"), "the total is in the mail");
        assert!(mail.attachments.iter().any(|file| file.content.starts_with(b"%PDF-")));
        let completed = shop.mend_and_complete(&job).await;
        assert_eq!(text(&completed, "call.state"), "COMPLETED");
        assert_eq!(list(&completed, "warranties").len(), 1);

        // 45.00 trip + 118.00 labour + 34.20 part (11.40 x 3); tax 7.25 % of the part alone: 2.4795 -> 2.48.
        let invoice = issued(&mut shop, &job).await;
        assert_eq!(text(&invoice, "invoice.total"), "199.68");
        assert_eq!(text(&invoice, "invoice.tax"), "2.48");
        let receipt = smtp.wait_for_messages(email, 2).await;
        assert!(receipt.iter().any(|mail| mail.text.contains("199.68")));
        paid(&mut shop, &machine, "199.68").await;
        let books = balances(&shop).await;
        let has = |name: &str, amount: &str| {
            assert!(books.iter().any(|(account, balance)| account.contains(name) && balance == amount),
                "no {amount} on {name} in {books:?}");
        };
        has("not yet banked", "199.68 Dr");
        has("Cost of parts", "11.40 Dr");

        // The same terminal burns again: the call is proposed as callback, and the finding raises a flag.
        let again = shop.call(&machine).await;
        assert_eq!(text(&again, "callback.state"), "PROPOSED");
        let again = shop.find(&machine).await;
        let query = "{ flags(first: 10) { edges { node { level state reason baseRate { sentence } nextChecks cautions
            evidence { daysBefore call { number } } } } } }";
        let flags = shop.ask(&shop.office, query, json!({})).await;
        data(&flags);
        let flag = list(&flags, "data.flags.edges");
        assert_eq!(flag.len(), 1, "{flags}");
        assert_eq!(text(&flag[0], "node.level"), "ACT");
        assert_eq!(text(&flag[0], "node.evidence.0.call.number"), job.call_number);
        assert!(!list(&flag[0], "node.cautions").is_empty());
        assert_ne!(again.call_number, job.call_number);
        db.verify_is_clean();
    }

    async fn a_cancelled_call_takes_its_offer_back_and_a_billed_one_is_not_cancelled(db: TestDatabase) {
        let smtp = SmtpServer::start(SmtpOptions::default());
        let mut shop = Shop::open(&db, ServerOptions::default().smtp(&smtp)).await;
        let email = "odalys@mail.example";
        let machine = shop.machine("Odalys Fenwick", email, "N14-104211").await;
        let job = shop.find(&machine).await;
        let revision = shop.draft(&job).await;
        shop.send(&revision).await;
        let mail = smtp.wait_for_messages(email, 1).await.remove(0);
        let cancel = |job: &Job| json!({ "callId": job.call_id, "reason": "bought a new one" });
        shop.done(&shop.office, "cancelCall", cancel(&job), "call { state }").await;
        let (status, page) = shop.accept(&link_in(&mail, &shop), "Odalys Fenwick").await;
        assert!(status >= 400 && !page.contains("Odalys"), "{status} {page}");

        let job = shop.find(&machine).await;
        let revision = shop.draft(&job).await;
        shop.send(&revision).await;
        let mail = smtp.wait_for_messages(email, 2).await.pop().expect("a second mail");
        let (status, page) = shop.accept(&link_in(&mail, &shop), "Odalys Fenwick").await;
        assert_eq!(status, 200, "{page}");
        issued(&mut shop, &job).await;
        let refused = shop.refused(&shop.office, "cancelCall", cancel(&job)).await;
        assert_eq!(refused, [("WRONG_STATE".to_owned(), "input.callId".to_owned())]);
        db.verify_is_clean();
    }

    async fn the_first_hour_is_billed_whole_once_however_labor_is_split(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let machine = shop.machine("Odalys Fenwick", "odalys@mail.example", "N14-104211").await;
        let job = shop.find(&machine).await;
        let twenty = json!({ "kind": "LABOUR", "minutes": 20 });
        let draft = json!({
            "idempotencyKey": shop.key(), "callId": job.call_id,
            "options": [{ "title": "In two parts", "lines": [twenty, twenty] }]
        });
        let selection = "revision { options { lines { net } } }";
        let drafted = shop.done(&shop.office, "draftEstimate", draft, selection).await;
        // 118.00 an hour: the first hour whole, then two quarters of an hour begun.
        assert_eq!(text(&drafted, "revision.options.0.lines.0.net"), "118.00");
        assert_eq!(text(&drafted, "revision.options.0.lines.1.net"), "59.00");
    }
}
