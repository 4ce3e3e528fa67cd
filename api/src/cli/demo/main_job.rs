//! Today's job, through the public API: the oven whose terminal burns for the third time, from the
//! telephone to the money.

use std::sync::Arc;

use chrono::NaiveDate;
use nameplate_entities::kinds::Role;
use nameplate_entities::{appliance, outbox_mail, staff};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};
use serde_json::{Value, json};

use crate::base::outbox::Payload;
use crate::base::{App, Caller};
use crate::estimates;
use crate::graphql::schema::Schema;

use super::account::Account;
use super::client::{Client, Told, list, text};

/// Who works on the job, and on which machine.
pub struct Cast<'a> {
    pub app: &'a Arc<App>,
    pub schema: &'a Schema,
    pub owner: &'a staff::Model,
    pub office: &'a staff::Model,
    pub technician: &'a staff::Model,
    pub appliance_id: i64,
    pub today: NaiveDate,
}

/// Plays the job and writes down what a person would want to see of it.
///
/// # Errors
/// The first step that was refused or failed, in a sentence.
pub async fn play(cast: &Cast<'_>, account: &mut Account) -> Told<()> {
    let call_id = take_call(cast, account).await?;
    let finding_id = look(cast, account, &call_id).await?;
    let customer_id = offer(cast, account, &call_id).await?;
    mend(cast, account, &call_id, &finding_id).await?;
    bill(cast, account, &call_id, &customer_id).await
}

impl<'a> Cast<'a> {
    fn client(&self, person: &'a staff::Model) -> Client<'a> {
        Client {
            app: self.app,
            schema: self.schema,
            person,
        }
    }

    fn desk(&self) -> Client<'a> {
        self.client(self.office)
    }

    fn hands(&self) -> Client<'a> {
        self.client(self.technician)
    }
}

async fn take_call(cast: &Cast<'_>, account: &mut Account) -> Told<String> {
    let machine = appliance::Entity::find_by_id(cast.appliance_id)
        .one(cast.app.db.read())
        .await
        .map_err(|error| error.to_string())?
        .ok_or("the planted range is missing")?;
    let serial = machine.serial.clone().unwrap_or_default();
    let query = "query($serial: String!) { appliance(by: { serial: { serial: $serial } }) {
        id make model serial customer { id name } } }";
    let found = cast.desk().ask(query, json!({ "serial": serial })).await?;
    let order = json!({
        "idempotencyKey": "demo-today-call", "applianceId": text(&found, "/appliance/id"), "kind": "REPAIR",
        "complaint": "Oven does not heat again, smelled hot at the back."
    });
    let selection = "call { id number } callback { ageDays } openFlags { level }";
    let opened = cast.desk().act("openCall", order, selection).await?;
    let call_id = text(&opened, "/call/id");
    account.heading("The telephone");
    account.say(format!(
        "{} calls about a range: {} {}, serial {}.",
        text(&found, "/appliance/customer/name"),
        text(&found, "/appliance/make"),
        text(&found, "/appliance/model"),
        serial,
    ));
    account.say(format!("Call {} is taken.", text(&opened, "/call/number")));
    let visit = json!({
        "callIds": [call_id], "technicianId": crate::graphql::ids::Kind::Staff.id(cast.technician.id),
        "plannedOn": cast.today, "window": "1 to 3"
    });
    cast.desk().act("scheduleVisit", visit, "visit { id }").await?;
    Ok(call_id)
}

/// What the technician reads before arriving, and finds there.
async fn look(cast: &Cast<'_>, account: &mut Account, call_id: &str) -> Told<String> {
    let query = "query($id: ID!) { node(id: $id) { ... on ServiceCall { appliance {
        id history(first: 5) { edges { node { completedOn component { name } failureMode { name } remedies { method technician } } } } } } } }";
    let brief = cast.hands().ask(query, json!({ "id": call_id })).await?;
    let past = list(&brief, "/node/appliance/history/edges");
    account.heading(&format!("Before arriving ({} reads the brief)", cast.technician.name));
    for entry in past {
        account.say(format!(
            "{}: {} {}, {}",
            text(entry, "/node/completedOn"),
            text(entry, "/node/component/name").to_lowercase(),
            text(entry, "/node/failureMode/name").to_lowercase(),
            text(entry, "/node/remedies/0/method").to_lowercase(),
        ));
    }
    account.check("the range's earlier burnt terminals are in its history", past.len() >= 2);
    Ok(String::new())
}
