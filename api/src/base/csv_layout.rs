//! CSV by a layout that somebody saved: letters, records, columns, cells. Banks' files and payers' advices come so.
//!
//! What must stay true: every fault names its line and, where it is about a cell, its column; a cell that could be read in
//! two ways is refused, never guessed; a file that is wrong in one place is taken nowhere.

use chrono::{Days, NaiveDate};
use encoding_rs::WINDOWS_1252;
use nameplate_entities::kinds::{BankDelimiter, BankEncoding, DateOrder, DecimalSign};
use nameplate_rules::banking::cells::{self, CellFault, Written, read_amount, read_day};
use nameplate_rules::money::Cents;

use super::check::{AMOUNT_MAX, Checks, LINE_MAX};
use super::error::ProblemCode;
use super::records::{Decoder, Record};

/// Bytes of one file.
pub const FILE_MAX: usize = 4 * 1024 * 1024;
/// Columns of a file.
pub const COLUMNS_MAX: usize = 256;
/// Faults told of one file.
pub const FAULTS_MAX: usize = 50;
/// The longest text of a cell.
pub const WORDS_MAX: usize = 1_000;
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
    /// At this line and column.
    pub fn new(
        line: i64,
        column: Option<&str>,
        code: ProblemCode,
        message: impl Into<String>,
    ) -> Self {
        Self {
            line,
            column: column.map(str::to_owned),
            code,
            message: message.into(),
        }
    }
}

/// What was read, or what is wrong with the file, at most [`FAULTS_MAX`] of it.
pub type Read<T> = std::result::Result<T, Vec<Fault>>;

/// The name of a column in a layout: what the first line calls it, or without such a line its place, from 1.
pub fn checked_column(checks: &mut Checks, (path, name): (&str, &str), has_header: bool) -> String {
    let name = checks.text(path, name, LINE_MAX);
    let is_place = name
        .parse::<usize>()
        .is_ok_and(|place| (1..=COLUMNS_MAX).contains(&place));
    if !has_header && !name.is_empty() && !is_place {
        let message = format!(
            "Without a first line of names a column is named by its place, 1 to {COLUMNS_MAX}."
        );
        checks.refuse(ProblemCode::Malformed, path, message);
    }
    name
}

/// The same for a column that there need not be.
pub fn checked_column_if_any(
    checks: &mut Checks,
    (path, name): (&str, Option<&str>),
    has_header: bool,
) -> Option<String> {
    let name = name.filter(|name| !name.trim().is_empty())?;
    Some(checked_column(checks, (path, name), has_header))
}

/// Refuses columns that stand where another one does: an amount cannot be a day.
pub fn check_apart<'a>(
    checks: &mut Checks,
    columns: impl IntoIterator<Item = (&'a str, Option<&'a String>)>,
) {
    let mut taken = Vec::new();
    for (path, name) in columns {
        let Some(name) = name else { continue };
        if taken.contains(&name) {
            let message = format!("Column {name} holds something else already.");
            checks.refuse(ProblemCode::Malformed, path, message);
        }
        taken.push(name);
    }
}

/// How a file is written.
pub struct Format {
    pub delimiter: BankDelimiter,
    pub has_header: bool,
    pub encoding: BankEncoding,
    pub date_order: DateOrder,
    pub decimal_sign: DecimalSign,
    /// The shop's; other money is refused.
    pub currency: String,
    /// No line is of a later day.
    pub today: NaiveDate,
}

/// The records of a file.
pub struct Rows {
    pub header: Option<Row>,
    /// Those with anything in them.
    pub rows: Vec<Row>,
}

