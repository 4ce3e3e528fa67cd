//! Signing in and out, and whose session it is.

use chrono::{DateTime, TimeDelta, Utc};
use nameplate_entities::{session, staff};
use sea_orm::{ActiveModelTrait, ActiveValue::Set};

use crate::base::secret::{self, Token};
use crate::base::{Act, App, Caller, Error, ProblemCode, Result};

use super::{passwords, store};

/// Who says they are who.
pub struct SignIn {
    pub email: String,
    pub password: String,
}

/// A session as its owner is told of it, once.
pub struct SignedIn {
    pub token: Token,
    pub session: session::Model,
    pub staff: staff::Model,
}

/// Signs in.
///
/// # Errors
/// `TooManyTries`; `SignInFailed`, the same for an unknown e-mail and a wrong password.
pub async fn sign_in(act: &Act, claim: SignIn) -> Result<SignedIn> {
    let email = claim.email.trim().to_lowercase();
    // Hashed, so that what strangers send is kept short and apart from what links are counted by.
    let target = secret::hash(&format!("sign in {email}"));
    if !act.app.throttle.admits(&target, act.from.as_deref()) {
        return Err(Error::refused(
            ProblemCode::TooManyTries,
            "email",
            "Too many tries. Wait a minute and try again.",
        ));
    }
    let known = if is_plain(&email) { email.as_str() } else { "" };
    let staff = store::staff_by_email(act.app.db.read(), known)
        .await?
        .filter(|staff| staff.left_at.is_none());
    let hash = staff.as_ref().map(|staff| staff.password_hash.clone());
    let fits = passwords::matches(claim.password, hash).await?;
    let Some(staff) = staff.filter(|_| fits) else {
        return Err(Error::refused(
            ProblemCode::SignInFailed,
            "password",
            "This e-mail and password do not belong together.",
        ));
    };
    let token = Token::fresh()?;
    let tx = act.app.db.write().await?;
    let session = session::ActiveModel {
        staff_id: Set(staff.id),
        token_hash: Set(token.hash()),
        created_at: Set(act.at),
        last_seen_at: Set(act.at),
        expires_at: Set(act.at + hours(act.app.config.session.absolute_hours)),
        ..Default::default()
    }
    .insert(&tx)
    .await?;
    tx.commit().await?;
    Ok(SignedIn {
        token,
        session,
        staff,
    })
}

/// Whether a text can be an address at all; PostgreSQL takes no NUL.
fn is_plain(email: &str) -> bool {
    email.len() <= 254 && !email.chars().any(char::is_control)
}

fn hours(hours: u32) -> TimeDelta {
    TimeDelta::hours(i64::from(hours))
}

/// Ends the session that asks.
///
/// # Errors
/// `Unauthenticated` without one.
pub async fn sign_out(act: &Act) -> Result<()> {
    let Caller::Staff { session_id, .. } = act.caller else {
        return Err(Error::Unauthenticated);
    };
    let tx = act.app.db.write().await?;
    store::end_session(&tx, session_id, act.at).await?;
    Ok(tx.commit().await?)
}

/// How long a session that is over is kept.
const OVER_DAYS: i64 = 30;

/// Removes sessions that have been over for a month.
///
/// # Errors
/// Internal only.
pub async fn forget_sessions(act: &Act) -> Result<u64> {
    let tx = act.app.db.write().await?;
    let removed = store::remove_sessions(&tx, act.at - TimeDelta::days(OVER_DAYS)).await?;
    tx.commit().await?;
    Ok(removed)
}

async fn touch(app: &App, session_id: i64, at: DateTime<Utc>) -> Result<()> {
    let tx = app.db.write().await?;
    store::touch_session(&tx, session_id, at).await?;
    Ok(tx.commit().await?)
}

/// How stale `last_seen_at` may be before it is written again: not every request writes.
const SEEN_MINUTES: i64 = 5;

/// Who holds this token; `Nobody` for one that is wrong, ended or expired.
///
/// # Errors
/// Internal only.
pub async fn recognise(app: &App, token: &str) -> Result<Caller> {
    let at = app.clock.now();
    let by = store::SessionBy::TokenHash(secret::hash(token));
    let Some((session, staff)) = store::live_session(app.db.read(), by, (at, idle(app))).await?
    else {
        return Ok(Caller::Nobody);
    };
    if at - session.last_seen_at > TimeDelta::minutes(SEEN_MINUTES) {
        // A busy writer must not turn a read away; the next request notes it.
        if let Err(error) = touch(app, session.id, at).await {
            tracing::warn!(%error, "a session's last use was not noted");
        }
    }
    Ok(caller(&session, &staff))
}

/// Whose session this still is; `Nobody` once it ended or expired. Asking is no use of it, so it may expire meanwhile.
///
/// # Errors
/// Internal only.
pub async fn holder_of(app: &App, session_id: i64) -> Result<Caller> {
    let (by, at) = (store::SessionBy::Id(session_id), app.clock.now());
    let found = store::live_session(app.db.read(), by, (at, idle(app))).await?;
    Ok(found.map_or(Caller::Nobody, |(session, staff)| caller(&session, &staff)))
}

/// How long a session lives without being used.
fn idle(app: &App) -> TimeDelta {
    hours(app.config.session.idle_hours)
}

fn caller(session: &session::Model, staff: &staff::Model) -> Caller {
    Caller::Staff {
        id: staff.id,
        role: staff.role,
        session_id: session.id,
    }
}
