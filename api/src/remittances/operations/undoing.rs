//! An advice undone, after its payment was.

use nameplate_entities::payer_advice;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, IntoActiveModel};

use super::super::store;
use super::unmatching::unsay;
use super::{check_standing, subject};
use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::{claims, invoices};

/// An advice to undo.
#[derive(Clone, Debug)]
pub struct UndoAdvice {
    pub advice_id: i64,
    pub reason: String,
}

/// Undoes an advice that paid nothing, or whose payment was undone before (`reversePayment`, by which the claims' invoices are
/// open again): its file may come again, and what waits of it counts no more. Its claims stand where they stood before it, or stay
/// where they went since.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Missing`; `WrongState` for an advice that was not posted, or whose payment stands.
pub async fn undo_advice(act: &Act, order: UndoAdvice) -> Result<payer_advice::Model> {
    act.staff_with(Right::UndoAdvice)?;
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let before = store::get_advice(&tx, "adviceId", order.advice_id).await?;
    check_standing("adviceId", &before)?;
    let refused =
        |message: String| Err(Error::refused(ProblemCode::WrongState, "adviceId", message));
    if before.posted_at.is_none() {
        return refused(format!(
            "Advice {} is not posted; drop it (dropAdvice).",
            before.reference
        ));
    }
    if let Some(payment_id) = before.payment_id {
        let payment = invoices::get_payment(&tx, "adviceId", payment_id).await?;
        if payment.reversed_on.is_none() {
            return refused(format!(
                "{} stands; undo that payment first (reversePayment).",
                payment.number
            ));
        }
    }
    let verb = Right::UndoAdvice.mutation();
    // The last row first, so that each finds its steps at the end.
    for row in store::rows_of(&tx, before.id).await?.iter().rev() {
        let Some(claim_id) = row.claim_id.filter(|_| row.settled_at.is_some()) else {
            continue;
        };
        let claim = claims::get_claim(&tx, "adviceId", claim_id).await?;
        let words = format!("Advice {} was undone: {reason}", before.reference);
        unsay(&tx, act, verb, (&claim, row, words)).await?;
    }
    let mut row = before.clone().into_active_model();
    row.undone_at = Set(Some(act.at));
    row.undone_because = Set(Some(reason));
    row.standing_sha256 = Set(None);
    let after = row.update(&tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}
