//! Letting sent revisions lapse once their last day is over, and telling the office which did.

use nameplate_entities::estimate_revision;
use sea_orm::{ActiveValue::Set, ConnectionTrait};

use crate::base::audit::Subject;
use crate::base::outbox::{self, Payload};
use crate::base::{Act, Error, Result};
use crate::estimates::answering::answers;
use crate::estimates::{states, store};
use crate::shop::{self, Settings};

/// Revisions that lapse in one transaction, so that nobody waits long for it.
const LAPSES_MAX: u64 = 200;

/// Lets sent revisions lapse whose last day is over. Returns how many did.
///
/// # Errors
/// Internal only.
pub async fn expire_due(act: &Act) -> Result<usize> {
    let mut lapsed = 0;
    loop {
        let some = expire_some(act).await?;
        lapsed += some;
        if some == 0 {
            return Ok(lapsed);
        }
    }
}

async fn expire_some(act: &Act) -> Result<usize> {
    let tx = act.app.db.write().await?;
    let settings = shop::settings(&tx).await?;
    let today = settings.day_of(act.at);
    let due = store::lapsed(&tx, today, LAPSES_MAX).await?;
    let Some(first) = due.first() else {
        return Ok(0);
    };
    for revision in &due {
        let last = revision.valid_until.unwrap_or(today);
        let state = states::of_row(revision.state)
            .expire(today, last)
            .map_err(|refusal| Error::caused("an estimate that should lapse", refusal))?;
        states::moved(&tx, act, "expireEstimate", revision, |row| {
            row.state = Set(states::for_row(state));
            row.next_reminder_on = Set(None);
        })
        .await?;
    }
    digest(&tx, act, &settings, first, &due).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(due.len())
}

/// One notice to the shop about all that lapsed in one round.
async fn digest(
    tx: &impl ConnectionTrait,
    act: &Act,
    settings: &Settings,
    first: &estimate_revision::Model,
    lapsed: &[estimate_revision::Model],
) -> Result<()> {
    let ids = lapsed.iter().map(|row| row.estimate_id).collect::<Vec<_>>();
    let told = store::whose(tx, &ids).await?;
    let mut sentences = told
        .iter()
        .map(|(number, customer)| format!("Estimate {number} for {customer}."))
        .collect::<Vec<_>>();
    sentences
        .push("Call the customers, or offer the work again at the prices of today.".to_owned());
    let headline = match lapsed.len() {
        1 => "1 estimate ended without an answer".to_owned(),
        count => format!("{count} estimates ended without an answer"),
    };
    let notice = Payload::Notice {
        headline,
        sentences,
    };
    let about = Subject {
        kind: "estimate",
        id: first.estimate_id,
    };
    for to in answers::office(tx, settings).await? {
        outbox::enqueue(tx, act, &to, about, &notice).await?;
    }
    Ok(())
}
