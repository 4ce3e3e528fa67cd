//! Today's job, through the public API: the oven whose terminal burns for the third time, from the
//! telephone to the money.

use std::sync::Arc;

use chrono::NaiveDate;
use nameplate_entities::{appliance, staff};
use sea_orm::EntityTrait;
use serde_json::{Value, json};

use crate::base::App;
use crate::graphql::ids::Kind;
use crate::graphql::schema::Schema;

use super::account::Account;
use super::client::{Client, Told, list, text};
use super::{customer, joint};

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

/// Ids as clients see them.
struct Job {
    call_id: String,
    visit_id: String,
    customer_id: String,
    customer_name: String,
    appliance_type: String,
}

/// Plays the job and writes down what a person would want to see of it.
///
/// # Errors
/// The first step that was refused or failed, in a sentence.
pub async fn play(cast: &Cast<'_>, account: &mut Account) -> Told<()> {
    let job = take_call(cast, account).await?;
    read_brief(cast, account, &job).await?;
    let finding_id = find(cast, account, &job).await?;
    offer(cast, account, &job).await?;
    mend(cast, account, &job, &finding_id).await?;
    bill(cast, account, &job).await?;
    look_at_books(cast, account).await
}

impl<'a> Cast<'a> {
    pub fn client(&self, person: &'a staff::Model) -> Client<'a> {
        Client {
            app: self.app,
            schema: self.schema,
            person,
        }
    }

    pub fn desk(&self) -> Client<'a> {
        self.client(self.office)
    }

    pub fn hands(&self) -> Client<'a> {
        self.client(self.technician)
    }
}

async fn take_call(cast: &Cast<'_>, account: &mut Account) -> Told<Job> {
    let machine = appliance::Entity::find_by_id(cast.appliance_id)
        .one(cast.app.db.read())
        .await
        .map_err(|error| error.to_string())?
        .ok_or("the planted range is missing")?;
    let serial = machine.serial.unwrap_or_default();
    let query = "query($serial: String!) { appliance(by: { serial: { serial: $serial } }) {
        id make model customer { id name } applianceType { id } } }";
    let found = cast.desk().ask(query, json!({ "serial": serial })).await?;
    let customer_name = text(&found, "/appliance/customer/name");
    let order = json!({
        "idempotencyKey": "demo-today-call", "applianceId": text(&found, "/appliance/id"), "kind": "REPAIR",
        "complaint": "Oven does not heat again, smelled hot at the back."
    });
    let selection = "call { id number } callback { ageDays } openFlags { level }";
    let opened = cast.desk().act("openCall", order, selection).await?;
    let call_id = text(&opened, "/call/id");
    account.heading("The telephone rings");
    account.say(format!(
        "{customer_name} calls about the range {} {}, serial {serial}: the oven does not heat again and smelled hot. \
         {} takes call {}.",
        text(&found, "/appliance/make"),
        text(&found, "/appliance/model"),
        cast.office.name,
        text(&opened, "/call/number"),
    ));
    let visit = json!({
        "callIds": [call_id], "technicianId": Kind::Staff.id(cast.technician.id), "plannedOn": cast.today,
        "window": "1 to 3"
    });
    let visit = cast
        .desk()
        .act("scheduleVisit", visit, "visit { id }")
        .await?;
    Ok(Job {
        call_id,
        visit_id: text(&visit, "/visit/id"),
        customer_id: text(&found, "/appliance/customer/id"),
        customer_name,
        appliance_type: text(&found, "/appliance/applianceType/id"),
    })
}

/// The query a technician sends before arriving; also one of the three that the demo prints.
pub const BRIEF: &str = "query($call: ID!) { arrivalBrief(callId: $call) { customer { name phoneNational } \
    serviceAddress { line accessNotes } appliance { make model serial ratedVolts ratedWatts } \
    history { number completedOn findings { component failureMode remedies { method parts { description } } } } \
    warranties { component whoPays labourThrough partsThrough } flags { level reason } \
    otherMachines { kind } cautions } }";

