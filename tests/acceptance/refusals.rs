//! Bad input, by hand: each kind of refusal happens, names its field, and leaves nothing behind.

use std::collections::BTreeSet;

use nameplate::base::ProblemCode;
use nameplate::graphql::error::ProblemCode as Shown;
use serde_json::{Value, json};

use crate::main_job::link_in;
use crate::support::database::TestDatabase;
use crate::support::graphql::list;
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::{Job, Machine, Shop, today};
use crate::support::smtp::{SmtpOptions, SmtpServer};

/// What is sent, by whom, and the code and path that must come back.
struct Bad {
    owner: bool,
    mutation: &'static str,
    input: Value,
    code: &'static str,
    path: &'static str,
}

fn bad(mutation: &'static str, input: Value, code: &'static str, path: &'static str) -> Bad {
    Bad {
        owner: false,
        mutation,
        input,
        code,
        path,
    }
}

fn by_owner(bad: Bad) -> Bad {
    Bad { owner: true, ..bad }
}

fn people(machine: &Machine) -> Vec<Bad> {
    let household = |name: &str, phone: &str, email: &str| json!({ "kind": "HOUSEHOLD", "name": name, "phone": phone, "email": email });
    let long = "n".repeat(300);
    let stale = json!({ "customerId": machine.customer_id, "version": 99, "name": "x" });
    vec![
        bad(
            "addCustomer",
            household(" ", "(217) 555-0142", "a@b.example"),
            "MISSING",
            "input.name",
        ),
        bad(
            "addCustomer",
            household(&long, "(217) 555-0142", "a@b.example"),
            "TOO_LONG",
            "input.name",
        ),
        bad(
            "addCustomer",
            household("Noor Hexley", "555-0100", "a@b.example"),
            "MALFORMED",
            "input.phone",
        ),
        bad(
            "addCustomer",
            household("Noor Hexley", "(217) 555-0142", "no address"),
            "MALFORMED",
            "input.email",
        ),
        bad("changeCustomer", stale, "CONFLICT", "input.version"),
    ]
}

fn machines(machine: &Machine) -> Vec<Bad> {
    let range = |serial: &str, made: &str, bought: &str| {
        json!({
            "idempotencyKey": serial, "applianceTypeId": machine.type_id, "customerId": machine.customer_id,
            "serviceAddressId": machine.address_id, "make": "Norvane", "model": "NR-1", "serial": serial,
            "fuel": "ELECTRIC", "madeOn": made, "boughtOn": bought
        })
    };
    let call = |key: &str, appliance: &str| json!({ "idempotencyKey": key, "applianceId": appliance, "complaint": "x", "kind": "REPAIR" });
    vec![
        bad(
            "addAppliance",
            range("--- ---", "2020-01-01", "2020-02-01"),
            "MALFORMED",
            "input.serial",
        ),
        bad(
            "addAppliance",
            range("N15-1", "2020-03-01", "2020-02-01"),
            "IMPOSSIBLE_DATE",
            "input.boughtOn",
        ),
        bad(
            "addAppliance",
            range("N14-104211", "2020-01-01", "2020-02-01"),
            "TAKEN",
            "input.serial",
        ),
        bad(
            "openCall",
            call("none", "bm90aGluZw"),
            "NOT_FOUND",
            "input.applianceId",
        ),
        bad(
            "openCall",
            call("", &machine.appliance_id),
            "MISSING",
            "input.idempotencyKey",
        ),
    ]
}

fn settings(shop: &Shop, machine: &Machine) -> Vec<Bad> {
    let part =
        |number: &str, cost: &str| json!({ "number": number, "description": "x", "cost": cost });
    let over = json!({
        "name": "Nowhere", "basis": "INVOICE", "effectiveFrom": "2020-01-01",
        "levels": [{ "name": "State", "kind": "STATE", "ratePercent": "101" }], "taxability": []
    });
    let staff =
        json!({ "name": "x", "email": "new@shop.example", "role": "OFFICE", "password": "short" });
    let elsewhere =
        json!({ "serviceAddressId": machine.address_id, "taxJurisdictionId": shop.part_id });
    vec![
        bad(
            "addPart",
            part("ZZ-1", "-1.00"),
            "NEGATIVE_MONEY",
            "input.cost",
        ),
        bad("addPart", part("TB-210", "1.00"), "TAKEN", "input.number"),
        by_owner(bad(
            "addTaxJurisdiction",
            over,
            "OUT_OF_RANGE",
            "input.levels.0.ratePercent",
        )),
        by_owner(bad("addStaff", staff, "OUT_OF_RANGE", "input.password")),
        bad(
            "confirmJurisdiction",
            elsewhere,
            "NOT_FOUND",
            "input.taxJurisdictionId",
        ),
    ]
}

