//! What to look at next time: the shop's own list, begun from the rules' seed and written on by the shop.
//!
//! A list is for a failure mode and a kind of component, or for every kind without a list of its own. Flags keep the text of
//! the day they were raised, so changing a list changes no flag.

use std::collections::BTreeMap;

use nameplate_entities::{audit_entry, check_advice, check_caution, failure_mode};
use nameplate_rules::callback::NO_FAULT_FOUND;
use nameplate_rules::cautions::Caution;
use nameplate_rules::flags::ComponentClass;
use nameplate_rules::flags::next_checks::{NextCheck, advice_of_mode};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder,
    QuerySelect,
};
use serde::Serialize;

use crate::appliances;
use crate::base::audit::{self, Subject};
use crate::base::check::TEXT_MAX;
use crate::base::{Act, Checks, ProblemCode, Result, Right};

/// Stands in `component_class` for components without advice of their own.
const ANY: &str = "any";

/// What the audit log says a list is about.
const SUBJECT: &str = "failure_mode";

/// Most checks in one list; more than that nobody reads at a machine.
const CHECKS_MAX: usize = 20;

/// Writes the lists that the shop does not have yet, for the failure modes there are. Does nothing once the shop wrote on any
/// of them: what it took away stays away.
///
/// # Errors
/// Internal only.
pub async fn open(act: &Act) -> Result<()> {
    let tx = act.app.db.write().await?;
    let modes = failure_mode::Entity::find()
        .filter(failure_mode::Column::Key.ne(NO_FAULT_FOUND))
        .order_by_asc(failure_mode::Column::Id)
        .all(&tx)
        .await?;
    let there = lists(&tx, Asked::default()).await?;
    let missing = modes
        .iter()
        .flat_map(|mode| {
            let seed = advice_of_mode(&mode.key).into_iter();
            seed.map(|(class, seed)| Advice::of_seed((mode.id, class), seed))
        })
        .filter(|list| !there.iter().any(|other| other.is_for_the_same_as(list)))
        .collect::<Vec<_>>();
    if missing.is_empty() || was_written_on(&tx).await? {
        return Ok(());
    }
    for list in &missing {
        write(&tx, list).await?;
    }
    Ok(tx.commit().await?)
}

/// Whether the shop wrote on any list itself.
async fn was_written_on(db: &impl ConnectionTrait) -> Result<bool> {
    let act = Right::SetCheckAdvice.mutation();
    Ok(audit_entry::Entity::find()
        .filter(audit_entry::Column::SubjectKind.eq(SUBJECT))
        .filter(audit_entry::Column::Act.eq(act))
        .limit(1)
        .one(db)
        .await?
        .is_some())
}

/// What to check next time, and what to mind, in one list of the shop's.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Advice {
    pub failure_mode_id: i64,
    /// None for every kind of component without a list of its own.
    pub component_class: Option<String>,
    pub checks: Vec<String>,
    pub cautions: Vec<Caution>,
}

impl Advice {
    fn of_seed((failure_mode_id, class): (i64, Option<ComponentClass>), seed: &NextCheck) -> Self {
        Self {
            failure_mode_id,
            component_class: class.map(|class| class.key().to_owned()),
            checks: seed.checks.iter().copied().map(str::to_owned).collect(),
            cautions: seed.cautions.to_vec(),
        }
    }

    fn is_for_the_same_as(&self, other: &Self) -> bool {
        let of = |list: &Self| (list.failure_mode_id, list.class_key().to_owned());
        of(self) == of(other)
    }

    fn class_key(&self) -> &str {
        self.component_class.as_deref().unwrap_or(ANY)
    }
}

/// Writes a list that is not there.
async fn write(tx: &impl ConnectionTrait, advice: &Advice) -> Result<()> {
    let checks = (1_i32..).zip(&advice.checks);
    let checks = checks.map(|(position, text)| check_advice::ActiveModel {
        failure_mode_id: Set(advice.failure_mode_id),
        component_class: Set(advice.class_key().to_owned()),
        position: Set(position),
        text: Set(text.clone()),
        ..Default::default()
    });
    check_advice::Entity::insert_many(checks).exec(tx).await?;
    if advice.cautions.is_empty() {
        return Ok(());
    }
    let cautions = advice.cautions.iter();
    let cautions = cautions.map(|caution| check_caution::ActiveModel {
        failure_mode_id: Set(advice.failure_mode_id),
        component_class: Set(advice.class_key().to_owned()),
        caution_key: Set(caution.key().to_owned()),
        ..Default::default()
    });
    check_caution::Entity::insert_many(cautions)
        .exec(tx)
        .await?;
    Ok(())
}

/// Which lists are asked for; none asks for all.
#[derive(Clone, Copy, Debug, Default)]
pub struct Asked<'a> {
    pub failure_mode_id: Option<i64>,
    /// `any` for the list of every kind without its own.
    pub component_class: Option<&'a str>,
}

