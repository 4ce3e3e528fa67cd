//! What is done with advices: matched, posted, dropped, undone.

pub mod matching;
pub mod posting;
pub mod rests;
pub mod settling;
pub mod undoing;

use nameplate_entities::payer_advice;
use nameplate_rules::claims::{AdviceLine, ClaimBalance, Settlement};
use nameplate_rules::money::Cents;

use crate::base::audit::Subject;
use crate::base::{Error, ProblemCode, Result};

/// An advice as the subject of audit.
pub const fn subject(id: i64) -> Subject {
    Subject {
        kind: "payer_advice",
        id,
    }
}

/// A row of one as the subject of audit.
pub const fn of_row(id: i64) -> Subject {
    Subject {
        kind: "advice_row",
        id,
    }
}

/// What a row makes of a claim that has come to this; none where nothing is open and nothing is paid. A row that pays
/// nothing refuses what is open.
///
/// # Errors
/// Internal, for amounts that do not fit.
pub fn line_of(
    paid: Cents,
    refused: Option<Cents>,
    balance: &ClaimBalance,
) -> Result<Option<Settlement>> {
    let fault = |refusal| Error::caused("a row of an advice", refusal);
    let open = balance.open().map_err(fault)?;
    let some = |amount: &Cents| *amount > Cents::ZERO;
    let refused = match paid {
        Cents::ZERO => refused.filter(some).or(Some(open).filter(some)),
        _ => refused,
    };
    if paid == Cents::ZERO && refused.is_none() {
        return Ok(None);
    }
    let settlement = balance.settled_by(AdviceLine { paid, refused });
    settlement.map(Some).map_err(fault)
}

/// That an advice was neither dropped nor undone.
///
/// # Errors
/// `WrongState` at `path`.
pub fn check_standing(path: &str, advice: &payer_advice::Model) -> Result<()> {
    let what = if advice.undone_at.is_some() {
        "undone"
    } else if advice.dropped_at.is_some() {
        "dropped"
    } else {
        return Ok(());
    };
    let message = format!("Advice {} was {what}.", advice.reference);
    Err(Error::refused(ProblemCode::WrongState, path, message))
}

/// That an advice was not posted yet.
///
/// # Errors
/// `WrongState` at `path`.
pub fn check_not_posted(path: &str, advice: &payer_advice::Model) -> Result<()> {
    check_standing(path, advice)?;
    if advice.posted_at.is_none() {
        return Ok(());
    }
    let message = format!("Advice {} is posted already.", advice.reference);
    Err(Error::refused(ProblemCode::WrongState, path, message))
}
