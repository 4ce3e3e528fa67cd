//! A shop with people, prices, tax and machines, set up and worked in through GraphQL only.

use serde_json::{Value, json};

use super::database::TestDatabase;
use super::graphql::{done, problem_codes, text};
use super::server::{Role, Server, ServerOptions};

/// A running server with a shop in it and one person of each role signed in.
pub struct Shop {
    pub server: Server,
    pub owner: String,
    pub office: String,
    pub technician: String,
    pub technician_id: String,
    pub jurisdiction_id: String,
    /// A terminal block that costs 11.40 and sells at 34.20.
    pub part_id: String,
    keys: u32,
}

/// A customer's machine.
#[derive(Clone)]
#[expect(clippy::struct_field_names, reason = "ids are what it holds")]
pub struct Machine {
    pub type_id: String,
    pub customer_id: String,
    pub address_id: String,
    pub appliance_id: String,
    pub component_id: String,
    pub mode_id: String,
}

/// A call with everything that has an id in it, as far as it went.
pub struct Job {
    pub call_id: String,
    pub call_number: String,
    pub visit_id: String,
    pub finding_id: String,
}

impl Shop {
    /// Starts a server and sets a shop up in it.
    pub async fn open(db: &TestDatabase, options: ServerOptions) -> Self {
        let mut server = Server::start(db, options).await;
        let owner = server.token(Role::Owner).await;
        let office = server.token(Role::Office).await;
        let technician = server.token(Role::Technician).await;
        let mut shop = Self {
            server,
            owner,
            office,
            technician,
            technician_id: String::new(),
            jurisdiction_id: String::new(),
            part_id: String::new(),
            keys: 0,
        };
        shop.set_up().await;
        shop
    }

    async fn set_up(&mut self) {
        let me = self.ask(&self.technician, "{ me { id } }", json!({})).await;
        text(&me, "data.me.id").clone_into(&mut self.technician_id);
        let own = json!({
            "name": "Tern & Lantern Appliance Repair", "phone": "(217) 555-0100", "line1": "418 Quarry Road",
            "email": "desk@ternlantern.example", "city": "Marrowby", "region": "NL", "postalCode": "00412"
        });
        self.done(&self.owner, "changeShop", own, "shop { name }")
            .await;
        let taxability = ["PART", "LABOUR", "TRIP", "DIAGNOSTIC", "FREIGHT", "FEE"].map(|kind| {
            json!({ "chargeKind": kind, "taxable": kind == "PART", "reason": "the rule of the place" })
        });
        let taxed = json!({
            "name": "Marrow County", "basis": "INVOICE", "effectiveFrom": "2020-01-01",
            "levels": [
                { "name": "State", "kind": "STATE", "ratePercent": "5.50" },
                { "name": "County", "kind": "COUNTY", "ratePercent": "1.25" },
                { "name": "City", "kind": "CITY", "ratePercent": "0.50" }
            ],
            "taxability": taxability
        });
        let place = self
            .done(
                &self.owner,
                "addTaxJurisdiction",
                taxed,
                "taxJurisdiction { id }",
            )
            .await;
        text(&place, "taxJurisdiction.id").clone_into(&mut self.jurisdiction_id);
        let book = json!({
            "name": "First book", "effectiveFrom": "2020-01-01", "hourlyRate": "118.00", "trip": "45.00",
            "diagnostic": "85.00", "markupKind": "WHOLE", "brackets": [{ "upTo": "50.00", "multiplier": "3" }, { "multiplier": "2" }]
        });
        let book = self
            .done(&self.owner, "draftPriceBook", book, "priceBook { id }")
            .await;
        let adopt = json!({ "priceBookId": text(&book, "priceBook.id") });
        self.done(&self.owner, "adoptPriceBook", adopt, "priceBook { id }")
            .await;
        let part = json!({ "number": "TB-210", "description": "Terminal block, ceramic", "cost": "11.40" });
        let part = self
            .done(&self.office, "addPart", part, "part { id }")
            .await;
        text(&part, "part.id").clone_into(&mut self.part_id);
    }

    /// A key nobody used yet.
    pub fn key(&mut self) -> String {
        self.keys += 1;
        format!("test-key-{}", self.keys)
    }

    pub async fn ask(&self, token: &str, query: &str, variables: Value) -> Value {
        self.server.graphql(Some(token), query, variables).await
    }

