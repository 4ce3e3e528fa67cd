//! What was decided on a callback, one decision after the other, as the audit log keeps it.

use async_graphql::{ComplexObject, Context, SimpleObject};
use chrono::{DateTime, Utc};
use nameplate_entities::{audit_entry, kinds};
use serde::Deserialize;

use crate::base::Error;
use crate::graphql::error::edge;
use crate::graphql::loaders;
use crate::shop::graphql::Staff;

use super::super::deciding::changes;
use super::{CallbackClass, CallbackState};

/// Most decisions that are told of one callback.
const DECISIONS_MAX: usize = 50;

/// One decision on a callback.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct CallbackStep {
    /// When.
    at: DateTime<Utc>,
    /// What the office made of it from then on.
    state: CallbackState,
    /// What it was said to be; null while that is open, and for a rejected one.
    class: Option<CallbackClass>,
    /// What was noted at this decision; null where nothing was, or once more what was noted before.
    note: Option<String>,
    #[graphql(skip)]
    staff_id: Option<i64>,
}

#[ComplexObject]
impl CallbackStep {
    /// Who decided; null for the program.
    async fn by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.staff_id {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

impl CallbackStep {
    /// The latest decisions on a callback, oldest first; batched.
    pub async fn of_callback(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Vec<Self>> {
        let mut steps = Vec::new();
        for row in loaders::audit(ctx, "callback", id).await? {
            let step = Self::read(row)
                .map_err(|error| edge(Error::caused("what was decided on a callback", error)))?;
            steps.extend(step);
        }
        Ok(steps.split_off(steps.len().saturating_sub(DECISIONS_MAX)))
    }

    /// The decision that a row of the audit log is; none for one that only says that the callback was proposed, what its
    /// findings suggest, or which callback counts.
    fn read(row: audit_entry::Model) -> Result<Option<Self>, serde_json::Error> {
        let (Some(before), Some(after)) = (&row.before_json, &row.after_json) else {
            return Ok(None);
        };
        let before: Kept = serde_json::from_str(before)?;
        let after: Kept = serde_json::from_str(after)?;
        if before == after {
            return Ok(None);
        }
        let was_noted = after.note != before.note || changes(before.said(), after.said());
        Ok(Some(Self {
            at: row.at,
            state: after.state.into(),
            class: after.class.map(Into::into),
            note: after.note.filter(|_| was_noted),
            staff_id: row.staff_id,
        }))
    }
}

/// What the audit log keeps of a decision.
#[derive(Debug, PartialEq, Eq, Deserialize)]
struct Kept {
    state: kinds::CallbackState,
    class: Option<kinds::CallbackClass>,
    note: Option<String>,
    decided_by: Option<i64>,
    decided_at: Option<DateTime<Utc>>,
}

impl Kept {
    fn said(&self) -> (kinds::CallbackState, Option<kinds::CallbackClass>) {
        (self.state, self.class)
    }
}

#[cfg(test)]
mod tests {
    use nameplate_entities::callback;

    use super::*;

    fn at(hour: u32) -> DateTime<Utc> {
        let on = chrono::NaiveDate::from_ymd_opt(2026, 11, 29).expect("a day");
        on.and_hms_opt(hour, 0, 0).expect("a time").and_utc()
    }

    fn proposed() -> callback::Model {
        callback::Model {
            id: 1,
            call_id: 2,
            earlier_call_id: 1,
            age_days: 3,
            state: kinds::CallbackState::Proposed,
            class: None,
            suggested_class: None,
            decided_by: None,
            decided_at: None,
            note: None,
            counted_call_id: None,
        }
    }

    fn decided(class: Option<kinds::CallbackClass>, note: &str, hour: u32) -> callback::Model {
        callback::Model {
            state: kinds::CallbackState::Confirmed,
            class,
            decided_by: Some(7),
            decided_at: Some(at(hour)),
            note: Some(note.to_owned()),
            ..proposed()
        }
    }

    /// What is told of a row: class and note.
    fn told(
        before: Option<&callback::Model>,
        after: &callback::Model,
    ) -> Option<(Option<CallbackClass>, Option<String>)> {
        let json = |row: &callback::Model| serde_json::to_string(row).expect("JSON");
        let row = audit_entry::Model {
            id: 1,
            at: at(12),
            staff_id: Some(7),
            actor: "staff 7".to_owned(),
            act: "decideCallback".to_owned(),
            subject_kind: "callback".to_owned(),
            subject_id: 1,
            before_json: before.map(json),
            after_json: Some(json(after)),
        };
        let step = CallbackStep::read(row).expect("a row that can be read");
        step.map(|step| (step.class, step.note))
    }

    #[test]
    fn a_decision_is_told_with_its_own_note() {
        let first = decided(None, "same burner", 8);
        let note = Some("same burner".to_owned());
        assert_eq!(told(Some(&proposed()), &first), Some((None, note.clone())));

        // Classed without a word, the note of before is not its own.
        let class = Some(kinds::CallbackClass::SameFailure);
        let classed = decided(class, "same burner", 9);
        let same = Some(CallbackClass::SameFailure);
        assert_eq!(told(Some(&first), &classed), Some((same, None)));

        // Decided otherwise it has a note, though it be in the same words.
        let other = decided(Some(kinds::CallbackClass::Use), "same burner", 10);
        let by_use = Some(CallbackClass::Use);
        assert_eq!(told(Some(&classed), &other), Some((by_use, note)));
    }

    #[test]
    fn what_nobody_decided_is_no_decision() {
        assert_eq!(told(None, &proposed()), None, "proposed");
        let suggested = callback::Model {
            suggested_class: Some(kinds::CallbackClass::Related),
            ..proposed()
        };
        assert_eq!(told(Some(&proposed()), &suggested), None, "suggested");
        let confirmed = decided(None, "same burner", 8);
        let counted = callback::Model {
            counted_call_id: Some(1),
            ..confirmed.clone()
        };
        assert_eq!(told(Some(&confirmed), &counted), None, "counted");
    }
}
