//! What a left-out variable means, asked of the library on a small schema.

use async_graphql::{
    EmptyMutation, EmptySubscription, InputObject, MaybeUndefined, Object, Request, Schema,
};
use serde_json::json;

use super::*;
use crate::graphql::connection::Page;
use crate::graphql::variables::Inputs;

#[derive(InputObject)]
struct Filter {
    size: MaybeUndefined<i32>,
    sizes: Option<Vec<Option<i32>>>,
}

struct Query;

#[Object]
impl Query {
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn list(&self, first: Option<i32>, last: Option<i32>) -> String {
        format!("{first:?} {last:?}")
    }

    async fn told(&self, size: MaybeUndefined<i32>) -> String {
        format!("{size:?}")
    }

    async fn filtered(&self, filter: Filter) -> String {
        format!("{:?} {:?}", filter.size, filter.sizes)
    }

    async fn must(&self, size: i32) -> i32 {
        size
    }

    async fn usual(&self, #[graphql(default = 7)] size: i32) -> i32 {
        size
    }
}

/// The answer of an operation, or the first error.
async fn ask_for(
    operation_name: Option<&str>,
    query: &str,
    variables: serde_json::Value,
) -> Result<serde_json::Value, String> {
    let schema = Schema::build(Query, EmptyMutation, EmptySubscription)
        .limit_complexity(100)
        .finish();
    let inputs = Inputs::read(&schema.sdl()).unwrap();
    let variables = Variables::from_json(variables);
    let mut request = Request::new(query);
    request.operation_name = operation_name.map(str::to_owned);
    let document = request.parsed_query().unwrap();
    let document = mended(&inputs.arguments, document, operation_name, &variables);
    let parsed = request.parsed_query().unwrap().clone();
    let variables = match operation::run(&parsed, operation_name) {
        Some(run) => filled(&parsed, run, variables).map_err(|name| format!("{name} is open"))?,
        None => variables,
    };
    if let Some(document) = document {
        request.set_parsed_query(document);
    }
    let response = schema.execute(request.variables(variables)).await;
    match response.errors.first() {
        Some(error) => Err(error.message.clone()),
        None => Ok(response.data.into_json().unwrap()),
    }
}

async fn ask(query: &str, variables: serde_json::Value) -> Result<serde_json::Value, String> {
    ask_for(None, query, variables).await
}

#[tokio::test]
async fn a_variable_that_is_left_out_leaves_its_argument_out() {
    let list = "query($n: Int) { list(first: $n) }";
    let told = "query($n: Int) { told(size: $n) }";
    for (variables, first, size) in [
        (json!({}), "None None", "Undefined"),
        (json!({ "n": null }), "None None", "Null"),
        (json!({ "n": 3 }), "Some(3) None", "Value(3)"),
    ] {
        let answer = ask(list, variables.clone()).await.unwrap();
        assert_eq!(answer, json!({ "list": first }), "{variables}");
        let answer = ask(told, variables.clone()).await.unwrap();
        assert_eq!(answer, json!({ "told": size }), "{variables}");
    }
}

#[tokio::test]
async fn a_default_counts_and_what_must_be_given_is_missed() {
    let query = "query($n: Int = 4) { list(first: $n) }";
    let answer = ask(query, json!({})).await.unwrap();
    assert_eq!(answer, json!({ "list": "Some(4) None" }));
    for query in [
        "query($n: Int!) { list(first: $n) }",
        "query($n: Int!) { must(size: $n) }",
    ] {
        ask(query, json!({})).await.unwrap_err();
    }
}

#[tokio::test]
async fn of_an_argument_that_the_schema_does_not_have_so_the_library_says_what_is_wrong() {
    for (query, named) in [
        ("query($n: Int) { list(frist: $n) }", "frist"),
        ("query($n: String) { list(first: $n) }", "n"),
        ("query($n: Int) { must(size: $n) }", "Expected input type"),
        ("query($n: Int, $m: Int) { list(first: $n) }", "$m"),
    ] {
        let said = ask(query, json!({})).await.unwrap_err();
        assert!(said.contains(named), "{query}: {said}");
    }
}

#[tokio::test]
async fn an_argument_that_is_never_null_takes_its_default_or_what_is_given() {
    let query =
        "query($n: Int) { usual(size: $n) ...f } fragment f on Query { a: usual(size: $n) }";
    let answer = ask(query, json!({})).await.unwrap();
    assert_eq!(answer, json!({ "usual": 7, "a": 7 }));
    let answer = ask(query, json!({ "n": 3 })).await.unwrap();
    assert_eq!(answer, json!({ "usual": 3, "a": 3 }));
    ask(query, json!({ "n": null })).await.unwrap_err();
}

#[tokio::test]
async fn a_default_says_whether_a_field_is_skipped() {
    let skip = "query($dry: Boolean! = true) { a: usual @skip(if: $dry) must(size: 1) }";
    assert_eq!(ask(skip, json!({})).await.unwrap(), json!({ "must": 1 }));
    let both = ask(skip, json!({ "dry": false })).await.unwrap();
    assert_eq!(both, json!({ "a": 7, "must": 1 }));
    let include =
        "query($do: Boolean! = true) { ...f } fragment f on Query { usual @include(if: $do) }";
    assert_eq!(
        ask(include, json!({})).await.unwrap(),
        json!({ "usual": 7 })
    );
    let open = "query($do: Boolean) { must(size: 1) ... @include(if: $do) { usual } }";
    for variables in [json!({}), json!({ "do": null })] {
        let said = ask(open, variables).await.unwrap_err();
        assert!(said.contains("do"), "{said}");
    }
}

#[tokio::test]
async fn fragments_are_mended_too() {
    let query = "query($n: Int) { ...f ... on Query { a: list(last: $n) } }
        fragment f on Query { list(first: $n, last: $n) }";
    let answer = ask(query, json!({})).await.unwrap();
    assert_eq!(answer, json!({ "list": "None None", "a": "None None" }));
    let answer = ask(query, json!({ "n": 2 })).await.unwrap();
    assert_eq!(
        answer,
        json!({ "list": "Some(2) Some(2)", "a": "None Some(2)" })
    );
}

#[tokio::test]
async fn inside_a_list_or_an_object_a_variable_stays() {
    let query = "query($n: Int) { list(first: $n) filtered(filter: { size: $n, sizes: [$n, 2] }) }";
    let answer = ask(query, json!({})).await.unwrap();
    assert_eq!(
        answer,
        json!({ "list": "None None", "filtered": "Undefined Some([None, Some(2)])" })
    );
}

#[tokio::test]
async fn operations_that_are_not_run_need_no_variables() {
    let query = "query A($n: Int!, $m: Int) { list(first: $n, last: $m) ...f }
        query B($n: Int) { told(size: $n) ...f }
        fragment f on Query { a: list(first: $n) }";
    let answer = ask_for(Some("B"), query, json!({})).await.unwrap();
    assert_eq!(answer, json!({ "told": "Undefined", "a": "None None" }));
    let answer = ask_for(Some("A"), query, json!({ "n": 2 })).await.unwrap();
    assert_eq!(
        answer,
        json!({ "list": "Some(2) None", "a": "Some(2) None" })
    );
    ask_for(Some("A"), query, json!({})).await.unwrap_err();
    let said = ask_for(None, query, json!({})).await.unwrap_err();
    assert!(said.contains("Operation name required"), "{said}");
    let said = ask_for(Some("C"), query, json!({})).await.unwrap_err();
    assert!(said.contains("Unknown operation"), "{said}");
}
