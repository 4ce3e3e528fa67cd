//! Taking a bank's file in: all of it, or nothing and why not, line by line.
//!
//! A line that is there already is recognised by the bank's own id, or by day, amount and words and how many such lines
//! there are; so files may overlap. A file that would change days that are reconciled is refused.

mod reading;
mod taking_back;

use std::collections::HashMap;

use nameplate_entities::{bank_line, bank_statement};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};

use crate::base::audit::{self, Subject};
use crate::base::csv_layout::{FAULTS_MAX, Fault};
use crate::base::digest::sha256;
use crate::base::{Act, Error, ProblemCode, Result, Right};
use crate::{books, shop};

use super::store::lines as store;
use super::{layouts, store::reconciliations};

pub use reading::ReadLine;
use reading::Reader;
pub use taking_back::take_back_statement;

/// Lines shown of a file that is only looked at.
const SHOWN: usize = 10;
/// Rows in one statement.
const PIECE: usize = 500;

/// What became of a file.
pub enum Imported {
    /// It is on record, or all of it was there already.
    Taken(Taken),
    /// Nothing was written; what is wrong with it.
    Refused(Vec<Fault>),
}

/// A file that was taken in, or would be.
pub struct Taken {
    /// None where nothing in it was new, or where it was only looked at.
    pub statement_id: Option<i64>,
    pub new_count: usize,
    pub known_count: usize,
    /// Lines by which the bank only tells something, without an amount.
    pub empty_count: usize,
    /// The first lines as they were read, of a file that was only looked at.
    pub shown: Vec<ReadLine>,
}

/// Whether a file is only looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    LookAt,
    TakeIn,
}

/// Reads a file of an account's bank by its layout, and takes in what is new in it.
///
/// # Errors
/// `Forbidden`; `NotFound`, `WrongState` for an account that is no bank's; `SettingMissing` without a layout.
pub async fn import_statement(
    act: &Act,
    account_id: i64,
    bytes: &[u8],
    purpose: Purpose,
) -> Result<Imported> {
    let staff_id = act.staff_with(Right::SaveBankLayout)?;
    let reader = reader(act, account_id).await?;
    let read = match reader.read(bytes) {
        Ok(read) => read,
        Err(faults) => return Ok(Imported::Refused(faults)),
    };
    let tx = act.app.db.write().await?;
    let sorted = match sort(&tx, account_id, read.lines).await? {
        Ok(sorted) => sorted,
        Err(faults) => return Ok(Imported::Refused(faults)),
    };
    let mut taken = Taken {
        statement_id: None,
        new_count: sorted.new.len(),
        known_count: sorted.known_count,
        empty_count: read.empty_count,
        shown: Vec::new(),
    };
    if purpose == Purpose::LookAt {
        taken.shown = sorted.all.into_iter().take(SHOWN).collect();
        return Ok(Imported::Taken(taken));
    }
    if !sorted.new.is_empty() {
        let about = (account_id, staff_id, sha256(bytes));
        taken.statement_id = Some(write(&tx, act, about, &sorted).await?);
        tx.commit().await?;
    }
    Ok(Imported::Taken(taken))
}

async fn reader(act: &Act, account_id: i64) -> Result<Reader> {
    let db = act.app.db.read();
    let settings = shop::settings(db).await?;
    let account = books::bank_account(db, "bankAccountId", Some(account_id)).await?;
    let layout = layouts::find(db, account.id).await?.ok_or_else(|| {
        Error::refused(
            ProblemCode::SettingMissing,
            "bankAccountId",
            "Say first how this bank's files are read (saveBankLayout).",
        )
    })?;
    Reader::new(&layout, &settings.row.currency, settings.day_of(act.at))
}

/// The lines of a file by what is on record already.
struct Sorted {
    all: Vec<ReadLine>,
    /// Those that are new, with the key and the how manyth of it.
    new: Vec<(ReadLine, String, i32)>,
    known_count: usize,
}

