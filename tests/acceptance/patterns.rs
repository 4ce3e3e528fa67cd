//! What several machines have in common: a batch of parts that comes back, an address where machines burn.

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{at, int, list, text};
use crate::support::house::House;
use crate::support::on_both_databases;
use crate::support::repairs::{DAYS_BETWEEN, Repairs, day_of_repairs};

/// The flags of a call's brief that are about several machines.
async fn briefed(house: &House, call: &Value) -> Vec<Value> {
    let query = "query($id: ID!) { arrivalBrief(callId: $id) { flags {
        id level reason nextChecks pattern { kind label observed atLeastTimes } } } }";
    let id = json!({ "id": at(call, "call.id") });
    let data = house.ask(&house.technician, query, id).await;
    let flags = list(&data, "arrivalBrief.flags").iter().cloned();
    flags
        .filter(|flag| !at(flag, "pattern").is_null())
        .collect()
}

/// The brief of a call for a small screen.
async fn brief_text(house: &House, call: &Value) -> String {
    let url = format!(
        "{}/calls/{}/brief.txt",
        house.server.base_url(),
        text(call, "call.id")
    );
    let request = house.server.http().get(url).bearer_auth(&house.technician);
    let answer = request.send().await.expect("an answer");
    assert_eq!(answer.status().as_u16(), 200);
    answer.text().await.expect("a body")
}

/// Deals with a flag until it is closed.
async fn close(house: &House, flag: &Value) {
    for to in ["ACKNOWLEDGED", "ANSWERED", "CLOSED"] {
        let input = json!({ "flagId": flag, "to": to, "note": "Looked at together" });
        let done = house
            .do_it(&house.office, "moveFlag", "flag { state }", input)
            .await;
        assert_eq!(text(&done, "flag.state"), to);
    }
}

/// What the flags about several machines rest on.
async fn evidence_of_patterns(house: &House) -> Vec<Value> {
    let query = "{ flags(first: 50) { edges { node {
        pattern { kind } evidence { completedOn daysBefore method } } } } }";
    let data = house.ask(&house.office, query, json!({})).await;
    let nodes = list(&data, "flags.edges").iter();
    nodes
        .map(|edge| at(edge, "node"))
        .filter(|node| !at(node, "pattern").is_null())
        .map(|node| at(node, "evidence").clone())
        .collect()
}

/// A repair of the day on which all of them lie, as evidence of a flag of today.
fn repaired() -> Value {
    json!({ "completedOn": day_of_repairs(), "daysBefore": DAYS_BETWEEN, "method": "REPLACED" })
}

/// So many washers, each repaired with a pump of this batch.
async fn washers(repairs: &Repairs, lot: &str, count: usize) -> Vec<String> {
    let mut machines = Vec::new();
    for number in 0..count {
        let serial = format!("{}-{number}", lot.to_uppercase());
        let machine = repairs.washer("CL-30", &serial).await;
        repairs.repair(&machine, repairs.pump(lot)).await;
        machines.push(machine);
    }
    machines
}

/// A range of a customer at an address, by their ids, with a call about it that the technician has a visit for.
async fn range_with_call(house: &House, serial: &str, (customer, address): (&str, &str)) -> Value {
    let mut input = house.machine("range", serial).await;
    input["customerId"] = json!(customer);
    input["serviceAddressId"] = json!(address);
    let want = "appliance { id }";
    let done = house
        .do_it(&house.office, "addAppliance", want, input)
        .await;
    let call = house.call(text(&done, "appliance.id")).await;
    house.visit(&call).await;
    json!({ "call": { "id": call } })
}

/// Finds a burnt terminal; the patterns it shows.
async fn burnt(house: &House, call: &Value) -> Vec<Value> {
    let input = json!({
        "idempotencyKey": house.key(), "callId": at(call, "call.id"),
        "componentId": house.component_id("range", "Surface burner terminal").await,
        "failureModeId": house.mode_id("burnt").await,
    });
    let want =
        "finding { id } patterns { id level state pattern { kind label observed expected atLeastTimes }
        nextChecks cautions evidence { completedOn daysBefore method } steps { state note } }";
    let done = house
        .do_it(&house.technician, "recordFinding", want, input)
        .await;
    list(&done, "patterns").to_vec()
}