/// A record with its fields as text.
pub struct Row {
    pub line: i64,
    fields: Vec<String>,
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

impl Format {
    /// The records of a file of so many lines at most.
    ///
    /// # Errors
    /// The first fault that keeps the file from being cut into records.
    pub fn rows(&self, bytes: &[u8], lines_max: usize) -> Read<Rows> {
        let text = self.text(bytes).map_err(|fault| vec![fault])?;
        let mut rows = self.records(&text).map_err(|fault| vec![fault])?;
        if rows.len() > lines_max {
            let message = format!("A file has at most {lines_max} lines; send it in parts.");
            return Err(vec![Fault::new(1, None, ProblemCode::OutOfRange, message)]);
        }
        let header = if self.has_header && !rows.is_empty() {
            Some(rows.remove(0))
        } else {
            None
        };
        rows.retain(|row| !row.is_blank());
        Ok(Rows { header, rows })
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

    fn records(&self, text: &str) -> std::result::Result<Vec<Row>, Fault> {
        let mut decoder = Decoder::new(match self.delimiter {
            BankDelimiter::Comma => b',',
            BankDelimiter::Semicolon => b';',
            BankDelimiter::Tab => b'\t',
            BankDelimiter::Bar => b'|',
        });
        let mut rows = Vec::new();
        let mut take = |record: Record<'_>| rows.push(Row::of(&record));
        for piece in [text.as_bytes(), &[]] {
            decoder.feed(piece, &mut take).map_err(|no_list| {
                let message = no_list.to_string();
                Fault::new(no_list.line(), None, ProblemCode::Malformed, message)
            })?;
        }
        Ok(rows)
    }

    fn order(&self) -> cells::DateOrder {
        match self.date_order {
            DateOrder::YearMonthDay => cells::DateOrder::YearMonthDay,
            DateOrder::MonthDayYear => cells::DateOrder::MonthDayYear,
            DateOrder::DayMonthYear => cells::DateOrder::DayMonthYear,
        }
    }

    fn sign(&self) -> cells::DecimalSign {
        match self.decimal_sign {
            DecimalSign::Point => cells::DecimalSign::Point,
            DecimalSign::Comma => cells::DecimalSign::Comma,
        }
    }
}

/// Where a column stands, and what the layout calls it.
#[derive(Clone, Copy)]
pub struct Place<'a> {
    at: usize,
    pub name: &'a str,
}

/// Looks for the columns of a layout: by the name in the first line, else by the place.
pub struct Finder<'h> {
    header: Option<&'h Row>,
    faults: Vec<Fault>,
}

impl<'h> Finder<'h> {
    /// In a file with this first line.
    pub fn new(header: Option<&'h Row>) -> Self {
        Self {
            header,
            faults: Vec::new(),
        }
    }

    /// The column of this name.
    pub fn must<'a>(&mut self, name: &'a str) -> Place<'a> {
        let same = |field: &String| field.trim().eq_ignore_ascii_case(name);
        let named = self
            .header
            .and_then(|header| header.fields.iter().position(same));
        let fields = self.header.iter().flat_map(|header| &header.fields);
        if fields.filter(|field| same(field)).count() > 1 {
            let message = "The first line has more than one column of this name.";
            let fault = Fault::new(1, Some(name), ProblemCode::Malformed, message);
            self.faults.push(fault);
        }
        let placed = || name.parse::<usize>().ok()?.checked_sub(1);
        let at = named.or_else(placed).filter(|at| *at < COLUMNS_MAX);
        if at.is_none() {
            let message = "The first line has no column of this name.";
            let fault = Fault::new(1, Some(name), ProblemCode::Missing, message);
            self.faults.push(fault);
        }
        Place {
            at: at.unwrap_or_default(),
            name,
        }
    }

    /// The column of this name, if the layout has one.
    pub fn may<'a>(&mut self, name: Option<&'a String>) -> Option<Place<'a>> {
        name.map(|name| self.must(name))
    }

    /// All were there.
    ///
    /// # Errors
    /// A fault for each that was not.
    pub fn finish(self) -> Read<()> {
        if self.faults.is_empty() {
            Ok(())
        } else {
            Err(self.faults)
        }
    }
}

/// Most lines named that are too wide.
const WIDE_MAX: usize = 50;