async fn read_brief(cast: &Cast<'_>, account: &mut Account, job: &Job) -> Told<()> {
    let before = cast.app.db.statements();
    let brief = cast
        .hands()
        .ask(BRIEF, json!({ "call": job.call_id }))
        .await?;
    let statements = cast.app.db.statements() - before;
    account.heading(&format!(
        "Before arriving, {} reads the brief",
        cast.technician.name
    ));
    account.say(format!(
        "{}, {}. {}",
        text(&brief, "/arrivalBrief/customer/name"),
        text(&brief, "/arrivalBrief/serviceAddress/line"),
        text(&brief, "/arrivalBrief/serviceAddress/accessNotes"),
    ));
    let past = list(&brief, "/arrivalBrief/history");
    let repairs = past
        .iter()
        .filter(|call| !list(call, "/findings").is_empty());
    for call in repairs.clone() {
        account.say(format!(
            "{} {}: {} {}, {}",
            text(call, "/completedOn"),
            text(call, "/number"),
            text(call, "/findings/0/component").to_lowercase(),
            text(call, "/findings/0/failureMode").to_lowercase(),
            text(call, "/findings/0/remedies/0/method")
                .to_lowercase()
                .replace('_', "-"),
        ));
    }
    for promise in list(&brief, "/arrivalBrief/warranties") {
        account.say(format!(
            "{}: {} Labor through {}, parts through {}.",
            text(promise, "/component"),
            text(promise, "/whoPays"),
            text(promise, "/labourThrough"),
            text(promise, "/partsThrough"),
        ));
    }
    account.check(
        "both earlier burnt terminals of this range are in the brief",
        repairs.count() >= 2,
    );
    account.check(
        &format!("the brief took {statements} SQL statements"),
        statements <= 32,
    );
    read_text(cast, account, job).await
}

/// The same as text, as `/calls/ID/brief.txt` gives it to a phone with a poor connection.
async fn read_text(cast: &Cast<'_>, account: &mut Account, job: &Job) -> Told<()> {
    let query =
        "query($call: ID!) { arrivalBrief(callId: $call) { text serviceAddress { line } } }";
    let brief = cast
        .hands()
        .ask(query, json!({ "call": job.call_id }))
        .await?;
    let told = text(&brief, "/arrivalBrief/text");
    account.heading("The same as text");
    for line in told.lines() {
        account.say(line);
    }
    let street = text(&brief, "/arrivalBrief/serviceAddress/line");
    let street = street.split(',').next().unwrap_or_default();
    account.check(
        "the text says where to go in fewer than 2,000 bytes",
        told.len() < 2_000 && !street.is_empty() && told.contains(street),
    );
    Ok(())
}

async fn find(cast: &Cast<'_>, account: &mut Account, job: &Job) -> Told<String> {
    let reading = json!({
        "callId": job.call_id, "quantity": "RESISTANCE", "value": "22.1", "unit": "OHM",
        "place": "bake element, both leads off", "isolated": true
    });
    let read = cast
        .hands()
        .act("recordReading", reading, "reading { verdict explanation }")
        .await?;
    account.heading("At the oven");
    account.say(format!(
        "The element reads 22.1 ohm. {}",
        text(&read, "/reading/explanation")
    ));
    account.check(
        "the element itself is fine",
        text(&read, "/reading/verdict") == "INSIDE",
    );
    joint::measure(cast, &job.call_id).await?;
    let (component, mode) = burnt_terminal(cast, &job.appliance_type).await?;
    let finding = json!({
        "idempotencyKey": "demo-today-finding", "callId": job.call_id, "componentId": component,
        "failureModeId": mode, "position": "element side, left", "cause": "joint lost its grip"
    });
    let selection = "finding { id } flag { level reason baseRate { sentence } nextChecks cautions \
         bearings { causes { cause speaks why } } }";
    let found = cast
        .hands()
        .act("recordFinding", finding, selection)
        .await?;
    account.say(format!(
        "{}: {}",
        text(&found, "/flag/level"),
        text(&found, "/flag/reason")
    ));
    account.say(text(&found, "/flag/baseRate/sentence"));
    joint::tell(account, found.pointer("/flag").unwrap_or(&Value::Null));
    for check in list(&found, "/flag/nextChecks")
        .iter()
        .take(3)
        .filter_map(Value::as_str)
    {
        account.say(format!("check: {check}"));
    }
    for caution in list(&found, "/flag/cautions")
        .iter()
        .take(1)
        .filter_map(Value::as_str)
    {
        account.say(format!("caution: {caution}"));
    }
    account.check(
        "the third burnt terminal asks the shop to act",
        text(&found, "/flag/level") == "ACT",
    );
    Ok(text(&found, "/finding/id"))
}