/// The shop's lists by failure mode and kind of component. There are as many as its modes and their kinds: few.
///
/// # Errors
/// Internal only.
pub async fn lists(db: &impl ConnectionTrait, asked: Asked<'_>) -> Result<Vec<Advice>> {
    let mut checks = check_advice::Entity::find()
        .order_by_asc(check_advice::Column::FailureModeId)
        .order_by_asc(check_advice::Column::ComponentClass)
        .order_by_asc(check_advice::Column::Position);
    let mut cautions = check_caution::Entity::find().order_by_asc(check_caution::Column::Id);
    if let Some(id) = asked.failure_mode_id {
        checks = checks.filter(check_advice::Column::FailureModeId.eq(id));
        cautions = cautions.filter(check_caution::Column::FailureModeId.eq(id));
    }
    if let Some(class) = asked.component_class {
        checks = checks.filter(check_advice::Column::ComponentClass.eq(class));
        cautions = cautions.filter(check_caution::Column::ComponentClass.eq(class));
    }
    let mut minded: BTreeMap<(i64, String), Vec<Caution>> = BTreeMap::new();
    for row in cautions.all(db).await? {
        let of = minded
            .entry((row.failure_mode_id, row.component_class))
            .or_default();
        of.extend(Caution::from_key(&row.caution_key));
    }
    let mut lists: Vec<Advice> = Vec::new();
    for row in checks.all(db).await? {
        match lists.last_mut() {
            Some(list)
                if list.failure_mode_id == row.failure_mode_id
                    && list.class_key() == row.component_class =>
            {
                list.checks.push(row.text);
            }
            _ => {
                let of = (row.failure_mode_id, row.component_class);
                lists.push(Advice {
                    failure_mode_id: of.0,
                    cautions: minded.remove(&of).unwrap_or_default(),
                    component_class: (of.1 != ANY).then_some(of.1),
                    checks: vec![row.text],
                });
            }
        }
    }
    Ok(lists)
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
    let of_mode = Asked {
        failure_mode_id: Some(failure_mode_id),
        component_class: None,
    };
    let (own, any): (Vec<_>, Vec<_>) = lists(db, of_mode)
        .await?
        .into_iter()
        .filter(|list| [class.key(), ANY].contains(&list.class_key()))
        .partition(|list| list.component_class.is_some());
    let list = own.into_iter().chain(any).next();
    Ok(list.unwrap_or_else(|| Advice {
        failure_mode_id,
        component_class: None,
        checks: Vec::new(),
        cautions: Vec::new(),
    }))
}

/// A list as the shop wants it, in place of the one there is.
#[derive(Clone, Debug)]
pub struct SetCheckAdvice {
    pub failure_mode_id: i64,
    /// Key of a kind of component; none for every kind without a list of its own.
    pub component_class: Option<String>,
    /// What to look at, in order; none leaves the kind without a list of its own.
    pub checks: Vec<String>,
    pub cautions: Vec<Caution>,
}

/// Writes the shop's own list for a failure of a kind of component. Flags that are there keep what they say.
///
/// # Errors
/// `Forbidden`; `NotFound`, also for a kind of component that there is none of; `OutOfRange` for more than 20 checks; `Missing`
/// for cautions without a check; those of a text at `checks.N`.
pub async fn set_check_advice(act: &Act, order: SetCheckAdvice) -> Result<Advice> {
    act.staff_with(Right::SetCheckAdvice)?;
    let verb = Right::SetCheckAdvice.mutation();
    let after = checked(order)?;
    let tx = act.app.db.write().await?;
    appliances::get_failure_mode(&tx, "failureModeId", after.failure_mode_id).await?;
    let asked = Asked {
        failure_mode_id: Some(after.failure_mode_id),
        component_class: Some(after.class_key()),
    };
    let before = lists(&tx, asked).await?.into_iter().next();
    take_away(&tx, &after).await?;
    if !after.checks.is_empty() {
        write(&tx, &after).await?;
    }
    let subject = Subject {
        kind: SUBJECT,
        id: after.failure_mode_id,
    };
    let both = (before.as_ref(), Some(&after));
    audit::record(&tx, act, verb, subject, both).await?;
    tx.commit().await?;
    Ok(after)
}

fn checked(order: SetCheckAdvice) -> Result<Advice> {
    let mut checks = Checks::new();
    let class = order.component_class.as_deref().map(str::trim);
    let class = class.filter(|class| !class.is_empty());
    if class.is_some_and(|class| ComponentClass::from_key(class).is_none()) {
        let known = ComponentClass::ALL.map(ComponentClass::key).join(", ");
        let message = format!("No such class; it is one of {known}.");
        checks.refuse(ProblemCode::NotFound, "componentClass", message);
    }
    if order.checks.len() > CHECKS_MAX {
        let message = format!("A list has at most {CHECKS_MAX} checks.");
        checks.refuse(ProblemCode::OutOfRange, "checks", message);
    }
    if order.checks.is_empty() && !order.cautions.is_empty() {
        let message = "Name at least one check beside what to mind, or leave out both.";
        checks.refuse(ProblemCode::Missing, "checks", message);
    }
    let texts = order.checks.iter().take(CHECKS_MAX).enumerate();
    let texts = texts.map(|(at, text)| checks.text(&format!("checks.{at}"), text, TEXT_MAX));
    let texts = texts.collect();
    checks.finish()?;
    let mut cautions = order.cautions;
    cautions.sort_unstable();
    cautions.dedup();
    Ok(Advice {
        failure_mode_id: order.failure_mode_id,
        component_class: class.map(str::to_owned),
        checks: texts,
        cautions,
    })
}

async fn take_away(tx: &impl ConnectionTrait, list: &Advice) -> Result<()> {
    check_advice::Entity::delete_many()
        .filter(check_advice::Column::FailureModeId.eq(list.failure_mode_id))
        .filter(check_advice::Column::ComponentClass.eq(list.class_key()))
        .exec(tx)
        .await?;
    check_caution::Entity::delete_many()
        .filter(check_caution::Column::FailureModeId.eq(list.failure_mode_id))
        .filter(check_caution::Column::ComponentClass.eq(list.class_key()))
        .exec(tx)
        .await?;
    Ok(())
}
