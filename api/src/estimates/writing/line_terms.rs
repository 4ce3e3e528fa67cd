//! How a line asks to be priced by the book: by a listed task, by a grade, for two technicians, and why a second trip.

use nameplate_entities::kinds::ChargeKind;
use nameplate_rules::pricing::labour::Crew;
use serde::{Deserialize, Serialize};

use crate::base::check::LINE_MAX;
use crate::base::{Checks, ProblemCode};

/// What a line names of the price book beside its kind. Nothing named is the book's own rate, for one technician.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct LineTerms {
    /// The listed task that labour is priced by; of whatever book, found by its key in the one in force.
    pub task_id: Option<i64>,
    /// One when left out.
    pub crew: Option<Crew>,
    /// The grade that labour is priced at, by its name in the book.
    pub grade: Option<String>,
    /// Whose grade that is instead.
    pub technician_id: Option<i64>,
    /// Why an option charges a second trip or diagnosis; printed behind its name.
    pub repeat_reason: Option<String>,
}

impl LineTerms {
    /// Whether nothing is named; such terms leave no trace in what is stored or hashed.
    pub fn is_plain(&self) -> bool {
        *self == Self::default()
    }

    /// Trims the texts; what is wrong is added to `checks`.
    pub(in crate::estimates) fn check(
        &mut self,
        checks: &mut Checks,
        kind: ChargeKind,
        below: &str,
    ) {
        let path = |field: &str| format!("{below}.{field}");
        self.grade = checks.text_if_any(&path("grade"), self.grade.as_deref(), LINE_MAX);
        let reason = path("repeatReason");
        self.repeat_reason = checks.text_if_any(&reason, self.repeat_reason.as_deref(), LINE_MAX);
        let is_labour = kind == ChargeKind::Labour;
        let of_labour = [
            ("taskId", self.task_id.is_some()),
            ("crew", self.crew.is_some()),
            ("grade", self.grade.is_some()),
            ("technicianId", self.technician_id.is_some()),
        ];
        for (field, _) in of_labour.iter().filter(|(_, given)| *given && !is_labour) {
            let words = "Only a line for labor takes this.";
            checks.refuse(ProblemCode::Malformed, &path(field), words);
        }
        if self.grade.is_some() && self.technician_id.is_some() {
            let words = "Name a grade or a technician, not both.";
            checks.refuse(ProblemCode::Malformed, &path("technicianId"), words);
        }
        if self.repeat_reason.is_some() && !may_repeat(kind) {
            let words = "Only a trip or a diagnosis is charged again for a reason.";
            checks.refuse(ProblemCode::Malformed, &reason, words);
        }
    }
}

/// Kinds of which an option has one, unless there is a reason for more.
pub(in crate::estimates) fn may_repeat(kind: ChargeKind) -> bool {
    matches!(kind, ChargeKind::Trip | ChargeKind::Diagnostic)
}
