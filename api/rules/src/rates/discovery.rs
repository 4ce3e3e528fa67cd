//! Many claims at once: chance alone makes some look strong, so they are held to the share of false ones among them.
//!
//! What must stay true: one family is one screen, such as all technicians; who belongs to it is decided by the number of
//! repairs and never by how many returned.

/// Up to this share of the flags on a screen may be false ones.
pub const FALSE_SHARE_MAX: f64 = 0.10;

/// Chances (p) of one family, held to the number of claims (q): flag where q is at most [`FALSE_SHARE_MAX`].
///
/// Shape: in the order given; what was not judged has no p, gets no q and does not count.
///
/// # Source
/// Benjamini and Hochberg, Journal of the Royal Statistical Society B 57 (1995) 289-300; R 4.2.2 `p.adjust`.
#[must_use]
pub fn benjamini_hochberg(chances: &[Option<f64>]) -> Vec<Option<f64>> {
    let mut judged: Vec<(f64, usize)> = (chances.iter().enumerate())
        .filter_map(|(place, p)| p.filter(|p| !p.is_nan()).map(|p| (p, place)))
        .collect();
    judged.sort_by(|one, other| one.0.total_cmp(&other.0));
    let family = super::real(super::count(judged.len()));
    let mut held = vec![None; chances.len()];
    let mut least = 1.0_f64;
    let mut rank = family;
    for (p, place) in judged.into_iter().rev() {
        least = least.min(family * p / rank);
        rank -= 1.0;
        if let Some(slot) = held.get_mut(place) {
            *slot = Some(least);
        }
    }
    held
}

#[cfg(test)]
mod tests {
    use proptest::collection::vec;
    use proptest::prelude::*;

    use super::*;
    use crate::rates::testing::{near, table};

    fn some(numbers: &str) -> Vec<Option<f64>> {
        table(numbers).remove(0).into_iter().map(Some).collect()
    }

    #[track_caller]
    fn held_to(chances: &str, printed: &str) {
        let found = benjamini_hochberg(&some(chances));
        for (found, printed) in found.into_iter().zip(some(printed)) {
            near(found.expect("a q"), printed.expect("a figure"));
        }
    }

    /// Fifteen chances of Benjamini and Hochberg (1995), four of which they reject at 0.05; statsmodels 0.15.0
    /// `multipletests` and R 4.2.2 `p.adjust`. Within a millionth.
    #[test]
    fn fifteen_published_chances_are_held_as_published() {
        let chances = "0.0001 0.0004 0.0019 0.0095 0.0201 0.0278 0.0298 0.0344 0.0459 0.3240 0.4262 0.5719 0.6528 0.7590 1.0000";
        held_to(
            chances,
            "0.0015 0.003 0.0095 0.035625 0.0603 0.06385714286 0.06385714286 0.0645 0.0765 0.486 0.5811818182 0.714875 0.7532307692 0.8132142857 1",
        );
        let rejected = benjamini_hochberg(&some(chances))
            .into_iter()
            .flatten()
            .filter(|q| *q <= 0.05);
        assert_eq!(rejected.count(), 4);
    }

    /// scipy 1.17.1 `false_discovery_control` and R 4.2.2.
    #[test]
    fn equal_chances_are_held_alike() {
        held_to(
            "0.04 0.01 0.04 0.03 1 0.005",
            "0.048 0.03 0.048 0.048 1 0.03",
        );
    }

    #[test]
    fn what_was_not_judged_does_not_count_and_one_alone_stays() {
        assert_eq!(benjamini_hochberg(&[]), []);
        assert_eq!(
            benjamini_hochberg(&[None, Some(0.04), None]),
            [None, Some(0.04), None]
        );
        assert_eq!(benjamini_hochberg(&[Some(f64::NAN)]), [None]);
    }

    proptest! {
        #[test]
        fn a_smaller_chance_is_never_held_to_more(chances in vec(0.0..=1.0_f64, 0..40)) {
            let held = benjamini_hochberg(&chances.iter().copied().map(Some).collect::<Vec<_>>());
            for (p, q) in chances.iter().zip(&held) {
                let q = q.expect("a q");
                prop_assert!(*p <= q + 1e-12 && q <= 1.0);
                for (other_p, other_q) in chances.iter().zip(&held) {
                    prop_assert!(p > other_p || q <= other_q.expect("a q"));
                }
            }
        }
    }
}
