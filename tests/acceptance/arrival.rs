//! Before the bell is rung: readings in pairs, the brief on a small screen, the day's route, and why a visit was not the last.

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{at, error_codes, list, refused, text};
use crate::support::house::House;
use crate::support::on_both_databases;

const READING: &str = "reading { circuit across verdict explanation insulationC breakerAmps }";

fn voltage(call: &str, value: &str) -> Value {
    json!({
        "callId": call, "quantity": "VOLTAGE", "value": value, "unit": "VOLT",
        "place": "left front terminal", "isolated": false,
    })
}

fn with(mut input: Value, fields: &Value) -> Value {
    let fields = fields.as_object().expect("fields").clone();
    input.as_object_mut().expect("an input").extend(fields);
    input
}

/// A burnt terminal, repaired and back; the second call.
async fn returned(house: &House) -> String {
    let machine = house.appliance("range", "SN1").await;
    let component = house.component_id("range", "Surface burner terminal").await;
    let mode = house.mode_id("burnt").await;
    let mut last = String::new();
    for is_over in [true, false] {
        last = house.call(&machine).await;
        house.visit(&last).await;
        let found = json!({
            "idempotencyKey": house.key(), "callId": last, "componentId": component, "failureModeId": mode,
        });
        let found = house
            .do_it(&house.technician, "recordFinding", "finding { id }", found)
            .await;
        let mended = json!({
            "idempotencyKey": house.key(), "findingId": at(&found, "finding.id"), "method": "RE_TERMINATED",
            "labourMinutes": 40, "parts": [],
        });
        house
            .do_it(&house.technician, "recordRemedy", "remedy { id }", mended)
            .await;
        if is_over {
            let over = json!({ "idempotencyKey": house.key(), "callId": last });
            house
                .do_it(&house.technician, "completeCall", "call { state }", over)
                .await;
        }
    }
    last
}

async fn fetched(house: &House, token: Option<&str>, call: &str) -> (u16, String) {
    let url = format!("{}/calls/{call}/brief.txt", house.server.base_url());
    let mut request = house.server.http().get(url);
    if let Some(token) = token {
        request = request.bearer_auth(token);
    }
    let answer = request.send().await.expect("an answer");
    let status = answer.status().as_u16();
    (status, answer.text().await.expect("a body"))
}

