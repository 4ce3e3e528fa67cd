//! A bank's file as lines: letters, records, columns, cells. Every fault names its line and column.

use chrono::{Days, NaiveDate};
use encoding_rs::WINDOWS_1252;
use nameplate_entities::bank_layout;
use nameplate_entities::kinds::{BankDelimiter, BankEncoding, DateOrder, DecimalSign};
use nameplate_rules::banking::cells::{self, CellFault, Written, is_shops, read_amount, read_day};
use nameplate_rules::money::Cents;

use crate::base::check::{AMOUNT_MAX, LINE_MAX};
use crate::base::digest::sha256;
use crate::base::records::{Decoder, Record};
use crate::base::{ProblemCode, Result};

use super::super::layouts::BankColumns;

/// Columns of a file.
pub const COLUMNS_MAX: usize = 256;
/// Faults told of one file.
pub const FAULTS_MAX: usize = 50;
/// Lines of one file.
const LINES_MAX: usize = 20_000;
/// The longest text of a line.
const WORDS_MAX: usize = 1_000;
/// How old a line may be.
const DAYS_BACK_MAX: u64 = 3_660;

/// One thing wrong with a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// From 1.
    pub line: i64,
    /// As the layout names it; none where the whole line is meant.
    pub column: Option<String>,
    pub code: ProblemCode,
    pub message: String,
}

impl Fault {
    fn new(line: i64, column: Option<&str>, code: ProblemCode, message: impl Into<String>) -> Self {
        Self {
            line,
            column: column.map(str::to_owned),
            code,
            message: message.into(),
        }
    }
}

/// One line of a file, read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadLine {
    pub line: i64,
    pub on: NaiveDate,
    /// Above zero for money in.
    pub amount: Cents,
    pub words: String,
    pub payee: Option<String>,
    pub reference: Option<String>,
    pub bank_key: Option<String>,
    pub balance: Option<Cents>,
}

impl ReadLine {
    /// What tells it from other lines of its account.
    pub fn same_key(&self) -> String {
        let optional = |text: &Option<String>| text.clone().unwrap_or_default();
        let key = if let Some(id) = &self.bank_key {
            format!("id\n{id}")
        } else {
            format!(
                "line\n{}\n{}\n{}\n{}\n{}",
                self.on,
                self.amount.0,
                self.words,
                optional(&self.payee),
                optional(&self.reference)
            )
        };
        sha256(key.as_bytes())
    }

    /// A fault of this line as a whole.
    pub fn fault(&self, code: ProblemCode, message: &str) -> Fault {
        Fault::new(self.line, None, code, message)
    }
}

/// A file that was read.
pub struct ReadFile {
    pub lines: Vec<ReadLine>,
    pub empty_count: usize,
}

/// Reads files by one layout.
pub struct Reader {
    delimiter: u8,
    has_header: bool,
    encoding: BankEncoding,
    order: cells::DateOrder,
    sign: cells::DecimalSign,
    columns: BankColumns,
    currency: String,
    today: NaiveDate,
}

/// Where each column stands, from 0, and how the layout names it.
#[derive(Clone, Copy)]
struct Place<'a> {
    at: usize,
    name: &'a str,
}

struct Places<'a> {
    day: Place<'a>,
    amount: Option<Place<'a>>,
    money_in: Option<Place<'a>>,
    money_out: Option<Place<'a>>,
    words: Place<'a>,
    payee: Option<Place<'a>>,
    reference: Option<Place<'a>>,
    bank_key: Option<Place<'a>>,
    balance: Option<Place<'a>>,
    currency: Option<Place<'a>>,
}

/// A record with its fields as text.
struct Row {
    line: i64,
    fields: Vec<String>,
}

