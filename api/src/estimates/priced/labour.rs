//! Labor on a line: by time or by a listed task, at the rate of the book, of a grade or of a technician.

use nameplate_entities::{flat_rate_task, kinds};
use nameplate_rules::pricing::labour::{
    Crew, LabourRefusal, LabourTerms, WorkHours, flat_rate, labour,
};
use rust_decimal::Decimal;

use crate::base::{Error, ProblemCode, Result};

use super::basis::Basis;
use super::charges::Charge;
use super::{Terms, too_large};
use crate::estimates::states::sentence;
use crate::estimates::writing::offer::NewLine;

impl Terms {
    /// Labor of one line. The first by time carries the first-hour minimum.
    pub(super) fn labour(&self, line: &NewLine, first_labour: bool, path: &str) -> Result<Charge> {
        let rate_name = self.grade(line, path)?;
        let terms = match &rate_name {
            Some(grade) => self.book.labour_of(grade).ok_or_else(|| {
                let words = format!("The price book has no rate for {grade:?}.");
                Error::refused(ProblemCode::NotFound, format!("{path}.grade"), words)
            })?,
            None => self.book.labour.clone(),
        };
        let mut asked = Asked {
            terms: LabourTerms {
                minimum_minutes: if first_labour {
                    terms.minimum_minutes
                } else {
                    0
                },
                ..terms
            },
            hours: line.hours,
            crew: line.terms.crew.unwrap_or_default(),
        };
        if let Some(rate) = line.unit_price {
            // A rate given for this line is the whole rate, whatever the hour and the crew.
            asked.terms.hourly_rate = rate;
            (asked.hours, asked.crew) = (WorkHours::Regular, Crew::One);
        }
        let basis = Basis {
            hours: Some(hours_for_row(line.hours)),
            crew: Some(match line.terms.crew.unwrap_or_default() {
                Crew::One => 1,
                Crew::Two => 2,
            }),
            rate_name,
            ..Basis::of(line.unit_price.is_some())
        };
        let charge = match line.terms.task_id {
            Some(task_id) => self.task(line, task_id, &asked, path)?,
            None => by_time(line, &asked, path)?,
        };
        Ok(Charge {
            description: told(charge.description, line),
            basis: Basis {
                task_id: charge.basis.task_id,
                worked_minutes: line.minutes,
                first_labour: line.minutes.map(|_| first_labour),
                ..basis
            },
            ..charge
        })
    }

    /// The grade a line is priced at: the one it names, or its technician's.
    fn grade(&self, line: &NewLine, path: &str) -> Result<Option<String>> {
        let Some(technician_id) = line.terms.technician_id else {
            return Ok(line.terms.grade.clone());
        };
        let path = format!("{path}.technicianId");
        let held = self.grades.get(&technician_id);
        held.cloned()
            .ok_or_else(|| Error::not_found(path, "member of staff who works here"))
    }

    fn task(&self, line: &NewLine, task_id: i64, asked: &Asked, path: &str) -> Result<Charge> {
        let path = format!("{path}.taskId");
        let task: &flat_rate_task::Model = self
            .tasks
            .get(&task_id)
            .ok_or_else(|| Error::not_found(&path, "task in the price book in force"))?;
        let priced = |hours: Decimal| {
            flat_rate(hours, &asked.terms, asked.hours, asked.crew)
                .map_err(|refusal| no_price(&path, &refusal))
        };
        let printed = task
            .description
            .clone()
            .unwrap_or_else(|| task.name.clone());
        Ok(Charge {
            description: line.description.clone().unwrap_or(printed),
            quantity: task.hours.0,
            unit_price: priced(Decimal::ONE)?,
            net: priced(task.hours.0)?,
            basis: Basis {
                task_id: Some(task.id),
                ..Basis::default()
            },
            ..Charge::of(line.kind)
        })
    }
}

/// At what and for whom labor is priced.
struct Asked {
    terms: LabourTerms,
    hours: WorkHours,
    crew: Crew,
}

/// Labor by time, at the terms of the book.
fn by_time(line: &NewLine, asked: &Asked, path: &str) -> Result<Charge> {
    let minutes = line.minutes.unwrap_or_default();
    let worked = u32::try_from(minutes)
        .map_err(|error| Error::caused("minutes below zero passed the door", error))?;
    let priced = labour(worked, &asked.terms, asked.hours, asked.crew)
        .map_err(|refusal| no_price(path, &refusal))?;
    // An hour of it, without minimum and increment: what the price of the line is made of.
    let unit_price = flat_rate(Decimal::ONE, &asked.terms, asked.hours, asked.crew)
        .map_err(|refusal| no_price(path, &refusal))?;
    let billed = i32::try_from(priced.billed_minutes)
        .map_err(|error| Error::caused("billed minutes", error))?;
    Ok(Charge {
        description: line
            .description
            .clone()
            .unwrap_or_else(|| "Labor".to_owned()),
        quantity: in_hours(billed),
        unit_price,
        net: priced.cents,
        labour_minutes: Some(billed),
        ..Charge::of(line.kind)
    })
}

/// What was done, with what raises its price beside the time.
fn told(what: String, line: &NewLine) -> String {
    let after_hours = (line.hours == WorkHours::AfterHours).then_some("after hours");
    let crew = line.terms.crew.unwrap_or_default();
    let crew = (crew == Crew::Two).then_some("two technicians");
    let raised = after_hours.into_iter().chain(crew).collect::<Vec<_>>();
    if raised.is_empty() {
        return what;
    }
    let raised = raised.join(", ");
    if what.ends_with('.') {
        format!("{what} {}", sentence(&raised))
    } else {
        format!("{what}, {raised}")
    }
}

fn no_price(path: &str, refusal: &LabourRefusal) -> Error {
    if let LabourRefusal::Money(refusal) = refusal {
        return too_large(path, refusal);
    }
    let words = format!("This labor has no price: {refusal}.");
    Error::refused(ProblemCode::OutOfRange, path, words)
}

/// Billed minutes as hours, for the quantity of a line; the minutes beside it are exact.
fn in_hours(minutes: i32) -> Decimal {
    (Decimal::from(minutes) / Decimal::from(60))
        .round_dp(4)
        .normalize()
}

fn hours_for_row(hours: WorkHours) -> kinds::WorkHours {
    match hours {
        WorkHours::Regular => kinds::WorkHours::Regular,
        WorkHours::AfterHours => kinds::WorkHours::AfterHours,
    }
}
