//! Speaks GraphQL to the shop in this process, as one of its people.

use std::sync::Arc;

use async_graphql::{Request, Variables};
use nameplate_entities::staff;
use serde_json::{Value, json};

use crate::base::{App, Caller};
use crate::graphql::loaders;
use crate::graphql::progress::Progress;
use crate::graphql::schema::Schema;

/// What went wrong, in a sentence.
pub type Told<T> = Result<T, String>;

/// One of the shop's people at the API.
pub struct Client<'a> {
    pub app: &'a Arc<App>,
    pub schema: &'a Schema,
    pub person: &'a staff::Model,
}

impl Client<'_> {
    /// The data of a query.
    pub async fn ask(&self, query: &str, variables: Value) -> Told<Value> {
        let act = self.app.act(Caller::Staff {
            id: self.person.id,
            role: self.person.role,
            session_id: 0,
        });
        let request = Request::new(query)
            .variables(Variables::from_json(variables))
            .data(loaders::row_loader(self.app.db.read().clone()))
            .data(Arc::new(Progress::default()))
            .data(act);
        let response = self.schema.execute(request).await;
        if let Some(error) = response.errors.first() {
            return Err(format!(
                "{} asked and got: {}",
                self.person.name, error.message
            ));
        }
        response.data.into_json().map_err(|error| error.to_string())
    }

    /// The payload of a mutation that was done.
    pub async fn act(&self, mutation: &str, input: Value, selection: &str) -> Told<Value> {
        let mut letters = mutation.chars();
        let first = letters.next().map(|letter| letter.to_ascii_uppercase());
        let kind: String = first.into_iter().chain(letters).collect();
        let query = format!(
            "mutation($input: {kind}Input!) {{ {mutation}(input: $input) {{ {selection} problems {{ code message path }} }} }}"
        );
        let data = self.ask(&query, json!({ "input": input })).await?;
        let payload = data.get(mutation).cloned().unwrap_or_default();
        match payload
            .pointer("/problems/0/message")
            .and_then(Value::as_str)
        {
            Some(problem) => Err(format!("{mutation} was refused: {problem}")),
            None => Ok(payload),
        }
    }
}

/// The text at a JSON pointer; empty where there is none.
pub fn text(value: &Value, pointer: &str) -> String {
    match value.pointer(pointer) {
        Some(Value::String(text)) => text.clone(),
        Some(Value::Null) | None => String::new(),
        Some(other) => other.to_string(),
    }
}

/// The list at a JSON pointer; empty where there is none.
pub fn list<'a>(value: &'a Value, pointer: &str) -> &'a [Value] {
    value
        .pointer(pointer)
        .and_then(Value::as_array)
        .map_or(&[], Vec::as_slice)
}
