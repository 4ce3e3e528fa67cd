//! What a technician's own calls are: those with a visit of theirs. Every narrowed list begins here.

use nameplate_entities::{visit, visit_call};
use sea_orm::sea_query::{ExprTrait, Query, SelectStatement};
use sea_orm::{ColumnTrait, Condition};

use super::access::Role;
use super::act::{Act, Caller};

/// Ids of the calls that `staff_id` visits or visited, as a subquery.
pub fn call_ids(staff_id: i64) -> SelectStatement {
    Query::select()
        .column((visit_call::Entity, visit_call::Column::CallId))
        .from(visit_call::Entity)
        .inner_join(
            visit::Entity,
            sea_orm::sea_query::Expr::col((visit::Entity, visit::Column::Id))
                .equals((visit_call::Entity, visit_call::Column::VisitId)),
        )
        .and_where(visit::Column::TechnicianId.eq(staff_id))
        .to_owned()
}

/// Whether the caller sees everything, only own work, or nothing.
pub enum Sight {
    All,
    /// The technician's own calls.
    Own(i64),
    Nothing,
}

impl Sight {
    pub fn of(act: &Act) -> Self {
        match act.caller {
            Caller::Program => Self::All,
            Caller::Staff { id, role, .. } => match role {
                Role::Owner | Role::Office => Self::All,
                Role::Technician => Self::Own(id),
            },
            Caller::Nobody | Caller::CustomerLink => Self::Nothing,
        }
    }

    /// A condition on `call_id`, a column that holds the id of a service call.
    pub fn calls<C: ColumnTrait>(&self, call_id: C) -> Condition {
        match self {
            Self::All => Condition::all(),
            Self::Own(staff_id) => Condition::all().add(call_id.in_subquery(call_ids(*staff_id))),
            Self::Nothing => nothing(call_id),
        }
    }

    /// A condition on `id`, which own calls hold in their `held_in` column (customer, address, machine).
    pub fn through_calls<C: ColumnTrait>(
        &self,
        id: C,
        held_in: nameplate_entities::service_call::Column,
    ) -> Condition {
        use nameplate_entities::service_call::{Column, Entity};
        match self {
            Self::All => Condition::all(),
            Self::Own(staff_id) => {
                let held = Query::select()
                    .column((Entity, held_in))
                    .from(Entity)
                    .and_where(Column::Id.in_subquery(call_ids(*staff_id)))
                    .to_owned();
                Condition::all().add(id.in_subquery(held))
            }
            Self::Nothing => nothing(id),
        }
    }
}

fn nothing<C: ColumnTrait>(column: C) -> Condition {
    Condition::all().add(column.is_null().and(column.is_not_null()))
}
