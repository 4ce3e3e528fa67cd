//! A bank's file as lines: letters, records, columns, cells. Every fault names its line and column.

use chrono::NaiveDate;
use nameplate_entities::bank_layout;
use nameplate_rules::banking::cells::{CellFault, Written, is_shops};
use nameplate_rules::money::Cents;

use crate::base::check::LINE_MAX;
use crate::base::csv_layout::{
    Cells, FAULTS_MAX, Fault, Finder, Format, Place, Read, Row, WORDS_MAX, check_widths,
};
use crate::base::digest::sha256;
use crate::base::{ProblemCode, Result};

use super::super::layouts::BankColumns;

/// Lines of one file.
const LINES_MAX: usize = 20_000;

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
    format: Format,
    columns: BankColumns,
}

/// Where each column of a layout stands in one file.
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

impl Reader {
    /// For the files of this layout.
    ///
    /// # Errors
    /// Internal, when the row holds what could not have been saved.
    pub fn new(layout: &bank_layout::Model, currency: &str, today: NaiveDate) -> Result<Self> {
        Ok(Self {
            format: Format {
                delimiter: layout.delimiter,
                has_header: layout.has_header,
                encoding: layout.encoding,
                date_order: layout.date_order,
                decimal_sign: layout.decimal_sign,
                currency: currency.to_owned(),
                today,
            },
            columns: BankColumns::of(layout)?,
        })
    }

    /// The lines of a file, in its order.
    ///
    /// # Errors
    /// Faults, at most [`FAULTS_MAX`].
    pub fn read(&self, bytes: &[u8]) -> Read<ReadFile> {
        let rows = self.format.rows(bytes, LINES_MAX)?;
        check_widths(&rows)?;
        let places = Places::find(&self.columns, rows.header.as_ref())?;
        let mut file = ReadFile {
            lines: Vec::with_capacity(rows.rows.len()),
            empty_count: 0,
        };
        let mut faults = Vec::new();
        for row in &rows.rows {
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

    /// One line; none where it has no amount.
    fn line(&self, row: &Row, places: &Places<'_>) -> Read<Option<ReadLine>> {
        let mut cells = Cells::of(row, &self.format);
        let on = cells.day(places.day);
        let amount = amount(&mut cells, places);
        if let Some(place) = places.currency {
            let code = cells.text(Some(place), LINE_MAX).unwrap_or_default();
            if !is_shops(&code, &self.format.currency) {
                cells.refuse(place, CellFault::OtherCurrency);
            }
        }
        let balance = places.balance.and_then(|place| {
            let text = cells.text(Some(place), LINE_MAX)?;
            cells.written(place, Written::Signed(&text))
        });
        let line = ReadLine {
            line: row.line,
            on: on.unwrap_or(self.format.today),
            amount: amount.unwrap_or(Cents::ZERO),
            words: cells
                .text(Some(places.words), WORDS_MAX)
                .unwrap_or_default(),
            payee: cells.text(places.payee, WORDS_MAX),
            reference: cells.text(places.reference, WORDS_MAX),
            bank_key: cells.text(places.bank_key, LINE_MAX),
            balance,
        };
        cells.finish(Some(line).filter(|line| line.amount != Cents::ZERO))
    }
}

fn amount(cells: &mut Cells<'_>, places: &Places<'_>) -> Option<Cents> {
    let text = |cells: &mut Cells<'_>, place| cells.text(place, LINE_MAX).unwrap_or_default();
    if let Some(place) = places.amount {
        let amount = text(cells, Some(place));
        return cells.amount(place, Written::Signed(&amount));
    }
    let money_in = text(cells, places.money_in);
    let out = text(cells, places.money_out);
    let written = Written::InOrOut {
        money_in: &money_in,
        out: &out,
    };
    cells.amount(places.money_in.or(places.money_out)?, written)
}

impl<'a> Places<'a> {
    /// Looks for each column: by its name in the header, else by its place.
    fn find(columns: &'a BankColumns, header: Option<&Row>) -> Read<Self> {
        let mut finder = Finder::new(header);
        let (day, words) = (finder.must(&columns.day), finder.must(&columns.words));
        let mut may = |name: &'a Option<String>| finder.may(name.as_ref());
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
        finder.finish()?;
        Ok(places)
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
