//! Who closed or opened the books, when and why.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::PeriodEventKind;

/// One row of `period_event`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "period_event")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub kind: PeriodEventKind,
    /// Through which day the books were closed before; none for open.
    pub closed_before: Option<Date>,
    /// The same afterwards.
    pub closed_through: Option<Date>,
    /// The fiscal year, by the calendar year it ends in.
    pub year: Option<i32>,
    /// The entry that closed the year or opened it again.
    pub entry_id: Option<i64>,
    /// Why they were opened again.
    pub reason: Option<String>,
    pub at: DateTimeUtc,
    pub staff_id: i64,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
