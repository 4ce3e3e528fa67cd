//! How days and telephone numbers are written for people.

use chrono::NaiveDate;

/// A day in words, because 03/04 is two different days depending on who reads it.
pub fn day(day: NaiveDate) -> String {
    day.format("%B %-d, %Y").to_string()
}

/// A telephone number as people write it in its country; as kept when it is not understood.
pub fn phone(e164: &str) -> String {
    phonenumber::parse(None, e164).map_or_else(
        |_| e164.to_owned(),
        |number| {
            number
                .format()
                .mode(phonenumber::Mode::National)
                .to_string()
        },
    )
}
