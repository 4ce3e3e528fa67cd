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