    /// Sends a mutation with one input and the wanted selection.
    pub async fn mutate(
        &self,
        token: &str,
        mutation: &str,
        input: Value,
        selection: &str,
    ) -> Value {
        let name = format!("{}{}", mutation[..1].to_uppercase(), &mutation[1..]);
        let query = format!(
            "mutation($input: {name}Input!) {{ {mutation}(input: $input) {{ {selection} problems {{ code message path }} }} }}"
        );
        self.ask(token, &query, json!({ "input": input })).await
    }

    /// The same, insisting that it was done; gives the payload.
    pub async fn done(&self, token: &str, mutation: &str, input: Value, selection: &str) -> Value {
        let answer = self.mutate(token, mutation, input, selection).await;
        done(&answer, mutation).clone()
    }

    /// The same, insisting that it was refused; gives each code with its path.
    pub async fn refused(
        &self,
        token: &str,
        mutation: &str,
        input: Value,
    ) -> Vec<(String, String)> {
        let answer = self.mutate(token, mutation, input, "").await;
        assert!(
            !problem_codes(&answer, mutation).is_empty(),
            "`{mutation}` was not refused: {answer}"
        );
        super::graphql::list(&answer, &format!("data.{mutation}.problems"))
            .iter()
            .map(|problem| {
                let path = super::graphql::list(problem, "path")
                    .iter()
                    .filter_map(Value::as_str)
                    .collect::<Vec<_>>()
                    .join(".");
                (text(problem, "code").to_owned(), path)
            })
            .collect()
    }

    /// Records a household with a range.
    pub async fn machine(&mut self, name: &str, email: &str, serial: &str) -> Machine {
        self.machine_of("HOUSEHOLD", (name, email), serial).await
    }

    /// Records a customer of this kind with a range.
    pub async fn machine_of(
        &mut self,
        kind: &str,
        (name, email): (&str, &str),
        serial: &str,
    ) -> Machine {
        let customer = json!({
            "kind": kind, "name": name, "email": email, "phone": "(217) 555-0123",
            "billing": { "line1": "Box 12", "city": "Marrowby", "region": "NL", "postalCode": "00412" }
        });
        let customer = self
            .done(&self.office, "addCustomer", customer, "customer { id }")
            .await;
        let customer_id = text(&customer, "customer.id").to_owned();
        let address = json!({
            "customerId": customer_id, "taxJurisdictionId": self.confirmed(), "accessNotes": "Side gate sticks.",
            "address": { "line1": "12 Heron Walk", "city": "Marrowby", "region": "NL", "postalCode": "00412" }
        });
        let address = self
            .done(
                &self.office,
                "addServiceAddress",
                address,
                "serviceAddress { id }",
            )
            .await;
        let address_id = text(&address, "serviceAddress.id").to_owned();
        let (type_id, component_id, mode_id) = self.burnt_terminal_of_a_range().await;
        let appliance = json!({
            "idempotencyKey": self.key(), "applianceTypeId": type_id, "customerId": customer_id,
            "serviceAddressId": address_id, "make": "Norvane", "model": "NR-411", "serial": serial,
            "fuel": "ELECTRIC", "ratedVolts": "240", "ratedWatts": "2585"
        });
        let appliance = self
            .done(&self.office, "addAppliance", appliance, "appliance { id }")
            .await;
        Machine {
            type_id,
            customer_id,
            address_id,
            appliance_id: text(&appliance, "appliance.id").to_owned(),
            component_id,
            mode_id,
        }
    }

    /// Records another range at the address of a machine.
    pub async fn machine_beside(&mut self, machine: &Machine, serial: &str) -> Machine {
        let (type_id, ..) = self.burnt_terminal_of_a_range().await;
        let appliance = json!({
            "idempotencyKey": self.key(), "applianceTypeId": type_id, "customerId": machine.customer_id,
            "serviceAddressId": machine.address_id, "make": "Norvane", "model": "NR-411", "serial": serial,
            "fuel": "ELECTRIC"
        });
        let appliance = self
            .done(&self.office, "addAppliance", appliance, "appliance { id }")
            .await;
        Machine {
            appliance_id: text(&appliance, "appliance.id").to_owned(),
            ..machine.clone()
        }
    }

