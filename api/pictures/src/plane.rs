//! The plane of charts with an upright axis: grid, ticks, axis titles, months along the bottom, labels beside lines.

use crate::marks::{Anchor, FAINT, INK, SOFT, Shape, line, mark, words};
use crate::scale::{Scale, float};
use crate::svg::Element;
use crate::words::{broken, shortened, width};

const TICK_SIZE: f64 = 12.0;
const LABEL_SIZE: f64 = 12.0;
/// Room for one line of labels.
const LABEL_STEP: f64 = 15.0;
/// A longer label is cut.
const LABEL_LINES_MAX: usize = 3;

/// Where the chart lies, edge by edge.
#[derive(Clone, Copy)]
pub(crate) struct Plane {
    pub(crate) left: f64,
    pub(crate) right: f64,
    pub(crate) top: f64,
    pub(crate) bottom: f64,
}

impl Plane {
    /// Grid and ticks of the upright axis with its title above.
    pub(crate) fn upright(&self, scale: &Scale, title: &str) -> Vec<Element> {
        let title = shortened(title, TICK_SIZE, self.right - self.left);
        let mut drawn = vec![
            words(
                &title,
                (self.left - 34.0, self.top - 14.0),
                TICK_SIZE,
                Anchor::Start,
            )
            .with("fill", SOFT),
        ];
        for (y, tick) in scale.ticks() {
            drawn.push(line((self.left, y), (self.right, y), FAINT));
            drawn.push(
                words(&tick, (self.left - 8.0, y + 4.0), TICK_SIZE, Anchor::End).with("fill", SOFT),
            );
        }
        drawn
    }

    /// Ticks of the level axis below the plane with its title.
    pub(crate) fn level(&self, scale: &Scale, title: &str) -> Vec<Element> {
        let mut drawn = vec![self.ground()];
        for (x, tick) in scale.ticks() {
            drawn.push(self.notch(x));
            drawn.push(self.below(&tick, x));
        }
        drawn.extend(self.level_title(title));
        drawn
    }

    /// Names along the bottom, as many as have room, the last one always. `place` says where each lies.
    pub(crate) fn named(&self, names: &[String], place: impl Fn(usize) -> f64) -> Vec<Element> {
        let mut drawn = vec![self.ground()];
        let count = names.len();
        let widest = names
            .iter()
            .map(|name| width(name, TICK_SIZE))
            .fold(0.0, f64::max)
            .min(120.0);
        let apart = if count > 1 {
            (place(1) - place(0)).max(0.01)
        } else {
            self.right - self.left
        };
        let every = (1..=count)
            .find(|every| apart * float(*every) >= widest + 10.0)
            .unwrap_or(count.max(1));
        let last = count.saturating_sub(1);
        for (index, name) in names.iter().enumerate() {
            if last.saturating_sub(index).is_multiple_of(every) {
                let name = shortened(name, TICK_SIZE, 120.0);
                drawn.push(self.notch(place(index)));
                drawn.push(self.below(&name, place(index)));
            }
        }
        drawn
    }

    pub(crate) fn level_title(&self, title: &str) -> Option<Element> {
        let title = shortened(title, TICK_SIZE, self.right - self.left);
        let middle = f64::midpoint(self.left, self.right);
        (!title.is_empty()).then(|| {
            words(
                &title,
                (middle, self.bottom + 38.0),
                TICK_SIZE,
                Anchor::Middle,
            )
            .with("fill", SOFT)
        })
    }

    fn ground(&self) -> Element {
        line((self.left, self.bottom), (self.right, self.bottom), INK)
    }

    fn notch(&self, x: f64) -> Element {
        line((x, self.bottom), (x, self.bottom + 4.0), INK)
    }

    fn below(&self, text: &str, x: f64) -> Element {
        words(text, (x, self.bottom + 18.0), TICK_SIZE, Anchor::Middle).with("fill", SOFT)
    }

