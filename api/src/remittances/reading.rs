//! A payer's file as rows: which claim, what is paid, what is refused and why.

use chrono::NaiveDate;
use nameplate_entities::advice_layout;
use nameplate_rules::banking::cells::Written;
use nameplate_rules::money::Cents;

use crate::base::check::LINE_MAX;
use crate::base::csv_layout::{
    Cells, FAULTS_MAX, Fault, Finder, Format, Place, Read, Row, WORDS_MAX, check_widths,
};
use crate::base::{ProblemCode, Result};

use super::layouts::AdviceColumns;

/// Lines of one file.
const LINES_MAX: usize = 2_000;

/// One row of a file, read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadRow {
    /// Of the file.
    pub line: i64,
    /// The claim as the payer names it.
    pub claim: String,
    pub paid: Cents,
    pub refused: Option<Cents>,
    pub reason: Option<String>,
    pub note: Option<String>,
    pub on: Option<NaiveDate>,
    /// The payer's number of the payment.
    pub reference: Option<String>,
}

/// A file that was read.
#[derive(Debug)]
pub struct ReadAdvice {
    pub rows: Vec<ReadRow>,
    /// What the rows call the payment.
    pub reference: Option<String>,
    /// The latest day of the rows.
    pub on: Option<NaiveDate>,
    pub total: Cents,
}

/// Reads files by one layout.
pub struct Reader {
    format: Format,
    columns: AdviceColumns,
}

/// Where each column of a layout stands in one file.
struct Places<'a> {
    claim: Place<'a>,
    paid: Place<'a>,
    refused: Option<Place<'a>>,
    reason: Option<Place<'a>>,
    note: Option<Place<'a>>,
    day: Option<Place<'a>>,
    reference: Option<Place<'a>>,
}

impl Reader {
    /// For the files of this layout.
    ///
    /// # Errors
    /// Internal, when the row holds what could not have been saved.
    pub fn new(layout: &advice_layout::Model, currency: &str, today: NaiveDate) -> Result<Self> {
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
            columns: AdviceColumns::of(layout)?,
        })
    }

    /// The rows of a file, in its order.
    ///
    /// # Errors
    /// Faults, at most [`FAULTS_MAX`].
    pub fn read(&self, bytes: &[u8]) -> Read<ReadAdvice> {
        let file = self.format.rows(bytes, LINES_MAX)?;
        check_widths(&file)?;
        let places = Places::find(&self.columns, file.header.as_ref())?;
        let mut rows = Vec::with_capacity(file.rows.len());
        let mut faults = Vec::new();
        for row in &file.rows {
            match self.row(row, &places) {
                Ok(row) => rows.push(row),
                Err(of_line) => faults.extend(of_line),
            }
            if faults.len() >= FAULTS_MAX {
                break;
            }
        }
        faults.extend(other_payments(&rows, self.columns.reference.as_deref()));
        if faults.is_empty() && rows.is_empty() {
            let message = "There is no row in this file.";
            faults.push(Fault::new(1, None, ProblemCode::Missing, message));
        }
        let total = Cents::sum(rows.iter().map(|row| row.paid));
        let Ok(total) = total else {
            let message = "The amounts add up to more than can be kept.";
            return Err(vec![Fault::new(1, None, ProblemCode::OutOfRange, message)]);
        };
        if !faults.is_empty() {
            faults.truncate(FAULTS_MAX);
            return Err(faults);
        }
        Ok(ReadAdvice {
            reference: rows.iter().find_map(|row| row.reference.clone()),
            on: rows.iter().filter_map(|row| row.on).max(),
            rows,
            total,
        })
    }

    fn row(&self, row: &Row, places: &Places<'_>) -> Read<ReadRow> {
        let mut cells = Cells::of(row, &self.format);
        let claim = cells.text(Some(places.claim), LINE_MAX).unwrap_or_default();
        if claim.is_empty() {
            let message = "This row names no claim; leave lines of totals out.";
            cells.add(Some(places.claim), ProblemCode::Missing, message);
        }
        let paid = amount(&mut cells, places.paid).unwrap_or(Cents::ZERO);
        if paid.is_negative() {
            let message = "A payer that takes money back is no payment: undo the payment it takes back (reversePayment), \
                           and leave this row out.";
            cells.add(Some(places.paid), ProblemCode::NegativeMoney, message);
        }
        let refused = places.refused.and_then(|place| amount(&mut cells, place));
        if let (Some(place), true) = (places.refused, refused.is_some_and(Cents::is_negative)) {
            let message = "What is refused is zero or more.";
            cells.add(Some(place), ProblemCode::NegativeMoney, message);
        }
        let reason = cells.text(places.reason, LINE_MAX);
        let says_why = places.refused.is_some() || places.reason.is_some();
        let refuses = refused.is_some_and(|refused| refused > Cents::ZERO) || reason.is_some();
        if cells.is_clean() && paid == Cents::ZERO && says_why && !refuses {
            let message = "This row says neither what is paid, nor what is refused or why.";
            cells.add(Some(places.paid), ProblemCode::Missing, message);
        }
        let read = ReadRow {
            line: row.line,
            claim,
            paid,
            refused,
            reason,
            note: cells.text(places.note, WORDS_MAX),
            on: places.day.and_then(|place| cells.day_if_any(place)),
            reference: cells.text(places.reference, LINE_MAX),
        };
        cells.finish(read)
    }
}