fn payments(machine: &Machine) -> Vec<Bad> {
    let paid = |amount: &str, received_on: &str, allow_credit: bool| {
        json!({
            "idempotencyKey": format!("{amount} {received_on} {allow_credit}"), "customerId": machine.customer_id,
            "method": "CASH", "receivedOn": received_on, "amount": amount, "allowCredit": allow_credit
        })
    };
    let huge = paid("90000000000000000.00", &today(), true);
    let old = paid("5.00", "1900-01-01", true);
    vec![
        bad(
            "recordPayment",
            paid("1000000.00", &today(), false),
            "TOO_MUCH",
            "input.amount",
        ),
        bad(
            "recordPayment",
            paid("-5.00", &today(), false),
            "NEGATIVE_MONEY",
            "input.amount",
        ),
        bad("recordPayment", huge, "OUT_OF_RANGE", "input.amount"),
        bad("recordPayment", old, "IMPOSSIBLE_DATE", "input.receivedOn"),
    ]
}

fn documents(job: &Job) -> Vec<Bad> {
    let journal = |on: &str, credit: &str| {
        json!({
            "idempotencyKey": format!("journal {on} {credit}"), "on": on, "memo": "x",
            "lines": [{ "account": "1010", "debit": "5.00" }, { "account": "3010", "credit": credit }]
        })
    };
    let early = json!({ "idempotencyKey": "early", "callId": job.call_id });
    let close = json!({ "idempotencyKey": "close", "callId": job.call_id });
    let through = json!({ "through": today() });
    vec![
        bad("issueInvoice", early, "WRONG_STATE", "input.callId"),
        by_owner(bad(
            "closeBooks",
            through,
            "IMPOSSIBLE_DATE",
            "input.through",
        )),
        by_owner(bad(
            "postJournal",
            journal("2026-01-05", "4.00"),
            "UNBALANCED",
            "input.lines",
        )),
        by_owner(bad(
            "postJournal",
            journal("2019-12-31", "5.00"),
            "PERIOD_CLOSED",
            "input.on",
        )),
        bad("completeCall", close, "ROOT_CAUSE_NEEDED", "input.callId"),
    ]
}

/// Rows of every table a shop's work is kept in.
async fn rows(shop: &Shop, db: &TestDatabase) -> Vec<i64> {
    use nameplate_entities::{
        appliance, audit_entry, customer, invoice, journal_entry, part, payment, service_call,
    };
    use sea_orm::{EntityTrait, PaginatorTrait};
    let _ = shop;
    let connection = db.connect().await;
    macro_rules! count {
        ($($table:ident),*) => {
            vec![$(i64::try_from($table::Entity::find().count(&connection).await.expect("rows can be counted")).expect("few")),*]
        };
    }
    count!(
        appliance,
        audit_entry,
        customer,
        invoice,
        journal_entry,
        part,
        payment,
        service_call
    )
}

async fn sends(shop: &Shop, bad: &Bad, seen: &mut BTreeSet<String>) {
    let token = if bad.owner { &shop.owner } else { &shop.office };
    let problems = shop.refused(token, bad.mutation, bad.input.clone()).await;
    let expected = (bad.code.to_owned(), bad.path.to_owned());
    assert!(
        problems.contains(&expected),
        "{}: {problems:?} lacks {expected:?}",
        bad.mutation
    );
    seen.extend(problems.into_iter().map(|(code, _)| code));
}

fn name_of(code: ProblemCode) -> String {
    let value = async_graphql::InputType::to_value(&Shown::from(code));
    value
        .into_json()
        .ok()
        .and_then(|json| json.as_str().map(str::to_owned))
        .expect("a code has a name")
}

