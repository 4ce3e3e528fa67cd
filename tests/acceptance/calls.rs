//! Visits, readings, findings and remedies on a call, and who may write and read them.

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{at, error_codes, list, problem_codes, refused, text};
use crate::support::house::House;
use crate::support::on_both_databases;
use crate::support::server::Role;

const READING: &str =
    "reading { verdict explanation unit expectedLow expectedHigh expectedUnit takenBy { role } }";

fn reading(call: &str, quantity: &str, (value, unit): (&str, &str)) -> Value {
    json!({
        "callId": call, "quantity": quantity, "value": value, "unit": unit,
        "place": "heating element, lead to lead", "isolated": true,
    })
}

fn with(mut input: Value, name: &str, value: Value) -> Value {
    input
        .as_object_mut()
        .expect("an object")
        .insert(name.to_owned(), value);
    input
}

async fn finding(house: &House, call: &str) -> String {
    let input = json!({
        "idempotencyKey": house.key(), "callId": call, "position": "left",
        "componentId": house.component_id("dryer", "Heating element").await,
        "failureModeId": house.mode_id("open").await,
    });
    let done = house
        .do_it(&house.technician, "recordFinding", "finding { id }", input)
        .await;
    text(&done, "finding.id").to_owned()
}

async fn part(house: &House) -> String {
    let input = json!({ "number": "HE-5400", "description": "Heating element", "cost": "31.25" });
    let done = house
        .do_it(&house.office, "addPart", "part { id }", input)
        .await;
    text(&done, "part.id").to_owned()
}

