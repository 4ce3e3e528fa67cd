//! Signing in and out in the graph.

use async_graphql::{Context, InputObject, Object, SimpleObject};
use chrono::{DateTime, Utc};

use crate::base;
use crate::graphql::context::act;
use crate::graphql::error::{Problem, edge};
use crate::payload;
use crate::shop::sessions;

use super::Staff;

/// E-mail and password.
#[derive(InputObject)]
pub struct SignInInput {
    /// The address this person signs in with.
    email: String,
    /// The password.
    #[graphql(secret)]
    password: String,
}

/// What signing in gave.
#[derive(Default, SimpleObject)]
pub struct SignInPayload {
    /// Send it as `Authorization: Bearer …`. It is shown this once.
    ///
    /// Null when the mutation was refused.
    token: Option<String>,
    /// When the session ends at the latest; an idle one ends earlier.
    ///
    /// Null when the mutation was refused.
    expires_at: Option<DateTime<Utc>>,
    /// Who signed in.
    ///
    /// Null when the mutation was refused.
    staff: Option<Staff>,
    /// What to mend; empty when it was done.
    problems: Vec<Problem>,
}

impl SignInPayload {
    fn of(outcome: base::Result<sessions::SignedIn>) -> async_graphql::Result<Self> {
        match outcome {
            Ok(signed_in) => Ok(Self {
                token: Some(signed_in.token.reveal().to_owned()),
                expires_at: Some(signed_in.session.expires_at),
                staff: Some(signed_in.staff.into()),
                problems: Vec::new(),
            }),
            Err(base::Error::Refused(problems)) => Ok(Self {
                problems: problems.into_iter().map(Into::into).collect(),
                ..Self::default()
            }),
            Err(error) => Err(edge(error)),
        }
    }
}

payload! {
    /// What signing out gave.
    SignOutPayload {
        /// True once the session has ended.
        ended: bool
    }
}

/// Signing in and out.
#[derive(Default)]
pub struct SessionsMutation;

#[Object]
impl SessionsMutation {
    /// Signs in with e-mail and password.
    async fn sign_in(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "E-mail and password.")] input: SignInInput,
    ) -> async_graphql::Result<SignInPayload> {
        let claim = sessions::SignIn {
            email: input.email,
            password: input.password,
        };
        SignInPayload::of(sessions::sign_in(act(ctx)?, claim).await)
    }

    /// Ends the session that asks.
    async fn sign_out(&self, ctx: &Context<'_>) -> async_graphql::Result<SignOutPayload> {
        SignOutPayload::of(sessions::sign_out(act(ctx)?).await.map(|()| true))
    }
}
