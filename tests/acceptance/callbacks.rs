//! What comes back: from a first repair through its return, its flag and the brief to the closed call.

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{at, error_codes, list, refused, text};
use crate::support::house::House;
use crate::support::on_both_databases;

const OPENED: &str = "call { id number } callback { id state ageDays counted } openFlags { level }";
const FOUND: &str = "finding { id } callback { suggestedClass }
    flag { id level state reason nextChecks cautions baseRate { sentence repairs returned }
           evidence { daysBefore method } component { name } failureMode { key } }";
const COMPLETED: &str = "call { state completedOn }
    warranties { component { name } labourThrough partsThrough labourInForce partsInForce }";

async fn open(house: &House, machine: &str) -> Value {
    let input = json!({
        "idempotencyKey": house.key(), "applianceId": machine, "kind": "REPAIR",
        "complaint": "Smells burnt again",
    });
    house.do_it(&house.office, "openCall", OPENED, input).await
}

async fn find(house: &House, call: &str) -> Value {
    let input = json!({
        "idempotencyKey": house.key(), "callId": call, "position": "left front",
        "componentId": house.component_id("range", "Surface burner terminal").await,
        "failureModeId": house.mode_id("burnt").await,
    });
    house
        .do_it(&house.technician, "recordFinding", FOUND, input)
        .await
}

async fn mend(house: &House, finding: &Value) {
    let input = json!({
        "idempotencyKey": house.key(), "findingId": finding, "method": "RE_TERMINATED", "labourMinutes": 40, "parts": [],
    });
    house
        .do_it(&house.technician, "recordRemedy", "remedy { id }", input)
        .await;
}

async fn complete(house: &House, call: &str) -> Value {
    let input = json!({ "idempotencyKey": house.key(), "callId": call });
    house
        .send(&house.technician, "completeCall", COMPLETED, input)
        .await
}

/// A visit of the technician that was made.
async fn visited(house: &House, call: &str) {
    let visit = house.visit(call).await;
    let input = json!({ "visitId": visit, "outcome": "DONE" });
    house
        .do_it(&house.technician, "finishVisit", "visit { state }", input)
        .await;
}

/// Found, mended with these parts, explained and completed.
async fn repair(house: &House, call: &str, parts: Value) -> Value {
    let found = find(house, call).await;
    let input = json!({
        "idempotencyKey": house.key(), "findingId": at(&found, "finding.id"), "method": "RE_TERMINATED",
        "labourMinutes": 40, "parts": parts,
    });
    house
        .do_it(&house.technician, "recordRemedy", "remedy { id }", input)
        .await;
    let cause = json!({ "callId": call, "rootCause": "The wire was too thin for the burner" });
    house
        .do_it(&house.technician, "recordRootCause", "call { id }", cause)
        .await;
    let done = complete(house, call).await;
    assert_eq!(
        *at(&done, "data.completeCall.call.state"),
        json!("COMPLETED")
    );
    found
}

/// A decision of the office on a callback, with its answer.
async fn decide(
    house: &House,
    callback: &Value,
    said: (&str, Option<&str>, Option<&str>),
) -> Value {
    let (decision, class, note) = said;
    let input =
        json!({ "callbackId": callback, "decision": decision, "class": class, "note": note });
    let want = "callback { state class counted note cost { parts labor trip total } }";
    house
        .send(&house.office, "decideCallback", want, input)
        .await
}

/// An hour costs the shop 60.00 and a trip 30.00; a part that costs 12.50, as it is fitted.
async fn say_what_things_cost(house: &House) -> Value {
    let costs = json!({ "labourCost": "60.00", "tripCost": "30.00" });
    let want = "shop { labourCost tripCost }";
    let kept = house
        .do_it(&house.owner, "changeShop", want, costs.clone())
        .await;
    assert_eq!(*at(&kept, "shop"), costs);
    let part = json!({ "number": "BT-6", "description": "Terminal kit", "cost": "12.50" });
    let part = house
        .do_it(&house.office, "addPart", "part { id }", part)
        .await;
    json!([{ "partId": at(&part, "part.id"), "quantity": "1" }])
}

