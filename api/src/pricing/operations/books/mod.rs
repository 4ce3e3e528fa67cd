//! Drafting price books, changing drafts and putting them to use.

mod change;
mod lists;
mod rows;
mod terms;

use chrono::NaiveDate;
use nameplate_entities::kinds::BookState;
use nameplate_entities::price_book;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::shop;

use super::super::store;

pub use change::BookChange;
pub use lists::{NewRate, NewTask, NewZone};
pub use terms::{DraftPriceBook, NewBracket};

/// Begins a price book. Its answer shows every inversion of the schedule, before it is adopted.
///
/// # Errors
/// `Forbidden`; refusals name the field.
pub async fn draft_price_book(act: &Act, new: DraftPriceBook) -> Result<price_book::Model> {
    act.staff_with(Right::DraftPriceBook)?;
    let tx = act.app.db.write().await?;
    let checked = checked(&tx, &new, None).await?;
    let row = checked.row.insert(&tx).await?;
    rows::write(&tx, row.id, &new, checked.lists).await?;
    let verb = Right::DraftPriceBook.mutation();
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    tx.commit().await?;
    Ok(row)
}

/// A book that passed the door.
struct Checked {
    row: price_book::ActiveModel,
    lists: lists::Lists,
}

/// Everything wrong with a book at once. `own` is the draft that is changed.
async fn checked(
    tx: &impl ConnectionTrait,
    new: &DraftPriceBook,
    own: Option<i64>,
) -> Result<Checked> {
    let mut checks = Checks::new();
    let row = new.row(&mut checks);
    let name = new.name.trim();
    let twin = store::drafted_as(tx, name, new.effective_from).await?;
    if twin.iter().any(|twin| Some(twin.id) != own) {
        let on = new.effective_from;
        let words = format!(
            "There is a draft {name:?} for {on} already. Change that one, or name this one differently."
        );
        checks.refuse(ProblemCode::Taken, "name", words);
    }
    let lists = lists::checked(tx, &mut checks, new).await?;
    checks.finish()?;
    Ok(Checked { row, lists })
}

/// A draft that begins as a copy of another book.
#[derive(Clone, Debug)]
pub struct ClonePriceBook {
    pub price_book_id: i64,
    pub name: String,
    pub effective_from: NaiveDate,
}

/// Begins a draft with all rates, brackets, tasks and zones of another book, drafted or adopted.
///
/// # Errors
/// `Forbidden`; `NotFound`; refusals name the field.
pub async fn clone_price_book(act: &Act, copy: ClonePriceBook) -> Result<price_book::Model> {
    act.staff_with(Right::ClonePriceBook)?;
    let tx = act.app.db.write().await?;
    let source = store::get_book(&tx, "priceBookId", copy.price_book_id).await?;
    let new = DraftPriceBook {
        name: copy.name,
        effective_from: copy.effective_from,
        ..rows::read(&tx, &source).await?
    };
    let checked = checked(&tx, &new, None).await?;
    let row = checked.row.insert(&tx).await?;
    rows::write(&tx, row.id, &new, checked.lists).await?;
    let verb = Right::ClonePriceBook.mutation();
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    tx.commit().await?;
    Ok(row)
}

/// What to change in a draft; what is left out stays.
#[derive(Clone, Debug)]
pub struct ChangePriceBook {
    pub price_book_id: i64,
    /// The version that was read; somebody else's change in between is not overwritten.
    pub version: i32,
    pub change: BookChange,
}

/// Changes a draft. An adopted book stays as it is: estimates were priced by it.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for an adopted one; `Conflict` when it was changed since it was read;
/// refusals name the field.
pub async fn change_price_book(act: &Act, change: ChangePriceBook) -> Result<price_book::Model> {
    act.staff_with(Right::ChangePriceBook)?;
    let tx = act.app.db.write().await?;
    let before = draft(&tx, change.price_book_id).await?;
    if before.version != change.version {
        return Err(Error::refused(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this price book since you read it. Read it again first.",
        ));
    }
    let new = change.change.over(rows::read(&tx, &before).await?);
    let checked = checked(&tx, &new, Some(before.id)).await?;
    let mut row = checked.row;
    row.id = Set(before.id);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    rows::clear(&tx, before.id).await?;
    rows::write(&tx, before.id, &new, checked.lists).await?;
    audit::record(
        &tx,
        act,
        Right::ChangePriceBook.mutation(),
        subject(after.id),
        (Some(&before), Some(&after)),
    )
    .await?;
    tx.commit().await?;
    Ok(after)
}

/// The book, as long as it is a draft.
async fn draft(tx: &impl ConnectionTrait, id: i64) -> Result<price_book::Model> {
    let row = store::get_book(tx, "priceBookId", id).await?;
    if row.state == BookState::Draft {
        return Ok(row);
    }
    Err(Error::refused(
        ProblemCode::WrongState,
        "priceBookId",
        "This price book is adopted already. Clone it and change the copy.",
    ))
}

/// Puts a drafted book to use from its day on. It is never edited afterwards. Its first day may be over only while no
/// book is in force: so a shop begins with the prices it has had.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for an adopted one; `ImpossibleDate` for a day gone by; `Taken` when another takes effect the same day.
pub async fn adopt_price_book(act: &Act, price_book_id: i64) -> Result<price_book::Model> {
    act.staff_with(Right::AdoptPriceBook)?;
    let tx = act.app.db.write().await?;
    let before = draft(&tx, price_book_id).await?;
    let day = before.effective_from;
    let today = shop::settings(&tx).await?.day_of(act.at);
    if day < today && store::adopted_on(&tx, today).await?.is_some() {
        return Err(Error::refused(
            ProblemCode::ImpossibleDate,
            "priceBookId",
            format!(
                "This book's first day, {day}, is over, and estimates of the days since were priced by another one. \
                 Change its first day to {today} or later."
            ),
        ));
    }
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

/// Makes a draft again of a book that was adopted by mistake. Whoever calls this knows that nothing was priced by it.
///
/// # Errors
/// `WrongState` for a draft.
pub async fn withdraw_price_book(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, before): (&'static str, price_book::Model),
) -> Result<price_book::Model> {
    if before.state != BookState::Adopted {
        let words = "This price book is a draft already. Change it as it is.";
        return Err(Error::refused(
            ProblemCode::WrongState,
            "priceBookId",
            words,
        ));
    }
    let mut row = before.clone().into_active_model();
    row.state = Set(BookState::Draft);
    row.adopted_at = Set(None);
    row.version = Set(before.version + 1);
    let after = row.update(tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(tx, act, verb, subject(after.id), both).await?;
    Ok(after)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "price_book",
        id,
    }
}
