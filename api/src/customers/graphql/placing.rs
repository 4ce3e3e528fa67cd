//! Settling the trip zone or the distance of an address.

use async_graphql::{Context, ID, InputObject, Object};

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::ExactDecimal;
use crate::payload;

use super::super::placing;
use super::ServiceAddress;

/// Where an address lies for trips. What is left out or null is taken away.
#[derive(InputObject)]
pub struct PlaceServiceAddressInput {
    /// The address.
    service_address_id: ID,
    /// The version that was read.
    version: i32,
    /// Name of a zone of the price book; it goes before postal code and distance.
    trip_zone: Option<String>,
    /// Distance from the shop, 0 to 1000, in the unit of the price book.
    trip_distance: Option<ExactDecimal>,
}

impl PlaceServiceAddressInput {
    fn command(self) -> Result<placing::PlaceServiceAddress> {
        let id = &self.service_address_id;
        Ok(placing::PlaceServiceAddress {
            service_address_id: Kind::ServiceAddress.row("serviceAddressId", id)?,
            version: self.version,
            trip_zone: self.trip_zone,
            trip_distance: self.trip_distance.map(|distance| distance.0),
        })
    }
}

payload! {
    /// What settling the place of an address gave.
    PlaceServiceAddressPayload {
        /// The address as it is now.
        service_address: ServiceAddress
    }
}

/// Settling where addresses lie for trips.
#[derive(Default)]
pub struct PlacingMutation;

#[Object]
impl PlacingMutation {
    /// Settles the trip zone or the distance of an address; trips there are priced by it.
    async fn place_service_address(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The address and where it lies.")] input: PlaceServiceAddressInput,
    ) -> async_graphql::Result<PlaceServiceAddressPayload> {
        let act = act(ctx)?;
        let outcome = async { placing::place_service_address(act, input.command()?).await }.await;
        PlaceServiceAddressPayload::of(outcome.map(ServiceAddress::from))
    }
}