    /// Labels to the right of the plane, each as near to its height as the others let it be; a long one goes on below.
    pub(crate) fn beside(&self, mut labels: Vec<Label>, room: f64) -> Vec<Element> {
        labels.sort_by(|a, b| a.y.total_cmp(&b.y));
        let lines: Vec<Vec<String>> = labels
            .iter()
            .map(|label| {
                let room = room - label.sample.room();
                broken(&label.text, LABEL_SIZE, room, LABEL_LINES_MAX)
            })
            .collect();
        let heights: Vec<(f64, f64)> = labels
            .iter()
            .zip(&lines)
            .map(|(label, lines)| (label.y, LABEL_STEP * float(lines.len().max(1))))
            .collect();
        let left = self.right + 8.0;
        let mut drawn = Vec::new();
        for ((label, lines), y) in labels.iter().zip(&lines).zip(spread(&heights, self.bottom)) {
            drawn.extend(label.sample.drawn(left, y));
            let x = left + label.sample.room();
            for (place, line) in lines.iter().enumerate() {
                let base = y + 4.0 + LABEL_STEP * float(place);
                drawn.push(words(line, (x, base), LABEL_SIZE, Anchor::Start));
            }
        }
        drawn
    }
}

/// The room beside a plane that labels with this sample need, at most so much. Whole units, so that a label which just
/// fits is not cut for a rounding.
pub(crate) fn label_room<'a>(
    labels: impl Iterator<Item = &'a str>,
    sample: Sample,
    room_max: f64,
) -> f64 {
    labels
        .map(|label| (width(label, LABEL_SIZE) + sample.room()).ceil())
        .fold(60.0, f64::max)
        .min(room_max)
}

/// Words beside the plane at the height of what they name.
pub(crate) struct Label {
    pub(crate) y: f64,
    pub(crate) text: String,
    pub(crate) sample: Sample,
}

impl Label {
    pub(crate) fn plain(y: f64, text: String) -> Self {
        let sample = Sample::None;
        Self { y, text, sample }
    }
}

/// How the line looks that a label names.
#[derive(Clone, Copy)]
pub(crate) enum Sample {
    None,
    Mark(Shape),
    Dash(&'static str),
}

impl Sample {
    /// What it takes of the label's room.
    pub(crate) fn room(self) -> f64 {
        match self {
            Self::None => 0.0,
            Self::Mark(_) => 13.0,
            Self::Dash(_) => 34.0,
        }
    }

    fn drawn(self, left: f64, y: f64) -> Option<Element> {
        match self {
            Self::None => None,
            Self::Mark(shape) => Some(mark(shape, (left + 4.0, y), 3.6, INK)),
            Self::Dash(dash) => Some(
                line((left, y), (left + 28.0, y), INK)
                    .with("stroke-width", 1.8)
                    .with("stroke-dasharray", dash),
            ),
        }
    }
}

/// Heights of first lines in order, each with the room its lines take, moved so that none lies on the one before and the
/// last line not below `bottom`.
fn spread(heights: &[(f64, f64)], bottom: f64) -> Vec<f64> {
    let mut down: Vec<f64> = Vec::new();
    let mut free = f64::NEG_INFINITY;
    for (height, room) in heights {
        let height = height.max(free);
        free = height + room;
        down.push(height);
    }
    let mut below = bottom + LABEL_STEP;
    for (height, (_, room)) in down.iter_mut().zip(heights).rev() {
        *height = height.min(below - room);
        below = *height;
    }
    down
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_at_one_height_are_moved_apart_and_stay_above_the_bottom() {
        let lines = |heights: &[f64]| -> Vec<(f64, f64)> {
            heights.iter().map(|height| (*height, LABEL_STEP)).collect()
        };
        let heights = spread(&lines(&[100.0, 100.0, 104.0]), 110.0);
        assert_eq!(heights, [80.0, 95.0, 110.0]);
        assert_eq!(spread(&lines(&[10.0, 60.0]), 110.0), [10.0, 60.0]);
        // The first takes two lines, and the last two end at the bottom.
        let two = 2.0 * LABEL_STEP;
        let heights = spread(&[(20.0, two), (20.0, LABEL_STEP), (110.0, two)], 110.0);
        assert_eq!(heights, [20.0, 50.0, 95.0]);
    }

    #[test]
    fn a_label_that_needs_all_the_room_it_gets_is_not_cut() {
        for label in ["One visit", "Calls of all technicians", "iiiWWW, .,"] {
            let sample = Sample::Mark(Shape::Disc);
            let room = label_room([label].into_iter(), sample, 500.0);
            let lines = broken(label, LABEL_SIZE, room - sample.room(), 1);
            assert_eq!(lines, [label]);
        }
    }
}
