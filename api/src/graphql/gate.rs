//! Asks the table of rights before any field is resolved. A field nobody decided on is refused.

use std::sync::Arc;

use async_graphql::context::QueryPathSegment;
use async_graphql::extensions::{
    Extension, ExtensionContext, ExtensionFactory, NextResolve, ResolveInfo,
};
use async_graphql::{ServerError, ServerResult, Value};

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
            let role = role_of(ctx.data_opt::<Act>());
            let admitted = access::decided(info.parent_type, info.name)
                .is_some_and(|least| least.admits(role));
            if !admitted {
                return Err(refusal(role, &info));
            }
        }
        next.run(ctx, info).await
    }
}

fn role_of(act: Option<&Act>) -> Option<Role> {
    match act.map(|act| &act.caller) {
        Some(Caller::Staff { role, .. }) => Some(*role),
        _ => None,
    }
}

fn refusal(role: Option<Role>, info: &ResolveInfo<'_>) -> ServerError {
    let error = match role {
        None => coded(Code::Unauthenticated, "Sign in first.".to_owned()),
        Some(_) => coded(
            Code::Forbidden,
            format!("Your role may not use {}.{}.", info.parent_type, info.name),
        ),
    };
    error.into_server_error(info.field.name.pos)
}
