//! Machines by serial: what is kept, what is warned of, what is refused, and whose they were.

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{at, error_codes, list, refused, text};
use crate::support::house::House;
use crate::support::on_both_databases;

const BY_SERIAL: &str = "query($serial: String!, $make: String) {
    appliance(by: { serial: { serial: $serial, make: $make } }) {
        id make serial version ratedWatts applianceType { key }
        customer { name } serviceAddress { line }
        stays { fromOn untilOn customer { name } }
    }
}";

fn with(mut input: Value, changes: Value) -> Value {
    let target = input.as_object_mut().expect("an object");
    for (name, value) in changes.as_object().expect("an object") {
        target.insert(name.clone(), value.clone());
    }
    input
}

on_both_databases! {
    async fn a_machine_is_found_by_its_serial_however_it_is_typed(db: TestDatabase) {
        let house = House::open(&db).await;
        let id = house.appliance("dryer", "M12-345 a/b").await;
        let data = house
            .ask(&house.office, BY_SERIAL, json!({ "serial": "m12345ab" }))
            .await;
        assert_eq!(text(&data, "appliance.id"), id);
        assert_eq!(text(&data, "appliance.serial"), "M12-345 a/b");
        assert_eq!(text(&data, "appliance.ratedWatts"), "5400");
        let data = house
            .ask(&house.office, "{ search(text: \"12345ab\") { kind node { id } } }", json!({}))
            .await;
        assert_eq!(text(&data, "search.0.kind"), "appliance");
        assert_eq!(text(&data, "search.0.node.id"), id);
    }

    async fn a_misread_serial_is_warned_of_and_recorded_all_the_same(db: TestDatabase) {
        let house = House::open(&db).await;
        let first = house.appliance("dryer", "M8O5-1Z").await;
        let input = house.machine("dryer", "MB0S-I2").await;
        let want = "appliance { id nearMatches { id } } nearMatches { id serial }";
        let done = house.do_it(&house.office, "addAppliance", want, input).await;
        assert_eq!(text(&done, "nearMatches.0.id"), first);
        assert_eq!(text(&done, "appliance.nearMatches.0.id"), first);
    }

    async fn one_make_and_serial_is_one_machine(db: TestDatabase) {
        let house = House::open(&db).await;
        house.appliance("dryer", "X 100").await;
        let again = with(house.machine("washer", "x-100").await, json!({ "make": "COPPER LEAF" }));
        let answer = house
            .send(&house.office, "addAppliance", "appliance { id }", again)
            .await;
        refused(&answer, "addAppliance", "TAKEN");
        assert_eq!(
            *at(&answer, "data.addAppliance.problems.0.path"),
            json!(["input", "serial"])
        );
        let other_make = with(house.machine("washer", "x-100").await, json!({ "make": "Brindle" }));
        house
            .do_it(&house.office, "addAppliance", "appliance { id }", other_make)
            .await;
        let query = BY_SERIAL;
        let answer = house
            .server
            .graphql(Some(&house.office), query, json!({ "serial": "X100" }))
            .await;
        assert_eq!(error_codes(&answer), ["BAD_INPUT"]);
        let data = house
            .ask(&house.office, query, json!({ "serial": "X100", "make": "brindle" }))
            .await;
        assert_eq!(text(&data, "appliance.make"), "Brindle");
    }

    async fn a_plate_nobody_can_read_gets_the_next_shop_tag_once(db: TestDatabase) {
        let house = House::open(&db).await;
        let mut input = house.machine("range", "none").await;
        input.as_object_mut().expect("an object").remove("serial");
        let answer = house
            .send(&house.office, "addAppliance", "appliance { id }", input.clone())
            .await;
        refused(&answer, "addAppliance", "MISSING");
        let input = with(input, json!({ "unreadableReason": "Painted over" }));
        let want = "appliance { id shopTag serial unreadableReason }";
        let first = house.do_it(&house.office, "addAppliance", want, input.clone()).await;
        let again = house.do_it(&house.office, "addAppliance", want, input).await;
        assert_eq!(first, again);
        assert_eq!(text(&first, "appliance.shopTag"), "NP-000001");
        let data = house
            .ask(&house.technician, "{ appliance(by: { shopTag: \"np-000001\" }) { id } }", json!({}))
            .await;
        assert_eq!(at(&data, "appliance.id"), at(&first, "appliance.id"));
    }

    async fn every_wrong_field_is_named_and_nothing_is_written(db: TestDatabase) {
        let house = House::open(&db).await;
        let input = with(house.machine("dryer", "-/-").await, json!({
            "make": " ", "ratedVolts": "0", "madeOn": "2020-05-02", "boughtOn": "2020-05-01",
            "installedOn": "2990-01-01",
        }));
        let answer = house
            .send(&house.office, "addAppliance", "appliance { id }", input)
            .await;
        let found = list(&answer, "data.addAppliance.problems")
            .iter()
            .map(|problem| (text(problem, "code"), text(problem, "path.1")))
            .collect::<Vec<_>>();
        assert_eq!(found, [
            ("MISSING", "make"),
            ("MALFORMED", "serial"),
            ("OUT_OF_RANGE", "ratedVolts"),
            ("IMPOSSIBLE_DATE", "installedOn"),
            ("IMPOSSIBLE_DATE", "boughtOn"),
        ]);
        let data = house
            .ask(&house.office, "{ appliances(first: 5) { edges { node { id } } } }", json!({}))
            .await;
        assert!(list(&data, "appliances.edges").is_empty());
    }

    async fn a_machine_of_another_customers_address_is_refused(db: TestDatabase) {
        let house = House::open(&db).await;
        let (other, _) = house.customer("Linden Row Homes").await;
        let input = with(house.machine("dryer", "Q1").await, json!({ "customerId": other }));
        let answer = house
            .send(&house.office, "addAppliance", "appliance { id }", input)
            .await;
        refused(&answer, "addAppliance", "NOT_FOUND");
    }

    async fn a_machine_that_moves_keeps_whose_it_was(db: TestDatabase) {
        let house = House::open(&db).await;
        let input = with(house.machine("dryer", "MV-1").await, json!({ "installedOn": "2024-03-01" }));
        let done = house
            .do_it(&house.office, "addAppliance", "appliance { id }", input)
            .await;
        let id = text(&done, "appliance.id");
        let (customer, address) = house.customer("Hazel Birch").await;
        let to = |on: &str| json!({
            "applianceId": id, "customerId": customer, "serviceAddressId": address, "movedOn": on,
        });
        let answer = house
            .send(&house.office, "moveAppliance", "appliance { id }", to("2024-02-29"))
            .await;
        refused(&answer, "moveAppliance", "IMPOSSIBLE_DATE");
        let want = "appliance { customer { name } stays { fromOn untilOn customer { name } } }";
        let done = house
            .do_it(&house.office, "moveAppliance", want, to("2025-06-15"))
            .await;
        assert_eq!(text(&done, "appliance.customer.name"), "Hazel Birch");
        assert_eq!(*at(&done, "appliance.stays"), json!([
            { "fromOn": "2024-03-01", "untilOn": "2025-06-15", "customer": { "name": "Rowan Alder" } },
            { "fromOn": "2025-06-15", "untilOn": null, "customer": { "name": "Hazel Birch" } },
        ]));
        let answer = house
            .send(&house.office, "moveAppliance", "appliance { id }", to("2025-06-16"))
            .await;
        refused(&answer, "moveAppliance", "WRONG_STATE");
    }

    async fn a_technician_without_a_call_reads_the_machine_but_not_whose_it_is(db: TestDatabase) {
        let house = House::open(&db).await;
        let id = house.appliance("dryer", "T-77").await;
        let asked = json!({ "serial": "T77" });
        let data = house.ask(&house.technician, BY_SERIAL, asked.clone()).await;
        assert_eq!(text(&data, "appliance.id"), id);
        assert!(at(&data, "appliance.customer").is_null());
        assert!(at(&data, "appliance.serviceAddress").is_null());
        assert!(at(&data, "appliance.stays.0.customer").is_null());
        let all = "{ appliances(first: 5) { edges { node { id } } } }";
        let data = house.ask(&house.technician, all, json!({})).await;
        assert!(list(&data, "appliances.edges").is_empty());
        let call = house.call(&id).await;
        house.visit(&call).await;
        let data = house.ask(&house.technician, BY_SERIAL, asked).await;
        assert_eq!(text(&data, "appliance.customer.name"), "Rowan Alder");
        let data = house.ask(&house.technician, all, json!({})).await;
        assert_eq!(text(&data, "appliances.edges.0.node.id"), id);
    }

    async fn a_change_on_an_old_version_is_a_conflict_and_null_clears(db: TestDatabase) {
        let house = House::open(&db).await;
        let id = house.appliance("dryer", "V1").await;
        let want = "appliance { serial ratedWatts ratedVolts version }";
        let input = json!({ "applianceId": id, "version": 1, "serial": "V-2", "ratedWatts": null });
        let done = house
            .do_it(&house.office, "changeAppliance", want, input.clone())
            .await;
        assert_eq!(*at(&done, "appliance"), json!({
            "serial": "V-2", "ratedWatts": null, "ratedVolts": "240", "version": 2,
        }));
        let answer = house.send(&house.office, "changeAppliance", want, input).await;
        refused(&answer, "changeAppliance", "CONFLICT");
    }

    async fn the_shop_extends_its_lists_once_for_each_name(db: TestDatabase) {
        let house = House::open(&db).await;
        let component = json!({
            "applianceTypeId": house.type_id("range").await, "name": "Warming drawer element",
        });
        let want = "component { id name applianceType { key } }";
        let done = house
            .do_it(&house.office, "addComponent", want, component.clone())
            .await;
        assert_eq!(text(&done, "component.applianceType.key"), "range");
        let answer = house.send(&house.office, "addComponent", want, component).await;
        refused(&answer, "addComponent", "TAKEN");
        let mode = json!({ "name": "Water hammer", "hazard": "NONE" });
        let want = "failureMode { key hazard }";
        let done = house
            .do_it(&house.office, "addFailureMode", want, mode.clone())
            .await;
        assert_eq!(text(&done, "failureMode.key"), "water_hammer");
        let answer = house.send(&house.office, "addFailureMode", want, mode).await;
        refused(&answer, "addFailureMode", "TAKEN");
        let answer = house
            .send(&house.technician, "addFailureMode", want, json!({ "name": "X", "hazard": "HEAT" }))
            .await;
        assert_eq!(error_codes(&answer), ["FORBIDDEN"]);
    }
}