/// What a callback cost is for the desk; a technician who asks for it is told the rest.
async fn is_kept_from_technicians(house: &House, call: &str) {
    let query = "query($id: ID!) { serviceCall(id: $id) { callback { ageDays cost { total } } } }";
    let id = json!({ "id": call });
    let answer = house
        .server
        .graphql(Some(&house.technician), query, id)
        .await;
    assert_eq!(error_codes(&answer), ["FORBIDDEN"]);
    let told = json!({ "ageDays": 1, "cost": null });
    assert_eq!(*at(&answer, "data.serviceCall.callback"), told);
}

/// What was decided on the callback of a call, for the desk and for a technician of it.
async fn every_decision_is_told(house: &House, call: &str) {
    let query = "query($id: ID!) { serviceCall(id: $id) { callback {
        decisions { at state class note by { role } } } } }";
    let by = json!({ "role": "OFFICE" });
    for token in [&house.office, &house.technician] {
        let data = house.ask(token, query, json!({ "id": call })).await;
        let decisions = list(&data, "serviceCall.callback.decisions");
        let told = decisions.iter().map(|one| {
            assert!(at(one, "at").is_string());
            ["state", "class", "note", "by"].map(|field| at(one, field).clone())
        });
        assert_eq!(
            json!(told.collect::<Vec<_>>()),
            json!([
                ["CONFIRMED", "SAME_FAILURE", null, by],
                ["CONFIRMED", "USE", "a pan boiled over", by],
                ["REJECTED", null, "another burner", by],
            ])
        );
    }
}

/// What stands on the cost of callbacks today.
async fn cost_of_callbacks(house: &House, call: &str) -> String {
    let query =
        "query($on: NaiveDate!) { trialBalance(on: $on) { rows { account { code } debit } } }";
    let on = json!({ "on": house.opened_on(call).await });
    let data = house.ask(&house.owner, query, on).await;
    let account = list(&data, "trialBalance.rows")
        .iter()
        .find(|row| text(row, "account.code") == "5100");
    account.map_or("0.00", |row| text(row, "debit")).to_owned()
}

const BRIEF: &str = "query($id: ID!) { arrivalBrief(callId: $id) {
    call { number complaint } customer { name phoneNational } serviceAddress { line accessNotes }
    appliance { make model serial } applianceType { key } contacts { name }
    history { number completedOn findings { component failureMode position remedies { method parts { number } } }
              readings { verdict } }
    warranties { component labourInForce whoPays } estimates { number state }
    flags { level reason nextChecks cautions baseRate { sentence } }
    callback { earlierCallNumber callback { state ageDays } }
    otherMachines { kind appliance { serial } } visits { window technician } cautions
} }";

