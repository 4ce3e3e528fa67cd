//! From figures to places: a straight scale, its round ticks, and which figures can be drawn at all.

use crate::words::figure;

/// Larger figures than this are no counts or percentages of a shop.
const LARGEST: f64 = 1e9;

/// The figure if it is one that can be drawn.
pub(crate) fn usable(value: f64) -> Option<f64> {
    (value.is_finite() && value.abs() <= LARGEST).then_some(value)
}

/// A count as a figure.
pub(crate) fn float(count: usize) -> f64 {
    u32::try_from(count).map_or(f64::from(u32::MAX), f64::from)
}

/// A scale that begins at zero and ends on a round tick.
pub(crate) struct Scale {
    step: f64,
    top: f64,
    /// Where zero lies and where the top lies, in units of the picture.
    from: f64,
    to: f64,
}

/// What a scale measures.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Measure {
    /// Never beyond 100.
    Percent,
    Number,
}

impl Scale {
    /// A scale over `0 ..= largest`, with about five ticks at 1, 2 or 5 times a power of ten.
    pub(crate) fn over(largest: f64, measure: Measure, from: f64, to: f64) -> Self {
        let least = match measure {
            Measure::Percent => 5.0,
            Measure::Number => 0.5,
        };
        let most = match measure {
            Measure::Percent => 100.0,
            Measure::Number => LARGEST,
        };
        let largest = usable(largest).unwrap_or(0.0).clamp(least, most);
        let rough = largest / 5.0;
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0]
            .into_iter()
            .map(|times| times * power)
            .find(|step| *step >= rough * 0.999)
            .unwrap_or(10.0 * power);
        let top = ((largest / step) - 0.001).ceil() * step;
        Self {
            step,
            top,
            from,
            to,
        }
    }

    /// The same, but it ends at the largest figure and not at the tick above it.
    pub(crate) fn ending_at(largest: f64, measure: Measure, from: f64, to: f64) -> Self {
        let mut scale = Self::over(largest, measure, from, to);
        scale.top = scale
            .top
            .min(usable(largest).unwrap_or(0.0).max(scale.step));
        scale
    }

    /// Where a figure lies; beyond an end it lies at the end.
    pub(crate) fn place(&self, value: f64) -> f64 {
        let share = usable(value).unwrap_or(0.0) / self.top;
        self.from + (self.to - self.from) * share.clamp(0.0, 1.0)
    }

    /// Each tick with its place and its words.
    pub(crate) fn ticks(&self) -> Vec<(f64, String)> {
        let decimals = if self.step < 0.095 {
            2
        } else {
            usize::from(self.step < 0.95)
        };
        (0u8..=20)
            .map(|count| f64::from(count) * self.step)
            .take_while(|value| *value <= self.top + self.step * 0.01)
            .map(|value| (self.place(value), figure(value, decimals)))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn words(largest: f64, measure: Measure) -> Vec<String> {
        let scale = Scale::over(largest, measure, 0.0, 100.0);
        scale.ticks().into_iter().map(|(_, words)| words).collect()
    }

    #[test]
    fn ticks_are_round_and_end_at_or_above_the_largest_figure() {
        assert_eq!(words(37.0, Measure::Percent), ["0", "10", "20", "30", "40"]);
        assert_eq!(
            words(100.0, Measure::Percent),
            ["0", "20", "40", "60", "80", "100"]
        );
        assert_eq!(
            words(0.9, Measure::Number),
            ["0", "0.2", "0.4", "0.6", "0.8", "1"]
        );
        assert_eq!(
            words(f64::NAN, Measure::Percent),
            ["0", "1", "2", "3", "4", "5"]
        );
    }

    #[test]
    fn a_figure_lies_where_its_share_of_the_scale_is() {
        let scale = Scale::over(40.0, Measure::Percent, 200.0, 600.0);
        assert!((scale.place(10.0) - 300.0).abs() < 1e-9);
        assert!((scale.place(1e300) - 200.0).abs() < 1e-9);
        assert!((scale.place(90.0) - 600.0).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn the_scale_reaches_its_largest_figure_with_few_ticks(largest in 0.0f64..1e9) {
            let scale = Scale::over(largest, Measure::Number, 0.0, 1.0);
            prop_assert!(scale.top >= largest * 0.999);
            let count = scale.ticks().len();
            prop_assert!((3..=7).contains(&count), "{} ticks", count);
        }
    }
}
