//! How long a mail waits after a relay said "later".

use chrono::TimeDelta;

use crate::base::config::Mail;

/// The longest wait.
const WAIT_MAX: TimeDelta = TimeDelta::hours(4);

/// The wait after this many tries: the first one doubled each time, up to four hours.
pub fn wait(mail: &Mail, attempts: i32) -> TimeDelta {
    let first_ms = i64::try_from(mail.retry_first_ms).unwrap_or(i64::MAX);
    let doublings = u32::try_from(attempts.saturating_sub(1)).unwrap_or(0);
    let wait_ms = first_ms.saturating_mul(2_i64.checked_pow(doublings).unwrap_or(i64::MAX));
    TimeDelta::try_milliseconds(wait_ms)
        .unwrap_or(WAIT_MAX)
        .min(WAIT_MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn minutes(retry_first_ms: u64, attempts: i32) -> i64 {
        let mail = Mail {
            retry_first_ms,
            ..Mail::default()
        };
        wait(&mail, attempts).num_minutes()
    }

    #[test]
    fn the_wait_doubles_up_to_four_hours() {
        let waits: Vec<_> = (1..=10).map(|attempts| minutes(60_000, attempts)).collect();
        assert_eq!(waits, [1, 2, 4, 8, 16, 32, 64, 128, 240, 240]);
    }

    #[test]
    fn no_number_of_tries_and_no_setting_is_too_large() {
        assert_eq!(minutes(60_000, i32::MAX), 240);
        assert_eq!(minutes(u64::MAX, 1), 240);
        assert_eq!(minutes(60_000, 0), 1);
        assert_eq!(minutes(0, 5), 0);
    }
}
