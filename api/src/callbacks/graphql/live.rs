//! Flags told as they are raised.

use async_graphql::{Context, Subscription};
use futures_util::stream::{self, Stream};

use crate::callbacks::listening::Listener;
use crate::graphql::context::act;
use crate::graphql::error::edge;
use crate::graphql::gate;

use super::Flag;

/// Flags as they are raised.
#[derive(Default)]
pub struct FlagsSubscription;

/// What is told as it happens.
// The gate knows fields by the name of their type, which a merged subscription would not pass on to its parts.
#[Subscription(name = "Subscription")]
impl FlagsSubscription {
    /// A flag that was just raised, grew more severe or was opened again, as it is when it is told. A technician is told of
    /// those of machines on own calls.
    async fn flag_raised(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<impl Stream<Item = Flag> + use<>> {
        let act = act(ctx)?;
        gate::admit(Some(act), ("Subscription", "flagRaised"))?;
        let listener = Listener::begin(act.clone()).await.map_err(edge)?;
        Ok(stream::unfold(listener, |mut listener| async move {
            let row = listener.next().await;
            Some((Flag::from(row), listener))
        }))
    }
}
