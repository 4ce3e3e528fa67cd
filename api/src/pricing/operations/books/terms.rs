//! What a price book says, held against the door.

use chrono::NaiveDate;
use nameplate_entities::kinds::{BookState, DistanceUnit, MarkupKind, PriceEnding};
use nameplate_entities::price_book;
use nameplate_rules::money::Cents;
use nameplate_rules::pricing::markup::{Bracket, MarkupSchedule, ScheduleRefusal, ScheduleTerms};
use rust_decimal::Decimal;
use sea_orm::ActiveValue::Set;

use crate::base::check::LINE_MAX;
use crate::base::{Checks, ProblemCode};

use super::super::super::kinds;
use super::lists::{NewRate, NewTask, NewZone};

/// The dearest part or rate a book takes; beyond it products of prices would not fit.
pub(super) const AMOUNT_MAX: Cents = Cents(100_000_000);
/// The longest time that is billed as a minimum: a day.
const MINUTES_MAX: i32 = 1_440;
/// Steps of a schedule.
const BRACKETS_MAX: usize = 100;

/// A price book to draft.
#[derive(Clone, Debug)]
pub struct DraftPriceBook {
    pub name: String,
    pub effective_from: NaiveDate,
    pub hourly_rate: Cents,
    /// Whether time below the minimum is billed as the minimum.
    pub first_hour_minimum: bool,
    pub minimum_minutes: i32,
    pub increment_minutes: i32,
    pub after_hours_multiplier: Decimal,
    /// What a second technician adds, as a share of the first one's price.
    pub second_technician_share: Decimal,
    /// For an address in none of the zones.
    pub trip: Cents,
    /// Needed once a zone goes by distance.
    pub distance_unit: Option<DistanceUnit>,
    pub diagnostic: Cents,
    pub diagnostic_credited: bool,
    pub markup_kind: MarkupKind,
    pub minimum_markup: Cents,
    pub maximum_markup: Option<Cents>,
    pub price_ending: PriceEnding,
    /// From the cheapest cost up; the last is open.
    pub brackets: Vec<NewBracket>,
    /// Prices of an hour by the technician's grade.
    pub rates: Vec<NewRate>,
    pub zones: Vec<NewZone>,
    pub tasks: Vec<NewTask>,
}

/// One step of its schedule.
#[derive(Clone, Copy, Debug)]
pub struct NewBracket {
    pub up_to: Option<Cents>,
    pub multiplier: Decimal,
}

impl DraftPriceBook {
    /// The book's own row, a draft; what is wrong is added to `checks`.
    pub(super) fn row(&self, checks: &mut Checks) -> price_book::ActiveModel {
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
        let maximum_markup_cents = self
            .maximum_markup
            .map(|most| amount("maximumMarkup", most));
        let name = checks.text("name", &self.name, LINE_MAX);
        checks.between("incrementMinutes", self.increment_minutes, (1, 60));
        checks.between("minimumMinutes", self.minimum_minutes, (1, MINUTES_MAX));
        multiplier(checks, "afterHoursMultiplier", self.after_hours_multiplier);
        share(
            checks,
            "secondTechnicianShare",
            self.second_technician_share,
        );
        self.check_schedule(checks);
        price_book::ActiveModel {
            name: Set(name),
            effective_from: Set(self.effective_from),
            state: Set(BookState::Draft),
            hourly_rate_cents: Set(hourly_rate_cents),
            first_hour_minimum: Set(self.first_hour_minimum),
            minimum_minutes: Set(self.minimum_minutes),
            increment_minutes: Set(self.increment_minutes),
            after_hours_multiplier: Set(self.after_hours_multiplier.into()),
            second_technician_share: Set(self.second_technician_share.into()),
            distance_unit: Set(self.distance_unit),
            trip_cents: Set(trip_cents),
            diagnostic_cents: Set(diagnostic_cents),
            diagnostic_credited: Set(self.diagnostic_credited),
            markup_kind: Set(self.markup_kind),
            minimum_markup_cents: Set(minimum_markup_cents),
            maximum_markup_cents: Set(maximum_markup_cents),
            price_ending: Set(self.price_ending),
            version: Set(1),
            ..Default::default()
        }
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
            maximum_markup_cents: self.maximum_markup,
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

/// What a second technician adds.
fn share(checks: &mut Checks, path: &str, value: Decimal) {
    if value < Decimal::ZERO || value > Decimal::ONE || value.scale() > 6 {
        checks.refuse(
            ProblemCode::OutOfRange,
            path,
            format!("{value} is outside 0 to 1, the full price of another technician, or has more than six decimals."),
        );
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
        ScheduleRefusal::MaximumBelowMinimum { .. } => {
            (ProblemCode::OutOfRange, "maximumMarkup".to_owned())
        }
        ScheduleRefusal::NotOpenAtTop { .. } => (ProblemCode::OutOfRange, "brackets".to_owned()),
        // Named already, each at its own path.
        ScheduleRefusal::MultiplierBelowOne { .. } | ScheduleRefusal::NegativeMinimum { .. } => {
            return;
        }
    };
    checks.refuse(code, &path, format!("The schedule is refused: {refusal}."));
}