on_both_databases! {
    async fn a_reading_is_judged_by_the_plate(db: TestDatabase) {
        let house = House::open(&db).await;
        let call = house.call(&house.appliance("dryer", "R1").await).await;
        house.visit(&call).await;
        let good = reading(&call, "RESISTANCE", ("10.6", "OHM"));
        let send = async |input: Value| {
            house.do_it(&house.technician, "recordReading", READING, input).await
        };
        // 240 V squared over 5,400 W is 10.667 ohm; 10 % on either side.
        let done = send(good.clone()).await;
        assert_eq!(text(&done, "reading.verdict"), "INSIDE");
        assert_eq!(text(&done, "reading.expectedLow"), "9.600");
        assert_eq!(text(&done, "reading.expectedHigh"), "11.733");
        assert_eq!(text(&done, "reading.takenBy.role"), "TECHNICIAN");
        let done = send(with(good.clone(), "isolated", json!(false))).await;
        assert_eq!(text(&done, "reading.verdict"), "MAY_BE_PARALLEL_PATH");
        assert!(text(&done, "reading.explanation").contains("parallel path"));
        let done = send(reading(&call, "RESISTANCE", ("1", "MEGOHM"))).await;
        assert_eq!(text(&done, "reading.verdict"), "ABOVE");
        let small = json!({ "ratedVolts": "120", "ratedWatts": "800" });
        let done = send(with(good, "part", small)).await;
        assert_eq!(text(&done, "reading.verdict"), "BELOW");
        let done = send(reading(&call, "TEMPERATURE", ("-4", "CELSIUS"))).await;
        assert_eq!(text(&done, "reading.verdict"), "NO_BAND");
    }

    async fn a_load_is_held_against_its_wire(db: TestDatabase) {
        let house = House::open(&db).await;
        let call = house.call(&house.appliance("dryer", "R2").await).await;
        let load = with(reading(&call, "CURRENT", ("22500", "MILLIAMPERE")), "wireAwg", json!(10));
        let send = async |input: Value| {
            house.send(&house.office, "recordReading", READING, input).await
        };
        let answer = send(load.clone()).await;
        assert_eq!(text(&answer, "data.recordReading.reading.verdict"), "INSIDE");
        let told = text(&answer, "data.recordReading.reading.explanation");
        assert!(told.contains("look at the joint"), "{told}");
        let answer = send(with(load.clone(), "wireAwg", json!(12))).await;
        assert_eq!(text(&answer, "data.recordReading.reading.verdict"), "ABOVE");
        let answer = send(with(load.clone(), "wireAwg", json!(11))).await;
        refused(&answer, "recordReading", "OUT_OF_RANGE");
        let answer = send(with(load.clone(), "unit", json!("VOLT"))).await;
        refused(&answer, "recordReading", "MALFORMED");
        let answer = send(with(load, "value", json!("-1"))).await;
        refused(&answer, "recordReading", "OUT_OF_RANGE");
    }

    async fn a_remedy_keeps_the_cost_of_its_day_and_shows_it_to_the_desk_alone(db: TestDatabase) {
        let house = House::open(&db).await;
        let machine = house.appliance("dryer", "P1").await;
        let call = house.call(&machine).await;
        house.visit(&call).await;
        let part = part(&house).await;
        let input = json!({
            "idempotencyKey": house.key(), "findingId": finding(&house, &call).await, "method": "REPLACED", "labourMinutes": 45,
            "parts": [{ "partId": part, "quantity": "2" }],
        });
        let want = "remedy { method labourMinutes parts { number description quantity } }";
        let done = house
            .do_it(&house.technician, "recordRemedy", want, input.clone())
            .await;
        assert_eq!(*at(&done, "remedy.parts"), json!([
            { "number": "HE-5400", "description": "Heating element", "quantity": "2" },
        ]));
        let costs = "query($id: ID!) { serviceCall(id: $id) {
            findings { component { name } remedies { parts { unitCost cost } } }
        } }";
        let data = house.ask(&house.office, costs, json!({ "id": call })).await;
        let used = at(&data, "serviceCall.findings.0.remedies.0.parts.0");
        assert_eq!(*used, json!({ "unitCost": "31.25", "cost": "62.50" }));
        let answer = house
            .server
            .graphql(Some(&house.technician), costs, json!({ "id": call }))
            .await;
        assert!(error_codes(&answer).contains(&"FORBIDDEN"), "{answer}");
        let history = "query($id: ID!) { appliance(by: { id: $id }) { history(first: 5) { edges { node {
            callNumber component { name } failureMode { key } position technicianName
            remedies { method parts { number } }
        } } } } }";
        let data = house.ask(&house.technician, history, json!({ "id": machine })).await;
        assert_eq!(*at(&data, "appliance.history.edges.0.node"), json!({
            "callNumber": "C-000001", "component": { "name": "Heating element" },
            "failureMode": { "key": "open" }, "position": "left", "technicianName": "Test technician 3",
            "remedies": [{ "method": "REPLACED", "parts": [{ "number": "HE-5400" }] }],
        }));
        let input = with(input, "idempotencyKey", json!(house.key()));
        let wrong = with(input, "parts", json!([{ "partId": part, "quantity": "0" }]));
        let answer = house.send(&house.technician, "recordRemedy", want, wrong).await;
        refused(&answer, "recordRemedy", "OUT_OF_RANGE");
        assert_eq!(
            *at(&answer, "data.recordRemedy.problems.0.path"),
            json!(["input", "parts", "0", "quantity"])
        );
    }

    async fn a_technician_reads_and_writes_own_calls_only(db: TestDatabase) {
        let mut house = House::open(&db).await;
        let call = house.call(&house.appliance("dryer", "O1").await).await;
        let visit = house.visit(&call).await;
        let stranger = house.server.token(Role::Technician).await;
        let query = "query($call: ID!, $visit: ID!) {
            serviceCall(id: $call) { id } node(id: $visit) { id }
            serviceCalls(first: 5) { edges { node { id } } } myVisits { id }
        }";
        let ids = json!({ "call": call, "visit": visit });
        let data = house.ask(&stranger, query, ids.clone()).await;
        assert_eq!(data, json!({
            "serviceCall": null, "node": null, "serviceCalls": { "edges": [] }, "myVisits": [],
        }));
        let data = house.ask(&house.technician, query, ids).await;
        assert_eq!(text(&data, "serviceCall.id"), call);
        assert_eq!(text(&data, "node.id"), visit);
        assert_eq!(text(&data, "myVisits.0.id"), visit);
        let input = reading(&call, "VOLTAGE", ("238", "VOLT"));
        let answer = house.send(&stranger, "recordReading", READING, input).await;
        refused(&answer, "recordReading", "NOT_FOUND");
        let finished = json!({ "visitId": visit, "outcome": "DONE" });
        let want = "visit { state doneAt }";
        let answer = house.send(&stranger, "finishVisit", want, finished.clone()).await;
        refused(&answer, "finishVisit", "NOT_FOUND");
        let done = house
            .do_it(&house.technician, "finishVisit", want, finished.clone())
            .await;
        assert_eq!(text(&done, "visit.state"), "DONE");
        let answer = house.send(&house.technician, "finishVisit", want, finished).await;
        refused(&answer, "finishVisit", "WRONG_STATE");
    }

    async fn one_visit_serves_calls_of_one_address(db: TestDatabase) {
        let mut house = House::open(&db).await;
        let first = house.call(&house.appliance("dryer", "A1").await).await;
        let second = house.call(&house.appliance("washer", "A2").await).await;
        let at_home = (house.customer_id.clone(), house.address_id.clone());
        (house.customer_id, house.address_id) = house.customer("Hazel Birch").await;
        let elsewhere = house.call(&house.appliance("dryer", "A3").await).await;
        (house.customer_id, house.address_id) = at_home;
        let day = house.opened_on(&first).await;
        let plan = |calls: Value| json!({
            "callIds": calls, "technicianId": house.technician_id, "plannedOn": day,
        });
        let want = "visit { id state calls { id } serviceAddress { id } }";
        let answer = house
            .send(&house.office, "scheduleVisit", want, plan(json!([first, elsewhere])))
            .await;
        refused(&answer, "scheduleVisit", "WRONG_STATE");
        assert_eq!(
            *at(&answer, "data.scheduleVisit.problems.0.path"),
            json!(["input", "callIds", "1"])
        );
        let answer = house
            .send(&house.office, "scheduleVisit", want, plan(json!([])))
            .await;
        refused(&answer, "scheduleVisit", "OUT_OF_RANGE");
        let office = house.id_of(&house.office).await;
        let input = with(plan(json!([first])), "technicianId", json!(office));
        let answer = house.send(&house.office, "scheduleVisit", want, input).await;
        refused(&answer, "scheduleVisit", "WRONG_STATE");
        let input = with(plan(json!([first])), "plannedOn", json!("2020-01-01"));
        let answer = house.send(&house.office, "scheduleVisit", want, input).await;
        assert_eq!(problem_codes(&answer, "scheduleVisit"), ["IMPOSSIBLE_DATE"]);
        let done = house
            .do_it(&house.office, "scheduleVisit", want, plan(json!([first, second])))
            .await;
        assert_eq!(list(&done, "visit.calls").len(), 2);
        assert_eq!(text(&done, "visit.serviceAddress.id"), house.address_id);
        let query = "query($day: NaiveDate!) {
            visits(from: $day, to: $day) { calls { number } technician { role } }
        }";
        let data = house.ask(&house.office, query, json!({ "day": day })).await;
        assert_eq!(list(&data, "visits").len(), 1);
        assert_eq!(list(&data, "visits.0.calls").len(), 2);
    }

    async fn a_cancelled_call_takes_nothing_more_and_its_trip_is_off(db: TestDatabase) {
        let house = House::open(&db).await;
        let call = house.call(&house.appliance("dryer", "C1").await).await;
        house.visit(&call).await;
        let want = "call { state visits { state } }";
        let input = json!({ "callId": call, "reason": "Customer bought another one" });
        let done = house.do_it(&house.office, "cancelCall", want, input.clone()).await;
        assert_eq!(*at(&done, "call"), json!({
            "state": "CANCELLED", "visits": [{ "state": "MISSED" }],
        }));
        let answer = house.send(&house.office, "cancelCall", want, input).await;
        refused(&answer, "cancelCall", "WRONG_STATE");
        let input = json!({ "callId": call, "rootCause": "Loose joint" });
        let answer = house
            .send(&house.technician, "recordRootCause", "call { rootCause }", input)
            .await;
        refused(&answer, "recordRootCause", "WRONG_STATE");
        let input = reading(&call, "VOLTAGE", ("238", "VOLT"));
        let answer = house.send(&house.technician, "recordReading", READING, input).await;
        refused(&answer, "recordReading", "WRONG_STATE");
        let filter = "{ serviceCalls(filter: { state: CANCELLED }) { edges { node { number } } } }";
        let data = house.ask(&house.office, filter, json!({})).await;
        assert_eq!(text(&data, "serviceCalls.edges.0.node.number"), "C-000001");
    }

    async fn a_component_of_another_type_of_machine_is_refused(db: TestDatabase) {
        let house = House::open(&db).await;
        let call = house.call(&house.appliance("dryer", "F1").await).await;
        let input = json!({
            "idempotencyKey": house.key(), "callId": call,
            "componentId": house.component_id("range", "Bake element").await,
            "failureModeId": house.mode_id("burnt").await,
        });
        let answer = house
            .send(&house.office, "recordFinding", "finding { id }", input)
            .await;
        refused(&answer, "recordFinding", "NOT_FOUND");
        let input = json!({ "callId": call, "rootCause": "Loose joint at the block" });
        let done = house
            .do_it(&house.office, "recordRootCause", "call { rootCause }", input)
            .await;
        assert_eq!(text(&done, "call.rootCause"), "Loose joint at the block");
    }
}
