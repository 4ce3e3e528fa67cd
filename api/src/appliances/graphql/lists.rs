//! Types of machine, components and failure modes in the graph. Short lists of the shop, open to all staff.

use async_graphql::{ComplexObject, Context, Enum, ID, Object, SimpleObject};
use nameplate_entities::{appliance_type, component, failure_mode};

use crate::graphql::ids::Kind;
use crate::graphql::loaders;

/// What can hurt someone when a failure returns.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::Hazard")]
pub enum Hazard {
    /// Nothing in particular.
    None,
    /// Heat: scorched joints, fire.
    Heat,
    /// Arcing or shock.
    Arc,
    /// Escaping gas.
    Gas,
    /// Water on electrical parts.
    WaterOnElectrics,
}

/// A kind of machine the shop works on.
pub struct ApplianceType {
    row: appliance_type::Model,
}

impl From<appliance_type::Model> for ApplianceType {
    fn from(row: appliance_type::Model) -> Self {
        Self { row }
    }
}

impl ApplianceType {
    /// The type behind a column of another record; any member of staff may see it.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<appliance_type::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }
}

/// A kind of machine the shop works on.
#[Object]
impl ApplianceType {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::ApplianceType.id(self.row.id)
    }

    /// Stable word for programs, such as `water_heater`.
    async fn key(&self) -> &str {
        &self.row.key
    }

    /// Name for people.
    async fn name(&self) -> &str {
        &self.row.name
    }

    /// Parts of such a machine that findings name.
    #[graphql(complexity = "20 * child_complexity")]
    async fn components(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Component>> {
        let rows = loaders::children::<component::Entity>(
            ctx,
            component::Column::ApplianceTypeId,
            self.row.id,
        )
        .await?;
        Ok(rows.into_iter().map(Component::from).collect())
    }
}

/// A part of a type of machine that findings name.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Component {
    /// Name for people.
    name: String,
    #[graphql(skip)]
    row: component::Model,
}

impl From<component::Model> for Component {
    fn from(row: component::Model) -> Self {
        Self {
            name: row.name.clone(),
            row,
        }
    }
}

impl Component {
    /// The component behind a column of another record; any member of staff may see it.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<component::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }
}

#[ComplexObject]
impl Component {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Component.id(self.row.id)
    }

    /// The type of machine it belongs to.
    async fn appliance_type(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<ApplianceType>> {
        ApplianceType::of(ctx, self.row.appliance_type_id).await
    }
}

/// A way in which components fail.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct FailureMode {
    /// Stable word for programs, such as `burnt`.
    key: String,
    /// Name for people.
    name: String,
    /// What can hurt someone when it returns.
    hazard: Hazard,
    #[graphql(skip)]
    row: failure_mode::Model,
}

impl From<failure_mode::Model> for FailureMode {
    fn from(row: failure_mode::Model) -> Self {
        Self {
            key: row.key.clone(),
            name: row.name.clone(),
            hazard: row.hazard.into(),
            row,
        }
    }
}

impl FailureMode {
    /// The failure mode behind a column of another record; any member of staff may see it.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<failure_mode::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }
}

#[ComplexObject]
impl FailureMode {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::FailureMode.id(self.row.id)
    }
}
