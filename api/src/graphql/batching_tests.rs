//! A longer list takes no more statements: what each row asks for is fetched a level at a time.

use async_graphql::Request;
use serde_json::Value;

use super::loaders;
use super::schema;
use crate::closeout::testing::{Workshop, day};

/// Some 16 relations, a statement each; when two fields of one level come at different moments, one may be
/// fetched in two parts. A statement for each row would be hundreds.
const STATEMENTS_MAX: u64 = 24;

/// What an office's screen of calls asks for, over every relation a call has.
fn calls(first: usize) -> String {
    format!(
        "{{ serviceCalls(first: {first}) {{ edges {{ node {{
            number customer {{ name contacts {{ name }} }} serviceAddress {{ line }}
            appliance {{ make applianceType {{ name }} shopWarranties {{ component {{ name }} }} }}
            visits {{ technician {{ name }} }} readings {{ verdict takenBy {{ name }} }} flags {{ level }}
            findings {{ component {{ name }} failureMode {{ name }} remedies {{ parts {{ number }} doneBy {{ name }} }} }}
        }} }} }} }}"
    )
}

/// Rows in the answer, and the statements it took.
async fn ask(shop: &Workshop, query: &str) -> (usize, u64) {
    let act = shop.owner();
    let before = act.app.db.statements();
    let request = Request::new(query)
        .data(loaders::row_loader(act.app.db.read().clone()))
        .data(act.clone());
    let answer = schema::build(&act.app).execute(request).await;
    let answer = serde_json::to_value(answer).unwrap();
    assert_eq!(answer["errors"], Value::Null, "{answer:#}");
    let rows = [
        &answer["data"]["serviceCalls"]["edges"],
        &answer["data"]["search"],
    ]
    .into_iter()
    .find_map(Value::as_array);
    (rows.unwrap().len(), act.app.db.statements() - before)
}

#[tokio::test]
async fn thirty_calls_take_no_more_statements_than_a_few_do() {
    for shop in Workshop::everywhere("2024-01-01").await {
        let failure = shop.failure("Surface burner terminal", "burnt").await;
        for number in 0..30 {
            let machine = shop.machine(Some(&format!("S-{number}"))).await;
            shop.repair(&machine, day("2024-02-01"), failure).await;
        }
        let (few, statements_of_few) = ask(&shop, &calls(2)).await;
        let (many, statements_of_many) = ask(&shop, &calls(30)).await;
        assert_eq!((few, many), (2, 30));
        for statements in [statements_of_few, statements_of_many] {
            assert!(statements <= STATEMENTS_MAX, "{statements} statements");
        }
        let (hits, statements) = ask(
            &shop,
            "{ search(text: \"range\") { title node { id __typename } } }",
        )
        .await;
        assert_eq!(hits, 20);
        assert!(statements <= 4, "{statements} statements for {hits} hits");
    }
}