/// An amount; nothing in the cell is none.
fn amount(cells: &mut Cells<'_>, place: Place<'_>) -> Option<Cents> {
    let text = cells.text(Some(place), LINE_MAX)?;
    cells.amount(place, Written::Signed(&text))
}

impl<'a> Places<'a> {
    fn find(columns: &'a AdviceColumns, header: Option<&Row>) -> Read<Self> {
        let mut finder = Finder::new(header);
        let places = Self {
            claim: finder.must(&columns.claim),
            paid: finder.must(&columns.paid),
            refused: finder.may(columns.refused.as_ref()),
            reason: finder.may(columns.reason.as_ref()),
            note: finder.may(columns.note.as_ref()),
            day: finder.may(columns.day.as_ref()),
            reference: finder.may(columns.reference.as_ref()),
        };
        finder.finish()?;
        Ok(places)
    }
}

/// Rows of another payment than the first: an advice is about one.
fn other_payments(rows: &[ReadRow], column: Option<&str>) -> Vec<Fault> {
    let mut named = rows
        .iter()
        .filter_map(|row| Some((row, row.reference.as_deref()?)));
    let Some((first, reference)) = named.next() else {
        return Vec::new();
    };
    named
        .filter(|(_, other)| *other != reference)
        .map(|(row, other)| {
            let message = format!(
                "Line {} is of payment {reference}, and this one of {other}; send the file of one payment at a time.",
                first.line
            );
            Fault::new(row.line, column, ProblemCode::Conflict, message)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use nameplate_entities::kinds::{BankDelimiter, BankEncoding, DateOrder, DecimalSign};

    fn reader() -> Reader {
        let column = |name: &str| Some(name.to_owned());
        Reader {
            format: Format {
                delimiter: BankDelimiter::Semicolon,
                has_header: true,
                encoding: BankEncoding::Utf8,
                date_order: DateOrder::MonthDayYear,
                decimal_sign: DecimalSign::Point,
                currency: "USD".to_owned(),
                today: "2026-06-30".parse().unwrap(),
            },
            columns: AdviceColumns {
                claim: "Claim".to_owned(),
                paid: "Paid".to_owned(),
                refused: column("Refused"),
                reason: column("Why"),
                note: column("Note"),
                day: column("Day"),
                reference: column("Payment"),
            },
        }
    }

    fn faults(file: &str) -> Vec<(i64, Option<String>, ProblemCode)> {
        let faults = reader().read(file.as_bytes()).expect_err("faults");
        faults
            .into_iter()
            .map(|fault| (fault.line, fault.column, fault.code))
            .collect()
    }

    #[test]
    fn a_file_reads_with_its_payment_its_last_day_and_its_sum() {
        let file = "Claim;Paid;Refused;Why;Note;Day;Payment\n\
                    CL-000001;1,200.50;;;;06/12/2026;EFT-9\n\
                    \n\
                    X-77;0.00;45.00;ELR;labor rate;06/14/2026;EFT-9\n";
        let read = reader().read(file.as_bytes()).expect("rows");
        assert_eq!(read.total, Cents(120_050));
        assert_eq!(read.reference.as_deref(), Some("EFT-9"));
        assert_eq!(read.on, Some("2026-06-14".parse().unwrap()));
        let refused = read.rows.last().expect("a row");
        assert_eq!((refused.line, refused.refused), (4, Some(Cents(4_500))));
        assert_eq!(refused.reason.as_deref(), Some("ELR"));
    }

    #[test]
    fn faults_name_line_and_column_and_a_file_has_one_payment() {
        let head = "Claim;Paid;Refused;Why;Note;Day;Payment\n";
        let name = |column: &str| Some(column.to_owned());
        let file = format!("{head};10.00;;;;06/12/2026;EFT-9\nCL-1;ten;;;;06/12/2027;EFT-9\n");
        assert_eq!(
            faults(&file),
            [
                (2, name("Claim"), ProblemCode::Missing),
                (3, name("Paid"), ProblemCode::Malformed),
                (3, name("Day"), ProblemCode::ImpossibleDate),
            ]
        );
        let file = format!("{head}CL-1;-5.00;;;;;EFT-9\nCL-2;;;;;;EFT-9\nCL-3;1.00;;;;;EFT-8\n");
        assert_eq!(
            faults(&file),
            [
                (2, name("Paid"), ProblemCode::NegativeMoney),
                (3, name("Paid"), ProblemCode::Missing),
            ]
        );
        let file = format!("{head}CL-1;5.00;;;;;EFT-9\nCL-3;1.00;;;;;EFT-8\n");
        assert_eq!(faults(&file), [(3, name("Payment"), ProblemCode::Conflict)]);
        let missing = faults("Claim;Paid;Refused;Why;Note;Day\nCL-1;5.00;;;;\n");
        assert_eq!(missing, [(1, name("Payment"), ProblemCode::Missing)]);
        assert_eq!(faults(head), [(1, None, ProblemCode::Missing)]);
    }
}
