//! Reading a file of recalls record by record: what can be taken of each, and what is odd about it.

use std::collections::HashSet;

use chrono::NaiveDate;
use nameplate_entities::{recall, recall_product};
use nameplate_rules::recall::is_pattern;
use nameplate_rules::serial::SerialKey;
use sea_orm::ActiveValue::Set;
use serde::{Deserialize, Deserializer};

use super::operations::{NewProduct, PRODUCTS_MAX, distinct, pattern};
use crate::base::check::{self, LINE_MAX, TEXT_MAX};
use crate::base::digest::sha256;
use crate::base::{Checks, Error, ProblemCode};

/// Records of one file.
const RECORDS_MAX: usize = 2_000;
/// Oddities named of one file; all are counted.
const FAULTS_MAX: usize = 50;
/// In place of what a publisher left out.
const NOT_STATED: &str = "Not stated by the publisher";
/// Who publishes this layout.
pub const SOURCE: &str = "U.S. Consumer Product Safety Commission";

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

/// What a file brought, or would bring.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Taken {
    pub new_count: usize,
    /// On record already, and now as the file has them.
    pub changed_count: usize,
    pub same_count: usize,
    /// Records whose products say no model, so that the desk has to.
    pub without_model_count: usize,
    /// Records of which a make is only a company's name, or not stated, so that the desk has to say what plates say.
    pub make_of_company_count: usize,
    /// Records that were not taken: they have no number or no day that reads, or are there twice.
    pub passed_over_count: usize,
    /// Records of which something was dropped or cut.
    pub mended_count: usize,
    /// What was odd, record by record; the first 50.
    pub oddities: Vec<Fault>,
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
pub struct Ready {
    pub number: String,
    /// The notice, with the print of the products that its publisher names.
    pub row: recall::ActiveModel,
    pub products: Vec<recall_product::ActiveModel>,
    pub says_models: bool,
    pub says_makes: bool,
}

/// What a file holds: the records that can be written, and what was odd.
pub struct Read {
    pub ready: Vec<Ready>,
    pub taken: Taken,
}

impl Read {
    fn note(&mut self, record: usize, checks: Checks) {
        let Err(Error::Refused(problems)) = checks.finish() else {
            return;
        };
        let room = FAULTS_MAX.saturating_sub(self.taken.oddities.len());
        let faults = problems.into_iter().take(room).map(|problem| Fault {
            record,
            path: problem.path,
            code: problem.code,
            message: problem.message,
        });
        self.taken.oddities.extend(faults);
    }
}

/// The records of a file, or why it is none.
pub fn read(bytes: &[u8], today: NaiveDate) -> std::result::Result<Read, Fault> {
    let whole = |code, message: String| Fault {
        record: 0,
        path: String::new(),
        code,
        message,
    };
    let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let records: Vec<serde_json::Value> = serde_json::from_slice(text).map_err(|error| {
        let words = format!("This is no list of recalls in JSON: {error}.");
        whole(ProblemCode::Malformed, words)
    })?;
    if records.is_empty() || records.len() > RECORDS_MAX {
        let words = format!(
            "A file holds 1 to {RECORDS_MAX} recalls; this has {}. Ask the publisher for fewer days.",
            records.len()
        );
        return Err(whole(ProblemCode::OutOfRange, words));
    }
    let mut read = Read {
        ready: Vec::with_capacity(records.len()),
        taken: Taken::default(),
    };
    let mut seen = HashSet::new();
    for (place, record) in (1..).zip(records) {
        let (mut faults, mut mended) = (Checks::new(), Checks::new());
        let made = match serde_json::from_value::<Published>(record) {
            Ok(record) => Some(record.ready(&mut faults, &mut mended, today)),
            Err(error) => {
                let words = format!("This is no recall of the layout: {error}.");
                faults.refuse(ProblemCode::Malformed, "", words);
                None
            }
        };
        let made = made.filter(|_| faults.is_clean());
        if let Some(made) = &made
            && !seen.insert(made.number.clone())
        {
            let words = format!("Recall {} is in this file twice.", made.number);
            faults.refuse(ProblemCode::Taken, "RecallNumber", words);
        }
        if let Some(made) = made.filter(|_| faults.is_clean()) {
            read.taken.mended_count += usize::from(!mended.is_clean());
            read.ready.push(made);
            read.note(place, mended);
        } else {
            read.taken.passed_over_count += 1;
            read.note(place, faults);
        }
    }
    Ok(read)
}

/// A text without the characters that have no width.
fn with_width(text: &str) -> String {
    let seen = text
        .chars()
        .filter(|letter| !check::is_without_width(*letter));
    seen.collect()
}

/// A text as it can be kept: what has no width is left out, what no field can show is blank, and what is too long is cut.
fn fitting(mended: &mut Checks, path: &str, text: &str, characters_max: usize) -> String {
    let blanked: String = with_width(text)
        .chars()
        .map(|letter| {
            let is_odd = check::is_unprintable(letter, characters_max);
            if is_odd { ' ' } else { letter }
        })
        .collect();
    let whole = blanked.trim();
    let kept: String = whole.chars().take(characters_max).collect();
    if kept.len() < whole.len() {
        let words = format!("Cut after {characters_max} characters.");
        mended.refuse(ProblemCode::TooLong, path, words);
    }
    kept.trim_end().to_owned()
}