impl Reader {
    /// For the files of this layout.
    ///
    /// # Errors
    /// Internal, when the row holds what could not have been saved.
    pub fn new(layout: &bank_layout::Model, currency: &str, today: NaiveDate) -> Result<Self> {
        Ok(Self {
            delimiter: match layout.delimiter {
                BankDelimiter::Comma => b',',
                BankDelimiter::Semicolon => b';',
                BankDelimiter::Tab => b'\t',
                BankDelimiter::Bar => b'|',
            },
            has_header: layout.has_header,
            encoding: layout.encoding,
            order: match layout.date_order {
                DateOrder::YearMonthDay => cells::DateOrder::YearMonthDay,
                DateOrder::MonthDayYear => cells::DateOrder::MonthDayYear,
                DateOrder::DayMonthYear => cells::DateOrder::DayMonthYear,
            },
            sign: match layout.decimal_sign {
                DecimalSign::Point => cells::DecimalSign::Point,
                DecimalSign::Comma => cells::DecimalSign::Comma,
            },
            columns: BankColumns::of(layout)?,
            currency: currency.to_owned(),
            today,
        })
    }

    /// The lines of a file, in its order.
    ///
    /// # Errors
    /// Faults, at most [`FAULTS_MAX`].
    pub fn read(&self, bytes: &[u8]) -> std::result::Result<ReadFile, Vec<Fault>> {
        let text = self.text(bytes).map_err(|fault| vec![fault])?;
        let rows = self.rows(&text).map_err(|fault| vec![fault])?;
        let (header, rows) = match rows.split_first() {
            Some((header, rows)) if self.has_header => (Some(header), rows),
            _ => (None, rows.as_slice()),
        };
        let places = Places::find(&self.columns, header)?;
        let mut file = ReadFile {
            lines: Vec::with_capacity(rows.len()),
            empty_count: 0,
        };
        let mut faults = Vec::new();
        for row in rows.iter().filter(|row| !row.is_blank()) {
            match self.line(row, &places) {
                Ok(Some(line)) => file.lines.push(line),
                Ok(None) => file.empty_count += 1,
                Err(of_line) => faults.extend(of_line),
            }
            if faults.len() >= FAULTS_MAX {
                break;
            }
        }
        faults.extend(twice(&file.lines, self.columns.bank_key.as_deref()));
        if faults.is_empty() && file.lines.is_empty() {
            let message = "There is no line with an amount in this file.";
            faults.push(Fault::new(1, None, ProblemCode::Missing, message));
        }
        if faults.is_empty() {
            return Ok(file);
        }
        faults.truncate(FAULTS_MAX);
        Err(faults)
    }

