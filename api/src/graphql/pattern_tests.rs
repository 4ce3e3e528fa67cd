//! What the graph says of a flag about several machines, and what it does not.

use async_graphql::Request;
use serde_json::Value;

use super::loaders;
use super::schema;
use crate::closeout::testing::{Workshop, day};

const FLAGS: &str = "{ flags(first: 10) { edges { node {
    pattern { kind } baseRate { sentence } bearings { __typename }
} } } }";

#[tokio::test]
async fn what_machines_share_at_an_address_has_no_rate_and_no_bearings_of_one_machine() {
    for shop in Workshop::everywhere("2025-01-02").await {
        let failure = shop.failure("Surface burner terminal", "burnt").await;
        let one = shop.machine(Some("A-1")).await;
        let other = shop.machine(Some("A-2")).await;
        shop.repair(&one, day("2025-02-01"), failure).await;
        shop.repair(&one, day("2025-02-20"), failure).await;
        shop.repair(&other, day("2025-03-01"), failure).await;
        let flags = flags(&shop).await;
        let of = |kind: Value| {
            let found = flags.iter().find(|flag| flag["pattern"]["kind"] == kind);
            found.unwrap_or_else(|| panic!("{kind} among {flags:?}"))
        };
        let address = of("ADDRESS".into());
        assert_eq!(
            (&address["baseRate"], &address["bearings"]),
            (&Value::Null, &Value::Null)
        );
        let alone = of(Value::Null);
        assert!(alone["baseRate"]["sentence"].is_string(), "{alone}");
        assert!(alone["bearings"].is_object(), "{alone}");
    }
}

async fn flags(shop: &Workshop) -> Vec<Value> {
    let act = shop.owner();
    let request = Request::new(FLAGS)
        .data(loaders::row_loader(act.app.db.read().clone()))
        .data(act.clone());
    let answer = schema::build(&act.app).execute(request).await;
    let answer = serde_json::to_value(answer).unwrap();
    assert_eq!(answer["errors"], Value::Null, "{answer:#}");
    let edges = answer["data"]["flags"]["edges"].as_array().unwrap();
    edges.iter().map(|edge| edge["node"].clone()).collect()
}
