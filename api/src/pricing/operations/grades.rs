//! At which of a book's rates somebody works.

use nameplate_entities::technician_rate;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, EntityTrait, IntoActiveModel, QueryFilter,
};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, Result, Right};

use super::super::store;

/// The grade of a member of staff; none for the book's own rate.
#[derive(Clone, Debug)]
pub struct SetLabourGrade {
    pub staff_id: i64,
    pub grade: Option<String>,
}

/// Says at which rate somebody works from now on. Books hold what the rate is.
///
/// # Errors
/// `Forbidden`; `NotFound`; refusals name the field.
pub async fn set_labour_grade(act: &Act, change: SetLabourGrade) -> Result<i64> {
    act.staff_with(Right::SetLabourGrade)?;
    let mut checks = Checks::new();
    let grade = checks.text_if_any("grade", change.grade.as_deref(), LINE_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let known = store::grades_of(&tx, &[change.staff_id]).await?;
    if known.is_empty() {
        return Err(Error::not_found(
            "staffId",
            "member of staff who works here",
        ));
    }
    let before = technician_rate::Entity::find()
        .filter(technician_rate::Column::StaffId.eq(change.staff_id))
        .one(&tx)
        .await?;
    let after = match (before.clone(), grade) {
        (Some(row), Some(grade)) => {
            let mut row = row.into_active_model();
            row.rate_name = Set(grade);
            Some(row.update(&tx).await?)
        }
        (None, Some(grade)) => {
            let row = technician_rate::ActiveModel {
                staff_id: Set(change.staff_id),
                rate_name: Set(grade),
                ..Default::default()
            };
            Some(row.insert(&tx).await?)
        }
        (Some(row), None) => {
            technician_rate::Entity::delete_by_id(row.id)
                .exec(&tx)
                .await?;
            None
        }
        (None, None) => None,
    };
    let subject = Subject {
        kind: "staff",
        id: change.staff_id,
    };
    let verb = Right::SetLabourGrade.mutation();
    audit::record(&tx, act, verb, subject, (before.as_ref(), after.as_ref())).await?;
    tx.commit().await?;
    Ok(change.staff_id)
}
