//! A claim on a warranty payer from the decision to the money, through GraphQL and HTTP only: drafted, made ready, sent as
//! an archive, paid short, appealed, paid in full, and the books after it.

use std::io::{Cursor, Read};

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{list, text};
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::{Machine, Shop, today};
use crate::support::warranty::Programme;

/// A call that the maker pays a part of: decided, done, and billed by payer.
struct Billed {
    maker: Programme,
    machine: Machine,
    customers: Value,
    payers: Value,
}

const INVOICES: &str =
    "invoices { id number total shopBears warrantyPayer { id } customer { name } }";

async fn billed(shop: &mut Shop) -> Billed {
    let maker = shop.maker().await;
    let machine = shop
        .machine("Odalys Quern", "odalys@household.example", "SN-901")
        .await;
    shop.bought(&machine, &today()).await;
    let job = shop.find(&machine).await;
    let revision = shop.draft(&job).await;
    shop.send(&revision).await;
    shop.accept_from_folder(1, "Odalys Quern").await;
    shop.mend_and_complete(&job).await;
    let waiting = shop.decide(&job).await;
    let early = json!({
        "idempotencyKey": shop.key(), "callId": job.call_id,
        "coverage": { "decisionId": text(&waiting, "decision.id") }
    });
    shop.refused_as(&shop.office, "issueInvoice", early, "MISSING")
        .await;
    shop.picture(&machine.appliance_id, "PROOF_OF_PURCHASE", 20)
        .await;
    let papers = json!({
        "idempotencyKey": shop.key(), "callId": job.call_id, "facts": { "evidence": ["PLATE_PICTURE"] }
    });
    let decided = shop
        .done(
            &shop.office,
            "decideCoverage",
            papers,
            "decision { id isSure }",
        )
        .await;
    let order = json!({
        "idempotencyKey": shop.key(), "callId": job.call_id,
        "coverage": { "decisionId": text(&decided, "decision.id") }
    });
    let issued = shop
        .done(&shop.office, "issueInvoice", order, INVOICES)
        .await;
    let bills = list(&issued, "invoices");
    assert_eq!(bills.len(), 2, "{issued}");
    let late = json!({ "idempotencyKey": shop.key(), "callId": job.call_id });
    shop.refused_as(&shop.office, "decideCoverage", late, "WRONG_STATE")
        .await;
    let of = |payer: &Value| {
        let found = bills.iter().find(|bill| &bill["warrantyPayer"] == payer);
        found.unwrap_or_else(|| panic!("{issued}")).clone()
    };
    Billed {
        customers: of(&Value::Null),
        payers: of(&json!({ "id": maker.payer_id })),
        maker,
        machine,
    }
}

fn cents(value: &Value, path: &str) -> i64 {
    let amount = text(value, path).replace('.', "");
    amount.parse().expect("an amount")
}

/// Takes one step of a claim and gives it as it is then.
async fn step(shop: &Shop, act: &str, claim: &Value, more: Value) -> Value {
    let mut input = json!({ "claimId": text(claim, "id"), "version": claim["version"] });
    let fields = input.as_object_mut().expect("an object");
    fields.extend(more.as_object().expect("an object").clone());
    let done = shop
        .done(&shop.office, act, input, "claim { id version state }")
        .await;
    done["claim"].clone()
}

