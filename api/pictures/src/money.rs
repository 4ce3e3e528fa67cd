//! Money by group: a bar for each, the amount beside it.

use crate::frame::{Frame, MARGIN, NOTHING, WIDTH};
use crate::marks::{Anchor, INK, SOFT, label_lines, line, words};
use crate::scale::{float, usable};
use crate::svg::Element;
use crate::words::{broken, list, sentences, shortened, width};
use crate::{Caption, Chart, Picture};

/// More bars than this are counted in the last line and not drawn.
const BARS_MAX: usize = 30;
const SIZE: f64 = 13.0;
const LABEL_ROOM_MAX: f64 = 230.0;
/// A longer label is cut.
const LABEL_LINES_MAX: usize = 2;
/// Height of rows of which one has a label of two lines.
const TWO_LINES: f64 = 34.0;
const AMOUNT_ROOM_MAX: f64 = 130.0;
const BAR: &str = "#6b6b6b";

/// Amounts by group as level bars.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Money {
    pub caption: Caption,
    /// In the order in which they are drawn; the first 30 are.
    pub bars: Vec<Bar>,
}

/// One group and its amount.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    pub label: String,
    /// The amount as it is to be read, currency and all. Every figure in the picture comes from here.
    pub amount: String,
    /// Sets the length of the bar against the longest one, and nothing else: it is never printed or added up, so that
    /// it may be a float though it stands for money. Below zero draws nothing.
    pub length: f64,
}

impl Bar {
    fn drawable(&self) -> f64 {
        usable_length(self.length)
    }

    fn told(&self) -> String {
        format!("{} {}", self.label, self.amount)
    }
}

/// Amounts in cents may be larger than other figures; only their proportion counts.
fn usable_length(length: f64) -> f64 {
    usable(length / 1000.0).unwrap_or(0.0).max(0.0)
}

impl Chart for Money {
    fn alternative(&self) -> String {
        if self.bars.is_empty() {
            return sentences([self.caption.title.clone(), NOTHING.to_owned()]);
        }
        let told: Vec<String> = self.bars.iter().map(Bar::told).collect();
        sentences([
            self.caption.title.clone(),
            self.caption.subtitle.clone(),
            list(&told, 10),
        ])
    }

    fn picture(&self) -> Picture {
        let frame = Frame::of(&self.caption);
        if self.bars.is_empty() {
            return frame.empty(self.alternative());
        }
        let bars: Vec<&Bar> = self.bars.iter().take(BARS_MAX).collect();
        let widest = |text: fn(&Bar) -> &str| {
            bars.iter()
                .map(|bar| width(text(bar), SIZE).ceil())
                .fold(40.0, f64::max)
        };
        let label_room = widest(|bar| &bar.label);
        let rows = Rows {
            top: frame.top(),
            height: if label_room > LABEL_ROOM_MAX {
                TWO_LINES
            } else if bars.len() > 15 {
                21.0
            } else {
                28.0
            },
            label_room: label_room.min(LABEL_ROOM_MAX),
            amount_room: widest(|bar| &bar.amount).min(AMOUNT_ROOM_MAX),
            longest: bars.iter().map(|bar| bar.drawable()).fold(0.0, f64::max),
        };
        let mut drawn: Vec<Element> = bars
            .iter()
            .enumerate()
            .map(|(index, bar)| rows.row(bar, index))
            .collect();
        let left = rows.left();
        let bottom = rows.top + rows.height * float(bars.len());
        drawn.push(line((left, rows.top), (left, bottom), INK));
        let left_out = self.bars.len().saturating_sub(BARS_MAX);
        if left_out == 0 {
            return frame.around(drawn, bottom + 4.0, self.alternative());
        }
        let said = format!("{left_out} more not drawn");
        let at = (WIDTH - MARGIN, bottom + 14.0);
        drawn.push(words(&said, at, 12.0, Anchor::End).with("fill", SOFT));
        frame.around(drawn, bottom + 14.0, self.alternative())
    }
}

/// Where bars lie.
struct Rows {
    top: f64,
    height: f64,
    label_room: f64,
    amount_room: f64,
    longest: f64,
}

impl Rows {
    fn left(&self) -> f64 {
        MARGIN + self.label_room + 10.0
    }

    fn row(&self, bar: &Bar, index: usize) -> Element {
        let middle = self.top + self.height * (float(index) + 0.5);
        let room = WIDTH - MARGIN - self.amount_room - 8.0 - self.left();
        let share = if self.longest > 0.0 {
            bar.drawable() / self.longest
        } else {
            0.0
        };
        let (length, thick) = (room * share, self.height.min(28.0) * 0.58);
        let base = middle + 4.5;
        let label = broken(&bar.label, SIZE, self.label_room, LABEL_LINES_MAX);
        let amount = shortened(&bar.amount, SIZE, self.amount_room);
        let label_at = (MARGIN + self.label_room, middle);
        let amount_at = (self.left() + length + 8.0, base);
        Element::new("g")
            .child(Element::new("title").text(&bar.told()))
            .children(label_lines(&label, label_at, SIZE))
            .child(
                Element::new("rect")
                    .with("x", self.left())
                    .with("y", middle - thick / 2.0)
                    .with("width", length)
                    .with("height", thick)
                    .with("fill", BAR),
            )
            .child(words(&amount, amount_at, SIZE, Anchor::Start))
    }
}
