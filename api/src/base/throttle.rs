//! Counts attempts, so that neither many requests nor many aliases in one let a guesser through.

use std::num::NonZeroU32;

use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};

/// Two limits: what is tried (an account, a link) and where the tries come from.
pub struct Throttle {
    by_target: DefaultKeyedRateLimiter<String>,
    by_address: DefaultKeyedRateLimiter<String>,
}

const PER_TARGET_A_MINUTE: NonZeroU32 = NonZeroU32::new(10).expect("ten is not zero");
const PER_ADDRESS_A_MINUTE: NonZeroU32 = NonZeroU32::new(60).expect("sixty is not zero");

impl Default for Throttle {
    fn default() -> Self {
        Self {
            by_target: RateLimiter::keyed(Quota::per_minute(PER_TARGET_A_MINUTE)),
            by_address: RateLimiter::keyed(Quota::per_minute(PER_ADDRESS_A_MINUTE)),
        }
    }
}

impl Throttle {
    /// Counts one attempt; false when there were too many within the last minute.
    pub fn admits(&self, target: &str, address: Option<&str>) -> bool {
        let address_is_fine =
            address.is_none_or(|address| self.by_address.check_key(&address.to_owned()).is_ok());
        address_is_fine && self.by_target.check_key(&target.to_owned()).is_ok()
    }

    /// Forgets keys that have been quiet; called now and then by the worker.
    pub fn sweep(&self) {
        self.by_target.retain_recent();
        self.by_address.retain_recent();
    }
}
