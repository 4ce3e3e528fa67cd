//! A programme that one machine holds, or does not though its make would.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `appliance_cover`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "appliance_cover")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub appliance_id: i64,
    pub programme_id: i64,
    /// False: the machine is kept out of a programme its make would bring.
    pub held: bool,
    pub contract_number: Option<String>,
    /// First day of a service contract.
    pub begins_on: Option<Date>,
    /// The call that fitted the part under a part's own warranty.
    pub repair_call_id: Option<i64>,
    /// The component that part is.
    pub component_id: Option<i64>,
    pub note: Option<String>,
    pub registered_at: DateTimeUtc,
    pub registered_by: i64,
    /// Last day; set when it is ended before its term.
    pub ended_on: Option<Date>,
    pub ended_because: Option<String>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
