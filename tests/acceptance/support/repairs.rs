//! Washers repaired through GraphQL, and days that pass over them: what a track record is read from.

use chrono::{Days, NaiveDate};
use serde_json::{Value, json};

use super::database::TestDatabase;
use super::graphql::{at, text};
use super::house::House;
use super::shop::today;

/// Days that pass between the repairs and what comes back of them.
pub const DAYS_BETWEEN: u64 = 10;

/// What recording a finding is asked for.
const FOUND: &str = "finding { id } patterns { id level state reason steps { note }
    pattern { kind label observed atLeastTimes } }";

/// A house whose washers are repaired, with a drain pump in the catalogue at 12.50.
pub struct Repairs {
    pub house: House,
    pub part_id: String,
}

/// One repair: who does it and how.
#[derive(Clone, Copy)]
pub struct Work<'a> {
    pub token: &'a str,
    pub component: &'a str,
    pub method: &'a str,
    /// The batch of the drain pump that is fitted; none is fitted without it.
    pub lot: Option<&'a str>,
}

impl Repairs {
    pub async fn open(db: &TestDatabase) -> Self {
        let house = House::open(db).await;
        let part = json!({ "number": "DP-9", "description": "Drain pump", "cost": "12.50" });
        let part = house
            .do_it(&house.office, "addPart", "part { id }", part)
            .await;
        let part_id = text(&part, "part.id").to_owned();
        Self { house, part_id }
    }

    /// A drain pump of this batch fitted by the technician.
    pub fn pump<'a>(&'a self, lot: &'a str) -> Work<'a> {
        Work {
            token: &self.house.technician,
            component: "Drain pump",
            method: "REPLACED",
            lot: Some(lot),
        }
    }

    /// Records a washer of this model; its id.
    pub async fn washer(&self, model: &str, serial: &str) -> String {
        let mut input = self.house.machine("washer", serial).await;
        input["model"] = json!(model);
        let done = self
            .house
            .do_it(
                &self.house.office,
                "addAppliance",
                "appliance { id }",
                input,
            )
            .await;
        text(&done, "appliance.id").to_owned()
    }

    /// Takes a repair call, with the callback it may be.
    pub async fn call(&self, machine: &str) -> Value {
        let input = json!({
            "idempotencyKey": self.house.key(), "applianceId": machine, "kind": "REPAIR",
            "complaint": "Water stays in the drum",
        });
        let want = "call { id number } callback { id }";
        self.house
            .do_it(&self.house.office, "openCall", want, input)
            .await
    }

    /// Finds a component of a washer seized.
    pub async fn find(&self, token: &str, call: &Value, component: &str) -> Value {
        let input = json!({
            "idempotencyKey": self.house.key(), "callId": at(call, "call.id"),
            "componentId": self.house.component_id("washer", component).await,
            "failureModeId": self.house.mode_id("seized").await,
        });
        self.house.do_it(token, "recordFinding", FOUND, input).await
    }

    /// Visits, finds, mends and completes; the call.
    pub async fn repair(&self, machine: &str, work: Work<'_>) -> Value {
        let call = self.call(machine).await;
        self.work_off(&call, work).await;
        call
    }

    /// The work of a call that was taken.
    pub async fn work_off(&self, call: &Value, work: Work<'_>) {
        let house = &self.house;
        let call_id = text(call, "call.id");
        let visit = house.visit(call_id).await;
        let made = json!({ "visitId": visit, "outcome": "DONE" });
        house
            .do_it(&house.technician, "finishVisit", "visit { id }", made)
            .await;
        let found = self.find(work.token, call, work.component).await;
        let fitted = |lot| json!({ "partId": self.part_id, "quantity": "1", "lot": lot });
        let mended = json!({
            "idempotencyKey": house.key(), "findingId": at(&found, "finding.id"), "method": work.method,
            "labourMinutes": 40, "parts": work.lot.map(fitted).into_iter().collect::<Vec<_>>(),
        });
        house
            .do_it(work.token, "recordRemedy", "remedy { id }", mended)
            .await;
        let cause = json!({ "callId": call_id, "rootCause": "A coin had jammed it" });
        house
            .do_it(work.token, "recordRootCause", "call { id }", cause)
            .await;
        let over = json!({ "idempotencyKey": house.key(), "callId": call_id });
        house
            .do_it(work.token, "completeCall", "call { state }", over)
            .await;
    }

    /// Lets [`DAYS_BETWEEN`] pass since all completed work.
    pub async fn days_pass(&mut self, db: &TestDatabase) {
        put_work_back(db).await;
        self.house.server.restart().await;
    }
}

/// Puts all completed work back by [`DAYS_BETWEEN`], as the clock cannot be turned over HTTP. The program works out anew
/// what it says when it starts.
pub async fn put_work_back(db: &TestDatabase) {
    let day = day_of_repairs();
    let number = (day - NaiveDate::default()).num_days();
    for sql in [
        format!(
            "UPDATE service_call SET opened_on = '{day}', opened_at = '{day}T08:00:00+00:00', \
             completed_on = '{day}', completed_at = '{day}T09:00:00+00:00' WHERE state = 'completed'"
        ),
        format!("UPDATE visit SET planned_on = '{day}' WHERE state = 'done'"),
        format!("UPDATE shop_warranty SET written_on = '{day}'"),
        format!("UPDATE repair_tally SET first_days = (repairs - returned) * {number}"),
        "INSERT INTO outcome_due (appliance_id) SELECT DISTINCT appliance_id FROM service_call"
            .to_owned(),
    ] {
        db.execute(&sql).await;
    }
}

/// The day on which the repairs lie once days have passed.
pub fn day_of_repairs() -> NaiveDate {
    days_ago(DAYS_BETWEEN)
}

/// A day before today.
pub fn days_ago(days: u64) -> NaiveDate {
    let today: NaiveDate = today().parse().expect("a day");
    today - Days::new(days)
}