/// Drafts the claim, adds the plate, makes it ready and mails it; gives the claim and its number.
async fn submitted(shop: &mut Shop, billed: &Billed) -> (Value, String) {
    let draft = json!({ "idempotencyKey": shop.key(), "invoiceId": text(&billed.payers, "id") });
    let selection =
        "claim { id number version state fileBy daysLeft claimed required { evidence isThere } }";
    let drafted = shop
        .done(&shop.office, "draftClaim", draft, selection)
        .await;
    let mut claim = drafted["claim"].clone();
    let number = text(&claim, "number").to_owned();
    assert_eq!(text(&claim, "claimed"), text(&billed.payers, "total"));
    let missing: Vec<&str> = list(&claim, "required")
        .iter()
        .filter(|needed| needed["isThere"] == json!(false))
        .map(|needed| text(needed, "evidence"))
        .collect();
    assert_eq!(missing, ["PLATE_PICTURE"], "{claim}");
    let again = json!({ "idempotencyKey": shop.key(), "invoiceId": text(&billed.payers, "id") });
    shop.refused_as(&shop.office, "draftClaim", again, "TAKEN")
        .await;
    let early = json!({ "claimId": text(&claim, "id"), "version": claim["version"] });
    shop.refused_as(&shop.office, "makeClaimReady", early, "MISSING")
        .await;
    let plate = shop
        .picture(&billed.machine.appliance_id, "PLATE", 10)
        .await;
    let paper = json!({
        "idempotencyKey": shop.key(), "claimId": text(&claim, "id"), "evidence": "PLATE_PICTURE", "attachmentId": plate
    });
    shop.done(&shop.office, "addClaimPaper", paper, "claimPaper { id }")
        .await;
    let query = "query($id: ID!) { claim(id: $id) { id version state } }";
    let found = shop
        .ask(&shop.office, query, json!({ "id": text(&claim, "id") }))
        .await;
    claim = step(shop, "makeClaimReady", &found["data"]["claim"], json!({})).await;
    assert_eq!(text(&claim, "state"), "READY");
    let submit = json!({
        "idempotencyKey": shop.key(), "claimId": text(&claim, "id"), "version": claim["version"], "on": today(),
        "byMail": true
    });
    let selection = "submission { daysLate claim { id version state } sending { sha256 } }";
    let sent = shop
        .done(&shop.office, "submitClaim", submit, selection)
        .await;
    assert_eq!(text(&sent, "submission.claim.state"), "SUBMITTED");
    (sent["submission"]["claim"].clone(), number)
}

/// The archive holds the claim for machines and people, and its papers.
async fn archive_is_whole(shop: &Shop, claim: &Value, number: &str) {
    let path = format!("/claims/{}/archive.zip", text(claim, "id"));
    let fetch = async |token: &str| {
        let url = format!("{}{path}", shop.server.base_url());
        let request = shop.server.http().get(url).bearer_auth(token);
        request.send().await.expect("an answer")
    };
    assert_eq!(fetch(&shop.technician).await.status().as_u16(), 404);
    for (asked, expected) in [("?now=true", 200), ("?now=often", 400)] {
        let url = format!("{}{path}{asked}", shop.server.base_url());
        let request = shop.server.http().get(url).bearer_auth(&shop.office);
        let answer = request.send().await.expect("an answer");
        assert_eq!(answer.status().as_u16(), expected, "{asked}");
    }
    let answer = fetch(&shop.office).await;
    assert!(answer.status().is_success());
    let bytes = answer.bytes().await.expect("a body");
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).expect("a zip");
    let names: Vec<String> = archive
        .file_names()
        .map(|name| name.expect("a name").into_owned())
        .collect();
    for wanted in ["claim.json", "claim.csv", "claim.pdf", "claim.schema.json"] {
        assert!(names.iter().any(|name| name == wanted), "{names:?}");
    }
    let papers = names.iter().filter(|name| name.starts_with("attachments/"));
    assert!(papers.count() >= 2, "{names:?}");
    let mut read = |name: &str| {
        let mut text = String::new();
        let mut file = archive.by_name(name).expect("the file");
        file.read_to_string(&mut text).expect("text");
        text
    };
    let told: Value = serde_json::from_str(&read("claim.json")).expect("json");
    assert!(told.to_string().contains(number), "{told}");
    assert!(read("claim.csv").contains("\r\n"));
    let schema: Value = serde_json::from_str(&read("claim.schema.json")).expect("json");
    assert_eq!(
        text(&schema, "$schema"),
        "https://json-schema.org/draft/2020-12/schema"
    );
}

async fn state(shop: &Shop, claim: &Value) -> Value {
    let query = "query($id: ID!) { claim(id: $id) { id version state balance { paid open } steps { step } } }";
    let found = shop
        .ask(&shop.office, query, json!({ "id": text(claim, "id") }))
        .await;
    found["data"]["claim"].clone()
}

