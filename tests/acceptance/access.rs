//! Who may do what, walked from the schema itself: every field of every type and every mutation, as each
//! role and as nobody. A field that nobody decided on fails here, and so does one that answers the wrong role.

use nameplate::base::access::{self, Role as Rank};
use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{list, text};
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::{Job, Machine, Shop, moment, today};
use crate::support::taxes;

mod catalogue;
mod graph;
mod parts;
mod record;
mod visitor;
mod warranty;

use graph::{Graph, Step};
use visitor::{visitors, was_refused};

#[test]
fn every_field_of_the_schema_was_decided_on() {
    let graph = Graph::of_the_schema();
    let undecided: Vec<String> = graph
        .fields()
        .filter(|(kind, field)| access::decided(kind, field).is_none())
        .map(|(kind, field)| format!("{kind}.{field}"))
        .collect();
    assert!(
        undecided.is_empty(),
        "nobody decided who may use {undecided:#?}"
    );
}

#[test]
fn every_decision_is_about_a_field_that_exists() {
    let graph = Graph::of_the_schema();
    let stale: Vec<String> = access::table()
        .filter(|(kind, field)| !graph.has(kind, field))
        .map(|(kind, field)| format!("{kind}.{field}"))
        .collect();
    assert!(
        stale.is_empty(),
        "decided, but not in the schema: {stale:#?}"
    );
}

/// What no technician may ever be shown, whatever the table says: costs, margins, books and who works here.
#[test]
fn costs_margins_and_books_are_decided_away_from_technicians() {
    let graph = Graph::of_the_schema();
    let words = ["cost", "markup", "margin", "postings", "debits", "credits"];
    let kinds = [
        "Account",
        "JournalEntry",
        "Posting",
        "TrialBalance",
        "BalanceSheet",
        "IncomeStatement",
        "PriceBook",
        "Payment",
        "Mail",
    ];
    let shown: Vec<String> = graph
        .fields()
        .filter(|(kind, field)| {
            let lower = field.to_lowercase();
            kinds.contains(&kind.as_str()) || words.iter().any(|word| lower.contains(word))
        })
        .filter(|(kind, field)| {
            access::decided(kind, field).is_some_and(|least| least.admits(Some(Rank::Technician)))
        })
        .map(|(kind, field)| format!("{kind}.{field}"))
        .collect();
    assert!(shown.is_empty(), "a technician would be shown {shown:?}");
}

/// A shop in which something of every type can be reached: one repair billed and paid, one billed and open,
/// one under way, on one machine.
async fn lived_in(db: &TestDatabase) -> (Shop, Graph) {
    let mut shop = Shop::open(db, ServerOptions::default()).await;
    let machine = shop
        .machine_of(
            "ORGANISATION",
            ("Odalys Fenwick", "odalys@mail.example"),
            "N14-104211",
        )
        .await;
    let beside = shop
        .machine("Adelheid Corvane", "adelheid@mail.example", "N14-1O4211")
        .await;
    let neighbour = shop.machine_beside(&machine, "N14-777001").await;
    record::of_everything(&mut shop, db, &neighbour).await;
    let first = offered(&mut shop, &machine, 1).await;
    shop.mend_and_complete(&first).await;
    let total = billed(&mut shop, &first).await;
    paid(&mut shop, &machine, total).await;
    let second = offered(&mut shop, &machine, 2).await;
    billed(&mut shop, &second).await;
    money(&mut shop, &machine).await;
    let open = shop.find(&machine).await;
    let revision = shop.draft(&open).await;
    shop.send(&revision).await;
    // Revised before it left, its mail would be dropped.
    shop.link_from_folder(3).await;
    papers(&mut shop, &machine, (&open, &revision)).await;
    template(&shop, &machine).await;
    remarks(&shop, &machine, &open).await;
    taxes::every_kind_of_rule(&shop).await;
    let bank = bank(&mut shop).await;
    let known = catalogue::of_everything(&mut shop, &open).await;
    let supplier_id = parts::of_everything(&mut shop, &machine, &open).await;
    let maker = warranty::of_everything(&mut shop, db, (&machine, &open)).await;
    warranty::paid_short(&mut shop, &maker, &beside).await;
    record::of_the_open_call(&mut shop, &open).await;
    let close = json!({ "through": "2020-12-31" });
    shop.done(&shop.owner, "closeBooks", close, "closedThrough")
        .await;
    let graph = Graph::of_the_schema().knowing(&[
        ("accountId", json!(receivable(&shop).await)),
        ("applianceId", json!(machine.appliance_id)),
        ("bankAccountId", json!(bank)),
        ("callId", json!(open.call_id)),
        ("customerId", json!(machine.customer_id)),
        ("partId", json!(shop.part_id)),
        ("payerId", json!(maker.payer_id)),
        ("priceBookId", json!(known.price_book_id)),
        ("priceListId", json!(known.price_list_id)),
        ("supplierId", json!(supplier_id)),
        ("technicianId", json!(shop.technician_id)),
        ("by", json!({ "id": machine.appliance_id })),
        ("repairRates.by", json!("MODEL")),
        ("ratedRepairs.by", json!("MODEL")),
        ("key", json!("NORVANE|NR-411")),
        ("revision", json!(1)),
        ("withinDays", json!(400)),
        ("place", json!({ "postalCode": "00412" })),
        ("beforeTax", json!("1.00")),
        ("withTax", json!("1.00")),
        ("number", json!("TB-210")),
        ("text", json!("Fenwick")),
        ("on", json!(today())),
        ("from", json!(today())),
        ("to", json!(today())),
        ("through", json!(today())),
        ("until", json!(today())),
    ]);
    (shop, graph)
}

