//! The day's route in the graph.

use async_graphql::{Context, ID, Object, SimpleObject};
use chrono::NaiveDate;

use crate::base::own_work::Sight;
use crate::base::{Act, Error};
use crate::calls::graphql::Visit;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;

use super::super::store::{self, Route, Stop};
use super::ArrivalBrief;

/// A technician's visits of one day, in the order of their windows.
#[derive(SimpleObject)]
pub struct DayRoute {
    /// The day.
    on: NaiveDate,
    /// At most 20 visits and 40 calls, the first ones of the day; visits that were missed are left out.
    stops: Vec<RouteStop>,
    /// How many more visits there are that day.
    left_out: usize,
}

/// One visit with all there is to know before it.
#[derive(SimpleObject)]
pub struct RouteStop {
    /// The visit.
    visit: Visit,
    /// The brief of each of its calls.
    briefs: Vec<ArrivalBrief>,
}

impl DayRoute {
    fn of(on: NaiveDate, route: Route) -> async_graphql::Result<Self> {
        let stops = route.stops.into_iter().map(RouteStop::of);
        Ok(Self {
            on,
            stops: stops.collect::<async_graphql::Result<_>>()?,
            left_out: route.left_out,
        })
    }
}

impl RouteStop {
    fn of(stop: Stop) -> async_graphql::Result<Self> {
        let briefs = stop.briefs.into_iter().map(ArrivalBrief::of);
        Ok(Self {
            visit: stop.visit.into(),
            briefs: briefs.collect::<async_graphql::Result<_>>()?,
        })
    }
}

/// Routes.
#[derive(Default)]
pub struct DayRouteQuery;

#[Object]
impl DayRouteQuery {
    /// A technician's visits of one day with the briefs of their calls; for a technician the own ones.
    #[graphql(complexity = "100 + 10 * child_complexity")]
    async fn day_route(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The day.")] on: NaiveDate,
        #[graphql(desc = "Whose; the caller's own when left out.")] technician_id: Option<ID>,
    ) -> async_graphql::Result<DayRoute> {
        let act = act(ctx)?;
        let wanted = Kind::Staff
            .row_if_any("technicianId", technician_id.as_ref())
            .map_err(edge)?;
        let technician_id = whose(act, wanted).map_err(edge)?;
        let route = store::day_route(reader(ctx)?, act, (technician_id, on)).await;
        DayRoute::of(on, route.map_err(edge)?)
    }
}

/// Whose visits are read: a technician reads no other's.
fn whose(act: &Act, wanted: Option<i64>) -> Result<i64, Error> {
    let (own, _) = act.staff()?;
    match (Sight::of(act), wanted) {
        (Sight::All, Some(id)) => Ok(id),
        (_, Some(id)) if id != own => Err(Error::Forbidden),
        _ => Ok(own),
    }
}
