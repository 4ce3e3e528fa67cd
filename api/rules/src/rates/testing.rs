//! What the tests of the statistics share: how near a figure must come, and the tables they read.

use super::Interval;

/// Equal to a figure computed or published elsewhere to within a millionth of it.
#[track_caller]
pub fn near(found: f64, elsewhere: f64) {
    within(found, elsewhere, 1e-6);
}

/// Equal to a figure to within a part of it; a figure of zero to within that part of one.
#[track_caller]
pub fn within(found: f64, elsewhere: f64, part: f64) {
    let size = if elsewhere.abs() < f64::MIN_POSITIVE {
        1.0
    } else {
        elsewhere.abs()
    };
    let off = (found - elsewhere).abs() / size;
    assert!(
        off <= part,
        "{found} against {elsewhere}: {off:e} of it off"
    );
}

/// Both limits within a millionth.
#[track_caller]
pub fn limits(found: Option<Interval>, low: f64, high: f64) {
    let found = found.expect("limits");
    near(found.low, low);
    near(found.high, high);
}

/// The rows of a table of numbers, apart by spaces or commas; a row that begins with a letter is its heading.
pub fn table(text: &str) -> Vec<Vec<f64>> {
    (text.lines())
        .filter(|line| !line.trim().is_empty() && !line.starts_with(char::is_alphabetic))
        .map(|line| {
            let cells = line.split([' ', ',']).filter(|cell| !cell.is_empty());
            cells.map(|cell| cell.parse().expect("a number")).collect()
        })
        .collect()
}

/// A number of a table that is a count.
pub fn whole(number: f64) -> u64 {
    format!("{number}").parse().expect("a whole number")
}
