//! One trend over several machines, each watched for its own time.
//!
//! What must stay true: one machine alone gives what its own test gives; a machine without failures changes nothing.

use super::trend::{Failures, Handbook, Trend};

/// The test of MIL-HDBK-189 over all machines; `None` without a failure that tells something, and where each came on the
/// last day on which its machine was watched.
///
/// Under no trend twice the sum of logarithms of each machine is chi-squared with two degrees of freedom a failure, and so
/// is their sum with the sum of these.
///
/// # Source
/// MIL-HDBK-189C (2011), tests for several systems (from memory); each machine as NIST/SEMATECH e-Handbook 8.2.3.4.
#[must_use]
pub fn handbook(machines: &[Failures]) -> Option<Handbook> {
    let log_sum: f64 = machines.iter().map(Failures::log_sum).sum();
    let failures: u64 = machines.iter().map(Failures::telling_number).sum();
    Handbook::of(log_sum, failures)
}

/// What a screen says.
#[must_use]
pub fn trend(machines: &[Failures]) -> Trend {
    Trend::of(handbook(machines))
}

#[cfg(test)]
mod tests {
    use super::super::testing::near;
    use super::super::trend::WatchEnd;
    use super::super::trend::tests::handbook_case;
    use super::*;

    #[test]
    fn one_machine_alone_gives_its_own_test_and_one_without_failures_changes_nothing() {
        let case = handbook_case();
        let quiet = Failures::new(&[], WatchEnd::AtDays(900));
        assert_eq!(handbook(&[case.clone(), quiet]), case.handbook());
        assert_eq!(trend(std::slice::from_ref(&case)), case.trend());
        assert_eq!(handbook(&[]), None);
    }

    /// The chance was 0 here, beside no clear trend: a machine that came back on the day of its first repair was watched for
    /// no day, and one that came back today for none since.
    #[test]
    fn failures_on_the_last_day_watched_have_no_chance() {
        let today = Failures::new(&[0], WatchEnd::AtDays(0));
        let last = Failures::new(&[10], WatchEnd::AtDays(10));
        assert_eq!(handbook(&[today.clone(), last]), None);
        // Of the two a watch of no day changes nothing.
        let case = handbook_case();
        assert_eq!(handbook(&[case.clone(), today]), case.handbook());
    }

    #[test]
    fn two_machines_add_up() {
        let case = handbook_case();
        let both = handbook(&[case.clone(), case]).expect("a test");
        near(both.chi_squared, 2.0 * 37.228_081_48);
        near(both.degrees, 40.0);
        assert!(both.improving < 0.010_986);
    }

    #[test]
    fn few_failures_of_many_machines_together_show_a_trend() {
        let late = |ages: &[u32]| Failures::new(ages, WatchEnd::AtDays(1000));
        let machines = [late(&[996]), late(&[997, 999]), late(&[998]), late(&[995])];
        assert_eq!(trend(&machines), Trend::Worsening);
        assert_eq!(trend(&machines[..3]), Trend::NoClearTrend);
    }
}
