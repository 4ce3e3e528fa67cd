//! Taking recalls in as they are published: all of a file, or nothing and why not, record by record.
//!
//! The file is a list of records in JSON with the members of the U.S. Consumer Product Safety Commission's recall
//! retrieval service (Recalls Retrieval Web Services Programmers Guide, version 1.0, 25 March 2015): `RecallNumber`,
//! `RecallDate`, `Title`, `Description`, `URL`, `Products`, `Manufacturers`, `Importers`, `Distributors`, `Hazards`,
//! `Remedies`. That layout names companies, not plates. So a product may also carry `Make`, `ModelPattern`, `SerialFrom` and
//! `SerialThrough`, which are ours; without them the make is the name up to the first comma of the first manufacturer, or
//! else importer or distributor, and the desk says what is on the plate (`setRecallProducts`). Members of the layout that
//! are not named here are passed over. What a publisher leaves open blocks no file: a national one has thousands of records.

use std::collections::HashSet;

use chrono::NaiveDate;
use nameplate_entities::{recall, recall_product};
use nameplate_rules::serial::SerialKey;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};
use serde::{Deserialize, Deserializer};

use super::operations::{NewProduct, PRODUCTS_MAX, distinct, of_recall, write_products};
use super::store;
use crate::base::audit;
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::digest::sha256;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::shop;

/// Bytes of one file.
pub const FILE_MAX: usize = 4 * 1024 * 1024;
/// Records of one file.
const RECORDS_MAX: usize = 2_000;
/// Faults told of one file.
const FAULTS_MAX: usize = 50;
/// In place of what a publisher left out.
const NOT_STATED: &str = "Not stated by the publisher";
/// Who publishes this layout.
const SOURCE: &str = "U.S. Consumer Product Safety Commission";

/// Whether a file is only looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    LookAt,
    TakeIn,
}

/// One thing wrong with a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Place of the record, from 1; 0 for the file as a whole.
    pub record: usize,
    /// Dotted path within the record.
    pub path: String,
    pub code: ProblemCode,
    pub message: String,
}

/// What became of a file.
pub enum Imported {
    Taken(Taken),
    /// Nothing was written; what is wrong with it.
    Refused(Vec<Fault>),
}

/// What a file brought, or would bring.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Taken {
    pub new_count: usize,
    /// On record already, and now as the file has them.
    pub changed_count: usize,
    pub same_count: usize,
    /// Records whose products say no model, so that the desk has to.
    pub without_model_count: usize,
    /// Records of which a make is only a company's name, or not stated, so that the desk has to say what plates say.
    pub make_of_company_count: usize,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Published {
    recall_number: Option<String>,
    recall_date: Option<String>,
    title: Option<String>,
    description: Option<String>,
    #[serde(rename = "URL")]
    url: Option<String>,
    #[serde(default, deserialize_with = "or_none")]
    products: Vec<PublishedProduct>,
    #[serde(default, deserialize_with = "or_none")]
    manufacturers: Vec<Named>,
    #[serde(default, deserialize_with = "or_none")]
    importers: Vec<Named>,
    #[serde(default, deserialize_with = "or_none")]
    distributors: Vec<Named>,
    #[serde(default, deserialize_with = "or_none")]
    hazards: Vec<Named>,
    #[serde(default, deserialize_with = "or_none")]
    remedies: Vec<Named>,
}

/// A list that is null is an empty one.
fn or_none<'de, D, T>(deserializer: D) -> std::result::Result<Vec<T>, D::Error>
where
    D: Deserializer<'de>,
    T: Deserialize<'de>,
{
    let list = Option::<Vec<T>>::deserialize(deserializer)?;
    Ok(list.unwrap_or_default())
}

#[derive(Default, Deserialize)]
#[serde(rename_all = "PascalCase")]
struct PublishedProduct {
    name: Option<String>,
    model: Option<String>,
    make: Option<String>,
    model_pattern: Option<String>,
    serial_from: Option<String>,
    serial_through: Option<String>,
}

