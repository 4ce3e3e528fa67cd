//! A new call proposed, confirmed or rejected as the return of an earlier one.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::{CallbackClass, CallbackState};

/// One row of `callback`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "callback")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub call_id: i64,
    pub earlier_call_id: i64,
    /// Days from the earlier completion; the same day counts one.
    pub age_days: i32,
    pub state: CallbackState,
    /// What the office made of it.
    pub class: Option<CallbackClass>,
    /// What the findings of both calls say; a person decides.
    pub suggested_class: Option<CallbackClass>,
    pub decided_by: Option<i64>,
    pub decided_at: Option<DateTimeUtc>,
    pub note: Option<String>,
    /// The earlier call, once this is its first confirmed callback that is a return.
    pub counted_call_id: Option<i64>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