on_both_databases! {
    async fn each_refusal_names_its_field_and_writes_nothing(db: TestDatabase) {
        let smtp = SmtpServer::start(SmtpOptions::default());
        let mut shop = Shop::open(&db, ServerOptions::default().smtp(&smtp)).await;
        let machine = shop.machine("Odalys Fenwick", "odalys@mail.example", "N14-104211").await;
        let first = shop.find(&machine).await;
        shop.mend_and_complete(&first).await;
        let job = shop.find(&machine).await;
        let remedy = json!({ "idempotencyKey": shop.key(), "findingId": job.finding_id, "method": "RE_TERMINATED", "labourMinutes": 30 });
        shop.done(&shop.technician, "recordRemedy", remedy, "remedy { id }").await;
        shop.done(&shop.owner, "closeBooks", json!({ "through": "2019-12-31" }), "closedThrough").await;
        let before = rows(&shop, &db).await;
        let mut seen = BTreeSet::new();
        let all = [people(&machine), machines(&machine), settings(&shop, &machine), payments(&machine), documents(&job)];
        for bad in all.iter().flatten() {
            sends(&shop, bad, &mut seen).await;
        }
        assert_eq!(rows(&shop, &db).await, before, "a refusal wrote something");

        // The same key for another request.
        let call = |complaint: &str| json!({
            "idempotencyKey": "one key", "applianceId": machine.appliance_id, "complaint": complaint, "kind": "REPAIR"
        });
        shop.done(&shop.office, "openCall", call("It hums."), "call { id }").await;
        let other = bad("openCall", call("It rattles."), "IDEMPOTENCY_MISMATCH", "input.idempotencyKey");
        sends(&shop, &other, &mut seen).await;

        // An older draft after a later revision was drafted; an address nobody confirmed.
        let revision = shop.draft(&job).await;
        shop.send(&revision).await;
        let older = shop.revise(&revision).await;
        shop.revise(&revision).await;
        let send = json!({ "idempotencyKey": "older", "revisionId": older });
        sends(&shop, &bad("sendEstimate", send, "SUPERSEDED", "input.revisionId"), &mut seen).await;
        let draft = shop.draft_where_nobody_confirmed_the_tax().await;
        sends(&shop, &bad("draftEstimate", draft, "SETTING_MISSING", "input"), &mut seen).await;

        // A link whose last day is over opens nothing and takes no answer.
        let mail = smtp.wait_for_messages("odalys@mail.example", 1).await.remove(0);
        let link = link_in(&mail, &shop);
        db.execute("UPDATE estimate_link SET expires_at = '2020-01-01 00:00:00+00:00'").await;
        let (status, page) = shop.accept(&link, "Odalys Fenwick").await;
        assert!(status >= 400, "{status}");
        assert!(!page.contains("Odalys"), "an expired link tells nothing");

        let wrong = |_: u32| json!({ "email": "nobody@shop.example", "password": "not the password" });
        let first = shop.refused(&shop.office, "signIn", wrong(0)).await;
        assert_eq!(first, [("SIGN_IN_FAILED".to_owned(), "input.password".to_owned())]);
        let mut last = first;
        for attempt in 0..12 {
            seen.extend(last.into_iter().map(|(code, _)| code));
            last = shop.refused(&shop.office, "signIn", wrong(attempt)).await;
        }
        assert_eq!(last, [("TOO_MANY_TRIES".to_owned(), "input.email".to_owned())]);
        seen.extend(last.into_iter().map(|(code, _)| code));

        // A link that expired is gone before its estimate is looked at, so this code stays inside the program.
        let unseen: Vec<String> = ProblemCode::ALL
            .into_iter()
            .filter(|code| *code != ProblemCode::Expired)
            .map(name_of)
            .filter(|name| !seen.contains(name))
            .collect();
        assert!(unseen.is_empty(), "no refusal shows {unseen:?}");
        let codes = shop.ask(&shop.owner, "{ __type(name: \"ProblemCode\") { enumValues { name } } }", json!({})).await;
        assert_eq!(list(&codes, "data.__type.enumValues").len(), ProblemCode::ALL.len());
        db.verify_is_clean();
    }

    async fn no_secret_is_written_into_the_audit_log(db: TestDatabase) {
        use nameplate_entities::audit_entry;
        use sea_orm::EntityTrait;
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let machine = shop.machine("Odalys Fenwick", "odalys@mail.example", "N14-104211").await;
        let job = shop.find(&machine).await;
        let revision = shop.draft(&job).await;
        shop.send(&revision).await;
        let rows = audit_entry::Entity::find().all(&db.connect().await).await.expect("the log can be read");
        assert!(rows.iter().any(|row| row.act == "addStaff"));
        for row in rows {
            let text = format!("{:?} {:?}", row.before_json, row.after_json);
            assert!(!["argon2", "token", "password"].iter().any(|word| text.contains(word)), "{text}");
        }
    }

    async fn a_session_that_expired_is_nobodys(db: TestDatabase) {
        let shop = Shop::open(&db, ServerOptions::default()).await;
        db.execute("UPDATE session SET expires_at = '2020-01-01 00:00:00+00:00'").await;
        let answer = shop.ask(&shop.owner, "{ me { id } }", json!({})).await;
        assert_eq!(crate::support::graphql::error_codes(&answer), ["UNAUTHENTICATED"]);
        assert!(answer.get("data").is_none());
    }
}