/// Tells new lines from those on record; a file that contradicts what is on record has faults.
async fn sort(
    tx: &impl ConnectionTrait,
    account_id: i64,
    lines: Vec<ReadLine>,
) -> Result<std::result::Result<Sorted, Vec<Fault>>> {
    let keys: Vec<String> = lines.iter().map(ReadLine::same_key).collect();
    let mut on_record: HashMap<String, Vec<bank_line::Model>> = HashMap::new();
    for piece in keys.chunks(PIECE) {
        for row in store::of_keys(tx, account_id, piece).await? {
            on_record.entry(row.same_key.clone()).or_default().push(row);
        }
    }
    let last = reconciliations::last(tx, account_id).await?;
    let mut faults = Vec::new();
    let mut seen: HashMap<String, usize> = HashMap::new();
    let mut new = Vec::new();
    let mut known_count = 0;
    for (line, key) in lines.iter().zip(keys) {
        let there = on_record.get(&key).map_or(&[][..], Vec::as_slice);
        let so_far = seen.entry(key.clone()).or_default();
        *so_far += 1;
        if line.bank_key.is_some()
            && there
                .iter()
                .any(|row| row.booked_on != line.on || row.amount_cents != line.amount.0)
        {
            let message = "The bank's id of this line stood for another day or amount before.";
            faults.push(line.fault(ProblemCode::Conflict, message));
        } else if *so_far <= there.len() {
            known_count += 1;
        } else if last.as_ref().is_some_and(|last| line.on <= last.through_on) {
            let message = "This day is reconciled already, and this line was not among its lines.";
            faults.push(line.fault(ProblemCode::WrongState, message));
        } else {
            let occurrence = free_occurrence(there, *so_far - there.len() - 1)?;
            new.push((line.clone(), key, occurrence));
        }
    }
    if !faults.is_empty() {
        faults.truncate(FAULTS_MAX);
        return Ok(Err(faults));
    }
    Ok(Ok(Sorted {
        all: lines,
        new,
        known_count,
    }))
}

async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    (account_id, staff_id, content_hash): (i64, i64, String),
    sorted: &Sorted,
) -> Result<i64> {
    let count = |count: usize| {
        i32::try_from(count).map_err(|error| Error::caused("lines of a statement", error))
    };
    let days = || sorted.all.iter().map(|line| line.on);
    let (Some(first_on), Some(last_on)) = (days().min(), days().max()) else {
        return Err(Error::internal("a statement without lines"));
    };
    let row = bank_statement::ActiveModel {
        account_id: Set(account_id),
        content_hash: Set(content_hash),
        line_count: Set(count(sorted.new.len())?),
        known_count: Set(count(sorted.known_count)?),
        first_on: Set(first_on),
        last_on: Set(last_on),
        imported_at: Set(act.at),
        imported_by: Set(staff_id),
        ..Default::default()
    };
    let row = row.insert(tx).await?;
    for piece in sorted.new.chunks(PIECE) {
        let lines = piece
            .iter()
            .map(|(line, key, occurrence)| bank_line::ActiveModel {
                account_id: Set(account_id),
                statement_id: Set(Some(row.id)),
                file_line: Set(i32::try_from(line.line).ok()),
                booked_on: Set(line.on),
                amount_cents: Set(line.amount.0),
                words: Set(line.words.clone()),
                payee: Set(line.payee.clone()),
                reference: Set(line.reference.clone()),
                bank_key: Set(line.bank_key.clone()),
                balance_cents: Set(line.balance.map(|balance| balance.0)),
                same_key: Set(key.clone()),
                occurrence: Set(*occurrence),
                ..Default::default()
            });
        bank_line::Entity::insert_many(lines)
            .exec_without_returning(tx)
            .await?;
    }
    audit::created(tx, act, "importBankStatement", subject(row.id), &row).await?;
    Ok(row.id)
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "bank_statement",
        id,
    }
}

/// The how manyth line of its key a new one is: the first number that none on record has. A file that was taken back
/// leaves gaps.
fn free_occurrence(there: &[bank_line::Model], among_new: usize) -> Result<i32> {
    let taken = |number: &i32| there.iter().any(|row| row.occurrence == *number);
    let free = (1_i32..).filter(|number| !taken(number)).nth(among_new);
    free.ok_or_else(|| Error::internal("too many lines of one kind"))
}
