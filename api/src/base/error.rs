//! Why an act did not happen: refusals the caller can mend, and faults only the log explains.
//!
//! A refusal is data: it names the input field and says what to do next, and nothing was written.
//! Everything else becomes an entry of `errors` with a stable code (`graphql/error.rs`).

use std::fmt;

use sea_orm::{DbErr, SqlErr};

/// What an act returns.
pub type Result<T> = std::result::Result<T, Error>;

/// Why an act did not happen.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The caller can mend it; nothing was written.
    #[error("refused: {}", list(.0))]
    Refused(Vec<Problem>),
    /// Nobody is signed in, or the session ended.
    #[error("not signed in")]
    Unauthenticated,
    /// Signed in, but this role may not.
    #[error("not permitted")]
    Forbidden,
    /// The database was too busy; the same request may be sent again.
    #[error("the database is busy")]
    Busy(#[source] DbErr),
    /// A fault of ours. The client sees a request id, the log sees the chain.
    #[error("internal fault: {context}")]
    Internal {
        /// What was being done.
        context: &'static str,
        /// What went wrong below, if anything.
        #[source]
        source: Option<Box<dyn std::error::Error + Send + Sync>>,
    },
}

fn list(problems: &[Problem]) -> String {
    problems
        .iter()
        .map(|problem| format!("{} at {}: {}", problem.code, problem.path, problem.message))
        .collect::<Vec<_>>()
        .join("; ")
}

/// One thing wrong with the input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Stable code.
    pub code: ProblemCode,
    /// What was wrong with which value, and what to do next.
    pub message: String,
    /// Dotted path below `input`, such as `lines.0.quantity`; empty for the input as a whole.
    pub path: String,
}

impl Problem {
    pub fn new(code: ProblemCode, path: impl Into<String>, message: impl Into<String>) -> Self {
        Self {
            code,
            message: message.into(),
            path: path.into(),
        }
    }
}

/// The closed list of refusals, in order of precedence: what is checked first comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
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
    /// Wrong e-mail or password, or too many tries.
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

impl ProblemCode {
    /// Every code, for the test that shows each one happen.
    pub const ALL: [Self; 20] = [
        Self::Missing,
        Self::TooLong,
        Self::Malformed,
        Self::NegativeMoney,
        Self::OutOfRange,
        Self::ImpossibleDate,
        Self::SignInFailed,
        Self::TooManyTries,
        Self::NotFound,
        Self::IdempotencyMismatch,
        Self::Taken,
        Self::Conflict,
        Self::WrongState,
        Self::Expired,
        Self::Superseded,
        Self::TooMuch,
        Self::Unbalanced,
        Self::PeriodClosed,
        Self::RootCauseNeeded,
        Self::SettingMissing,
    ];
}

impl fmt::Display for ProblemCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(self, f)
    }
}

impl Error {
    /// One refusal at one input path.
    pub fn refused(code: ProblemCode, path: impl Into<String>, message: impl Into<String>) -> Self {
        Self::Refused(vec![Problem::new(code, path, message)])
    }

    /// The id at `path` is of no `what` that the caller may see.
    pub fn not_found(path: impl Into<String>, what: &str) -> Self {
        Self::refused(
            ProblemCode::NotFound,
            path,
            format!("There is no such {what}. Look it up again and use its id."),
        )
    }

    /// A fault of ours with nothing below it.
    pub fn internal(context: &'static str) -> Self {
        Self::Internal {
            context,
            source: None,
        }
    }

    /// A fault of ours caused by `source`.
    pub fn caused(
        context: &'static str,
        source: impl std::error::Error + Send + Sync + 'static,
    ) -> Self {
        Self::Internal {
            context,
            source: Some(Box::new(source)),
        }
    }
}

impl From<DbErr> for Error {
    fn from(error: DbErr) -> Self {
        if is_busy(&error) {
            return Self::Busy(error);
        }
        if let Some(SqlErr::UniqueConstraintViolation(text)) = error.sql_err()
            && let Some((_, path, message)) = KNOWN_CONSTRAINTS
                .iter()
                .find(|(name, _, _)| text.contains(name))
        {
            return Self::refused(ProblemCode::Taken, *path, *message);
        }
        Self::caused("database", error)
    }
}

/// Unique indexes whose violation is the caller's to mend: what the message of either database holds
/// (`PostgreSQL` names the index, `SQLite` the columns), the input path, and the words.
const KNOWN_CONSTRAINTS: &[(&str, &str, &str)] = &[
    (
        "ux_staff_email",
        "email",
        "Somebody here already signs in with this e-mail address.",
    ),
    (
        "staff.email",
        "email",
        "Somebody here already signs in with this e-mail address.",
    ),
    (
        "ux_appliance_make_key_serial_key",
        "serial",
        "This make and serial are already on record.",
    ),
    (
        "appliance.make_key",
        "serial",
        "This make and serial are already on record.",
    ),
    (
        "ux_part_number",
        "number",
        "A part with this number is already on record.",
    ),
    (
        "part.number",
        "number",
        "A part with this number is already on record.",
    ),
    (
        "ux_supplier_name_key",
        "name",
        "A supplier of this name is already on record.",
    ),
    (
        "supplier.name_key",
        "name",
        "A supplier of this name is already on record.",
    ),
    (
        "ux_stock_place_name_key",
        "name",
        "A place of this name is already on record.",
    ),
    (
        "stock_place.name_key",
        "name",
        "A place of this name is already on record.",
    ),
    (
        "ux_account_code",
        "code",
        "An account with this code already exists.",
    ),
    (
        "account.code",
        "code",
        "An account with this code already exists.",
    ),
    (
        "ux_tax_jurisdiction_name_effective_from",
        "name",
        "This jurisdiction already has rules from that day.",
    ),
    (
        "tax_jurisdiction.name",
        "name",
        "This jurisdiction already has rules from that day.",
    ),
    (
        "ux_estimate_revision_accepted_call_id",
        "",
        "Another estimate for this call was already accepted.",
    ),
    (
        "estimate_revision.accepted_call_id",
        "",
        "Another estimate for this call was already accepted.",
    ),
];

fn is_busy(error: &DbErr) -> bool {
    if matches!(error, DbErr::ConnectionAcquire(_)) {
        return true;
    }
    let text = error.to_string();
    text.contains("database is locked") || text.contains("40001") || text.contains("40P01")
}