on_both_databases! {
    async fn a_batch_that_comes_back_is_flagged_told_at_the_next_door_and_back_when_closed(db: TestDatabase) {
        let mut repairs = Repairs::open(&db).await;
        let of_batch = washers(&repairs, "b7", 6).await;
        let others = washers(&repairs, "b8", 4).await;
        repairs.days_pass(&db).await;

        // Three returns may be chance, four are watched, five are acted on.
        let house = &repairs.house;
        let owner = &house.owner;
        let mut flag = Value::Null;
        let steps = [(1, None), (2, None), (3, None), (4, Some("WATCH")), (5, Some("ACT"))];
        for (machine, (returned, level)) in of_batch.iter().zip(steps) {
            let call = repairs.call(machine).await;
            let found = repairs.find(owner, &call, "Drain pump").await;
            let patterns = list(&found, "patterns");
            let levels: Vec<&str> = patterns.iter().map(|flag| text(flag, "level")).collect();
            assert_eq!(levels, Vec::from_iter(level), "after {returned} returns");
            let Some(raised) = patterns.first() else {
                continue;
            };
            assert!(flag.is_null() || flag == *at(raised, "id"), "one flag for one batch");
            flag = at(raised, "id").clone();
            assert_eq!(text(raised, "pattern.kind"), "LOT");
            assert_eq!(text(raised, "pattern.label"), "Part DP-9, batch B7");
            assert_eq!(int(raised, "pattern.observed"), returned);
            let reason = format!("Part DP-9, batch B7: {returned} of 6 repairs came back within 30 days");
            assert!(text(raised, "reason").starts_with(&reason), "{raised}");
        }

        // The sixth machine has the batch as well; the technician reads of it before the door opens.
        let sixth = repairs.call(&of_batch[5]).await;
        house.visit(text(&sixth, "call.id")).await;
        let told = briefed(house, &sixth).await;
        assert_eq!(told.len(), 1);
        assert_eq!(*at(&told[0], "id"), flag);
        assert_eq!(text(&told[0], "level"), "ACT");
        assert!(text(&told[0], "nextChecks.0").contains("this batch"), "{}", told[0]);
        let brief = brief_text(house, &sixth).await;
        assert!(brief.contains("ACT: Part DP-9, batch B7"), "{brief}");

        close(house, &flag).await;
        assert!(briefed(house, &sixth).await.is_empty(), "dealt with");
        let found = repairs.find(&house.technician, &sixth, "Drain pump").await;
        let patterns = list(&found, "patterns");
        assert_eq!(patterns.len(), 1);
        assert_eq!((at(&patterns[0], "id"), text(&patterns[0], "state")), (&flag, "OPEN"));
        let note = format!("Opened again: back on call {}.", text(&sixth, "call.number"));
        let last = list(&patterns[0], "steps").last().expect("a step");
        assert_eq!(text(last, "note"), note);
        assert_eq!(briefed(house, &sixth).await.len(), 1);
        let good = repairs.call(&others[0]).await;
        house.visit(text(&good, "call.id")).await;
        assert!(briefed(house, &good).await.is_empty(), "another batch");
        assert!(!brief_text(house, &good).await.contains("batch B7"));
        // The repairs that came back, and the two calls at which the flag stood before.
        let open = json!({ "completedOn": null, "daysBefore": 0, "method": null });
        let rests_on = [vec![repaired(); 6], vec![open; 2]].concat();
        assert_eq!(evidence_of_patterns(house).await, [json!(rests_on)]);
        db.verify_is_clean();
    }

    async fn machines_that_burn_at_one_address_are_flagged_with_what_they_share(db: TestDatabase) {
        let house = House::open(&db).await;
        let (neighbor, elsewhere) = house.customer("Hazel Thorn").await;
        let here = (house.customer_id.as_str(), house.address_id.as_str());
        let first = range_with_call(&house, "SN1", here).await;
        let second = range_with_call(&house, "SN2", here).await;
        let third = range_with_call(&house, "SN3", here).await;
        assert!(burnt(&house, &first).await.is_empty(), "one machine is no pattern");
        assert!(burnt(&house, &first).await.is_empty(), "nor is it with two terminals");

        let raised = burnt(&house, &second).await;
        assert_eq!(raised.len(), 1);
        let flag = at(&raised[0], "id");
        assert_eq!((text(&raised[0], "level"), text(&raised[0], "state")), ("WATCH", "OPEN"));
        assert_eq!(*at(&raised[0], "pattern"), json!({
            "kind": "ADDRESS", "label": "12 Fern Lane, Millbrook", "observed": 2, "expected": null, "atLeastTimes": null,
        }));
        // The latest of each other machine; its call is under way.
        let under_way = json!([{ "completedOn": null, "daysBefore": 0, "method": null }]);
        assert_eq!(*at(&raised[0], "evidence"), under_way);
        assert!(text(&raised[0], "nextChecks.0").contains("suspect what they share"));
        assert!(!list(&raised[0], "cautions").is_empty());

        let told = briefed(&house, &third).await;
        assert_eq!(told.len(), 1);
        assert_eq!(at(&told[0], "id"), flag);
        let brief = brief_text(&house, &third).await;
        assert!(brief.contains("WATCH: 12 Fern Lane, Millbrook: heat or arc failures on 2"), "{brief}");
        let other = range_with_call(&house, "SN4", (&neighbor, &elsewhere)).await;
        assert!(briefed(&house, &other).await.is_empty(), "another address");
        assert!(burnt(&house, &other).await.is_empty());

        close(&house, flag).await;
        assert!(briefed(&house, &third).await.is_empty(), "dealt with");
        let again = burnt(&house, &third).await;
        assert_eq!(again.len(), 1);
        assert_eq!(at(&again[0], "id"), flag);
        assert_eq!((text(&again[0], "level"), text(&again[0], "state")), ("ACT", "OPEN"));
        assert_eq!(int(&again[0], "pattern.observed"), 3);
        assert!(text(&again[0], "steps.3.note").starts_with("Opened again: back on call"));
        assert_eq!(briefed(&house, &third).await.len(), 1);
        db.verify_is_clean();
    }
}
