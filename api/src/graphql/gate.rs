//! Asks the table of rights before any field is resolved. A field nobody decided on is refused.

use std::sync::Arc;

use async_graphql::context::QueryPathSegment;
use async_graphql::extensions::{
    Extension, ExtensionContext, ExtensionFactory, NextResolve, ResolveInfo,
};
use async_graphql::{ServerResult, Value};

use crate::base::access::{self, Role};
use crate::base::{Act, Caller};

use super::error::{Code, coded};

/// Makes a gate for each request.
pub struct Gate;

impl ExtensionFactory for Gate {
    fn create(&self) -> Arc<dyn Extension> {
        Arc::new(Gate)
    }
}

#[async_trait::async_trait]
impl Extension for Gate {
    async fn resolve(
        &self,
        ctx: &ExtensionContext<'_>,
        info: ResolveInfo<'_>,
        next: NextResolve<'_>,
    ) -> ServerResult<Option<Value>> {
        // A list's elements come by here too, each under the name of its field, which was decided on already.
        let is_element = matches!(info.path_node.segment, QueryPathSegment::Index(_));
        if !is_element && !info.is_for_introspection && !info.name.starts_with("__") {
            admit(ctx.data_opt::<Act>(), (info.parent_type, info.name))
                .map_err(|error| error.into_server_error(info.field.name.pos))?;
        }
        next.run(ctx, info).await
    }
}

/// Whether who acts may use a field of a type. A subscription asks by itself before it listens: its field is resolved only
/// once there is something to tell.
///
/// # Errors
/// `UNAUTHENTICATED` or `FORBIDDEN`.
pub fn admit(act: Option<&Act>, (parent, name): (&str, &str)) -> async_graphql::Result<()> {
    let role = role_of(act);
    if access::decided(parent, name).is_some_and(|least| least.admits(role)) {
        return Ok(());
    }
    Err(match role {
        None => coded(Code::Unauthenticated, "Sign in first.".to_owned()),
        Some(_) => coded(
            Code::Forbidden,
            format!("Your role may not use {parent}.{name}."),
        ),
    })
}

fn role_of(act: Option<&Act>) -> Option<Role> {
    match act.map(|act| &act.caller) {
        Some(Caller::Staff { role, .. }) => Some(*role),
        _ => None,
    }
}
