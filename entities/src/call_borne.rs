//! What the shop came to bear of a call, or bears no more. It never changes.

use sea_orm::entity::prelude::*;
use serde::Serialize;

/// One row of `call_borne`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "call_borne")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub call_id: i64,
    pub borne_on: Date,
    /// At cost; below zero for what it bears no more.
    pub parts_cents: i64,
    /// At cost; below zero for what it bears no more.
    pub labour_cents: i64,
    /// Its part of the trips made for it, at cost; below zero for what it bears no more.
    pub trip_cents: i64,
    /// What an hour of labour cost then; none where the settings said nothing, and in rows from before this was kept.
    pub labour_hour_cents: Option<i64>,
    /// What one trip cost then; none where the settings said nothing.
    pub trip_each_cents: Option<i64>,
    /// The decision it follows; none for what follows from a callback.
    pub decision_id: Option<i64>,
    pub entry_id: i64,
    pub settled_at: DateTimeUtc,
    /// None where a migration wrote it for the program.
    pub settled_by: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
