//! What a client asks in GraphQL, on whatever way it comes: the request as read, held to our limits, or why it is refused.

use actix_web::HttpResponse;
use actix_web::http::StatusCode;
use actix_web::http::header::WWW_AUTHENTICATE;
use async_graphql::parser::types::OperationType;
use async_graphql::{Request, ServerError, Variables};
use serde_json::{Map, Value, json};

use crate::graphql::error::Code;
use crate::graphql::limits;
use crate::graphql::omitted;
use crate::graphql::operation;
use crate::graphql::variables::Inputs;

use super::media::Media;

/// Errors in one answer; the first ones tell enough.
const ERRORS_MAX: usize = 20;

/// Why a request was not carried out.
pub struct Refusal {
    pub status: StatusCode,
    /// As clients read them.
    pub errors: Vec<Value>,
}

impl Refusal {
    /// One error of ours.
    pub fn new(status: StatusCode, code: Code, message: &str) -> Self {
        let error = json!({ "message": message, "extensions": { "code": code.as_str() } });
        Self {
            status,
            errors: vec![error],
        }
    }

    /// The library's errors, with our code where they have none.
    pub fn of(status: StatusCode, code: Code, errors: Vec<ServerError>) -> Self {
        Self {
            status,
            errors: self::errors(errors, code),
        }
    }

    /// An answer without `data`.
    pub fn respond(self, media: Media) -> HttpResponse {
        let mut response = HttpResponse::build(self.status);
        response.content_type(media.content_type());
        if self.status == StatusCode::UNAUTHORIZED {
            response.insert_header((WWW_AUTHENTICATE, "Bearer"));
        }
        response.body(json!({ "errors": self.errors }).to_string())
    }
}

/// The request inside a JSON body.
///
/// # Errors
/// For what is no JSON, and as [`of_json`].
pub fn read(body: &[u8]) -> Result<Request, Refusal> {
    let value = serde_json::from_slice(body).map_err(|error| {
        let message = format!("The body is no JSON: {error}.");
        Refusal::new(StatusCode::BAD_REQUEST, Code::BadRequest, &message)
    })?;
    of_json(value)
}

/// A request. Properties we do not know are left alone; lists of requests are refused.
///
/// # Errors
/// For what is no request.
pub fn of_json(value: Value) -> Result<Request, Refusal> {
    let unfit = |message: &str| {
        Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            Code::InvalidRequest,
            message,
        )
    };
    let Value::Object(mut properties) = value else {
        return Err(unfit(
            "A request is one JSON object; lists of requests are not taken.",
        ));
    };
    let Some(Value::String(query)) = properties.remove("query") else {
        return Err(unfit("`query` must be a text that holds the document."));
    };
    let mut request = Request::new(query);
    match properties.remove("operationName") {
        None | Some(Value::Null) => {}
        Some(Value::String(name)) => request = request.operation_name(name),
        Some(_) => return Err(unfit("`operationName` must be a text.")),
    }
    let variables = object(properties.remove("variables"))
        .ok_or_else(|| unfit("`variables` must be an object."))?;
    object(properties.remove("extensions"))
        .ok_or_else(|| unfit("`extensions` must be an object."))?;
    Ok(request.variables(Variables::from_json(Value::Object(variables))))
}

fn object(value: Option<Value>) -> Option<Map<String, Value>> {
    match value {
        None | Some(Value::Null) => Some(Map::new()),
        Some(Value::Object(map)) => Some(map),
        Some(_) => None,
    }
}

/// Parses the document, holds it to the limits that must be checked before the library walks it, and takes out the arguments
/// whose variables are left out.
///
/// # Errors
/// For a document that does not parse or asks too much, and for variables that do not fit.
pub fn checked(inputs: &Inputs, mut request: Request) -> Result<Request, Refusal> {
    limits::of_text(&request.query).map_err(|message| {
        Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            Code::TooMuchAsked,
            message,
        )
    })?;
    let variables = std::mem::take(&mut request.variables);
    let name = request.operation_name.clone();
    let document = request
        .parsed_query()
        .map_err(|error| Refusal::of(StatusCode::BAD_REQUEST, Code::InvalidRequest, vec![error]))?;
    limits::of_document(document).map_err(|message| {
        Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            Code::TooMuchAsked,
            message,
        )
    })?;
    let fit = inputs.check(document, name.as_deref(), &variables);
    fit.map_err(|message| {
        Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            Code::InvalidRequest,
            &message,
        )
    })?;
    let mended = omitted::mended(&inputs.arguments, document, name.as_deref(), &variables);
    let variables = match operation::run(document, name.as_deref()) {
        None => variables,
        Some(run) => omitted::filled(document, run, variables).map_err(|name| {
            let words = format!("${name} must be given: it says whether a field is skipped.");
            Refusal::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                Code::InvalidRequest,
                &words,
            )
        })?,
    };
    if let Some(document) = mended {
        request.set_parsed_query(document);
    }
    Ok(request.variables(variables))
}

/// The request, if a single answer is all it asks for: subscriptions have a way of their own.
///
/// # Errors
/// For a subscription, and for a document that does not parse.
pub fn answered_once(mut request: Request) -> Result<Request, Refusal> {
    let name = request.operation_name.clone();
    let document = request
        .parsed_query()
        .map_err(|error| Refusal::of(StatusCode::BAD_REQUEST, Code::InvalidRequest, vec![error]))?;
    let run = operation::run(document, name.as_deref());
    if run.is_some_and(|operation| operation.ty == OperationType::Subscription) {
        return Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            Code::InvalidRequest,
            "Subscriptions go over a WebSocket at this address, by the subprotocol graphql-transport-ws.",
        ));
    }
    Ok(request)
}

/// Errors as clients read them: the first ones, each with a code. What is refused as invalid for passing a limit of the
/// schema asks too much.
pub fn errors(errors: Vec<ServerError>, code: Code) -> Vec<Value> {
    (errors.into_iter().take(ERRORS_MAX))
        .map(|error| {
            let is_too_much = code == Code::InvalidRequest && limits::is_passed(&error.message);
            let code = if is_too_much {
                Code::TooMuchAsked
            } else {
                code
            };
            json!(with_code(error, code))
        })
        .collect()
}

/// Every error has a code; those of the library get the one for where they came from.
fn with_code(mut error: ServerError, code: Code) -> ServerError {
    let extensions = error.extensions.get_or_insert_default();
    if extensions.get("code").is_none() {
        extensions.set("code", code.as_str());
    }
    error
}
