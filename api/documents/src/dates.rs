//! Calendar days: read as `YYYY-MM-DD`, printed in words.
//!
//! Words, because 03/04 is two different days depending on who reads it.

use typst::foundations::Datetime;

use crate::DocumentError;

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// A day that exists, with its parts kept for printing.
#[derive(Debug)]
pub(crate) struct PrintedDate {
    /// The day as the typesetter wants it.
    pub(crate) day: Datetime,
    year: i32,
    month_name: &'static str,
    day_of_month: u8,
}

impl PrintedDate {
    /// Reads `YYYY-MM-DD`.
    ///
    /// # Errors
    /// [`DocumentError::BadDate`] for another shape or a day no calendar has.
    pub(crate) fn read(field: &'static str, text: &str) -> Result<Self, DocumentError> {
        Self::parse(text).ok_or_else(|| DocumentError::BadDate {
            field,
            value: text.to_owned(),
        })
    }

    fn parse(text: &str) -> Option<Self> {
        let mut parts = text.split('-');
        let (year, month, day) = (parts.next()?, parts.next()?, parts.next()?);
        let digits_only = text.chars().all(|c| c.is_ascii_digit() || c == '-');
        let right_shape = year.len() == 4 && month.len() == 2 && day.len() == 2;
        if parts.next().is_some() || !digits_only || !right_shape {
            return None;
        }
        let (year, month, day_of_month) = (
            year.parse().ok()?,
            month.parse::<u8>().ok()?,
            day.parse().ok()?,
        );
        let month_name = MONTHS.get(usize::from(month.checked_sub(1)?))?;
        let day = Datetime::from_ymd_hms(year, month, day_of_month, 0, 0, 0)?;
        Some(Self {
            day,
            year,
            month_name,
            day_of_month,
        })
    }

    /// The day in words: `November 25, 2026`.
    pub(crate) fn long(&self) -> String {
        format!("{} {}, {}", self.month_name, self.day_of_month, self.year)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_printed_in_words() -> Result<(), DocumentError> {
        assert_eq!(
            PrintedDate::read("issued_on", "2028-02-29")?.long(),
            "February 29, 2028"
        );
        Ok(())
    }

    #[test]
    fn a_day_no_calendar_has_is_refused() {
        let bad = [
            "2027-02-29",
            "2026-13-01",
            "2026-00-10",
            "26-01-01",
            "2026-1-1",
            "today",
            "",
            "2026-01-01-01",
            "+026-01-01",
        ];
        for text in bad {
            assert!(
                PrintedDate::read("issued_on", text).is_err(),
                "{text} was taken for a day"
            );
        }
    }
}