    /// The file as text.
    fn text(&self, bytes: &[u8]) -> std::result::Result<String, Fault> {
        let fault = |line, message: &str| Fault::new(line, None, ProblemCode::Malformed, message);
        if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
            let message = "This file is in UTF-16. Export it as CSV in UTF-8 or Windows-1252.";
            return Err(fault(1, message));
        }
        match (self.encoding, std::str::from_utf8(bytes)) {
            (BankEncoding::Utf8, Ok(text)) => Ok(text.to_owned()),
            (BankEncoding::Utf8, Err(error)) => {
                let (before, _) = bytes
                    .split_at_checked(error.valid_up_to())
                    .unwrap_or_default();
                let lines = before.split(|byte| *byte == b'\n').count();
                let line = i64::try_from(lines).unwrap_or(i64::MAX);
                let message = "This line is not in UTF-8; most likely the file is in Windows-1252.";
                Err(fault(line, message))
            }
            (BankEncoding::Windows1252, Ok(text)) if !text.is_ascii() => {
                let message = "This file is in UTF-8, and the layout says Windows-1252.";
                Err(fault(1, message))
            }
            (BankEncoding::Windows1252, _) => {
                let (text, _) = WINDOWS_1252.decode_without_bom_handling(bytes);
                Ok(text.into_owned())
            }
        }
    }

    /// The records of the file.
    fn rows(&self, text: &str) -> std::result::Result<Vec<Row>, Fault> {
        let mut decoder = Decoder::new(self.delimiter);
        let mut rows = Vec::new();
        let mut take = |record: Record<'_>| rows.push(Row::of(&record));
        for piece in [text.as_bytes(), &[]] {
            decoder.feed(piece, &mut take).map_err(|no_list| {
                let message = no_list.to_string();
                Fault::new(no_list.line(), None, ProblemCode::Malformed, message)
            })?;
        }
        if rows.len() > LINES_MAX {
            let message = format!("A file has at most {LINES_MAX} lines; export fewer days.");
            return Err(Fault::new(1, None, ProblemCode::OutOfRange, message));
        }
        Ok(rows)
    }

    /// One line; none where it has no amount.
    fn line(
        &self,
        row: &Row,
        places: &Places<'_>,
    ) -> std::result::Result<Option<ReadLine>, Vec<Fault>> {
        let mut cells = Cells {
            row,
            faults: Vec::new(),
        };
        let on = self.day(&mut cells, places.day);
        let amount = self.amount(&mut cells, places);
        if let Some(place) = places.currency {
            let code = cells.text(Some(place), LINE_MAX).unwrap_or_default();
            if !is_shops(&code, &self.currency) {
                cells.refuse(place, CellFault::OtherCurrency);
            }
        }
        let balance = places.balance.and_then(|place| {
            let text = cells.text(Some(place), LINE_MAX)?;
            let read = read_amount(Written::Signed(&text), self.sign, &self.currency);
            cells.taken(place, read)
        });
        let line = ReadLine {
            line: row.line,
            on: on.unwrap_or(self.today),
            amount: amount.unwrap_or(Cents::ZERO),
            words: cells
                .text(Some(places.words), WORDS_MAX)
                .unwrap_or_default(),
            payee: cells.text(places.payee, WORDS_MAX),
            reference: cells.text(places.reference, WORDS_MAX),
            bank_key: cells.text(places.bank_key, LINE_MAX),
            balance,
        };
        if !cells.faults.is_empty() {
            return Err(cells.faults);
        }
        Ok(Some(line).filter(|line| line.amount != Cents::ZERO))
    }

    fn day(&self, cells: &mut Cells<'_>, place: Place<'_>) -> Option<NaiveDate> {
        let text = cells.text(Some(place), LINE_MAX).unwrap_or_default();
        let on = cells.taken(place, read_day(&text, self.order))?;
        let earliest = self.today - Days::new(DAYS_BACK_MAX);
        if on > self.today || on < earliest {
            let message = format!("{on} is still to come, or over ten years ago.");
            cells.add(Some(place), ProblemCode::ImpossibleDate, message);
            return None;
        }
        Some(on)
    }

    fn amount(&self, cells: &mut Cells<'_>, places: &Places<'_>) -> Option<Cents> {
        let text = |cells: &mut Cells<'_>, place| cells.text(place, LINE_MAX).unwrap_or_default();
        let (place, read) = match (places.amount, places.money_in) {
            (Some(place), _) => {
                let amount = text(cells, Some(place));
                let written = Written::Signed(&amount);
                (place, read_amount(written, self.sign, &self.currency))
            }
            (None, money_in) => {
                let (inward, out) = (text(cells, money_in), text(cells, places.money_out));
                let written = Written::InOrOut {
                    money_in: &inward,
                    out: &out,
                };
                let place = money_in.or(places.money_out)?;
                (place, read_amount(written, self.sign, &self.currency))
            }
        };
        let amount = cells.taken(place, read)?;
        if amount.0.unsigned_abs() > AMOUNT_MAX.0.unsigned_abs() {
            let message = format!("{amount} is above {AMOUNT_MAX}; check the figure.");
            cells.add(Some(place), ProblemCode::OutOfRange, message);
            return None;
        }
        Some(amount)
    }
}

/// The cells of one line, and what is wrong with them.
struct Cells<'a> {
    row: &'a Row,
    faults: Vec<Fault>,
}