/// A finding whose repair was offered and accepted, as the `number`th of the shop.
async fn offered(shop: &mut Shop, machine: &Machine, number: usize) -> Job {
    let job = shop.find(machine).await;
    let revision = shop.draft(&job).await;
    shop.send(&revision).await;
    shop.accept_from_folder(number, "Odalys Fenwick").await;
    job
}

/// Issues the invoice and gives its total.
async fn billed(shop: &mut Shop, job: &Job) -> Value {
    let order = json!({ "idempotencyKey": shop.key(), "callId": job.call_id });
    let issued = shop
        .done(&shop.office, "issueInvoice", order, "invoice { id total }")
        .await;
    issued["invoice"]["total"].clone()
}

/// The whole of an invoice comes in.
async fn paid(shop: &mut Shop, machine: &Machine, total: Value) {
    let payment = json!({
        "idempotencyKey": shop.key(), "customerId": machine.customer_id, "method": "CASH",
        "receivedOn": today(), "amount": total
    });
    shop.done(&shop.office, "recordPayment", payment, "payment { id }")
        .await;
}

/// Credit paid back, a payment undone, and a sale over the counter written off with the tax in it.
async fn money(shop: &mut Shop, machine: &Machine) {
    let payment = |key: String, amount: &str| {
        json!({
            "idempotencyKey": key, "customerId": machine.customer_id, "method": "CASH", "receivedOn": today(),
            "amount": amount, "allocations": [], "allowCredit": true
        })
    };
    let selection = "payment { id }";
    let kept = payment(shop.key(), "20.00");
    shop.done(&shop.office, "recordPayment", kept, selection)
        .await;
    let gone = payment(shop.key(), "3.00");
    let gone = shop
        .done(&shop.office, "recordPayment", gone, selection)
        .await;
    let reverse = json!({
        "idempotencyKey": shop.key(), "paymentId": gone["payment"]["id"], "kind": "BOUNCED", "reason": "Not honoured",
        "reversedOn": today()
    });
    shop.done(&shop.office, "reversePayment", reverse, selection)
        .await;
    let refund = json!({
        "idempotencyKey": shop.key(), "customerId": machine.customer_id, "amount": "5.00", "method": "CHECK",
        "refundedOn": today()
    });
    shop.done(&shop.owner, "refundCredit", refund, "refund { id }")
        .await;
    let kept = payment(shop.key(), "1.00");
    let kept = shop
        .done(&shop.office, "recordPayment", kept, selection)
        .await;
    let slip = json!({
        "idempotencyKey": shop.key(), "depositedOn": today(), "payments": [{ "paymentId": kept["payment"]["id"] }]
    });
    shop.done(&shop.office, "bankReceipts", slip, "deposit { id }")
        .await;
    let relief = json!({ "writeOffTaxRelief": true });
    let selection = "terms { writeOffTaxRelief }";
    shop.done(&shop.owner, "changeReceivableTerms", relief, selection)
        .await;
    let sale = json!({
        "idempotencyKey": shop.key(), "customerId": machine.customer_id, "serviceAddressId": machine.address_id,
        "about": "Over the counter",
        "option": { "title": "Sale", "lines": [{ "kind": "PART", "partId": shop.part_id, "quantity": "2" }] }
    });
    let sale = shop
        .done(&shop.office, "issueFreeInvoice", sale, "invoice { id }")
        .await;
    let write_off = json!({
        "idempotencyKey": shop.key(), "invoiceId": sale["invoice"]["id"], "reason": "Gone"
    });
    shop.done(&shop.owner, "writeOffInvoice", write_off, "invoice { id }")
        .await;
    let some = json!({
        "idempotencyKey": shop.key(), "customerId": machine.customer_id, "method": "CASH", "amount": "1.00",
        "receivedOn": today(), "allocations": [{ "invoiceId": sale["invoice"]["id"], "amount": "1.00" }]
    });
    shop.done(&shop.office, "recordPayment", some, "payment { id }")
        .await;
    let wants = json!({ "customerId": machine.customer_id, "wanted": false, "buyerReference": "Cost centre 12" });
    let selection = "eInvoicing { wanted }";
    shop.done(&shop.office, "changeEInvoicing", wants, selection)
        .await;
}

