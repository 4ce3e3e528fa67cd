//! The one place where errors become GraphQL: refusals as data, the rest as coded `errors`.

use async_graphql::{Enum, ErrorExtensions, SimpleObject};

use crate::base::{self, Error};

/// Codes of `errors[].extensions.code`, in order of precedence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Code {
    /// The body is no JSON.
    BadRequest,
    /// No GraphQL request, a document that does not parse or fit the schema, or unfit variables.
    InvalidRequest,
    /// The document is too long, too deep or too costly.
    TooMuchAsked,
    Unauthenticated,
    Forbidden,
    BadInput,
    Busy,
    Internal,
}

impl Code {
    pub fn as_str(self) -> &'static str {
        match self {
            Self::BadRequest => "BAD_REQUEST",
            Self::InvalidRequest => "INVALID_REQUEST",
            Self::TooMuchAsked => "TOO_MUCH_ASKED",
            Self::Unauthenticated => "UNAUTHENTICATED",
            Self::Forbidden => "FORBIDDEN",
            Self::BadInput => "BAD_INPUT",
            Self::Busy => "BUSY",
            Self::Internal => "INTERNAL",
        }
    }
}

/// An error with its code.
pub fn coded(code: Code, message: String) -> async_graphql::Error {
    async_graphql::Error::new(message).extend_with(|_, extensions| {
        extensions.set("code", code.as_str());
    })
}

/// A refusal inside a query (mutations carry theirs in the payload).
pub fn bad_input(path: &str, message: impl Into<String>) -> async_graphql::Error {
    coded(Code::BadInput, message.into())
        .extend_with(|_, extensions| extensions.set("argument", path))
}

/// Turns a fault into what the client may know. The chain goes to the log, under the request's id.
pub fn edge(error: Error) -> async_graphql::Error {
    match error {
        Error::Refused(problems) => {
            let (path, message) = problems
                .into_iter()
                .next()
                .map_or_else(Default::default, |first| (first.path, first.message));
            bad_input(&path, message)
        }
        Error::Unauthenticated => coded(Code::Unauthenticated, "Sign in first.".to_owned()),
        Error::Forbidden => coded(Code::Forbidden, "Your role may not do this.".to_owned()),
        Error::Busy(source) => {
            tracing::warn!(error = %source, "the database was busy");
            coded(
                Code::Busy,
                "The shop's database is busy. Nothing was written; send the same request again."
                    .to_owned(),
            )
        }
        Error::Internal { .. } => {
            let fault_id = fault_id();
            tracing::error!(fault_id, chain = %chain(&error), "a request failed");
            coded(
                Code::Internal,
                format!(
                    "Something went wrong here. Nothing was written. Tell support this id: {fault_id}."
                ),
            )
        }
    }
}

fn fault_id() -> String {
    base::secret::Token::fresh().map_or_else(
        |_| "none".to_owned(),
        |token| token.hash().chars().take(12).collect(),
    )
}

/// An error and everything below it, in one line.
pub fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut below = error.source();
    while let Some(source) = below {
        text.push_str(": ");
        text.push_str(&source.to_string());
        below = source.source();
    }
    text
}

/// One thing to mend before sending the mutation again. Nothing was written.
#[derive(Clone, Debug, SimpleObject)]
pub struct Problem {
    /// Stable code, for programs.
    code: ProblemCode,
    /// What was wrong and what to do next, for people.
    message: String,
    /// Where in the mutation's arguments, from `input` down; list positions count from 0.
    path: Vec<String>,
}

impl From<base::Problem> for Problem {
    fn from(problem: base::Problem) -> Self {
        let below = problem.path.split('.').filter(|step| !step.is_empty());
        Self {
            code: problem.code.into(),
            message: problem.message,
            path: std::iter::once("input")
                .chain(below)
                .map(str::to_owned)
                .collect(),
        }
    }
}

/// Why a mutation was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "crate::base::ProblemCode")]
pub enum ProblemCode {
    /// A text that must say something is empty.
    Missing,
    /// A text is longer than the field takes.
    TooLong,
    /// A value is not of the form the field takes.
    Malformed,
    /// An amount of money below zero.
    NegativeMoney,
    /// A number outside the range the field takes, such as a rate over 100 %.
    OutOfRange,
    /// A day that cannot be, such as a purchase before the machine was made.
    ImpossibleDate,
    /// Wrong e-mail or password.
    SignInFailed,
    /// Too many tries; wait and try again.
    TooManyTries,
    /// The id is of no record the caller may see.
    NotFound,
    /// The same idempotency key was used for another request.
    IdempotencyMismatch,
    /// Another record already has this value.
    Taken,
    /// Somebody changed the record since it was read.
    Conflict,
    /// The record is in a state that does not allow this.
    WrongState,
    /// The estimate's last day is over.
    Expired,
    /// A newer revision or another acceptance replaced it.
    Superseded,
    /// More money than is owed or was billed.
    TooMuch,
    /// Debits and credits differ, or the accounts do not fit.
    Unbalanced,
    /// The day lies in a closed period.
    PeriodClosed,
    /// A root cause is asked for before the call can close.
    RootCauseNeeded,
    /// A setting or record that this needs does not exist yet.
    SettingMissing,
}
