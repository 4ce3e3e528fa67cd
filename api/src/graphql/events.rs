//! Events of subscriptions: each is an act of its own, at its own time, and is stopped when it takes too long.
//!
//! A subscription lives for hours, and its context would keep the time of its first minute.

use std::sync::Arc;
use std::time::Duration;

use async_graphql::extensions::{Extension, ExtensionContext, ExtensionFactory, NextExecute};
use async_graphql::{Data, Pos, Response};

use crate::base::Act;

use super::error::{Code, coded};

/// The longest that telling one event may take.
const EVENT_TIMEOUT: Duration = Duration::from_secs(20);

/// Marks a request that listens; `http` puts it into each.
pub struct Listening;

/// Looks after the events of requests that listen, and leaves all others alone.
pub struct Events;

impl ExtensionFactory for Events {
    fn create(&self) -> Arc<dyn Extension> {
        Arc::new(Events)
    }
}

#[async_trait::async_trait]
impl Extension for Events {
    async fn execute(
        &self,
        ctx: &ExtensionContext<'_>,
        operation_name: Option<&str>,
        next: NextExecute<'_>,
    ) -> Response {
        let (Some(_), Some(act)) = (ctx.data_opt::<Listening>(), ctx.data_opt::<Act>()) else {
            return next.run(ctx, operation_name).await;
        };
        let mut data = Data::default();
        data.insert(Act {
            at: act.app.clock.now(),
            ..act.clone()
        });
        let telling = next.run_with_data(ctx, operation_name, data);
        if let Ok(response) = tokio::time::timeout(EVENT_TIMEOUT, telling).await {
            return response;
        }
        tracing::warn!("telling an event was stopped because it took too long");
        let message = "Something happened, and telling it took too long. Ask for it.";
        let error = coded(Code::Busy, message.to_owned());
        Response::from_errors(vec![error.into_server_error(Pos::default())])
    }
}