    fn confirmed(&self) -> Option<&str> {
        Some(self.jurisdiction_id.as_str()).filter(|id| !id.is_empty())
    }

    async fn burnt_terminal_of_a_range(&self) -> (String, String, String) {
        let query = "{ applianceTypes { id name components { id name } } failureModes { id key } }";
        let lists = self.ask(&self.office, query, json!({})).await;
        let named = |path: &str, field: &str, value: &str| {
            super::graphql::list(&lists, path)
                .iter()
                .find(|row| row.get(field).and_then(Value::as_str) == Some(value))
                .unwrap_or_else(|| panic!("no {value} in {path}"))
                .clone()
        };
        let range = named("data.applianceTypes", "name", "Range");
        let component = super::graphql::list(&range, "components")
            .iter()
            .find(|row| text(row, "name") == "Bake element terminal")
            .expect("a range has a bake element terminal")
            .clone();
        let mode = named("data.failureModes", "key", "burnt");
        (
            text(&range, "id").to_owned(),
            text(&component, "id").to_owned(),
            text(&mode, "id").to_owned(),
        )
    }

    /// Takes a call about the machine.
    pub async fn call(&mut self, machine: &Machine) -> Value {
        let call = json!({
            "idempotencyKey": self.key(), "applianceId": machine.appliance_id, "kind": "REPAIR",
            "complaint": "Oven does not heat, smelled hot at the back."
        });
        let selection = "call { id number } callback { id state ageDays } openFlags { level }";
        self.done(&self.office, "openCall", call, selection).await
    }

    /// Takes a call, plans a visit for today and records the burnt terminal.
    pub async fn find(&mut self, machine: &Machine) -> Job {
        let call = self.call(machine).await;
        let call_id = text(&call, "call.id").to_owned();
        let visit = json!({ "callIds": [call_id], "technicianId": self.technician_id, "plannedOn": today() });
        let visit = self
            .done(&self.office, "scheduleVisit", visit, "visit { id }")
            .await;
        let finding = json!({
            "idempotencyKey": self.key(), "callId": call_id, "componentId": machine.component_id,
            "failureModeId": machine.mode_id, "position": "L1 side"
        });
        let finding = self
            .done(
                &self.technician,
                "recordFinding",
                finding,
                "finding { id } flag { id level }",
            )
            .await;
        Job {
            call_number: text(&call, "call.number").to_owned(),
            call_id,
            visit_id: text(&visit, "visit.id").to_owned(),
            finding_id: text(&finding, "finding.id").to_owned(),
        }
    }

    /// Mends the finding with one part and completes the call.
    pub async fn mend_and_complete(&mut self, job: &Job) -> Value {
        let remedy = json!({
            "idempotencyKey": self.key(), "findingId": job.finding_id, "method": "RE_TERMINATED", "labourMinutes": 60,
            "parts": [{ "partId": self.part_id, "quantity": "1" }]
        });
        self.done(&self.technician, "recordRemedy", remedy, "remedy { id }")
            .await;
        let cause = json!({ "callId": job.call_id, "rootCause": "The spade had lost its grip." });
        self.done(&self.technician, "recordRootCause", cause, "call { id }")
            .await;
        let visit = json!({ "visitId": job.visit_id, "outcome": "DONE" });
        self.done(&self.technician, "finishVisit", visit, "visit { id }")
            .await;
        let complete = json!({ "idempotencyKey": self.key(), "callId": job.call_id });
        let selection = "call { id state } warranties { labourThrough partsThrough }";
        self.done(&self.technician, "completeCall", complete, selection)
            .await
    }

    /// Prices trip, an hour of labour and the part, and gives the drafted revision.
    pub async fn draft(&mut self, job: &Job) -> String {
        let draft = json!({
            "idempotencyKey": self.key(), "callId": job.call_id, "found": "Bake element terminal: burnt.",
            "options": [{ "title": "New terminal block", "lines": [
                { "kind": "TRIP" }, { "kind": "LABOUR", "minutes": 60 }, { "kind": "PART", "partId": self.part_id }
            ] }]
        });
        let drafted = self
            .done(&self.office, "draftEstimate", draft, "revision { id }")
            .await;
        text(&drafted, "revision.id").to_owned()
    }

