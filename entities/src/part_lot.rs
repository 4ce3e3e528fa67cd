//! A batch in which a part was made, by the number printed on it.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `part_lot`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "part_lot")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub part_id: i64,
    pub lot: String,
    pub first_seen_at: DateTimeUtc,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
