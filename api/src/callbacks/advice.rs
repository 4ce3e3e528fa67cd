//! What to look at next time: the shop's own list, begun from the rules' seed.

use nameplate_entities::{check_advice, failure_mode};
use nameplate_rules::callback::NO_FAULT_FOUND;
use nameplate_rules::cautions::Caution;
use nameplate_rules::flags::ComponentClass;
use nameplate_rules::flags::next_checks::{NextCheck, advice_of_mode};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder,
};

use crate::base::{Act, Result};

/// Stands in `component_class` for components without advice of their own.
const ANY: &str = "any";

/// Writes the list on an empty database, for the failure modes there are. Does nothing later: what the shop wrote stays.
///
/// # Errors
/// Internal only.
pub async fn open(act: &Act) -> Result<()> {
    let tx = act.app.db.write().await?;
    if check_advice::Entity::find().one(&tx).await?.is_some() {
        return Ok(());
    }
    let modes = failure_mode::Entity::find()
        .filter(failure_mode::Column::Key.ne(NO_FAULT_FOUND))
        .order_by_asc(failure_mode::Column::Id)
        .all(&tx)
        .await?;
    let rows = modes.iter().flat_map(rows_of_mode).collect::<Vec<_>>();
    if !rows.is_empty() {
        check_advice::Entity::insert_many(rows).exec(&tx).await?;
    }
    Ok(tx.commit().await?)
}

fn rows_of_mode(mode: &failure_mode::Model) -> Vec<check_advice::ActiveModel> {
    advice_of_mode(&mode.key)
        .into_iter()
        .flat_map(|(class, advice)| rows_of_advice(mode.id, class, advice))
        .collect()
}

/// One row a check; the cautions of the advice stand beside its first checks.
fn rows_of_advice(
    failure_mode_id: i64,
    class: Option<ComponentClass>,
    advice: &NextCheck,
) -> Vec<check_advice::ActiveModel> {
    let cautions = advice.cautions.iter().map(|caution| Some(caution.key()));
    (1_i32..)
        .zip(
            advice
                .checks
                .iter()
                .zip(cautions.chain(std::iter::repeat(None))),
        )
        .map(|(position, (text, caution))| check_advice::ActiveModel {
            failure_mode_id: Set(failure_mode_id),
            component_class: Set(class.map_or(ANY, ComponentClass::key).to_owned()),
            position: Set(position),
            text: Set((*text).to_owned()),
            caution_key: Set(caution.map(str::to_owned)),
            ..Default::default()
        })
        .collect()
}

/// What to check next time, and what to mind.
pub struct Advice {
    pub checks: Vec<String>,
    pub cautions: Vec<Caution>,
}

/// The advice for a failure of such a component; that for any component when it has none of its own.
///
/// # Errors
/// Internal only.
pub async fn advice(
    db: &impl ConnectionTrait,
    failure_mode_id: i64,
    class: ComponentClass,
) -> Result<Advice> {
    let rows = check_advice::Entity::find()
        .filter(check_advice::Column::FailureModeId.eq(failure_mode_id))
        .filter(check_advice::Column::ComponentClass.is_in([class.key(), ANY]))
        .order_by_asc(check_advice::Column::Position)
        .all(db)
        .await?;
    let (own, any): (Vec<_>, Vec<_>) = rows.into_iter().partition(|row| row.component_class != ANY);
    let rows = if own.is_empty() { any } else { own };
    let cautions = rows
        .iter()
        .filter_map(|row| Caution::from_key(row.caution_key.as_deref()?))
        .collect();
    Ok(Advice {
        checks: rows.into_iter().map(|row| row.text).collect(),
        cautions,
    })
}
