//! A payer's programme: on which machines, and in which order it is asked.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::ProgrammeRank;

/// One row of `warranty_programme`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "warranty_programme")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub payer_id: i64,
    pub name: String,
    /// Lower case; each payer names one once.
    pub name_key: String,
    pub rank: ProgrammeRank,
    /// The make it comes with; none for one that is registered machine by machine.
    pub make_key: Option<String>,
    /// Only machines of this type.
    pub appliance_type_id: Option<i64>,
    /// Only models that fit; `*` and `?` as usual.
    pub model_pattern: Option<String>,
    /// For a part's maker: the class of component its warranty is on.
    pub component_class: Option<String>,
    pub retired_at: Option<DateTimeUtc>,
    pub version: i32,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
