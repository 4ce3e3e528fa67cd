//! Tells a request that was carried out from one that was refused before: only the first has `data`.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use async_graphql::Response;
use async_graphql::extensions::{Extension, ExtensionContext, ExtensionFactory, NextExecute};

/// How far a request came; `http` puts one into each.
#[derive(Default)]
pub struct Progress(AtomicBool);

impl Progress {
    /// Whether a field was about to be resolved.
    pub fn began(&self) -> bool {
        self.0.load(Ordering::Acquire)
    }
}

/// Notes when execution begins.
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
        if let Some(progress) = ctx.data_opt::<Arc<Progress>>() {
            progress.0.store(true, Ordering::Release);
        }
        next.run(ctx, operation_name).await
    }
}