impl Cells<'_> {
    fn add(&mut self, place: Option<Place<'_>>, code: ProblemCode, message: impl Into<String>) {
        let name = place.map(|place| place.name);
        self.faults
            .push(Fault::new(self.row.line, name, code, message));
    }

    fn refuse(&mut self, place: Place<'_>, fault: CellFault) {
        let mut message = fault.to_string();
        if let Some(first) = message.get(..1).map(str::to_uppercase) {
            message.replace_range(..1, &first);
        }
        self.add(Some(place), ProblemCode::Malformed, format!("{message}."));
    }

    fn taken<T>(&mut self, place: Place<'_>, read: std::result::Result<T, CellFault>) -> Option<T> {
        read.map_err(|fault| self.refuse(place, fault)).ok()
    }

    /// What stands in a cell, trimmed; none for nothing.
    fn text(&mut self, place: Option<Place<'_>>, characters_max: usize) -> Option<String> {
        let place = place?;
        let Some(text) = self.row.fields.get(place.at) else {
            let message = "This line ends before this column.";
            self.add(Some(place), ProblemCode::Missing, message);
            return None;
        };
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        if text.chars().count() > characters_max {
            let message = format!("This takes at most {characters_max} characters.");
            self.add(Some(place), ProblemCode::TooLong, message);
        } else if text.chars().any(char::is_control) {
            let message = "This holds control characters; the encoding is most likely another.";
            self.add(Some(place), ProblemCode::Malformed, message);
        }
        Some(text).filter(|text| !text.is_empty())
    }
}

impl Row {
    fn of(record: &Record<'_>) -> Self {
        let fields = (0..record.field_count()).filter_map(|at| record.field(at));
        Self {
            line: record.line,
            fields: fields
                .map(|field| String::from_utf8_lossy(field).into_owned())
                .collect(),
        }
    }

    fn is_blank(&self) -> bool {
        self.fields.iter().all(|field| field.trim().is_empty())
    }
}

impl<'a> Places<'a> {
    /// Looks for each column: by its name in the header, else by its place.
    fn find(
        columns: &'a BankColumns,
        header: Option<&Row>,
    ) -> std::result::Result<Self, Vec<Fault>> {
        let mut faults = Vec::new();
        let mut must = |name: &'a str| {
            let named = header.and_then(|header| {
                let same = |field: &String| field.trim().eq_ignore_ascii_case(name);
                header.fields.iter().position(same)
            });
            let placed = || name.parse::<usize>().ok()?.checked_sub(1);
            let at = named.or_else(placed).filter(|at| *at < COLUMNS_MAX);
            if at.is_none() {
                let message = "The first line has no column of this name.";
                faults.push(Fault::new(1, Some(name), ProblemCode::Missing, message));
            }
            Place {
                at: at.unwrap_or_default(),
                name,
            }
        };
        let (day, words) = (must(&columns.day), must(&columns.words));
        let mut may = |name: &'a Option<String>| name.as_deref().map(&mut must);
        let places = Self {
            day,
            words,
            amount: may(&columns.amount),
            money_in: may(&columns.money_in),
            money_out: may(&columns.money_out),
            payee: may(&columns.payee),
            reference: may(&columns.reference),
            bank_key: may(&columns.bank_key),
            balance: may(&columns.balance),
            currency: may(&columns.currency),
        };
        if faults.is_empty() {
            Ok(places)
        } else {
            Err(faults)
        }
    }
}

/// Lines that bear an id of the bank's which another line bears.
fn twice(lines: &[ReadLine], column: Option<&str>) -> Vec<Fault> {
    let mut seen = std::collections::HashSet::new();
    let ids = lines
        .iter()
        .filter_map(|line| Some((line, line.bank_key.as_deref()?)));
    ids.filter(|(_, id)| !seen.insert(*id))
        .map(|(line, _)| {
            let message = "Another line of this file has the same id of the bank's.";
            Fault::new(line.line, column, ProblemCode::Malformed, message)
        })
        .collect()
}