impl Published {
    /// The record as it is written; `faults` tell why it is not, and `mended` what was dropped or cut.
    fn ready(self, faults: &mut Checks, mended: &mut Checks, today: NaiveDate) -> Ready {
        let number = self.recall_number.as_deref().unwrap_or_default();
        let number = faults.text("RecallNumber", &with_width(number), LINE_MAX);
        let published_on = self.published_on(faults, today);
        let stated = |text: String| {
            if text.is_empty() {
                format!("{NOT_STATED}.")
            } else {
                text
            }
        };
        let title = self.title.as_deref().unwrap_or_default();
        let title = stated(fitting(mended, "Title", title, TEXT_MAX));
        let hazard = stated(fitting(mended, "Hazards", &joined(&self.hazards), TEXT_MAX));
        let remedy = stated(fitting(
            mended,
            "Remedies",
            &joined(&self.remedies),
            TEXT_MAX,
        ));
        let url = self.url(mended);
        let named = self.products(mended);
        let products = named.get(..PRODUCTS_MAX).unwrap_or(&named);
        if products.len() < named.len() {
            let words = format!(
                "Of {} products the first {PRODUCTS_MAX} are taken; say the others (setRecallProducts).",
                named.len()
            );
            mended.refuse(ProblemCode::OutOfRange, "Products", words);
        }
        let says_models = products
            .iter()
            .all(|product| product.model_pattern.is_some());
        let says_makes =
            (self.products.iter()).all(PublishedProduct::says_make) && !self.products.is_empty();
        let rows = (products.iter().enumerate())
            .map(|(at, product)| product.row(faults, &format!("Products.{at}.")))
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
                products_print: Set(Some(print_of(products))),
                ..Default::default()
            },
            number,
            products: rows,
            says_models,
            says_makes,
        }
    }

    /// The address of the notice, if it is one.
    fn url(&self, mended: &mut Checks) -> Option<String> {
        let url = self.url.as_deref().map(with_width)?;
        let url = Some(url.trim()).filter(|url| !url.is_empty())?;
        let is_odd = |letter: char| check::is_unprintable(letter, LINE_MAX);
        let is_address = (url.starts_with("https://") || url.starts_with("http://"))
            && url.chars().count() <= TEXT_MAX
            && !url.chars().any(is_odd);
        if !is_address {
            let words = "Dropped, as this is no web address.";
            mended.refuse(ProblemCode::Malformed, "URL", words);
        }
        is_address.then(|| url.to_owned())
    }

    /// The day, with or without a time behind it.
    fn published_on(&self, checks: &mut Checks, today: NaiveDate) -> NaiveDate {
        let text = self.recall_date.as_deref().unwrap_or_default().trim();
        let day = text.get(..10).unwrap_or(text);
        if let Ok(day) = NaiveDate::parse_from_str(day, "%Y-%m-%d") {
            return checks.not_after("RecallDate", day, today);
        }
        let shown: String = text.chars().take(LINE_MAX).collect();
        let words = format!("{shown:?} is no day; write it like 2026-03-25.");
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
        let company = company.unwrap_or(NOT_STATED);
        fitting(&mut Checks::new(), "", company, LINE_MAX)
    }

    /// One product for each that is named, and one for all of a company's where none is.
    fn products(&self, mended: &mut Checks) -> Vec<NewProduct> {
        let company = self.company();
        let unnamed = [PublishedProduct::default()];
        let all = match self.products.as_slice() {
            [] => &unnamed[..],
            named => named,
        };
        let made = all.iter().enumerate().map(|(at, product)| {
            let path = |field: &str| format!("Products.{at}.{field}");
            let words = product.name.as_deref().or(self.description.as_deref());
            let words = words.map(|words| fitting(&mut Checks::new(), "", words, TEXT_MAX));
            let (serial_from, serial_through) = product.serials(mended, &path("SerialFrom"));
            NewProduct {
                make: match product.make.as_deref().filter(|_| product.says_make()) {
                    Some(make) => fitting(mended, &path("Make"), make, LINE_MAX),
                    None => company.clone(),
                },
                model_pattern: product.models(mended, &path("ModelPattern")),
                serial_from,
                serial_through,
                description: words.filter(|words| !words.is_empty()),
            }
        });
        distinct(made.collect())
    }
}

impl PublishedProduct {
    /// Whether it names a make that plates could have.
    fn says_make(&self) -> bool {
        (self.make.as_deref()).is_some_and(|make| SerialKey::parse(make).is_ok())
    }

    /// The models, if they read as a pattern.
    fn models(&self, mended: &mut Checks, path: &str) -> Option<String> {
        let said = self.model_pattern.as_deref().or(self.model.as_deref());
        let said = said.map(str::trim).filter(|said| !said.is_empty())?;
        if pattern(said).is_some_and(|pattern| !is_pattern(&pattern)) {
            let words =
                "Dropped, as it does not read; say which models are meant (setRecallProducts).";
            mended.refuse(ProblemCode::Malformed, path, words);
            return None;
        }
        Some(said.to_owned())
    }

    /// First and last serial number; neither where one does not read, so that more machines are looked at and none is missed.
    fn serials(&self, mended: &mut Checks, path: &str) -> (Option<String>, Option<String>) {
        let said = |text: Option<&String>| text.filter(|text| !text.trim().is_empty()).cloned();
        let (from, through) = (
            said(self.serial_from.as_ref()),
            said(self.serial_through.as_ref()),
        );
        let mut both = from.iter().chain(&through);
        if both.all(|text| SerialKey::parse(text).is_ok()) {
            return (from, through);
        }
        let words =
            "Dropped, as a serial number does not read; say which are meant (setRecallProducts).";
        mended.refuse(ProblemCode::Malformed, path, words);
        (None, None)
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