/// Debits and credits agree, and nothing of the maker's is left open.
async fn books_tie(shop: &Shop, billed: &Billed) {
    let query = "query($on: NaiveDate!) { trialBalance(on: $on) { debits credits \
                 rows { account { code } debit credit } } claimsAgeing(through: $on) { brackets { total } } }";
    let books = shop.ask(&shop.owner, query, json!({ "on": today() })).await;
    assert_eq!(
        text(&books, "data.trialBalance.debits"),
        text(&books, "data.trialBalance.credits"),
        "{books}"
    );
    let of = |code: &str| {
        list(&books, "data.trialBalance.rows")
            .iter()
            .find(|row| text(row, "account.code") == code)
            .map_or(0, |row| cents(row, "debit") - cents(row, "credit"))
    };
    assert_eq!(of("1250"), 0, "{books}");
    assert_eq!(of("1200"), cents(&billed.customers, "total"), "{books}");
    assert_eq!(shop.server.verify().code, Some(0));
}

on_both_databases! {
    async fn a_claim_is_paid_short_appealed_and_paid_in_full(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let billed = billed(&mut shop).await;
        assert_eq!(text(&billed.customers, "customer.name"), "Odalys Quern");
        let (claim, number) = submitted(&mut shop, &billed).await;
        archive_is_whole(&shop, &claim, &number).await;
        shop.advice_layout(&billed.maker).await;

        let total = cents(&billed.payers, "total");
        let (first, rest) = (total - 2_000, 2_000);
        let amount = |cents: i64| format!("{}.{:02}", cents / 100, cents % 100);
        let short = format!("{number};{};{};ELR", amount(first), amount(rest));
        let looked = shop.advised(&billed.maker, ("R-1", short)).await;
        assert_eq!(text(&looked, "rows.0.finding"), "SHORT", "{looked}");
        let paid = state(&shop, &claim).await;
        assert_eq!(cents(&paid, "balance.paid"), first, "{paid}");
        assert_eq!(cents(&paid, "balance.open"), rest, "{paid}");

        let dispute = json!({
            "idempotencyKey": shop.key(), "on": today(), "byMail": false, "note": "The rate is the one of the terms."
        });
        let appealed = step(&shop, "appealClaim", &paid, dispute).await;
        assert_eq!(text(&appealed, "state"), "APPEALED");
        let full = format!("{number};{};;", amount(rest));
        let looked = shop.advised(&billed.maker, ("R-2", full)).await;
        assert_eq!(text(&looked, "rows.0.finding"), "IN_FULL", "{looked}");
        let paid = state(&shop, &claim).await;
        assert_eq!((text(&paid, "state"), cents(&paid, "balance.open")), ("PAID", 0), "{paid}");
        let closed = step(&shop, "closeClaim", &paid, json!({ "on": today() })).await;
        assert_eq!(text(&closed, "state"), "CLOSED");
        let credit = json!({
            "idempotencyKey": shop.key(), "invoiceId": text(&billed.payers, "id"), "reason": "A slip."
        });
        shop.refused_as(&shop.office, "creditInvoice", credit, "WRONG_STATE").await;
        let again = json!({ "on": today(), "note": "Closed by mistake." });
        let open = step(&shop, "reopenClosedClaim", &closed, again).await;
        assert_eq!(text(&open, "state"), "PAID");
        books_tie(&shop, &billed).await;
    }

    async fn what_a_payer_refuses_is_billed_to_the_customer_or_borne(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let billed = billed(&mut shop).await;
        let (claim, number) = submitted(&mut shop, &billed).await;
        shop.advice_layout(&billed.maker).await;
        let refused = format!("{number};0.00;{};EW", text(&billed.payers, "total"));
        shop.advised(&billed.maker, ("R-9", refused)).await;
        let denied = state(&shop, &claim).await;
        assert_eq!(text(&denied, "state"), "DENIED", "{denied}");
        let bill = json!({
            "idempotencyKey": shop.key(), "claimId": text(&claim, "id"), "amount": "30.00",
            "reason": "The maker says that its warranty had ended."
        });
        let moved = shop.done(&shop.office, "billClaimRest", bill, "claim { balance { open writtenDown } }").await;
        assert_eq!(cents(&moved, "claim.balance.writtenDown"), 3_000);
        let bear = json!({
            "idempotencyKey": shop.key(), "claimId": text(&claim, "id"), "reason": "Not worth another letter."
        });
        shop.done(&shop.owner, "bearClaimRest", bear, "claim { state balance { open writtenDown } }")
            .await;
        let left = state(&shop, &claim).await;
        assert_eq!(cents(&left, "balance.open"), 0, "{left}");
        assert_eq!(shop.server.verify().code, Some(0));
    }
}
