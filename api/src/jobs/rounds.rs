//! What is looked after every hour: estimates whose last day is over, reminders, mails to owners, late charges, old sessions, forgotten tries.

use std::time::Duration;

use crate::base::{Act, Result};
use crate::callbacks;
use crate::claims;
use crate::estimates;
use crate::graphql::error::chain;
use crate::invoices;
use crate::pricing;
use crate::shop;
use crate::summaries;

/// Every hour, so that a shop's new day begins soon after its midnight wherever it is.
pub const EVERY: Duration = Duration::from_hours(1);

/// One round. What fails is logged and tried again with the next.
pub async fn make(act: &Act) {
    act.app.throttle.sweep();
    report("lapsed estimates", estimates::expire_due(act).await);
    report("reminders", estimates::remind_due(act).await);
    report("overdue invoices", invoices::remind_overdue(act).await);
    report("claims due", claims::tell_what_is_due(act).await);
    report("digests", callbacks::tell_what_came_back(act).await);
    report("summaries", summaries::tell_of_month(act).await);
    report("late charges", invoices::charge_what_is_late(act).await);
    report("staged price lists", pricing::forget_staged(act).await);
    report("old sessions", shop::forget_sessions(act).await);
}

fn report<T>(what: &str, outcome: Result<T>) {
    if let Err(error) = outcome {
        tracing::error!(what, chain = %chain(&error), "a part of the hourly round failed");
    }
}
