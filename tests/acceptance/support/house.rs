//! A shop with people, one household and a way to ask as somebody: what most scenarios begin with.

use serde_json::{Value, json};

use super::database::TestDatabase;
use super::graphql::{self, list, text};
use super::server::{Role, Server, ServerOptions};

/// A running shop with an owner, an office clerk and a technician signed in, and one customer.
pub struct House {
    pub server: Server,
    pub owner: String,
    pub office: String,
    pub technician: String,
    pub technician_id: String,
    pub customer_id: String,
    pub address_id: String,
    keys: std::cell::Cell<u32>,
}

impl House {
    pub async fn open(db: &TestDatabase) -> Self {
        let mut server = Server::start(db, ServerOptions::default()).await;
        let owner = server.token(Role::Owner).await;
        let office = server.token(Role::Office).await;
        let technician = server.token(Role::Technician).await;
        let mut house = Self {
            server,
            owner,
            office,
            technician,
            technician_id: String::new(),
            customer_id: String::new(),
            address_id: String::new(),
            keys: std::cell::Cell::new(0),
        };
        house.technician_id = house.id_of(&house.technician).await;
        (house.customer_id, house.address_id) = house.customer("Rowan Alder").await;
        house
    }

    /// An idempotency key that was not used before.
    pub fn key(&self) -> String {
        self.keys.set(self.keys.get() + 1);
        format!("key-{}", self.keys.get())
    }

    /// The id of whoever holds this token.
    pub async fn id_of(&self, token: &str) -> String {
        let answer = self
            .server
            .graphql(Some(token), "{ me { id } }", json!({}))
            .await;
        text(&answer, "data.me.id").to_owned()
    }

    /// Asks a query that must go well, and returns its data.
    pub async fn ask(&self, token: &str, query: &str, variables: Value) -> Value {
        let answer = self.server.graphql(Some(token), query, variables).await;
        graphql::data(&answer).clone()
    }

    /// Sends a mutation of one `input`, and returns the whole answer.
    pub async fn send(&self, token: &str, mutation: &str, want: &str, input: Value) -> Value {
        let mut name = mutation.to_owned();
        name.replace_range(..1, &mutation[..1].to_uppercase());
        let query = format!(
            "mutation($input: {name}Input!) {{
                {mutation}(input: $input) {{ {want} problems {{ code message path }} }}
            }}"
        );
        self.server
            .graphql(Some(token), &query, json!({ "input": input }))
            .await
    }

    /// Sends a mutation that must be carried out, and returns its payload.
    pub async fn do_it(&self, token: &str, mutation: &str, want: &str, input: Value) -> Value {
        let answer = self.send(token, mutation, want, input).await;
        graphql::done(&answer, mutation).clone()
    }

    /// Records a household and its address; their ids.
    pub async fn customer(&self, name: &str) -> (String, String) {
        let input = json!({ "kind": "HOUSEHOLD", "name": name, "phone": "217-555-0142" });
        let done = self
            .do_it(&self.office, "addCustomer", "customer { id }", input)
            .await;
        let customer_id = text(&done, "customer.id").to_owned();
        let input = json!({ "customerId": customer_id, "address": {
            "line1": "12 Fern Lane", "city": "Millbrook", "region": "IL", "postalCode": "62701",
        }});
        let want = "serviceAddress { id }";
        let done = self
            .do_it(&self.office, "addServiceAddress", want, input)
            .await;
        (customer_id, text(&done, "serviceAddress.id").to_owned())
    }

    /// The id of a type of machine.
    pub async fn type_id(&self, key: &str) -> String {
        let data = self
            .ask(&self.office, "{ applianceTypes { id key } }", json!({}))
            .await;
        entry(&data, "applianceTypes", "key", key)
    }

    /// The id of a component of a type of machine.
    pub async fn component_id(&self, type_key: &str, name: &str) -> String {
        let query = "{ applianceTypes { key components { id name } } }";
        let data = self.ask(&self.office, query, json!({})).await;
        let kind = list(&data, "applianceTypes")
            .iter()
            .find(|kind| text(kind, "key") == type_key)
            .unwrap_or_else(|| panic!("no type {type_key}"));
        entry(kind, "components", "name", name)
    }

    /// The id of a failure mode.
    pub async fn mode_id(&self, key: &str) -> String {
        let data = self
            .ask(&self.office, "{ failureModes { id key } }", json!({}))
            .await;
        entry(&data, "failureModes", "key", key)
    }

    /// What is sent to record a machine of this type and serial at the household.
    pub async fn machine(&self, type_key: &str, serial: &str) -> Value {
        json!({
            "idempotencyKey": self.key(),
            "applianceTypeId": self.type_id(type_key).await,
            "customerId": self.customer_id,
            "serviceAddressId": self.address_id,
            "make": "Copperleaf",
            "model": "CL-30",
            "serial": serial,
            "fuel": "ELECTRIC",
            "ratedVolts": "240",
            "ratedWatts": "5400",
        })
    }

    /// Records such a machine; its id.
    pub async fn appliance(&self, type_key: &str, serial: &str) -> String {
        let input = self.machine(type_key, serial).await;
        let done = self
            .do_it(&self.office, "addAppliance", "appliance { id }", input)
            .await;
        text(&done, "appliance.id").to_owned()
    }

    /// Takes a repair call about a machine; its id.
    pub async fn call(&self, appliance_id: &str) -> String {
        let input = json!({
            "idempotencyKey": self.key(), "applianceId": appliance_id,
            "kind": "REPAIR", "complaint": "Stays cold",
        });
        let done = self
            .do_it(&self.office, "openCall", "call { id }", input)
            .await;
        text(&done, "call.id").to_owned()
    }

    /// Plans a visit of the technician today; its id.
    pub async fn visit(&self, call_id: &str) -> String {
        let input = json!({
            "callIds": [call_id], "technicianId": self.technician_id,
            "plannedOn": self.opened_on(call_id).await, "window": "8 to 10",
        });
        let done = self
            .do_it(&self.office, "scheduleVisit", "visit { id }", input)
            .await;
        text(&done, "visit.id").to_owned()
    }

    /// The day a call was opened.
    pub async fn opened_on(&self, call_id: &str) -> String {
        let query = "query($id: ID!) { serviceCall(id: $id) { openedOn } }";
        let data = self
            .ask(&self.office, query, json!({ "id": call_id }))
            .await;
        text(&data, "serviceCall.openedOn").to_owned()
    }
}

fn entry(from: &Value, path: &str, field: &str, value: &str) -> String {
    let found = list(from, path)
        .iter()
        .find(|entry| text(entry, field) == value)
        .unwrap_or_else(|| panic!("no {value} in {path}"));
    text(found, "id").to_owned()
}