#[derive(Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Named {
    name: Option<String>,
}

/// A record that can be written.
struct Ready {
    number: String,
    /// The notice, with the print of the products that its publisher names.
    row: recall::ActiveModel,
    products: Vec<recall_product::ActiveModel>,
    says_models: bool,
    says_makes: bool,
}

/// Reads a file of recalls, and takes in what is new or changed in it.
///
/// # Errors
/// `Forbidden`; internal.
pub async fn import_recalls(act: &Act, bytes: &[u8], purpose: Purpose) -> Result<Imported> {
    let staff_id = act.staff_with(Right::ImportRecalls)?;
    let today = shop::settings(act.app.db.read()).await?.day_of(act.at);
    let ready = match read(bytes, today) {
        Ok(ready) => ready,
        Err(faults) => return Ok(Imported::Refused(faults)),
    };
    // A look takes nobody's turn to write.
    let tx = match purpose {
        Purpose::LookAt => act.app.db.snapshot().await?,
        Purpose::TakeIn => act.app.db.write().await?,
    };
    let numbers: Vec<String> = ready.iter().map(|record| record.number.clone()).collect();
    let on_record = store::numbered(&tx, SOURCE, &numbers).await?;
    let mut taken = Taken::default();
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

/// A print of the products that a publisher names, to see whether they changed.
fn print_of(products: &[NewProduct]) -> String {
    let named = products.iter().map(|product| {
        let parts = [
            Some(product.make.as_str()),
            product.model_pattern.as_deref(),
            product.serial_from.as_deref(),
            product.serial_through.as_deref(),
        ];
        parts.map(Option::unwrap_or_default).join("\u{1f}")
    });
    let mut named: Vec<String> = named.collect();
    named.sort_unstable();
    sha256(named.join("\u{1e}").as_bytes())
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

/// The records of a file, or everything that is wrong with it.
fn read(bytes: &[u8], today: NaiveDate) -> std::result::Result<Vec<Ready>, Vec<Fault>> {
    let whole = |code, message: String| {
        vec![Fault {
            record: 0,
            path: String::new(),
            code,
            message,
        }]
    };
    let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let records: Vec<Published> = serde_json::from_slice(text).map_err(|error| {
        let words = format!("This is no list of recalls in JSON: {error}.");
        whole(ProblemCode::Malformed, words)
    })?;
    if records.is_empty() || records.len() > RECORDS_MAX {
        let words = format!(
            "A file holds 1 to {RECORDS_MAX} recalls; this has {}.",
            records.len()
        );
        return Err(whole(ProblemCode::OutOfRange, words));
    }
    let mut faults = Vec::new();
    let mut seen = HashSet::new();
    let mut ready = Vec::with_capacity(records.len());
    for (place, record) in (1..).zip(records) {
        let mut checks = Checks::new();
        let made = record.ready(&mut checks, today);
        if !seen.insert(made.number.clone()) {
            let words = format!("Recall {} is in this file twice.", made.number);
            checks.refuse(ProblemCode::Taken, "RecallNumber", words);
        }
        match checks.finish() {
            Ok(()) => ready.push(made),
            Err(Error::Refused(problems)) => {
                faults.extend(problems.into_iter().map(|problem| Fault {
                    record: place,
                    path: problem.path,
                    code: problem.code,
                    message: problem.message,
                }));
            }
            // Checks refuse; nothing else comes of them.
            Err(_) => {}
        }
    }
    if faults.is_empty() {
        return Ok(ready);
    }
    faults.truncate(FAULTS_MAX);
    Err(faults)
}

impl Published {
    fn ready(self, checks: &mut Checks, today: NaiveDate) -> Ready {
        let required = |checks: &mut Checks, path: &str, text: Option<&str>, most| {
            checks.text(path, text.unwrap_or_default(), most)
        };
        let number = required(
            checks,
            "RecallNumber",
            self.recall_number.as_deref(),
            LINE_MAX,
        );
        let title = required(checks, "Title", self.title.as_deref(), TEXT_MAX);
        let published_on = self.published_on(checks, today);
        let hazard = checks.text("Hazards", &joined(&self.hazards), TEXT_MAX);
        let remedy = checks.text("Remedies", &joined(&self.remedies), TEXT_MAX);
        let url = checks.text_if_any("URL", self.url.as_deref(), TEXT_MAX);
        if let Some(url) = &url
            && !(url.starts_with("https://") || url.starts_with("http://"))
        {
            checks.refuse(ProblemCode::Malformed, "URL", "This is no web address.");
        }
        let products = self.products();
        if products.len() > PRODUCTS_MAX {
            let words = format!("A recall is about {PRODUCTS_MAX} products at most.");
            checks.refuse(ProblemCode::OutOfRange, "Products", words);
        }
        let says_models = products
            .iter()
            .all(|product| product.model_pattern.is_some());
        let says_makes = (self.products.iter()).all(|product| product.make.is_some())
            && !self.products.is_empty();
        let rows = (products.iter().take(PRODUCTS_MAX).enumerate())
            .map(|(at, product)| product.row(checks, &format!("Products.{at}.")))
            .collect();
        Ready {
            row: recall::ActiveModel {
                source: Set(SOURCE.to_owned()),
                number: Set(number.clone()),
                published_on: Set(published_on),
                title: Set(title),
                hazard: Set(hazard),
                remedy: Set(remedy),
                url: Set(url),
                products_print: Set(Some(print_of(&products))),
                ..Default::default()
            },
            number,
            products: rows,
            says_models,
            says_makes,
        }
    }

    /// The day, with or without a time behind it.
    fn published_on(&self, checks: &mut Checks, today: NaiveDate) -> NaiveDate {
        let text = self.recall_date.as_deref().unwrap_or_default().trim();
        let day = text.get(..10).unwrap_or(text);
        if let Ok(day) = NaiveDate::parse_from_str(day, "%Y-%m-%d") {
            return checks.not_after("RecallDate", day, today);
        }
        let words = format!("{text:?} is no day; write it like 2026-03-25.");
        checks.refuse(ProblemCode::Malformed, "RecallDate", words);
        today
    }

    /// The company that stands for the make where a product says none.
    fn company(&self) -> String {
        let all = [&self.manufacturers, &self.importers, &self.distributors];
        let named = all.into_iter().flatten();
        let named = named.filter_map(|named| named.name.as_deref()?.split(',').next());
        let mut named = named.map(str::trim);
        // A name without a letter or digit that plates could have is none.
        let company = named.find(|name| SerialKey::parse(name).is_ok());
        company
            .unwrap_or(NOT_STATED)
            .chars()
            .take(LINE_MAX)
            .collect()
    }

    /// One product for each that is named, and one for all of a company's where none is.
    fn products(&self) -> Vec<NewProduct> {
        let company = self.company();
        let models = |product: &PublishedProduct| {
            let said = product
                .model_pattern
                .as_deref()
                .or(product.model.as_deref());
            said.map(str::trim)
                .filter(|said| !said.is_empty())
                .map(str::to_owned)
        };
        let unnamed = [PublishedProduct::default()];
        let all = match self.products.as_slice() {
            [] => &unnamed[..],
            named => named,
        };
        let made = all.iter().map(|product| {
            let words = product.name.as_deref().or(self.description.as_deref());
            NewProduct {
                make: product.make.clone().unwrap_or_else(|| company.clone()),
                model_pattern: models(product),
                serial_from: product.serial_from.clone(),
                serial_through: product.serial_through.clone(),
                description: words.map(|words| words.chars().take(TEXT_MAX).collect()),
            }
        });
        distinct(made.collect())
    }
}

/// What is named, as one text; that nothing is where nothing is.
fn joined(named: &[Named]) -> String {
    let names = named.iter().filter_map(|named| named.name.as_deref());
    let names = names.map(str::trim).filter(|name| !name.is_empty());
    let words = names.collect::<Vec<_>>().join(" ");
    if words.is_empty() {
        return format!("{NOT_STATED}.");
    }
    words
}
