//! What there is to tell of a month.

use chrono::{Months, NaiveDate};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use sea_orm::{ConnectionTrait, Statement, Value};

use crate::base::letter::SummaryPicture;
use crate::base::{Error, Result};
use crate::books::role_key;
use crate::reports::Span;
use crate::{reserve, shop};

/// How a month went.
#[derive(Clone, Debug, Default)]
pub struct Month {
    /// The first of it.
    pub first_day: NaiveDate,
    /// Repairs completed in it.
    pub repairs_completed: u64,
    /// Completed repairs that were counted as returned by a call of this month.
    pub callbacks_counted: u64,
    /// How many repairs come back within the window, with what that rests on; none while too few were followed.
    pub callback_rate: Option<Told>,
    /// What callbacks cost, as posted in it.
    pub lost_to_callbacks: Cents,
    /// How many repairs were completed on the first visit; none without any.
    pub first_visit: Option<Told>,
    pub flags_raised: u64,
    pub flags_closed: u64,
    /// What the warranty reserve stands at on its last day, where it was run.
    pub reserve: Option<Cents>,
    /// What to look at first, in words.
    pub worries: Vec<String>,
    pub pictures: Vec<SummaryPicture>,
}

/// A figure as it is read, and what it rests on.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Told {
    pub value: String,
    pub basis: String,
}

impl Month {
    /// Whether nothing happened in it.
    pub fn is_empty(&self) -> bool {
        self.repairs_completed == 0
            && self.callbacks_counted == 0
            && self.flags_raised == 0
            && self.flags_closed == 0
            && self.lost_to_callbacks == Cents(0)
    }
}

/// The figures of the month that begins on a day.
///
/// # Errors
/// Internal only.
pub async fn of_month(db: &impl ConnectionTrait, first_day: NaiveDate) -> Result<Month> {
    let settings = shop::settings(db).await?;
    let last_day = last_of(first_day);
    let days = || [first_day.into(), last_day.into()];
    let begin = first_day.pred_opt().unwrap_or(first_day);
    let instants = || {
        let (from, until) = (settings.end_of(begin), settings.end_of(last_day));
        [from.into(), until.into()]
    };
    let reserve = reserve::standing_run_of(db, last_day).await?;
    Ok(Month {
        first_day,
        repairs_completed: count(db, COMPLETED, days()).await?,
        callbacks_counted: count(db, COUNTED, days()).await?,
        lost_to_callbacks: lost_to_callbacks(db, (first_day, last_day)).await?,
        flags_raised: count(db, RAISED, instants()).await?,
        flags_closed: count(db, CLOSED, instants()).await?,
        reserve: reserve.map(|run| Cents(run.closing_cents)),
        ..Month::default()
    })
}

const COMPLETED: &str = "SELECT COUNT(*) AS number FROM service_call \
    WHERE state = 'completed' AND kind = 'repair' AND completed_on BETWEEN $1 AND $2";

/// Each earlier call is counted by one callback only: its first confirmed one that is a return.
const COUNTED: &str = "SELECT COUNT(*) AS number FROM callback b JOIN service_call n ON n.id = b.call_id \
    WHERE b.counted_call_id IS NOT NULL AND n.opened_on BETWEEN $1 AND $2";

const RAISED: &str = "SELECT COUNT(*) AS number FROM flag WHERE raised_at >= $1 AND raised_at < $2";

const CLOSED: &str = "SELECT COUNT(*) AS number FROM flag_step \
    WHERE state = 'closed' AND at >= $1 AND at < $2";

/// What calls cost by the account of callbacks; what a run of the reserve took out of it is no cost of a call.
async fn lost_to_callbacks(
    db: &impl ConnectionTrait,
    (from, through): (NaiveDate, NaiveDate),
) -> Result<Cents> {
    let sql = "SELECT CAST(COALESCE(SUM(p.debit_cents - p.credit_cents), 0) AS BIGINT) AS number FROM posting p \
               JOIN journal_entry e ON e.id = p.entry_id JOIN account a ON a.id = p.account_id \
               WHERE a.role = $3 AND p.entry_on BETWEEN $1 AND $2 AND e.document_kind = 'service_call'";
    let role = role_key(Role::CallbackCost);
    Ok(Cents(
        number(db, sql, [from.into(), through.into(), role.into()]).await?,
    ))
}

async fn count(db: &impl ConnectionTrait, sql: &str, between: [Value; 2]) -> Result<u64> {
    let number = number(db, sql, between).await?;
    Ok(u64::try_from(number).unwrap_or(0))
}

async fn number<const N: usize>(
    db: &impl ConnectionTrait,
    sql: &str,
    values: [Value; N],
) -> Result<i64> {
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let row = db.query_one_raw(statement).await?;
    Ok(row.map_or(Ok(0), |row| row.try_get("", "number"))?)
}

/// The days of the month that begins on a day.
///
/// # Errors
/// Internal, for a year that no database keeps.
pub fn days_of(first_day: NaiveDate) -> Result<Span> {
    Span::new(first_day, last_of(first_day))
        .map_err(|_| Error::internal("a month of a year that is not kept"))
}

fn last_of(first_day: NaiveDate) -> NaiveDate {
    let next = first_day.checked_add_months(Months::new(1));
    next.and_then(|next| next.pred_opt()).unwrap_or(first_day)
}