/// Lines that have more fields than the first line has names: an amount with its thousands apart by a comma, most likely.
///
/// # Errors
/// A fault for each.
pub fn check_widths(rows: &Rows) -> Read<()> {
    let Some(header) = &rows.header else {
        return Ok(());
    };
    let width = header.fields.len();
    let is_wide = |row: &&Row| {
        let beyond = row.fields.iter().skip(width);
        beyond.clone().any(|field| !field.trim().is_empty())
    };
    let faults: Vec<Fault> = (rows.rows.iter().filter(is_wide).take(WIDE_MAX))
        .map(|row| {
            let message = "This line has more columns than the first line names.";
            Fault::new(row.line, None, ProblemCode::Malformed, message)
        })
        .collect();
    if faults.is_empty() {
        Ok(())
    } else {
        Err(faults)
    }
}

/// The cells of one line, and what is wrong with them.
pub struct Cells<'a> {
    row: &'a Row,
    format: &'a Format,
    faults: Vec<Fault>,
}

impl<'a> Cells<'a> {
    /// Of this line.
    pub fn of(row: &'a Row, format: &'a Format) -> Self {
        Self {
            row,
            format,
            faults: Vec::new(),
        }
    }

    /// Adds a fault, of this cell or of the whole line.
    pub fn add(&mut self, place: Option<Place<'_>>, code: ProblemCode, message: impl Into<String>) {
        let name = place.map(|place| place.name);
        self.faults
            .push(Fault::new(self.row.line, name, code, message));
    }

    /// Adds what the rules say of a cell.
    pub fn refuse(&mut self, place: Place<'_>, fault: CellFault) {
        let mut message = fault.to_string();
        if let Some(first) = message.get(..1).map(str::to_uppercase) {
            message.replace_range(..1, &first);
        }
        self.add(Some(place), ProblemCode::Malformed, format!("{message}."));
    }

    fn taken<T>(&mut self, place: Place<'_>, read: std::result::Result<T, CellFault>) -> Option<T> {
        read.map_err(|fault| self.refuse(place, fault)).ok()
    }

    /// What stands in a cell, with single blanks; none for nothing.
    pub fn text(&mut self, place: Option<Place<'_>>, characters_max: usize) -> Option<String> {
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

    /// A day that is not to come, and within ten years.
    pub fn day(&mut self, place: Place<'_>) -> Option<NaiveDate> {
        let text = self.text(Some(place), LINE_MAX).unwrap_or_default();
        self.day_of(place, &text)
    }

    /// The same for a cell that may be empty.
    pub fn day_if_any(&mut self, place: Place<'_>) -> Option<NaiveDate> {
        let text = self.text(Some(place), LINE_MAX)?;
        self.day_of(place, &text)
    }

    fn day_of(&mut self, place: Place<'_>, text: &str) -> Option<NaiveDate> {
        let on = self.taken(place, read_day(text, self.format.order()))?;
        let today = self.format.today;
        if on > today || on < today - Days::new(DAYS_BACK_MAX) {
            let message = format!("{on} is still to come, or over ten years ago.");
            self.add(Some(place), ProblemCode::ImpossibleDate, message);
            return None;
        }
        Some(on)
    }

    /// An amount as it is written, of any size.
    pub fn written(&mut self, place: Place<'_>, written: Written<'_>) -> Option<Cents> {
        let read = read_amount(written, self.format.sign(), &self.format.currency);
        self.taken(place, read)
    }

    /// An amount as it is written, of a size that a figure of a small shop can be.
    pub fn amount(&mut self, place: Place<'_>, written: Written<'_>) -> Option<Cents> {
        let amount = self.written(place, written)?;
        if amount.0.unsigned_abs() > AMOUNT_MAX.0.unsigned_abs() {
            let message = format!("{amount} is above {AMOUNT_MAX}; check the figure.");
            self.add(Some(place), ProblemCode::OutOfRange, message);
            return None;
        }
        Some(amount)
    }

    /// Whether nothing is wrong so far.
    pub fn is_clean(&self) -> bool {
        self.faults.is_empty()
    }

    /// What was made of the cells.
    ///
    /// # Errors
    /// Every fault of the line.
    pub fn finish<T>(self, made: T) -> Read<T> {
        if self.faults.is_empty() {
            Ok(made)
        } else {
            Err(self.faults)
        }
    }
}
