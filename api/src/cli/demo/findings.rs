//! What two years of work show the owner: what was planted must be found again.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::graphql::ids::Kind;

use super::account::Account;
use super::client::{Client, Told, list, text};

/// The query that tells whose repairs came back; also one of the three that the demo prints.
pub const CALLBACKS: &str = "query($after: String) { callbacks(first: 100, after: $after) { \
    pageInfo { hasNextPage endCursor } edges { node { state ageDays earlierCall { number findings { \
    component { name } remedies { method doneBy { name } } } } } } } }";

/// Whose repairs came back, and at which address the supply is low.
///
/// # Errors
/// When a query fails, in a sentence.
pub async fn tell(owner: &Client<'_>, account: &mut Account, splicer: &str) -> Told<()> {
    account.heading("What two years of calls show");
    let returned = returned_by_person_and_method(owner).await?;
    for ((name, method), count) in &returned {
        let word = method.to_lowercase().replace('_', "-");
        account.say(format!("{name}, {word}: {count} came back within 30 days"));
    }
    let most = returned
        .iter()
        .max_by_key(|(_, count)| **count)
        .map(|(who, _)| who);
    account.check(
        &format!("most of what came back are the splices of {splicer}"),
        most.is_some_and(|(name, method)| name == splicer && method == "SPLICED"),
    );
    let flags = "{ flags(first: 100) { edges { node { level pattern { kind } } } } }";
    let flags = owner.ask(flags, json!({})).await?;
    let raised: Vec<&Value> = list(&flags, "/flags/edges")
        .iter()
        .filter(|flag| text(flag, "/node/pattern/kind").is_empty())
        .collect();
    let act = raised
        .iter()
        .filter(|flag| text(flag, "/node/level") == "ACT")
        .count();
    account.say(format!(
        "{} repeat failures were flagged, {act} of them as act.",
        raised.len()
    ));
    Ok(())
}

/// The address whose readings under load are low, machine by machine.
///
/// # Errors
/// When a query fails, in a sentence.
pub async fn tell_of_supply(
    office: &Client<'_>,
    account: &mut Account,
    customer_id: i64,
) -> Told<()> {
    let query = "query($customer: ID!) { serviceCalls(first: 20, filter: { customerId: $customer }) { edges { node {
        openedOn appliance { make model } serviceAddress { line } findings { component { name } failureMode { name } }
        readings { quantity value place circuit } } } } }";
    let customer = Kind::Customer.id(customer_id);
    let calls = office.ask(query, json!({ "customer": customer })).await?;
    let read: Vec<&Value> = list(&calls, "/serviceCalls/edges")
        .iter()
        .filter(|call| text(call, "/node/readings/0/quantity") == "VOLTAGE")
        .collect();
    for call in &read {
        account.say(format!(
            "{}: {} {} {} with {} V without load and {} V under it at {}",
            text(call, "/node/serviceAddress/line"),
            text(call, "/node/appliance/make"),
            text(call, "/node/appliance/model"),
            text(call, "/node/findings/0/failureMode/name").to_lowercase(),
            volts(call, "OPEN", "/value"),
            volts(call, "LOADED", "/value"),
            volts(call, "LOADED", "/place"),
        ));
    }
    account.check(
        "two machines at one address burnt a terminal on a low supply",
        read.len() == 2
            && read.iter().all(|call| {
                ["OPEN", "LOADED"]
                    .iter()
                    .all(|circuit| !volts(call, circuit, "/value").is_empty())
            }),
    );
    Ok(())
}

/// What is on record of a call's voltage in a circuit.
fn volts(call: &Value, circuit: &str, field: &str) -> String {
    let mut readings = list(call, "/node/readings").iter();
    let read = readings.find(|read| text(read, "/circuit") == circuit);
    read.map_or_else(String::new, |read| text(read, field))
}

async fn returned_by_person_and_method(
    owner: &Client<'_>,
) -> Told<BTreeMap<(String, String), usize>> {
    let mut counts = BTreeMap::new();
    let mut after = Value::Null;
    loop {
        let page = owner.ask(CALLBACKS, json!({ "after": after })).await?;
        for edge in list(&page, "/callbacks/edges") {
            let remedy = "/node/earlierCall/findings/0/remedies/0";
            let name = text(edge, &format!("{remedy}/doneBy/name"));
            let method = text(edge, &format!("{remedy}/method"));
            *counts.entry((name, method)).or_insert(0) += 1;
        }
        if page.pointer("/callbacks/pageInfo/hasNextPage") != Some(&Value::Bool(true)) {
            return Ok(counts);
        }
        after = json!(text(&page, "/callbacks/pageInfo/endCursor"));
    }
}
