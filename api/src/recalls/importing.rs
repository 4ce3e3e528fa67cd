//! Taking recalls in as they are published.
//!
//! The file is a list of records in JSON with the members of the U.S. Consumer Product Safety Commission's recall
//! retrieval service (Recalls Retrieval Web Services Programmers Guide, version 1.0, 25 March 2015): `RecallNumber`,
//! `RecallDate`, `Title`, `Description`, `URL`, `Products`, `Manufacturers`, `Importers`, `Distributors`, `Hazards`,
//! `Remedies`. That layout names companies, not plates. So a product may also carry `Make`, `ModelPattern`, `SerialFrom` and
//! `SerialThrough`, which are ours; without them the make is the name up to the first comma of the first manufacturer, or
//! else importer or distributor, and the desk says what is on the plate (`setRecallProducts`). Members of the layout that
//! are not named here are passed over.
//!
//! What must stay true: no odd record blocks a file, as a national one has hundreds of them and nobody here can mend them. What
//! can do without is dropped or cut, and the record taken; one without a number or a day is passed over; both are counted and
//! named with what is wrong. Only a file that is no list in JSON or is too large is refused.

use nameplate_entities::{recall, recall_product};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};

use super::operations::{of_recall, write_products};
use super::reading::{Fault, Read, Ready, SOURCE, Taken, read};
use super::store;
use crate::base::audit;
use crate::base::{Act, Result, Right};
use crate::shop;

/// Bytes of one file.
pub const FILE_MAX: usize = 4 * 1024 * 1024;

/// Whether a file is only looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    LookAt,
    TakeIn,
}

/// What became of a file.
pub enum Imported {
    Taken(Taken),
    /// Nothing was written; what is wrong with it.
    Refused(Vec<Fault>),
}

/// Reads a file of recalls, and takes in what is new or changed in it.
///
/// # Errors
/// `Forbidden`; internal.
pub async fn import_recalls(act: &Act, bytes: &[u8], purpose: Purpose) -> Result<Imported> {
    let staff_id = act.staff_with(Right::ImportRecalls)?;
    let today = shop::settings(act.app.db.read()).await?.day_of(act.at);
    let Read { ready, mut taken } = match read(bytes, today) {
        Ok(read) => read,
        Err(fault) => return Ok(Imported::Refused(vec![fault])),
    };
    // A look takes nobody's turn to write.
    let tx = match purpose {
        Purpose::LookAt => act.app.db.snapshot().await?,
        Purpose::TakeIn => act.app.db.write().await?,
    };
    let numbers: Vec<String> = ready.iter().map(|record| record.number.clone()).collect();
    let on_record = store::numbered(&tx, SOURCE, &numbers).await?;
    for record in ready {
        taken.without_model_count += usize::from(!record.says_models);
        taken.make_of_company_count += usize::from(!record.says_makes);
        let before = on_record.get(&record.number);
        match before {
            None => taken.new_count += 1,
            Some(before) if is_same(before, &record.row) => {
                taken.same_count += 1;
                continue;
            }
            Some(_) => taken.changed_count += 1,
        }
        if purpose == Purpose::TakeIn {
            write(&tx, act, staff_id, (before, record)).await?;
        }
    }
    if purpose == Purpose::TakeIn {
        tx.commit().await?;
    }
    Ok(Imported::Taken(taken))
}

/// What the desk said about products is not overwritten. Where the publisher names other products than in the file before,
/// those that are not on record are added: a recall that grew must not go unseen.
async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    staff_id: i64,
    (before, record): (Option<&recall::Model>, Ready),
) -> Result<()> {
    let verb = Right::ImportRecalls.mutation();
    let row = recall::ActiveModel {
        imported_at: Set(act.at),
        imported_by: Set(staff_id),
        version: Set(before.map_or(1, |row| row.version + 1)),
        ..record.row
    };
    if let Some(before) = before {
        let row = recall::ActiveModel {
            id: Set(before.id),
            withdrawn_on: Set(before.withdrawn_on),
            ..row
        };
        let after = row.update(tx).await?;
        let both = (Some(before), Some(&after));
        audit::record(tx, act, verb, of_recall(after.id), both).await?;
        if before.products_print == after.products_print {
            return Ok(());
        }
        let there = store::products_of(tx, after.id).await?;
        let added = missing(&there, record.products);
        let added = write_products(tx, after.id, added).await?;
        return audit::record(
            tx,
            act,
            verb,
            of_recall(after.id),
            (None::<&()>, Some(&added)),
        )
        .await;
    }
    let after = row.insert(tx).await?;
    write_products(tx, after.id, record.products).await?;
    audit::created(tx, act, verb, of_recall(after.id), &after).await
}

fn is_same(before: &recall::Model, row: &recall::ActiveModel) -> bool {
    let now = before.clone().into_active_model();
    now.published_on == unchanged(&row.published_on)
        && now.title == unchanged(&row.title)
        && now.hazard == unchanged(&row.hazard)
        && now.remedy == unchanged(&row.remedy)
        && now.url == unchanged(&row.url)
        && now.products_print == unchanged(&row.products_print)
}

/// Those that are not on record.
fn missing(
    there: &[recall_product::Model],
    products: Vec<recall_product::ActiveModel>,
) -> Vec<recall_product::ActiveModel> {
    let is_there = |product: &recall_product::ActiveModel| {
        there.iter().any(|row| {
            let row = row.clone().into_active_model();
            row.make_key == unchanged(&product.make_key)
                && row.model_pattern == unchanged(&product.model_pattern)
                && row.serial_from == unchanged(&product.serial_from)
                && row.serial_through == unchanged(&product.serial_through)
        })
    };
    (products.into_iter())
        .filter(|product| !is_there(product))
        .collect()
}

/// The value as a row that was read holds it.
fn unchanged<V: Into<sea_orm::Value> + Clone>(
    value: &sea_orm::ActiveValue<V>,
) -> sea_orm::ActiveValue<V> {
    match value {
        sea_orm::ActiveValue::Set(value) => sea_orm::ActiveValue::Unchanged(value.clone()),
        other => other.clone(),
    }
}
