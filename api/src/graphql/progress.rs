//! How a request went: whether it was carried out at all, and which nullable fields failed on the way.
//!
//! Only a request that was carried out has `data` in its answer. A field that fails becomes null where its
//! type allows that, and its siblings stay, as the GraphQL specification has it; the library alone would
//! null everything up to the next record that may be null.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use async_graphql::context::{QueryPathNode, QueryPathSegment};
use async_graphql::extensions::{
    Extension, ExtensionContext, ExtensionFactory, NextExecute, NextResolve, ResolveInfo,
};
use async_graphql::{PathSegment, Response, ServerError, ServerResult, Value};

/// How far a request came; `http` puts one into each.
#[derive(Default)]
pub struct Progress {
    began: AtomicBool,
    failed: Mutex<Vec<ServerError>>,
}

impl Progress {
    /// Whether a field was about to be resolved.
    pub fn began(&self) -> bool {
        self.began.load(Ordering::Acquire)
    }

    fn note(&self, error: ServerError) {
        self.failed
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .push(error);
    }

    fn take(&self) -> Vec<ServerError> {
        std::mem::take(&mut *self.failed.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

/// Keeps the [`Progress`] of each request. Stands before the gate, so that it sees what that refuses.
pub struct Watch;

impl ExtensionFactory for Watch {
    fn create(&self) -> Arc<dyn Extension> {
        Arc::new(Watch)
    }
}

#[async_trait::async_trait]
impl Extension for Watch {
    async fn execute(
        &self,
        ctx: &ExtensionContext<'_>,
        operation_name: Option<&str>,
        next: NextExecute<'_>,
    ) -> Response {
        let Some(progress) = ctx.data_opt::<Arc<Progress>>() else {
            return next.run(ctx, operation_name).await;
        };
        progress.began.store(true, Ordering::Release);
        let mut response = next.run(ctx, operation_name).await;
        response.errors.extend(progress.take());
        response
    }

    async fn resolve(
        &self,
        ctx: &ExtensionContext<'_>,
        info: ResolveInfo<'_>,
        next: NextResolve<'_>,
    ) -> ServerResult<Option<Value>> {
        let may_be_null = !info.return_type.ends_with('!');
        let node = info.path_node;
        let mut error = match next.run(ctx, info).await {
            Ok(value) => return Ok(value),
            Err(error) => error,
        };
        if error.path.is_empty() {
            error.path = path_to(node);
        }
        match ctx.data_opt::<Arc<Progress>>() {
            Some(progress) if may_be_null => {
                progress.note(error);
                Ok(Some(Value::Null))
            }
            _ => Err(error),
        }
    }
}

/// From the root down to a field.
fn path_to(node: &QueryPathNode<'_>) -> Vec<PathSegment> {
    let mut path = node.parent.map(path_to).unwrap_or_default();
    path.push(match node.segment {
        QueryPathSegment::Name(name) => PathSegment::Field(name.to_owned()),
        QueryPathSegment::Index(index) => PathSegment::Index(index),
    });
    path
}
