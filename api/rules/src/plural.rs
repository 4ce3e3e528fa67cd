//! A count with its noun, so that nobody reads "1 days".

use std::fmt::Display;

/// A count before its noun, which is given for one and for several.
///
/// # Example
/// ```
/// use nameplate_rules::plural::counted;
/// assert_eq!(counted(1, "day", "days"), "1 day");
/// assert_eq!(counted(30, "day", "days"), "30 days");
/// assert_eq!(counted(0, "day", "days"), "0 days");
/// ```
#[must_use]
pub fn counted<N: Copy + Display + PartialEq + From<u8>>(
    count: N,
    one: &str,
    several: &str,
) -> String {
    let noun = if count == N::from(1) { one } else { several };
    format!("{count} {noun}")
}

/// How often: "once", "twice", "3 times".
///
/// # Example
/// ```
/// use nameplate_rules::plural::times;
/// assert_eq!([1, 2, 3].map(times), ["once", "twice", "3 times"]);
/// ```
#[must_use]
pub fn times(count: u64) -> String {
    match count {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        several => format!("{several} times"),
    }
}