async fn burnt_terminal(cast: &Cast<'_>, appliance_type: &str) -> Told<(String, String)> {
    let query = "{ applianceTypes { id components { id name } } failureModes { id key } }";
    let lists = cast.hands().ask(query, json!({})).await?;
    let named = |rows: &[Value], field: &str, value: &str| {
        rows.iter()
            .find(|row| text(row, field) == value)
            .map(|row| text(row, "/id"))
            .ok_or_else(|| format!("the shop does not know {value}"))
    };
    let components = list(&lists, "/applianceTypes")
        .iter()
        .find(|row| text(row, "/id") == appliance_type)
        .map(|row| list(row, "/components"))
        .unwrap_or_default();
    let component = named(components, "/name", "Bake element terminal")?;
    Ok((
        component,
        named(list(&lists, "/failureModes"), "/key", "burnt")?,
    ))
}

async fn offer(cast: &Cast<'_>, account: &mut Account, job: &Job) -> Told<()> {
    let parts = "{ block: part(number: \"TB-210\") { id } kit: part(number: \"TK-06\") { id }
        element: part(number: \"BE-2585\") { id } }";
    let parts = cast.desk().ask(parts, json!({})).await?;
    let part = |pointer: &str| json!({ "kind": "PART", "partId": text(&parts, pointer) });
    let (trip, hour) = (
        json!({ "kind": "TRIP" }),
        json!({ "kind": "LABOUR", "minutes": 75 }),
    );
    let draft = json!({
        "idempotencyKey": "demo-today-draft", "callId": job.call_id,
        "found": "The terminal that feeds the bake element has burnt again. The element itself measures well.",
        "options": [
            { "title": "New terminal block and leads", "lines": [trip, hour, part("/block/id"), part("/kit/id")] },
            { "title": "The same, with a new element", "lines": [trip, hour, part("/block/id"), part("/kit/id"), part("/element/id")] }
        ]
    });
    let selection = "revision { id estimate { id number } options { title total tax } }";
    let drafted = cast.desk().act("draftEstimate", draft, selection).await?;
    let send = json!({ "idempotencyKey": "demo-today-send", "revisionId": text(&drafted, "/revision/id") });
    let sent = cast
        .desk()
        .act(
            "sendEstimate",
            send.clone(),
            "revision { contentHash validUntil }",
        )
        .await?;
    cast.desk()
        .act("sendEstimate", send, "revision { contentHash }")
        .await?;
    account.heading(&format!(
        "Estimate {}",
        text(&drafted, "/revision/estimate/number")
    ));
    for option in list(&drafted, "/revision/options") {
        account.say(format!(
            "{}: {}, of which tax {}",
            text(option, "/title"),
            text(option, "/total"),
            text(option, "/tax"),
        ));
    }
    let estimate = Kind::Estimate
        .row(
            "estimateId",
            &text(&drafted, "/revision/estimate/id").into(),
        )
        .map_err(|error| error.to_string())?;
    let told = |error: crate::base::Error| error.to_string();
    let mails = customer::mails_about(cast.app, estimate)
        .await
        .map_err(told)?;
    account.check(
        "asked for twice with one key, it is mailed once",
        mails.len() == 1,
    );
    let mail = mails.first().ok_or("the estimate was not mailed")?;
    customer::accept(cast.app, mail, text(&sent, "/revision/contentHash"))
        .await
        .map_err(told)?;
    account.say(format!(
        "{} opens the link in the mail and accepts the first option.",
        job.customer_name
    ));
    Ok(())
}

async fn mend(cast: &Cast<'_>, account: &mut Account, job: &Job, finding_id: &str) -> Told<()> {
    let complete = json!({ "idempotencyKey": "demo-today-complete", "callId": job.call_id });
    let parts = "{ block: part(number: \"TB-210\") { id } kit: part(number: \"TK-06\") { id } }";
    let parts = cast.desk().ask(parts, json!({})).await?;
    let remedy = json!({
        "idempotencyKey": "demo-today-remedy", "findingId": finding_id, "method": "RE_TERMINATED", "labourMinutes": 75,
        "parts": [
            { "partId": text(&parts, "/block/id"), "quantity": "1" },
            { "partId": text(&parts, "/kit/id"), "quantity": "1" }
        ]
    });
    cast.hands()
        .act("recordRemedy", remedy, "remedy { id }")
        .await?;
    let early = cast
        .hands()
        .act("completeCall", complete.clone(), "call { id }")
        .await;
    account.heading("The repair");
    account.check(
        "the call cannot close before a root cause is written down",
        early.is_err(),
    );
    let cause = json!({
        "callId": job.call_id,
        "rootCause": "Spliced twice in a heated compartment; the joint loosened. Block and leads are new now."
    });
    cast.hands()
        .act("recordRootCause", cause, "call { id }")
        .await?;
    let visit = json!({ "visitId": job.visit_id, "outcome": "DONE" });
    cast.hands()
        .act("finishVisit", visit, "visit { id }")
        .await?;
    let selection = "call { number } warranties { labourThrough partsThrough }";
    let done = cast
        .hands()
        .act("completeCall", complete, selection)
        .await?;
    account.say(format!(
        "Call {} is complete. The shop stands behind it: labor through {}, parts through {}.",
        text(&done, "/call/number"),
        text(&done, "/warranties/0/labourThrough"),
        text(&done, "/warranties/0/partsThrough"),
    ));
    Ok(())
}

async fn bill(cast: &Cast<'_>, account: &mut Account, job: &Job) -> Told<()> {
    let order = json!({ "idempotencyKey": "demo-today-invoice", "callId": job.call_id });
    let selection = "invoice { id number net tax total dueOn taxes { name tax } }";
    let issued = cast.desk().act("issueInvoice", order, selection).await?;
    let total = text(&issued, "/invoice/total");
    account.heading("The money");
    account.say(format!(
        "Invoice {}: {} and {} tax, {total} in all, due {}.",
        text(&issued, "/invoice/number"),
        text(&issued, "/invoice/net"),
        text(&issued, "/invoice/tax"),
        text(&issued, "/invoice/dueOn"),
    ));
    let mut payment = json!({
        "idempotencyKey": "demo-today-payment", "customerId": job.customer_id, "method": "CHECK",
        "reference": "check 2207", "receivedOn": cast.today, "amount": total,
        "allocations": [{ "invoiceId": text(&issued, "/invoice/id"), "amount": total }]
    });
    let selection = "payment { number amount }";
    let paid = cast
        .desk()
        .act("recordPayment", payment.clone(), selection)
        .await?;
    cast.desk()
        .act("recordPayment", payment.clone(), selection)
        .await?;
    account.say(format!(
        "Payment {} by check settles it.",
        text(&paid, "/payment/number")
    ));
    if let Some(key) = payment.get_mut("idempotencyKey") {
        *key = json!("demo-today-payment-again");
    }
    let again = cast.desk().act("recordPayment", payment, selection).await;
    account.check("an invoice cannot be paid twice", again.is_err());
    Ok(())
}

async fn look_at_books(cast: &Cast<'_>, account: &mut Account) -> Told<()> {
    let query = "query($on: NaiveDate!) { trialBalance(on: $on) { debits credits \
        rows { account { code name } debit credit } } }";
    let books = cast
        .client(cast.owner)
        .ask(query, json!({ "on": cast.today }))
        .await?;
    account.heading("The books, two years on");
    for row in list(&books, "/trialBalance/rows") {
        account.lines_of_two(
            &format!(
                "{} {}",
                text(row, "/account/code"),
                text(row, "/account/name")
            ),
            &text(row, "/debit"),
            &text(row, "/credit"),
        );
    }
    let (debits, credits) = (
        text(&books, "/trialBalance/debits"),
        text(&books, "/trialBalance/credits"),
    );
    account.lines_of_two("sum", &debits, &credits);
    account.check(
        "debits equal credits",
        debits == credits && !debits.is_empty(),
    );
    let refused = cast.hands().ask(query, json!({ "on": cast.today })).await;
    account.check("a technician is not shown the books", refused.is_err());
    Ok(())
}
