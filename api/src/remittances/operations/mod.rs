//! What is done with advices: matched, posted, unmatched, dropped, undone; and money of claims that came outside of one.

pub mod matching;
pub mod outside;
pub mod posting;
pub mod rests;
pub mod settling;
pub mod taking_off;
pub mod undoing;
pub mod unmatching;

use std::collections::HashMap;

use nameplate_entities::{claim, payer_advice};
use nameplate_rules::claims::{AdviceLine, ClaimBalance, Settlement};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use super::store;
use crate::base::audit::Subject;
use crate::base::{Error, ProblemCode, Result};
use crate::claims;

/// What invoices refuse, at the field of these acts that names it.
///
/// # Errors
/// Those of the outcome.
pub fn at<T>(path: &str, outcome: Result<T>) -> Result<T> {
    outcome.map_err(|error| match error {
        Error::Refused(mut problems) => {
            for problem in &mut problems {
                path.clone_into(&mut problem.path);
            }
            Error::Refused(problems)
        }
        other => other,
    })
}

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

/// What a claim has come to, and what of it the shop gave up, which is expected again as far as its payer pays after all.
#[derive(Clone, Copy, Debug)]
pub struct Standing {
    pub balance: ClaimBalance,
    given_up: Cents,
}

impl Standing {
    /// How these claims stand. Two statements for each piece of them.
    ///
    /// # Errors
    /// Internal only.
    pub async fn of(
        tx: &impl ConnectionTrait,
        rows: &[claim::Model],
    ) -> Result<HashMap<i64, Self>> {
        let mut found = HashMap::new();
        for piece in rows.chunks(store::PIECE) {
            let given_up = store::given_up(tx, piece).await?;
            let balances = claims::balances(tx, piece).await?;
            found.extend(balances.into_iter().map(|(id, balance)| {
                let given_up = given_up.get(&id).copied().unwrap_or(Cents::ZERO);
                (id, Self { balance, given_up })
            }));
        }
        Ok(found)
    }

    /// The claim as it stands once so much comes in: what was given up is expected again as far as more comes in than is
    /// open.
    ///
    /// # Errors
    /// Internal, for amounts that do not fit.
    pub fn expecting(self, paid: Cents) -> Result<Self> {
        let too_large = || Error::internal("a claim is too large");
        let open = self.balance.open();
        let open = open.map_err(|refusal| Error::caused("balance of a claim", refusal))?;
        let beyond = paid
            .checked_sub(open.max(Cents::ZERO))
            .ok_or_else(too_large)?;
        let back = beyond.max(Cents::ZERO).min(self.given_up);
        let down = self.balance.written_down.checked_sub(back);
        Ok(Self {
            balance: ClaimBalance {
                written_down: down.ok_or_else(too_large)?,
                ..self.balance
            },
            given_up: self.given_up.checked_sub(back).ok_or_else(too_large)?,
        })
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