/// Pictures on the machine and on an estimate that is asked about, accepted and gone beyond, where rules ask for
/// what this shop lacks.
async fn papers(shop: &mut Shop, machine: &Machine, (job, revision): (&Job, &str)) {
    let rules = json!({
        "country": "US", "region": "NL", "name": "Rules of Newland", "effectiveFrom": "2020-01-01",
        "estimateElements": ["REGISTRATION_NUMBER"], "billElements": ["REGISTRATION_NUMBER"]
    });
    shop.done(&shop.owner, "addLocalRules", rules, "rules { id }")
        .await;
    let picture = shop.picture(&machine.appliance_id, "PLATE", 10).await;
    let query = "query($id: ID!) { node(id: $id) { ... on EstimateRevision { estimate { id } } } }";
    let found = shop
        .ask(&shop.office, query, json!({ "id": revision }))
        .await;
    let revision = json!({
        "idempotencyKey": shop.key(), "estimateId": text(&found, "data.node.estimate.id"),
        "pictures": [{ "attachmentId": picture }], "repairOrReplace": { "replacementPrice": "900.00" },
        "options": [{ "title": "Repair", "lines": [{ "kind": "LABOUR", "minutes": 60 }] }]
    });
    let drafted = shop
        .done(&shop.office, "reviseEstimate", revision, "revision { id }")
        .await;
    shop.send(text(&drafted, "revision.id")).await;
    let link = shop.link_from_folder(4).await;
    let asked = shop
        .server
        .http()
        .post(format!("{link}/ask"))
        .form(&[("question", "When?")])
        .send()
        .await;
    assert!(asked.expect("an answer").status().is_redirection());
    let (status, page) = shop.accept(&link, "Odalys Fenwick").await;
    assert_eq!(status, 200, "{page}");
    let consent = json!({
        "idempotencyKey": shop.key(), "callId": job.call_id, "addedWork": "More", "addedTotal": "10.00",
        "authorisedBy": "Odalys Fenwick", "how": "IN_PERSON", "givenAt": moment()
    });
    shop.done(&shop.office, "recordConsent", consent, "consent { id }")
        .await;
}

/// A common repair of this type of machine.
async fn template(shop: &Shop, machine: &Machine) {
    let template = json!({
        "name": "Terminal burnt", "applianceTypeId": machine.type_id, "componentId": machine.component_id,
        "failureModeId": machine.mode_id, "title": "New terminal block",
        "lines": [{ "kind": "PART", "partId": shop.part_id }]
    });
    let shown = "template { id }";
    shop.done(&shop.office, "addRepairTemplate", template, shown)
        .await;
}

/// An account at a bank with a layout, a balance it began with that is booked and reconciled, and a line that waits.
async fn bank(shop: &mut Shop) -> String {
    let banks = "{ bankAccounts { accountId } }";
    let banks = shop.ask(&shop.office, banks, json!({})).await;
    let bank = text(&banks, "data.bankAccounts.0.accountId").to_owned();
    let layout = json!({
        "bankAccountId": bank, "delimiter": "COMMA", "hasHeader": false, "encoding": "UTF8",
        "dateOrder": "YEAR_MONTH_DAY", "decimalSign": "POINT",
        "columns": { "day": "1", "amount": "2", "text": "3" }
    });
    shop.done(&shop.office, "saveBankLayout", layout, "layout { version }")
        .await;
    let start = json!({
        "idempotencyKey": shop.key(), "bankAccountId": bank, "on": "2020-01-31", "balance": "10.00"
    });
    let start = shop
        .done(&shop.owner, "startBankAccount", start, "line { lineId }")
        .await;
    let booking = json!({
        "idempotencyKey": shop.key(), "lineId": start["line"]["lineId"],
        "splits": [{ "account": "3010", "amount": "10.00" }]
    });
    shop.done(&shop.owner, "bookBankLine", booking, "line { lineId }")
        .await;
    let close = json!({
        "idempotencyKey": shop.key(), "bankAccountId": bank, "through": "2020-01-31", "closingBalance": "10.00"
    });
    let closed = "reconciliation { id }";
    shop.done(&shop.office, "reconcileBank", close, closed)
        .await;
    let capital = json!({
        "idempotencyKey": shop.key(), "on": "2020-01-30", "memo": "Found later",
        "lines": [{ "account": "1010", "debit": "2.00" }, { "account": "3010", "credit": "2.00" }]
    });
    shop.done(&shop.owner, "postJournal", capital, "journalEntry { id }")
        .await;
    let url = format!("{}/bank-accounts/{bank}/statement", shop.server.base_url());
    let request = shop.server.http().post(url).bearer_auth(&shop.office);
    let request = request
        .header("Content-Type", "text/csv")
        .body("2020-02-01,2.00,Deposit");
    let sent = request.send().await.expect("an answer");
    assert!(sent.status().is_success());
    bank
}

