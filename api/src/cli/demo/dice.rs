//! Seeded chance: the same seed gives the same shop on every machine.

/// `SplitMix64`, a generator of 64-bit numbers with 64 bits of state (Steele, Lea, Flood: Fast
/// Splittable Pseudorandom Number Generators, 2014).
pub struct Dice {
    state: u64,
}

impl Dice {
    pub fn seeded(seed: u64) -> Self {
        Self { state: seed }
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from 0 up to, not including, `below`; 0 when `below` is 0.
    pub fn below(&mut self, below: usize) -> usize {
        let below = u64::try_from(below).unwrap_or(u64::MAX).max(1);
        usize::try_from(self.next() % below).unwrap_or(0)
    }

    /// A number from `low` to `high`, both inside.
    pub fn between(&mut self, low: i64, high: i64) -> i64 {
        let width = usize::try_from(high - low + 1).unwrap_or(1);
        low + i64::try_from(self.below(width)).unwrap_or(0)
    }

    /// True in `percent` of a hundred throws.
    pub fn happens(&mut self, percent: usize) -> bool {
        self.below(100) < percent
    }

    /// One of `all`; `None` only when there is none.
    pub fn one_of<'a, T>(&mut self, all: &'a [T]) -> Option<&'a T> {
        all.get(self.below(all.len()))
    }

    /// One of `all`, each as often as its weight.
    pub fn weighted<'a, T>(&mut self, all: &'a [T], weight: fn(&T) -> usize) -> Option<&'a T> {
        let mut left = self.below(all.iter().map(weight).sum());
        all.iter().find(|one| {
            let mine = weight(one);
            let found = left < mine;
            left = left.saturating_sub(mine);
            found
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First outputs for seed 1234567, as published with the generator's reference code.
    #[test]
    fn the_generator_is_the_published_one() {
        let mut dice = Dice::seeded(1_234_567);
        let drawn = [dice.next(), dice.next(), dice.next()];
        assert_eq!(
            drawn,
            [
                6_457_827_717_110_365_317,
                3_203_168_211_198_807_973,
                9_817_491_932_198_370_423
            ]
        );
    }
}
