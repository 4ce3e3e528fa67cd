//! Recording, correcting and moving machines, and extending the lists.

use async_graphql::{Context, ID, InputObject, MaybeUndefined, Object, SimpleObject};
use chrono::NaiveDate;

use crate::base::{Error, Result};
use crate::callbacks;
use crate::graphql::context::act;
use crate::graphql::error::{Problem, edge};
use crate::graphql::ids::Kind;
use crate::graphql::scalars::ExactDecimal;
use crate::payload;

use super::super::{lists, operations};
use super::{Appliance, Component, FailureMode, Fuel, Hazard};

/// A machine to record.
#[derive(InputObject)]
pub struct AddApplianceInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// What kind of machine it is.
    appliance_type_id: ID,
    /// Whose it is.
    customer_id: ID,
    /// Where it stands; an address of that customer.
    service_address_id: ID,
    /// Maker's name on the plate.
    make: String,
    /// Model number on the plate.
    model: String,
    /// Serial number as printed. Leave it out only where the plate cannot be read.
    serial: Option<String>,
    /// Why the plate cannot be read; the machine then gets a shop tag.
    unreadable_reason: Option<String>,
    /// What feeds it.
    fuel: Fuel,
    /// Rated voltage, in volts.
    rated_volts: Option<ExactDecimal>,
    /// Rated power, in watts.
    rated_watts: Option<ExactDecimal>,
    /// Rated current, in amperes.
    rated_amps: Option<ExactDecimal>,
    /// Day it was made.
    made_on: Option<NaiveDate>,
    /// Day it was bought.
    bought_on: Option<NaiveDate>,
    /// Day it was installed.
    installed_on: Option<NaiveDate>,
    /// Whether it is built in.
    #[graphql(default)]
    built_in: bool,
}

impl AddApplianceInput {
    fn command(self) -> Result<operations::AddAppliance> {
        Ok(operations::AddAppliance {
            appliance_type_id: Kind::ApplianceType
                .row("applianceTypeId", &self.appliance_type_id)?,
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            service_address_id: Kind::ServiceAddress
                .row("serviceAddressId", &self.service_address_id)?,
            make: self.make,
            model: self.model,
            serial: self.serial,
            unreadable_reason: self.unreadable_reason,
            fuel: self.fuel.into(),
            plate: operations::Plate {
                rated_volts: self.rated_volts.map(|figure| figure.0),
                rated_watts: self.rated_watts.map(|figure| figure.0),
                rated_amps: self.rated_amps.map(|figure| figure.0),
                made_on: self.made_on,
                bought_on: self.bought_on,
                installed_on: self.installed_on,
            },
            built_in: self.built_in,
        })
    }
}

/// What recording a machine gave.
#[derive(SimpleObject)]
pub struct AddAppliancePayload {
    /// The machine as recorded.
    ///
    /// Null when the mutation was refused.
    appliance: Option<Appliance>,
    /// Others it may be mistaken for. A warning: it was recorded all the same.
    near_matches: Vec<Appliance>,
    /// What to mend; empty when it was done.
    problems: Vec<Problem>,
}

impl AddAppliancePayload {
    fn of(outcome: Result<operations::Added>) -> async_graphql::Result<Self> {
        match outcome {
            Ok(added) => Ok(Self {
                appliance: Some(added.appliance.into()),
                near_matches: added.near_matches.into_iter().map(Into::into).collect(),
                problems: Vec::new(),
            }),
            Err(Error::Refused(problems)) => Ok(Self {
                appliance: None,
                near_matches: Vec::new(),
                problems: problems.into_iter().map(Into::into).collect(),
            }),
            Err(error) => Err(edge(error)),
        }
    }
}

/// What to correct on a machine. What is left out stays; null clears a figure or a day.
#[derive(InputObject)]
pub struct ChangeApplianceInput {
    /// The machine.
    appliance_id: ID,
    /// The version that was read.
    version: i32,
    /// Maker's name on the plate.
    make: Option<String>,
    /// Model number on the plate.
    model: Option<String>,
    /// Serial number as printed.
    serial: Option<String>,
    /// What feeds it.
    fuel: Option<Fuel>,
    /// Rated voltage, in volts.
    rated_volts: MaybeUndefined<ExactDecimal>,
    /// Rated power, in watts.
    rated_watts: MaybeUndefined<ExactDecimal>,
    /// Rated current, in amperes.
    rated_amps: MaybeUndefined<ExactDecimal>,
    /// Day it was made.
    made_on: MaybeUndefined<NaiveDate>,
    /// Day it was bought.
    bought_on: MaybeUndefined<NaiveDate>,
    /// Day it was installed.
    installed_on: MaybeUndefined<NaiveDate>,
    /// Whether it is built in.
    built_in: Option<bool>,
}

