//! What a flag about several machines rests on, while it grows and what it rests on goes on; on both databases.

use nameplate_entities::kinds::{CallKind, FlagLevel, FlagState, Method, Pattern};
use nameplate_entities::{appliance, flag, flag_evidence, service_call};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};
use serde_json::{Value, json};

use super::graph_tests::ask;
use crate::callbacks::Recorded;
use crate::closeout::testing::{Workshop, day};

/// A call on a further machine at the address, on which the failure is found on that day.
async fn burns(
    shop: &Workshop,
    (serial, on): (&str, &str),
    failure: (i64, i64),
) -> (service_call::Model, Recorded) {
    let machine = shop.machine(Some(serial)).await;
    shop.on(day(on));
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    let found = shop.find(&call, failure).await;
    (call, found)
}

/// The one flag about the address.
async fn of_address(shop: &Workshop) -> flag::Model {
    let found = flag::Entity::find()
        .filter(flag::Column::Pattern.eq(Pattern::Address))
        .one(shop.app.db.read())
        .await;
    found.expect("flags").expect("the flag")
}

/// Calls and methods as the flag keeps them.
async fn kept(shop: &Workshop, flag_id: i64) -> Vec<(i64, Option<Method>)> {
    let rows = flag_evidence::Entity::find()
        .filter(flag_evidence::Column::FlagId.eq(flag_id))
        .order_by_asc(flag_evidence::Column::Id)
        .all(shop.app.db.read())
        .await
        .expect("evidence");
    rows.iter().map(|row| (row.call_id, row.method)).collect()
}

/// The evidence of the flags about several machines, as the graph tells it.
async fn told(shop: &Workshop) -> Vec<Value> {
    let query = "{ flags(first: 9) { edges { node { pattern { kind }
        evidence { completedOn daysBefore method } } } } }";
    let answer = ask(&shop.owner(), query).await;
    let edges = answer["data"]["flags"]["edges"].as_array().cloned();
    let nodes = edges.unwrap_or_else(|| panic!("{answer:#}")).into_iter();
    nodes
        .map(|edge| edge["node"].clone())
        .filter(|node| !node["pattern"].is_null())
        .map(|node| node["evidence"].clone())
        .collect()
}

async fn finds_nothing_wrong(shop: &Workshop) {
    let findings = super::run(&shop.app.db).await.expect("verified");
    let findings = findings.iter().map(ToString::to_string);
    assert_eq!(findings.collect::<Vec<_>>(), Vec::<String>::new());
}

#[tokio::test]
async fn what_burnt_at_an_address_counts_its_days_to_the_call_that_the_flag_grew_by() {
    for shop in Workshop::everywhere("2024-01-10").await {
        let failure = shop.failure("Surface burner terminal", "burnt").await;
        let first = shop.machine(Some("A-1")).await;
        let (one, _) = shop.repair(&first, day("2024-01-10"), failure).await;
        let second = shop.machine(Some("A-2")).await;
        let (two, _) = shop.repair(&second, day("2024-02-01"), failure).await;
        let replaced = Some(Method::Replaced);
        let flag = of_address(&shop).await;
        assert_eq!((flag.level, flag.call_id), (FlagLevel::Watch, two.id));
        assert_eq!(kept(&shop, flag.id).await, [(one.id, replaced)]);

        let (three, found) = burns(&shop, ("A-3", "2024-03-01"), failure).await;
        let flag = of_address(&shop).await;
        assert_eq!((flag.level, flag.call_id), (FlagLevel::Act, three.id));
        let rests_on = [(one.id, replaced), (two.id, None)];
        assert_eq!(kept(&shop, flag.id).await, rests_on);

        // As loud as before, and found once more: it grows, and its days count to the call by which it did.
        let (four, _) = burns(&shop, ("A-4", "2024-04-01"), failure).await;
        let grown = of_address(&shop).await;
        assert_eq!((grown.id, grown.call_id), (flag.id, four.id));
        assert_eq!((grown.raised_at, grown.observed), (flag.raised_at, Some(4)));
        let rests_on = [(one.id, replaced), (two.id, None), (three.id, None)];
        assert_eq!(kept(&shop, flag.id).await, rests_on);
        let done = |on: &str, days: i32| json!({ "completedOn": on, "daysBefore": days, "method": "REPLACED" });
        let (one_told, two_told) = (done("2024-01-10", 82), done("2024-02-01", 60));
        let open = json!({ "completedOn": null, "daysBefore": 31, "method": null });
        assert_eq!(told(&shop).await, [json!([one_told, two_told, open])]);

        // Found once more on a call taken earlier, the flag is there, and rests on the later one; each call once.
        let once_more = shop.find(&three, failure).await;
        let back = of_address(&shop).await;
        assert_eq!((back.call_id, back.observed), (three.id, Some(4)));
        let rests_on = [(one.id, replaced), (two.id, None), (four.id, None)];
        assert_eq!(kept(&shop, flag.id).await, rests_on);
        let later = json!({ "completedOn": null, "daysBefore": 0, "method": null });
        let (one_told, two_told) = (done("2024-01-10", 51), done("2024-02-01", 29));
        assert_eq!(told(&shop).await, [json!([one_told, two_told, later])]);

        // What became of a call is told as it is now.
        shop.on(day("2024-04-05"));
        for found in [&found, &once_more] {
            shop.mend(found, Method::ReTerminated, Vec::new()).await;
        }
        shop.complete(&three).await.expect("completed");
        burns(&shop, ("A-5", "2024-05-01"), failure).await;
        let since = json!({
            "completedOn": "2024-04-05", "daysBefore": 26, "method": "RE_TERMINATED",
        });
        let told = told(&shop).await;
        assert!(
            told[0].as_array().expect("evidence").contains(&since),
            "{told:#?}"
        );
        finds_nothing_wrong(&shop).await;
    }
}

