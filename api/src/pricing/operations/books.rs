//! Drafting price books and putting them to use.

use chrono::NaiveDate;
use nameplate_entities::kinds::{BookState, MarkupKind, PriceEnding};
use nameplate_entities::{markup_bracket, price_book};
use nameplate_rules::money::Cents;
use nameplate_rules::pricing::markup::{Bracket, MarkupSchedule, ScheduleRefusal, ScheduleTerms};
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, EntityTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};

use super::super::{kinds, store};

/// The dearest part or rate a book takes; beyond it products of prices would not fit.
const AMOUNT_MAX: Cents = Cents(100_000_000);
/// Steps of a schedule.
const BRACKETS_MAX: usize = 100;

/// A price book to draft.
#[derive(Clone, Debug)]
pub struct DraftPriceBook {
    pub name: String,
    pub effective_from: NaiveDate,
    pub hourly_rate: Cents,
    pub first_hour_minimum: bool,
    pub increment_minutes: i32,
    pub after_hours_multiplier: Decimal,
    pub trip: Cents,
    pub diagnostic: Cents,
    pub diagnostic_credited: bool,
    pub markup_kind: MarkupKind,
    pub minimum_markup: Cents,
    pub price_ending: PriceEnding,
    /// From the cheapest cost up; the last is open.
    pub brackets: Vec<NewBracket>,
}

/// One step of its schedule.
#[derive(Clone, Copy, Debug)]
pub struct NewBracket {
    pub up_to: Option<Cents>,
    pub multiplier: Decimal,
}

impl DraftPriceBook {
    fn checked(&self) -> Result<price_book::ActiveModel> {
        let mut checks = Checks::new();
        let mut amount = |path: &str, amount: Cents| {
            checks.not_negative(path, amount);
            if amount > AMOUNT_MAX {
                checks.refuse(
                    ProblemCode::OutOfRange,
                    path,
                    format!("{amount} is above {AMOUNT_MAX}, the most a price book takes."),
                );
            }
            amount.0
        };
        let hourly_rate_cents = amount("hourlyRate", self.hourly_rate);
        let trip_cents = amount("trip", self.trip);
        let diagnostic_cents = amount("diagnostic", self.diagnostic);
        let minimum_markup_cents = amount("minimumMarkup", self.minimum_markup);
        let name = checks.text("name", &self.name, LINE_MAX);
        checks.between("incrementMinutes", self.increment_minutes, (1, 60));
        multiplier(
            &mut checks,
            "afterHoursMultiplier",
            self.after_hours_multiplier,
        );
        self.check_schedule(&mut checks);
        checks.finish()?;
        Ok(price_book::ActiveModel {
            name: Set(name),
            effective_from: Set(self.effective_from),
            state: Set(BookState::Draft),
            hourly_rate_cents: Set(hourly_rate_cents),
            first_hour_minimum: Set(self.first_hour_minimum),
            increment_minutes: Set(self.increment_minutes),
            after_hours_multiplier: Set(self.after_hours_multiplier.into()),
            trip_cents: Set(trip_cents),
            diagnostic_cents: Set(diagnostic_cents),
            diagnostic_credited: Set(self.diagnostic_credited),
            markup_kind: Set(self.markup_kind),
            minimum_markup_cents: Set(minimum_markup_cents),
            price_ending: Set(self.price_ending),
            version: Set(1),
            ..Default::default()
        })
    }

    fn check_schedule(&self, checks: &mut Checks) {
        if self.brackets.len() > BRACKETS_MAX {
            checks.refuse(
                ProblemCode::TooLong,
                "brackets",
                format!("A schedule takes at most {BRACKETS_MAX} brackets."),
            );
            return;
        }
        for (at, bracket) in self.brackets.iter().enumerate() {
            multiplier(
                checks,
                &format!("brackets.{at}.multiplier"),
                bracket.multiplier,
            );
        }
        let terms = ScheduleTerms {
            kind: kinds::schedule_of_row(self.markup_kind),
            brackets: self
                .brackets
                .iter()
                .map(|bracket| Bracket {
                    up_to_cents: bracket.up_to,
                    multiplier: bracket.multiplier,
                })
                .collect(),
            minimum_markup_cents: self.minimum_markup.max(Cents::ZERO),
            ending: kinds::ending_of_row(self.price_ending),
        };
        match MarkupSchedule::new(terms) {
            Ok(schedule) => {
                if let Err(refusal) = schedule.inversions() {
                    checks.refuse(
                        ProblemCode::OutOfRange,
                        "brackets",
                        format!("The schedule gives no price: {refusal}."),
                    );
                }
            }
            Err(refusal) => refuse_schedule(checks, &refusal),
        }
    }
}