on_both_databases! {
    async fn a_burnt_terminal_that_is_back_is_flagged_and_asks_for_its_root_cause(db: TestDatabase) {
        let house = House::open(&db).await;
        let machine = house.appliance("range", "SN1").await;
        house.appliance("dryer", "SN2").await;
        let first = open(&house, &machine).await;
        assert!(at(&first, "callback").is_null());
        let call = text(&first, "call.id").to_owned();
        house.visit(&call).await;
        let found = find(&house, &call).await;
        assert!(at(&found, "flag").is_null());
        refused(&complete(&house, &call).await, "completeCall", "WRONG_STATE");
        mend(&house, at(&found, "finding.id")).await;
        let answer = complete(&house, &call).await;
        let warranty = at(&answer, "data.completeCall.warranties.0");
        assert_eq!(*at(warranty, "component.name"), json!("Surface burner terminal"));
        assert_eq!(*at(warranty, "labourInForce"), json!(true));

        let second = open(&house, &machine).await;
        assert_eq!(*at(&second, "callback.state"), json!("PROPOSED"));
        assert_eq!(*at(&second, "callback.ageDays"), json!(1));
        let call = text(&second, "call.id").to_owned();
        house.visit(&call).await;
        let found = find(&house, &call).await;
        assert_eq!(*at(&found, "callback.suggestedClass"), json!("SAME_FAILURE"));
        let flag = at(&found, "flag");
        assert_eq!(*at(flag, "level"), json!("ACT"));
        assert!(text(flag, "reason").starts_with("Second burnt surface burner terminal"));
        assert_eq!(*at(flag, "evidence"), json!([{ "daysBefore": 0, "method": "RE_TERMINATED" }]));
        assert_eq!(*at(flag, "baseRate.repairs"), json!(0));
        assert!(!list(flag, "nextChecks").is_empty());
        assert!(list(flag, "cautions").len() >= 2);

        let brief = house.ask(&house.technician, BRIEF, json!({ "id": call })).await;
        let brief = at(&brief, "arrivalBrief");
        assert_eq!(*at(brief, "history.0.number"), at(&first, "call.number").clone());
        assert_eq!(*at(brief, "history.0.findings.0.remedies.0.method"), json!("RE_TERMINATED"));
        assert_eq!(*at(brief, "warranties.0.whoPays"), json!("The shop pays labor and parts."));
        assert_eq!(*at(brief, "callback.callback.state"), json!("PROPOSED"));
        assert_eq!(*at(brief, "otherMachines.0.kind"), json!("Dryer"));
        assert_eq!(*at(brief, "visits.0.window"), json!("8 to 10"));
        assert_eq!(*at(brief, "flags.0.level"), json!("ACT"));
        assert!(text(brief, "cautions.0").contains("prove it dead"));

        mend(&house, at(&found, "finding.id")).await;
        refused(&complete(&house, &call).await, "completeCall", "ROOT_CAUSE_NEEDED");
        let cause = json!({ "callId": call, "rootCause": "The wire was too thin for the burner" });
        house.do_it(&house.technician, "recordRootCause", "call { id }", cause).await;
        let answer = complete(&house, &call).await;
        assert_eq!(*at(&answer, "data.completeCall.call.state"), json!("COMPLETED"));
        db.verify_is_clean();
    }

    async fn the_office_decides_what_came_back_and_deals_with_flags(db: TestDatabase) {
        let house = House::open(&db).await;
        let machine = house.appliance("range", "SN1").await;
        let first = open(&house, &machine).await;
        let call = text(&first, "call.id").to_owned();
        house.visit(&call).await;
        mend(&house, at(&find(&house, &call).await, "finding.id")).await;
        complete(&house, &call).await;
        let second = open(&house, &machine).await;
        assert_eq!(*at(&second, "callback.counted"), json!(true), "while nobody decided");
        let call = text(&second, "call.id").to_owned();
        house.visit(&call).await;
        let flag = at(&find(&house, &call).await, "flag.id").clone();

        let input = json!({ "callbackId": at(&second, "callback.id"), "decision": "CONFIRM", "note": "same burner" });
        let want = "callback { state counted class decidedBy { role } earlierCall { number } }";
        let answer = house.send(&house.technician, "decideCallback", want, input.clone()).await;
        assert_eq!(error_codes(&answer), ["FORBIDDEN"]);
        let done = house.do_it(&house.office, "decideCallback", want, input).await;
        assert_eq!(*at(&done, "callback"), json!({
            "state": "CONFIRMED", "counted": true, "class": null,
            "decidedBy": { "role": "OFFICE" }, "earlierCall": { "number": at(&first, "call.number") },
        }));

        let step = async |to: &str| {
            let input = json!({ "flagId": flag, "to": to, "note": "Ordered thicker wire" });
            house.send(&house.office, "moveFlag", "flag { state steps { state note } }", input).await
        };
        refused(&step("CLOSED").await, "moveFlag", "WRONG_STATE");
        assert_eq!(*at(&step("ACKNOWLEDGED").await, "data.moveFlag.flag.steps"), json!([
            { "state": "ACKNOWLEDGED", "note": "Ordered thicker wire" },
        ]));
        let lists = "{ flags(state: ACKNOWLEDGED, level: ACT, first: 5) { edges { node { id } } }
            callbacks(state: CONFIRMED, first: 5) { edges { node { ageDays } } } }";
        let data = house.ask(&house.office, lists, json!({})).await;
        assert_eq!(*at(&data, "flags.edges.0.node.id"), flag);
        assert_eq!(list(&data, "callbacks.edges").len(), 1);
        let node = "query($id: ID!) { node(id: $id) { ... on Flag { call { flags { id } callback { state } } } } }";
        let data = house.ask(&house.office, node, json!({ "id": flag })).await;
        assert_eq!(*at(&data, "node.call"), json!({ "flags": [{ "id": flag }], "callback": { "state": "CONFIRMED" } }));
        db.verify_is_clean();
    }

    async fn a_callback_is_proposed_costs_the_shop_and_may_be_decided_otherwise_later(db: TestDatabase) {
        let house = House::open(&db).await;
        let parts = say_what_things_cost(&house).await;
        let machine = house.appliance("range", "SN1").await;

        // The first repair needs two visits, and maintenance follows: neither is a callback.
        let first = open(&house, &machine).await;
        let call = text(&first, "call.id").to_owned();
        visited(&house, &call).await;
        visited(&house, &call).await;
        let seen = "query($id: ID!) { serviceCall(id: $id) { callback { id } visits { state } } }";
        let data = house.ask(&house.office, seen, json!({ "id": call })).await;
        assert!(at(&data, "serviceCall.callback").is_null());
        repair(&house, &call, json!([])).await;
        let planned = json!({
            "idempotencyKey": house.key(), "applianceId": machine, "kind": "MAINTENANCE", "complaint": "Yearly look",
        });
        let planned = house.do_it(&house.office, "openCall", OPENED, planned).await;
        assert!(at(&planned, "callback").is_null());

        // Two calls come after it: both are proposed, and only the first confirmed one counts.
        let second = open(&house, &machine).await;
        let third = open(&house, &machine).await;
        let (second_id, third_id) = (at(&second, "callback.id"), at(&third, "callback.id"));
        let call = text(&second, "call.id").to_owned();
        visited(&house, &call).await;
        let found = repair(&house, &call, parts).await;
        assert_eq!(*at(&found, "callback.suggestedClass"), json!("SAME_FAILURE"));
        assert_eq!(cost_of_callbacks(&house, &call).await, "0.00");
        let done = decide(&house, second_id, ("CONFIRM", Some("SAME_FAILURE"), None)).await;
        assert_eq!(*at(&done, "data.decideCallback.callback"), json!({
            "state": "CONFIRMED", "class": "SAME_FAILURE", "counted": true, "note": null,
            "cost": { "parts": "12.50", "labor": "40.00", "trip": "30.00", "total": "82.50" },
        }));
        assert_eq!(cost_of_callbacks(&house, &call).await, "82.50");
        let next = decide(&house, third_id, ("CONFIRM", None, None)).await;
        assert_eq!(*at(&next, "data.decideCallback.callback.counted"), json!(false));

        is_kept_from_technicians(&house, &call).await;

        // Another class moves the money back on the day it is said, and asks why.
        let unsaid = decide(&house, second_id, ("CONFIRM", Some("USE"), None)).await;
        refused(&unsaid, "decideCallback", "MISSING");
        let done = decide(&house, second_id, ("CONFIRM", Some("USE"), Some("a pan boiled over"))).await;
        assert_eq!(*at(&done, "data.decideCallback.callback.cost.total"), json!("0.00"));
        assert_eq!(cost_of_callbacks(&house, &call).await, "0.00");
        let query = "query($id: ID!) { serviceCall(id: $id) { borneByShop { parts labor trip } } }";
        let data = house.ask(&house.office, query, json!({ "id": call })).await;
        assert_eq!(*at(&data, "serviceCall.borneByShop"), json!([
            { "parts": "12.50", "labor": "40.00", "trip": "30.00" },
            { "parts": "-12.50", "labor": "-40.00", "trip": "-30.00" },
        ]));

        // Rejected, it counts no more, and the next confirmed one does.
        let done = decide(&house, second_id, ("REJECT", None, Some("another burner"))).await;
        let row = at(&done, "data.decideCallback.callback");
        assert_eq!((at(row, "state"), at(row, "counted")), (&json!("REJECTED"), &json!(false)));
        assert!(at(row, "class").is_null());
        every_decision_is_told(&house, &call).await;
        let query = "{ callbacks(first: 5) { edges { node { id counted cost { total } } } } }";
        let data = house.ask(&house.office, query, json!({})).await;
        assert_eq!(*at(&data, "callbacks.edges"), json!([
            { "node": { "id": third_id, "counted": true, "cost": { "total": "0.00" } } },
            { "node": { "id": second_id, "counted": false, "cost": { "total": "0.00" } } },
        ]));
        db.verify_is_clean();
    }

    async fn a_flag_lives_on_with_the_next_failure_and_says_the_shops_own_checks(db: TestDatabase) {
        let house = House::open(&db).await;
        let machine = house.appliance("range", "SN1").await;
        let mut calls = Vec::new();
        for _ in 0..2 {
            let opened = open(&house, &machine).await;
            let call = text(&opened, "call.id").to_owned();
            house.visit(&call).await;
            let found = repair(&house, &call, json!([])).await;
            calls.push((call, at(&found, "flag").clone()));
        }
        let flag = at(&calls[1].1, "id").clone();
        let step = async |to: &str| {
            let input = json!({ "flagId": flag, "to": to, "note": "Thicker wire fitted" });
            house.send(&house.office, "moveFlag", "flag { state }", input).await
        };
        for to in ["ACKNOWLEDGED", "ANSWERED", "CLOSED", "OPEN", "ACKNOWLEDGED", "ANSWERED", "CLOSED"] {
            assert_eq!(*at(&step(to).await, "data.moveFlag.flag.state"), json!(to));
        }
        let own = json!({
            "failureModeId": house.mode_id("burnt").await, "componentClass": "terminal",
            "checks": ["Weigh the pan that stood on it."], "cautions": ["OVERHEATING_CAUSE"],
        });
        let want = "advice { componentClass checks cautions failureMode { key } }";
        let answer = house.send(&house.technician, "setCheckAdvice", want, own.clone()).await;
        assert_eq!(error_codes(&answer), ["FORBIDDEN"]);
        let done = house.do_it(&house.office, "setCheckAdvice", want, own).await;
        assert_eq!(*at(&done, "advice"), json!({
            "componentClass": "terminal", "checks": ["Weigh the pan that stood on it."],
            "cautions": ["OVERHEATING_CAUSE"], "failureMode": { "key": "burnt" },
        }));
        let query = "{ checkAdvice(componentClass: \"terminal\") { failureMode { key } checks cautionTexts } }";
        let data = house.ask(&house.office, query, json!({})).await;
        let lists = list(&data, "checkAdvice");
        assert!(lists.iter().any(|list| text(list, "failureMode.key") == "loose"));

        let opened = open(&house, &machine).await;
        assert!(list(&opened, "openFlags").is_empty(), "closed until it is back");
        let call = text(&opened, "call.id").to_owned();
        house.visit(&call).await;
        let found = find(&house, &call).await;
        assert_eq!(*at(&found, "flag.id"), flag, "the machine's flag of this failure");
        assert_eq!(*at(&found, "flag.state"), json!("OPEN"));
        assert_eq!(*at(&found, "flag.nextChecks"), json!(["Weigh the pan that stood on it."]));
        assert_eq!(list(&found, "flag.evidence").len(), 2);
        let query = "query($id: ID!) { serviceCall(id: $id) { number flags { id steps { state note } } } }";
        for id in [&calls[0].0, &calls[1].0, &call] {
            let data = house.ask(&house.technician, query, json!({ "id": id })).await;
            assert_eq!(list(&data, "serviceCall.flags").len(), 1, "its call or its evidence");
            assert_eq!(*at(&data, "serviceCall.flags.0.id"), flag);
        }
        let data = house.ask(&house.technician, query, json!({ "id": call })).await;
        let note = format!("Opened again: back on call {}.", text(&data, "serviceCall.number"));
        assert_eq!(*at(&data, "serviceCall.flags.0.steps.7"), json!({ "state": "OPEN", "note": note }));
        mend(&house, at(&found, "finding.id")).await;
        refused(&complete(&house, &call).await, "completeCall", "ROOT_CAUSE_NEEDED");
        db.verify_is_clean();
    }

    async fn a_technician_reads_the_briefs_of_own_calls_with_what_the_customer_owes(db: TestDatabase) {
        let house = House::open(&db).await;
        let call = house.call(&house.appliance("range", "SN1").await).await;
        let ask = "query($id: ID!) { arrivalBrief(callId: $id) { balance } }";
        let data = house.ask(&house.office, ask, json!({ "id": call })).await;
        assert_eq!(*at(&data, "arrivalBrief.balance"), json!("0.00"));
        let foreign = house.ask(&house.technician, BRIEF, json!({ "id": call })).await;
        assert!(at(&foreign, "arrivalBrief").is_null());
        house.visit(&call).await;
        let own = house.ask(&house.technician, ask, json!({ "id": call })).await;
        assert_eq!(*at(&own, "arrivalBrief.balance"), json!("0.00"));
    }
}