#[tokio::test]
async fn what_is_found_late_on_a_call_taken_first_counts_what_was_taken_since() {
    for shop in Workshop::everywhere("2024-01-10").await {
        let failure = shop.failure("Surface burner terminal", "burnt").await;
        let first = shop.machine(Some("L-1")).await;
        let early = shop.open_call(&first, CallKind::Repair).await.call;
        let (late, _) = burns(&shop, ("L-2", "2024-01-20"), failure).await;
        shop.find(&early, failure).await;
        let flag = of_address(&shop).await;
        assert_eq!((flag.call_id, flag.observed), (early.id, Some(2)));
        assert_eq!(kept(&shop, flag.id).await, [(late.id, None)]);
        let taken_later = json!({ "completedOn": null, "daysBefore": 0, "method": null });
        assert_eq!(told(&shop).await, [json!([taken_later])]);
        finds_nothing_wrong(&shop).await;
    }
}

/// How many replacements, and how many calls on which nothing is done yet, the model's flag rests on, if the failure on this
/// machine raises it or it grows by that.
async fn back(
    shop: &Workshop,
    (machine, on): (&appliance::Model, &str),
    failure: (i64, i64),
) -> Option<(usize, usize)> {
    shop.on(day(on));
    let call = shop.open_call(machine, CallKind::Repair).await.call;
    let patterns = shop.find(&call, failure).await.patterns;
    let flag = (patterns.iter()).find(|flag| flag.pattern == Some(Pattern::Model))?;
    assert_eq!((flag.state, flag.call_id), (FlagState::Open, call.id));
    let rows = kept(shop, flag.id).await;
    let by = |of: Option<Method>| rows.iter().filter(|(_, method)| *method == of).count();
    Some((by(Some(Method::Replaced)), by(None)))
}

#[tokio::test]
async fn repairs_of_a_model_that_came_back_are_kept_with_their_method_and_the_calls_it_stood_at() {
    for shop in Workshop::everywhere("2024-01-10").await {
        let failure = shop.failure("Door gasket", "worn").await;
        let mut machines = Vec::new();
        for number in 0..9 {
            let machine = shop.machine(Some(&format!("G-{number}"))).await;
            if number >= 6 {
                shop.rename(&machine, "MX-9").await;
            }
            shop.repair(&machine, day("2024-01-10"), failure).await;
            machines.push(machine);
        }
        // Three are flagged by none, four are watched, five acted on; by the sixth it grows.
        for (machine, (returned, on)) in machines.iter().zip([
            (1, "2024-01-12"),
            (2, "2024-01-14"),
            (3, "2024-01-16"),
            (4, "2024-01-18"),
            (5, "2024-01-20"),
            (6, "2024-01-22"),
        ]) {
            let rests_on = back(&shop, (machine, on), failure).await;
            // Besides the repairs, the calls at which it stood before.
            let all = (returned > 3).then(|| (returned, returned - 4));
            assert_eq!(rests_on, all, "after {returned} returns");
        }
        finds_nothing_wrong(&shop).await;
    }
}