/// A factor that raises a price, within what exact arithmetic carries.
fn multiplier(checks: &mut Checks, path: &str, value: Decimal) {
    if value < Decimal::ONE || value > Decimal::ONE_HUNDRED || value.scale() > 6 {
        checks.refuse(
            ProblemCode::OutOfRange,
            path,
            format!("{value} is outside 1 to 100 or has more than six decimals."),
        );
    }
}

fn refuse_schedule(checks: &mut Checks, refusal: &ScheduleRefusal) {
    let (code, path) = match refusal {
        ScheduleRefusal::NoBrackets => (ProblemCode::Missing, "brackets".to_owned()),
        ScheduleRefusal::NotRising { bracket } | ScheduleRefusal::OpenTooEarly { bracket } => {
            (ProblemCode::OutOfRange, format!("brackets.{bracket}.upTo"))
        }
        ScheduleRefusal::NotOpenAtTop { .. } => (ProblemCode::OutOfRange, "brackets".to_owned()),
        // Named already, each at its own path.
        ScheduleRefusal::MultiplierBelowOne { .. } | ScheduleRefusal::NegativeMinimum { .. } => {
            return;
        }
    };
    checks.refuse(code, &path, format!("The schedule is refused: {refusal}."));
}

/// Begins a price book. Its answer shows every inversion of the schedule, before it is adopted.
///
/// # Errors
/// `Forbidden`; refusals name the field.
pub async fn draft_price_book(act: &Act, new: DraftPriceBook) -> Result<price_book::Model> {
    act.staff_with(Right::DraftPriceBook)?;
    let row = new.checked()?;
    let tx = act.app.db.write().await?;
    let row = row.insert(&tx).await?;
    let brackets =
        (0..)
            .zip(&new.brackets)
            .map(|(position, bracket)| markup_bracket::ActiveModel {
                price_book_id: Set(row.id),
                position: Set(position),
                up_to_cents: Set(bracket.up_to.map(|edge| edge.0)),
                multiplier: Set(bracket.multiplier.into()),
                ..Default::default()
            });
    markup_bracket::Entity::insert_many(brackets)
        .exec(&tx)
        .await?;
    audit::created(
        &tx,
        act,
        Right::DraftPriceBook.mutation(),
        subject(row.id),
        &row,
    )
    .await?;
    tx.commit().await?;
    Ok(row)
}

/// Puts a drafted book to use from its day on. It is never edited afterwards.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for an adopted one; `Taken` when another takes effect the same day.
pub async fn adopt_price_book(act: &Act, price_book_id: i64) -> Result<price_book::Model> {
    act.staff_with(Right::AdoptPriceBook)?;
    let tx = act.app.db.write().await?;
    let before = store::get_book(&tx, "priceBookId", price_book_id).await?;
    if before.state != BookState::Draft {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "priceBookId",
            "This price book is adopted already. Draft another to change prices.",
        ));
    }
    let day = before.effective_from;
    if let Some(other) = store::adopted_from(&tx, day).await? {
        return Err(Error::refused(
            ProblemCode::Taken,
            "priceBookId",
            format!(
                "{:?} takes effect on {day} too. Draft this one for another day.",
                other.name
            ),
        ));
    }
    let mut row = before.clone().into_active_model();
    row.state = Set(BookState::Adopted);
    row.adopted_at = Set(Some(act.at));
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    audit::record(
        &tx,
        act,
        Right::AdoptPriceBook.mutation(),
        subject(after.id),
        (Some(&before), Some(&after)),
    )
    .await?;
    tx.commit().await?;
    Ok(after)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "price_book",
        id,
    }
}
