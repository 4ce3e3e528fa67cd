//! When a technician is expected, read from the arrival window as the desk typed it.
//!
//! It is here to put a day's visits in order. What must stay true: a window is never refused or changed; one that tells no
//! time is simply last.

const HOUR: u32 = 60;
const NOON: u32 = 12 * HOUR;

/// Words for a time of day and the minute at which it begins. Common practice, no source.
const TIMES_OF_DAY: [(&str, u32); 5] = [
    ("afternoon", NOON),
    ("morning", 8 * HOUR),
    ("noon", NOON),
    ("midday", NOON),
    ("evening", 17 * HOUR),
];

/// The hours that are meant to be after noon where nothing is said: nobody visits from one to six in the night.
const AFTERNOON_HOURS: std::ops::RangeInclusive<u32> = 1..=6;

/// Minutes from midnight at which a window begins, if it tells.
///
/// Shape: its first time, of 12 or 24 hours; "am" or "pm" behind it or else behind the next one; a word such as "morning"
/// where there is no time.
///
/// # Example
/// ```
/// use nameplate_rules::arrival::begins_at;
/// assert_eq!(begins_at("8 to 10"), Some(480));
/// assert_eq!(begins_at("1-3 pm"), Some(780));
/// assert_eq!(begins_at("when the school is out"), None);
/// ```
#[must_use]
pub fn begins_at(window: &str) -> Option<u32> {
    let window = window.to_lowercase();
    let first = times(&window).next();
    first.or_else(|| {
        let named = TIMES_OF_DAY.iter().find(|(word, _)| window.contains(word));
        named.map(|(_, minute)| *minute)
    })
}

/// A time as it is written.
struct Written {
    hour: u32,
    minute: u32,
    half: Option<Half>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Half {
    BeforeNoon,
    AfterNoon,
}

/// The times of a window in minutes, each with the half of the day that is written at it or at the next.
fn times(window: &str) -> impl Iterator<Item = u32> {
    let mut written: Vec<Written> = Vec::new();
    let mut rest = window;
    while let Some(at) = rest.find(|sign: char| sign.is_ascii_digit()) {
        let (_, from) = rest.split_at(at);
        let (time, behind) = read(from);
        written.extend(time);
        rest = behind;
    }
    let halves: Vec<Option<Half>> = written.iter().map(|time| time.half).collect();
    written
        .into_iter()
        .enumerate()
        .filter_map(move |(place, time)| {
            let next = halves.get(place + 1).copied().flatten();
            time.minutes(next)
        })
}

/// A time at the beginning of a text, and what is behind it.
fn read(from: &str) -> (Option<Written>, &str) {
    let (hour, behind) = digits(from);
    let (minute, behind) = match behind.strip_prefix(':') {
        Some(behind) if behind.starts_with(|sign: char| sign.is_ascii_digit()) => digits(behind),
        _ => (Some(0), behind),
    };
    let sign = behind.trim_start();
    let half = if sign.starts_with("am") || sign.starts_with("a.m") {
        Some(Half::BeforeNoon)
    } else if sign.starts_with("pm") || sign.starts_with("p.m") {
        Some(Half::AfterNoon)
    } else {
        None
    };
    let time = hour
        .zip(minute)
        .filter(|(hour, minute)| *hour < 24 && *minute < 60)
        .map(|(hour, minute)| Written { hour, minute, half });
    (time, behind)
}

fn digits(from: &str) -> (Option<u32>, &str) {
    let end = from.find(|sign: char| !sign.is_ascii_digit());
    let (number, behind) = from.split_at(end.unwrap_or(from.len()));
    (number.parse().ok(), behind)
}

impl Written {
    /// Minutes from midnight. The half of the next time counts unless that would put it behind its own end: "11 to 1 pm".
    fn minutes(&self, next: Option<Half>) -> Option<u32> {
        let hour = match self.half.or(next.filter(|_| self.hour < 8)) {
            Some(Half::AfterNoon) if self.hour < 12 => self.hour + 12,
            Some(Half::BeforeNoon) if self.hour == 12 => 0,
            None if AFTERNOON_HOURS.contains(&self.hour) => self.hour + 12,
            _ => self.hour,
        };
        (hour * HOUR).checked_add(self.minute)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn windows_as_they_are_typed_tell_when_they_begin() {
        for (window, hour, minute) in [
            ("8 to 10", 8, 0),
            ("between 10:30 and 12", 10, 30),
            ("1 to 3", 13, 0),
            ("1-3 PM", 13, 0),
            ("7-9am", 7, 0),
            ("11 to 1 pm", 11, 0),
            ("12-2", 12, 0),
            ("12 am", 0, 0),
            ("13:00-15:00", 13, 0),
            ("after 5 p.m.", 17, 0),
            ("in the Afternoon", 12, 0),
            ("morning", 8, 0),
            ("9 a.m. sharp", 9, 0),
        ] {
            assert_eq!(begins_at(window), Some(hour * 60 + minute), "{window}");
        }
        for window in ["", "call first", "99", "12:75"] {
            assert_eq!(begins_at(window), None, "{window}");
        }
    }

    proptest! {
        #[test]
        fn no_window_is_a_fault_and_every_time_is_of_one_day(window in ".{0,60}") {
            prop_assert!(begins_at(&window).is_none_or(|minute| minute < 24 * 60));
        }
    }
}