on_both_databases! {
    async fn readings_tell_open_from_loaded_and_what_may_have_burnt_the_joint(db: TestDatabase) {
        let house = House::open(&db).await;
        let call = returned(&house).await;
        let send = async |input: Value| house.send(&house.technician, "recordReading", READING, input).await;
        let ohms = with(voltage(&call, "11"), &json!({ "quantity": "RESISTANCE", "unit": "OHM", "circuit": "LOADED" }));
        refused(&send(ohms).await, "recordReading", "MALFORMED");
        let nothing_flows = with(voltage(&call, "1"), &json!({ "circuit": "OPEN", "across": "JOINT" }));
        refused(&send(nothing_flows).await, "recordReading", "MALFORMED");
        let unmarked = with(voltage(&call, "20"), &json!({ "quantity": "CURRENT", "unit": "AMPERE", "insulationC": 75 }));
        refused(&send(unmarked).await, "recordReading", "MISSING");
        for odd in [json!({ "terminalsC": 70 }), json!({ "breakerAmps": 0 })] {
            let load = json!({ "quantity": "CURRENT", "unit": "AMPERE", "wireAwg": 10 });
            let odd = with(with(voltage(&call, "20"), &load), &odd);
            refused(&send(odd).await, "recordReading", "OUT_OF_RANGE");
        }

        let drop = with(voltage(&call, "3.1"), &json!({ "circuit": "LOADED", "across": "JOINT" }));
        let drop = send(drop).await;
        assert_eq!(text(&drop, "data.recordReading.reading.verdict"), "NO_BAND");
        let current = json!({
            "quantity": "CURRENT", "unit": "AMPERE", "wireAwg": 10, "insulationC": 90, "terminalsC": 75, "breakerAmps": 30,
        });
        let current = send(with(voltage(&call, "18.75"), &current)).await;
        assert!(text(&current, "data.recordReading.reading.explanation").contains("75 C column"), "{current}");

        let ask = "query($id: ID!) { serviceCall(id: $id) { flags { bearings {
            causes { cause speaks why missing } unusable cautions readings { isOfEarlierCall reading { value } } } } }
            arrivalBrief(callId: $id) { flags { bearings { causes { cause speaks } } } } }";
        let data = house.ask(&house.technician, ask, json!({ "id": call })).await;
        let bearings = at(&data, "serviceCall.flags.0.bearings");
        assert_eq!(*at(bearings, "causes.0.cause"), json!("LOOSE_JOINT"));
        assert_eq!(*at(bearings, "causes.0.speaks"), json!("FOR"));
        assert_eq!(list(bearings, "causes").len(), 5);
        assert_eq!(list(bearings, "readings").len(), 2);
        assert_eq!(*at(bearings, "readings.0.isOfEarlierCall"), json!(false));
        assert!(text(bearings, "cautions.0").contains("prove it dead"));
        assert_eq!(*at(&data, "arrivalBrief.flags.0.bearings.causes.0.speaks"), json!("FOR"));
    }

    async fn the_brief_is_short_enough_for_a_phone_and_for_those_alone_whose_call_it_is(db: TestDatabase) {
        let house = House::open(&db).await;
        let call = returned(&house).await;
        let (status, told) = fetched(&house, Some(&house.technician), &call).await;
        assert_eq!(status, 200);
        assert!(told.len() < 2_000, "{told}");
        assert!(told.contains("ACT: Second burnt surface burner terminal"), "{told}");
        let ask = "query($id: ID!) { arrivalBrief(callId: $id) { text } }";
        let data = house.ask(&house.office, ask, json!({ "id": call })).await;
        assert_eq!(text(&data, "arrivalBrief.text"), told);
        assert_eq!(fetched(&house, None, &call).await.0, 401);
        let foreign = house.call(&house.appliance("dryer", "SN2").await).await;
        assert_eq!(fetched(&house, Some(&house.technician), &foreign).await.0, 404);
        assert_eq!(fetched(&house, Some(&house.owner), "nothing").await.0, 404);
    }

    async fn a_technician_gets_the_own_route_and_the_desk_anybodys(db: TestDatabase) {
        let house = House::open(&db).await;
        let first = house.call(&house.appliance("range", "SN1").await).await;
        let second = house.call(&house.appliance("dryer", "SN2").await).await;
        let on = house.opened_on(&first).await;
        for (call, window) in [(&first, "1 to 3 pm"), (&second, "8 to 10")] {
            let plan = json!({
                "callIds": [call], "technicianId": house.technician_id, "plannedOn": on, "window": window,
            });
            house.do_it(&house.office, "scheduleVisit", "visit { id }", plan).await;
        }
        let ask = "query($on: NaiveDate!, $whose: ID) { dayRoute(on: $on, technicianId: $whose) {
            on leftOut stops { visit { window reason } briefs { call { id } text customer { name } history { number } } } } }";
        let route = house.ask(&house.technician, ask, json!({ "on": on })).await;
        assert_eq!(*at(&route, "dayRoute.stops.0.briefs.0.call.id"), json!(second));
        assert_eq!(*at(&route, "dayRoute.stops.1.briefs.0.call.id"), json!(first));
        assert_eq!(*at(&route, "dayRoute.leftOut"), json!(0));
        let whose = json!({ "on": on, "whose": house.technician_id });
        assert_eq!(house.ask(&house.office, ask, whose).await, route);
        let none = house.ask(&house.office, ask, json!({ "on": on })).await;
        assert_eq!(*at(&none, "dayRoute.stops"), json!([]));
        let owner = json!({ "on": on, "whose": house.id_of(&house.owner).await });
        let answer = house.server.graphql(Some(&house.technician), ask, owner).await;
        assert_eq!(error_codes(&answer), ["FORBIDDEN"]);
    }

    async fn a_further_visit_says_why_and_repairs_done_on_the_first_are_counted(db: TestDatabase) {
        let house = House::open(&db).await;
        let call = house.call(&house.appliance("range", "SN1").await).await;
        let on = house.opened_on(&call).await;
        let plan = json!({ "callIds": [call], "technicianId": house.technician_id, "plannedOn": on });
        let said = with(plan.clone(), &json!({ "reason": "MORE_TIME" }));
        let answer = house.send(&house.office, "scheduleVisit", "visit { id }", said.clone()).await;
        refused(&answer, "scheduleVisit", "WRONG_STATE");
        for (input, reason) in [(plan, Value::Null), (said, json!("MORE_TIME"))] {
            let visit = house.do_it(&house.office, "scheduleVisit", "visit { id reason }", input).await;
            assert_eq!(*at(&visit, "visit.reason"), reason);
            let made = json!({ "visitId": at(&visit, "visit.id"), "outcome": "DONE" });
            house.do_it(&house.technician, "finishVisit", "visit { state }", made).await;
        }
        let found = json!({
            "idempotencyKey": house.key(), "callId": call, "failureModeId": house.mode_id("no_fault_found").await,
            "componentId": house.component_id("range", "Surface burner terminal").await,
        });
        house.do_it(&house.technician, "recordFinding", "finding { id }", found).await;
        let over = json!({ "idempotencyKey": house.key(), "callId": call });
        house.do_it(&house.technician, "completeCall", "call { state }", over).await;
        let ask = "query($from: NaiveDate!, $through: NaiveDate!) { firstVisits(from: $from, through: $through) {
            all { calls onFirstVisit percent } withoutVisit reasons { reason visits }
            technicians { technician { id } figures { calls } } months { figures { calls } } } }";
        let days = json!({ "from": on, "through": on });
        let told = house.ask(&house.technician, ask, days.clone()).await;
        assert_eq!(told["firstVisits"], json!({
            "all": { "calls": 1, "onFirstVisit": 0, "percent": "0" }, "withoutVisit": 0,
            "reasons": [{ "reason": "MORE_TIME", "visits": 1 }],
            "technicians": [{ "technician": { "id": house.technician_id }, "figures": { "calls": 1 } }],
            "months": [{ "figures": { "calls": 1 } }],
        }));
        assert_eq!(house.ask(&house.owner, ask, days).await, told);
        for (from, through) in [("2020-01-01", "2023-01-01"), ("2020-01-02", "2020-01-01")] {
            let days = json!({ "from": from, "through": through });
            let answer = house.server.graphql(Some(&house.owner), ask, days).await;
            assert_eq!(error_codes(&answer), ["BAD_INPUT"], "{from} {through}");
            assert_eq!(*at(&answer, "errors.0.extensions.argument"), "through");
        }
    }
}