impl ChangeApplianceInput {
    fn command(self) -> Result<operations::ChangeAppliance> {
        let figure = |value: MaybeUndefined<ExactDecimal>| value.map_value(|exact| exact.0).into();
        Ok(operations::ChangeAppliance {
            appliance_id: Kind::Appliance.row("applianceId", &self.appliance_id)?,
            version: self.version,
            make: self.make,
            model: self.model,
            serial: self.serial,
            fuel: self.fuel.map(Into::into),
            plate: operations::PlateChange {
                rated_volts: figure(self.rated_volts),
                rated_watts: figure(self.rated_watts),
                rated_amps: figure(self.rated_amps),
                made_on: self.made_on.into(),
                bought_on: self.bought_on.into(),
                installed_on: self.installed_on.into(),
            },
            built_in: self.built_in,
        })
    }
}

payload! {
    /// What correcting a machine gave.
    ChangeAppliancePayload {
        /// The machine as it is now.
        appliance: Appliance
    }
}

/// Where a machine went.
#[derive(InputObject)]
pub struct MoveApplianceInput {
    /// The machine.
    appliance_id: ID,
    /// Whose it is now.
    customer_id: ID,
    /// Where it stands now; an address of that customer.
    service_address_id: ID,
    /// From which day.
    moved_on: NaiveDate,
}

impl MoveApplianceInput {
    fn command(self) -> Result<operations::MoveAppliance> {
        Ok(operations::MoveAppliance {
            appliance_id: Kind::Appliance.row("applianceId", &self.appliance_id)?,
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            service_address_id: Kind::ServiceAddress
                .row("serviceAddressId", &self.service_address_id)?,
            moved_on: self.moved_on,
        })
    }
}

payload! {
    /// What moving a machine gave.
    MoveAppliancePayload {
        /// The machine as it is now.
        appliance: Appliance
    }
}

/// A component to add to a type of machine.
#[derive(InputObject)]
pub struct AddComponentInput {
    /// The type of machine.
    appliance_type_id: ID,
    /// Name for people, such as "Bake element terminal".
    name: String,
}

payload! {
    /// What adding a component gave.
    AddComponentPayload {
        /// The component as recorded.
        component: Component
    }
}

/// A failure mode to add to the list.
#[derive(InputObject)]
pub struct AddFailureModeInput {
    /// Name for people, such as "Out of range".
    name: String,
    /// What can hurt someone when it returns.
    hazard: Hazard,
}

payload! {
    /// What adding a failure mode gave.
    AddFailureModePayload {
        /// The failure mode as recorded.
        failure_mode: FailureMode
    }
}

/// Recording, correcting and moving machines, and extending the lists.
#[derive(Default)]
pub struct AppliancesMutation;

#[Object]
impl AppliancesMutation {
    /// Records a machine by its serial, or with a shop tag where the plate cannot be read.
    async fn add_appliance(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The machine.")] input: AddApplianceInput,
    ) -> async_graphql::Result<AddAppliancePayload> {
        let act = act(ctx)?;
        let outcome = async {
            let key = input.idempotency_key.clone();
            operations::add_appliance(act, &key, input.command()?).await
        }
        .await;
        AddAppliancePayload::of(outcome)
    }

    /// Corrects a machine's plate data or dates.
    async fn change_appliance(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What to correct.")] input: ChangeApplianceInput,
    ) -> async_graphql::Result<ChangeAppliancePayload> {
        let act = act(ctx)?;
        let outcome = async { callbacks::change_appliance(act, input.command()?).await }.await;
        ChangeAppliancePayload::of(outcome.map(Appliance::from))
    }

    /// Records that a machine went to another owner or address; its history goes with it.
    async fn move_appliance(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Where it went.")] input: MoveApplianceInput,
    ) -> async_graphql::Result<MoveAppliancePayload> {
        let act = act(ctx)?;
        let outcome = async { operations::move_appliance(act, input.command()?).await }.await;
        MoveAppliancePayload::of(outcome.map(Appliance::from))
    }

    /// Extends the list of components of a type of machine.
    async fn add_component(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The component.")] input: AddComponentInput,
    ) -> async_graphql::Result<AddComponentPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let new = lists::AddComponent {
                appliance_type_id: Kind::ApplianceType
                    .row("applianceTypeId", &input.appliance_type_id)?,
                name: input.name,
            };
            lists::add_component(act, new).await
        }
        .await;
        AddComponentPayload::of(outcome.map(Component::from))
    }

    /// Extends the list of failure modes.
    async fn add_failure_mode(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The failure mode.")] input: AddFailureModeInput,
    ) -> async_graphql::Result<AddFailureModePayload> {
        let new = lists::AddFailureMode {
            name: input.name,
            hazard: input.hazard.into(),
        };
        let outcome = lists::add_failure_mode(act(ctx)?, new).await;
        AddFailureModePayload::of(outcome.map(FailureMode::from))
    }
}
