//! What a resolver reaches through its context.

use async_graphql::Context;
use sea_orm::DatabaseConnection;

use crate::base::Act;

/// The act of this request: who asks, when, with what.
///
/// # Errors
/// When a request was started without one, which only a mistake in `http` can do.
pub fn act<'a>(ctx: &Context<'a>) -> async_graphql::Result<&'a Act> {
    ctx.data::<Act>()
}

/// The connection for plain reads.
///
/// # Errors
/// As [`act`].
pub fn reader<'a>(ctx: &Context<'a>) -> async_graphql::Result<&'a DatabaseConnection> {
    Ok(act(ctx)?.app.db.read())
}