    /// Begins the next revision of the estimate that a revision belongs to.
    pub async fn revise(&mut self, revision_id: &str) -> String {
        let query =
            "query($id: ID!) { node(id: $id) { ... on EstimateRevision { estimate { id } } } }";
        let found = self
            .ask(&self.office, query, json!({ "id": revision_id }))
            .await;
        let revise = json!({
            "idempotencyKey": self.key(), "estimateId": text(&found, "data.node.estimate.id"),
            "options": [{ "title": "New terminal block", "lines": [{ "kind": "LABOUR", "minutes": 90 }] }]
        });
        let revised = self
            .done(&self.office, "reviseEstimate", revise, "revision { id }")
            .await;
        text(&revised, "revision.id").to_owned()
    }

    /// An estimate for a call at an address whose tax nobody confirmed, as it would be sent.
    pub async fn draft_where_nobody_confirmed_the_tax(&mut self) -> Value {
        let confirmed = std::mem::take(&mut self.jurisdiction_id);
        let machine = self
            .machine("Cosmo Hexley", "cosmo@mail.example", "N14-900001")
            .await;
        self.jurisdiction_id = confirmed;
        let call = self.call(&machine).await;
        json!({
            "idempotencyKey": self.key(), "callId": text(&call, "call.id"),
            "options": [{ "title": "Repair", "lines": [{ "kind": "LABOUR", "minutes": 60 }] }]
        })
    }

    /// Sends a drafted revision to the customer.
    pub async fn send(&mut self, revision_id: &str) -> Value {
        let send = json!({ "idempotencyKey": self.key(), "revisionId": revision_id });
        self.done(
            &self.office,
            "sendEstimate",
            send,
            "revision { id state contentHash validUntil }",
        )
        .await
    }

    /// Accepts by the link of the `number`th estimate whose mail lies in the folder (without a mail server).
    pub async fn accept_from_folder(&self, number: usize, name: &str) {
        let link = self.link_from_folder(number).await;
        let (status, answer) = self.accept(&link, name).await;
        assert_eq!(status, 200, "{answer}");
    }

    /// The link of the `number`th estimate whose mail lies in the folder, on this server.
    pub async fn link_from_folder(&self, number: usize) -> String {
        let link = super::wait::eventually(
            "the estimate lies in the mail folder",
            super::wait::PATIENCE,
            async || {
                let mut links = self.estimate_links();
                (links.len() == number).then(|| links.pop()).flatten()
            },
        )
        .await;
        self.server.local(&link)
    }

    /// The links in the mail folder, oldest mail first.
    fn estimate_links(&self) -> Vec<String> {
        self.server
            .mail_folder()
            .iter()
            .filter_map(|mail| {
                mail.text
                    .split_whitespace()
                    .find(|word| word.contains("/e/"))
                    .map(str::to_owned)
            })
            .collect()
    }

    /// Opens the customer's page and accepts its first option; gives the answer's status and text.
    pub async fn accept(&self, link: &str, name: &str) -> (u16, String) {
        let page = self
            .server
            .http()
            .get(link)
            .send()
            .await
            .expect("the page answers");
        let page = page.text().await.expect("the page is text");
        let form = [
            ("option", field(&page, "option")),
            ("name", name.to_owned()),
            ("content_hash", field(&page, "content_hash")),
        ];
        let answer = self
            .server
            .http()
            .post(format!("{link}/accept"))
            .form(&form)
            .send()
            .await;
        let answer = answer.expect("the page answers");
        (
            answer.status().as_u16(),
            answer.text().await.expect("the answer is text"),
        )
    }
}

/// The value of the first input of this name on a page; empty when there is none.
fn field(page: &str, name: &str) -> String {
    let marked = format!("name=\"{name}\"");
    page.split("<input")
        .find(|input| {
            input
                .split('>')
                .next()
                .is_some_and(|tag| tag.contains(&marked))
        })
        .and_then(|input| input.split("value=\"").nth(1))
        .and_then(|rest| rest.split('"').next())
        .unwrap_or_default()
        .to_owned()
}

/// Today where the test shop is (its time zone is UTC).
pub fn today() -> String {
    now().date_naive().to_string()
}

/// This moment, as an input takes it.
pub fn moment() -> String {
    now().to_rfc3339()
}

#[expect(
    clippy::disallowed_methods,
    reason = "the built program runs on the machine's clock"
)]
fn now() -> chrono::DateTime<chrono::Utc> {
    chrono::Utc::now()
}
