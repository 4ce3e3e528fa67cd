//! When a customer who has not answered is reminded.
//!
//! What must stay true: every reminder lies after the day of sending and before the last day is over, none comes twice,
//! and of several that fell due while nobody looked only the latest is sent.

use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};

/// Which reminder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reminder {
    /// Some days after sending.
    First,
    /// Some days later.
    Second,
    /// On the day before the last.
    LastDay,
}

/// The shop's habit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Habit {
    /// Days after sending until the first; zero for none.
    pub first_days: u32,
    /// Days after sending until the second; zero for none.
    pub second_days: u32,
    /// Whether the day before the last is told.
    pub last_day: bool,
}

/// The reminders of an estimate with their days, in order of time. A day has one at most: the more urgent.
#[must_use]
pub fn plan(
    habit: Habit,
    sent_on: NaiveDate,
    valid_until: NaiveDate,
) -> Vec<(Reminder, NaiveDate)> {
    let after = |days: u32| {
        (days > 0)
            .then(|| sent_on.checked_add_days(Days::new(days.into())))
            .flatten()
    };
    let eve = habit.last_day.then(|| valid_until.pred_opt()).flatten();
    let wanted = [
        (Reminder::First, after(habit.first_days)),
        (Reminder::Second, after(habit.second_days)),
        (Reminder::LastDay, eve),
    ];
    let mut plan: Vec<(Reminder, NaiveDate)> = Vec::new();
    for (reminder, day) in wanted {
        let Some(day) = day.filter(|day| *day > sent_on && *day <= valid_until) else {
            continue;
        };
        plan.retain(|(_, other)| *other != day);
        plan.push((reminder, day));
    }
    plan.sort_by_key(|(_, day)| *day);
    plan
}

/// The reminder to send on a day, if one is due that was not sent: the latest of those due.
///
/// Nothing is due once the last day is over.
#[must_use]
pub fn due(
    plan: &[(Reminder, NaiveDate)],
    sent: &[Reminder],
    today: NaiveDate,
    valid_until: NaiveDate,
) -> Option<Reminder> {
    if today > valid_until {
        return None;
    }
    let (reminder, _) = plan.iter().rev().find(|(_, day)| *day <= today)?;
    (!sent.contains(reminder)).then_some(*reminder)
}

/// The first day after `today` on which a reminder falls due.
#[must_use]
pub fn next_after(plan: &[(Reminder, NaiveDate)], today: NaiveDate) -> Option<NaiveDate> {
    plan.iter().map(|(_, day)| *day).find(|day| *day > today)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const USUAL: Habit = Habit {
        first_days: 3,
        second_days: 10,
        last_day: true,
    };

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    #[test]
    fn an_estimate_of_a_month_is_recalled_after_three_and_ten_days_and_on_the_eve() {
        let plan = plan(USUAL, day("2026-06-01"), day("2026-07-01"));
        assert_eq!(
            plan,
            [
                (Reminder::First, day("2026-06-04")),
                (Reminder::Second, day("2026-06-11")),
                (Reminder::LastDay, day("2026-06-30")),
            ]
        );
    }

    #[test]
    fn a_short_estimate_has_no_reminder_after_its_end_and_one_a_day_at_most() {
        let short = plan(USUAL, day("2026-06-01"), day("2026-06-05"));
        assert_eq!(short, [(Reminder::LastDay, day("2026-06-04"))]);
        let shortest = plan(USUAL, day("2026-06-01"), day("2026-06-01"));
        assert_eq!(shortest, []);
        let none = Habit {
            first_days: 0,
            second_days: 0,
            last_day: false,
        };
        assert_eq!(plan(none, day("2026-06-01"), day("2026-07-01")), []);
    }

    #[test]
    fn after_a_week_without_power_only_the_latest_goes_out() {
        let (sent_on, valid_until) = (day("2026-06-01"), day("2026-07-01"));
        let plan = plan(USUAL, sent_on, valid_until);
        let due = |sent: &[Reminder], today| due(&plan, sent, day(today), valid_until);
        assert_eq!(due(&[], "2026-06-03"), None);
        assert_eq!(due(&[], "2026-06-12"), Some(Reminder::Second));
        assert_eq!(due(&[Reminder::Second], "2026-06-20"), None);
        assert_eq!(due(&[], "2026-07-01"), Some(Reminder::LastDay));
        assert_eq!(due(&[], "2026-07-02"), None);
        assert_eq!(
            next_after(&plan, day("2026-06-04")),
            Some(day("2026-06-11"))
        );
    }

    proptest! {
        #[test]
        fn whatever_days_the_round_is_made_no_reminder_comes_twice_or_late(
            first_days in 0_u32..20, second_days in 0_u32..20, last_day: bool, valid in 0_u64..40,
            looks in prop::collection::vec(0_u64..60, 0..30),
        ) {
            let sent_on = day("2026-06-01");
            let valid_until = sent_on + Days::new(valid);
            let plan = plan(Habit { first_days, second_days, last_day }, sent_on, valid_until);
            let mut looks = looks;
            looks.sort_unstable();
            let mut sent = Vec::new();
            for look in looks {
                let today = sent_on + Days::new(look);
                if let Some(reminder) = due(&plan, &sent, today, valid_until) {
                    prop_assert!(!sent.contains(&reminder));
                    prop_assert!(today > sent_on && today <= valid_until);
                    sent.push(reminder);
                }
            }
        }
    }
}