/// The account that every invoice is posted to.
async fn receivable(shop: &Shop) -> String {
    let chart = shop
        .ask(&shop.owner, "{ accounts { id role } }", json!({}))
        .await;
    let account = list(&chart, "data.accounts")
        .iter()
        .find(|account| account["role"] == "receivable");
    text(account.expect("the chart has it"), "id").to_owned()
}

/// What people add: a reading, a contact, a certificate, a step of a flag.
async fn remarks(shop: &Shop, machine: &Machine, job: &Job) {
    let reading = json!({
        "callId": job.call_id, "quantity": "RESISTANCE", "value": "22.1", "unit": "OHM",
        "place": "bake element", "isolated": true
    });
    shop.done(&shop.technician, "recordReading", reading, "reading { id }")
        .await;
    let contact =
        json!({ "customerId": machine.customer_id, "name": "Cosmo Hexley", "role": "tenant" });
    shop.done(&shop.office, "addContact", contact, "contact { id }")
        .await;
    let exempt = json!({
        "customerId": machine.customer_id, "certificate": "EX-7", "reason": "resale", "validFrom": "2020-01-01",
        "validUntil": today()
    });
    shop.done(
        &shop.office,
        "addTaxExemption",
        exempt,
        "taxExemption { id }",
    )
    .await;
    let flags = shop
        .ask(
            &shop.office,
            "{ flags { edges { node { id } } } }",
            json!({}),
        )
        .await;
    let flag = text(&flags, "data.flags.edges.0.node.id");
    let step = json!({ "flagId": flag, "to": "ACKNOWLEDGED", "note": "Seen." });
    shop.done(&shop.office, "moveFlag", step, "flag { id }")
        .await;
}

on_both_databases! {
    async fn every_field_answers_those_who_may_and_no_one_else(db: TestDatabase) {
        let (shop, graph) = lived_in(&db).await;
        let mut wrong = Vec::new();
        let mut tried = 0;
        // Subscriptions are asked over a socket: their tests stand beside `http/live`.
        for (kind, fields) in graph.fields_by_kind().filter(|(kind, _)| kind != "Subscription") {
            let Some(path) = graph.path_to(&kind) else {
                if !Graph::is_payload_of_a_mutation(&kind) {
                    wrong.push(format!("no query reaches {kind}"));
                }
                continue;
            };
            let mut was_reached = false;
            for visitor in visitors(&shop) {
                let walked = visitor.walk((&shop, &graph), (&path, &fields)).await;
                was_reached |= walked.was_reached;
                wrong.extend(walked.wrong);
                tried += fields.len();
            }
            if !was_reached {
                wrong.push(format!("the shop of this test holds no {kind}: {}", graph.query(&path, &[])));
            }
        }
        assert!(tried > 1_000, "only {tried} fields were tried");
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }

    async fn every_mutation_obeys_those_who_may_and_no_one_else(db: TestDatabase) {
        let shop = Shop::open(&db, ServerOptions::default()).await;
        let graph = Graph::of_the_schema();
        let mut wrong = Vec::new();
        for mutation in graph.mutations().filter(|name| name != "signOut") {
            let query = graph.mutation_with_made_up_input(&mutation);
            let step = Step { kind: "Mutation".to_owned(), field: mutation.clone() };
            for visitor in visitors(&shop) {
                let answer = visitor.ask(&shop, &query).await;
                if answer.get("data").is_none() {
                    wrong.push(format!("{mutation} was not carried out at all: {answer} for {query}"));
                } else if visitor.may(&step) == was_refused(&answer) {
                    wrong.push(format!("{} and {mutation}: {answer}", visitor.name));
                }
            }
        }
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }
}
