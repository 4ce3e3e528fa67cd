//! Rates of groups against each other: a mark for the rate, a whisker for its interval, a line for the shop.

use crate::frame::{Frame, MARGIN, NOTHING, WIDTH};
use crate::marks::{
    ACCENT, Anchor, FAINT, INK, KeyItem, SOFT, Shape, key, label_lines, line, mark, words,
};
use crate::scale::{Measure, Scale, float, usable};
use crate::svg::Element;
use crate::words::{BOLD, broken, list, percent, sentences, shortened, width};
use crate::{Caption, Chart, Picture};

/// More rows than this are counted in the last line and not drawn.
const ROWS_MAX: usize = 30;
const LABEL_SIZE: f64 = 13.0;
const LABEL_ROOM_MAX: f64 = 230.0;
/// A longer label is cut.
const LABEL_LINES_MAX: usize = 2;
/// Height of rows of which one has a label of two lines.
const TWO_LINES: f64 = 34.0;
/// For "124 of 1240, too few".
const COUNT_ROOM: f64 = 150.0;

/// Rates by group: dot and whisker on an axis of percent.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rates {
    pub caption: Caption,
    /// What the axis measures, with its unit.
    pub axis: String,
    /// In the order in which they are drawn; the first 30 are.
    pub rows: Vec<RateRow>,
    /// The rate of the whole shop in percent.
    pub shop: Option<f64>,
}

/// One group. Rates are percent; the interval may lie off the rate, as shrunk ones do.
#[derive(Clone, Debug, PartialEq)]
pub struct RateRow {
    pub label: String,
    pub n: u32,
    pub returned: u32,
    pub rate: f64,
    pub low: f64,
    pub high: f64,
    pub judgement: Judgement,
}

/// What is said of a group against the shop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Judgement {
    TooFew,
    AsExpected,
    Better,
    Worse,
}

impl Judgement {
    const ALL: [Self; 4] = [Self::TooFew, Self::AsExpected, Self::Better, Self::Worse];

    fn meaning(self) -> &'static str {
        match self {
            Self::TooFew => "too few to judge",
            Self::AsExpected => "as expected",
            Self::Better => "better than expected",
            Self::Worse => "worse than expected",
        }
    }

    /// After the counts of a row.
    fn short(self) -> &'static str {
        match self {
            Self::TooFew => ", too few",
            Self::AsExpected => "",
            Self::Better => ", better",
            Self::Worse => ", worse",
        }
    }

    fn shape(self) -> Shape {
        match self {
            Self::TooFew => Shape::Ring,
            Self::AsExpected => Shape::Disc,
            Self::Better => Shape::TriangleDown,
            Self::Worse => Shape::TriangleUp,
        }
    }

    fn ink(self) -> &'static str {
        match self {
            Self::TooFew => SOFT,
            Self::AsExpected | Self::Better => INK,
            Self::Worse => ACCENT,
        }
    }
}

impl RateRow {
    /// Rate, low and high, if all of them can be drawn.
    fn figures(&self) -> Option<(f64, f64, f64)> {
        let (a, b) = (usable(self.low)?, usable(self.high)?);
        Some((usable(self.rate)?, a.min(b), a.max(b)))
    }

    fn counts(&self) -> String {
        format!("{} of {}", self.returned, self.n)
    }

    fn told(&self) -> String {
        match self.figures() {
            Some((rate, low, high)) => format!(
                "{} {} ({}, {} to {})",
                self.label,
                percent(rate),
                self.counts(),
                percent(low),
                percent(high)
            ),
            None => format!("{} ({})", self.label, self.counts()),
        }
    }
}

impl Chart for Rates {
    fn alternative(&self) -> String {
        if self.rows.is_empty() {
            return sentences([self.caption.title.clone(), NOTHING.to_owned()]);
        }
        let shop = self
            .shop
            .and_then(usable)
            .map(|rate| format!("The shop is at {}", percent(rate)));
        let groups = Judgement::ALL.into_iter().rev().map(|judgement| {
            let rows = self.rows.iter().filter(|row| row.judgement == judgement);
            let told: Vec<String> = rows.map(RateRow::told).collect();
            if told.is_empty() {
                return String::new();
            }
            let meaning = judgement.meaning();
            let meaning = meaning.get(..1).unwrap_or_default().to_uppercase()
                + meaning.get(1..).unwrap_or_default();
            format!("{meaning}: {}", list(&told, 5))
        });
        sentences(
            [
                self.caption.title.clone(),
                self.caption.subtitle.clone(),
                shop.unwrap_or_default(),
            ]
            .into_iter()
            .chain(groups),
        )
    }

    fn picture(&self) -> Picture {
        let frame = Frame::of(&self.caption);
        if self.rows.is_empty() {
            return frame.empty(self.alternative());
        }
        let plot = Plot::of(self, frame.top());
        let mut drawn = plot.axis(self);
        for (index, row) in self.rows.iter().take(ROWS_MAX).enumerate() {
            drawn.push(plot.row(row, index));
        }
        let (below, bottom) = plot.below(self);
        drawn.extend(below);
        frame.around(drawn, bottom, self.alternative())
    }
}

/// Where rows and axis lie.
struct Plot {
    top: f64,
    bottom: f64,
    row_height: f64,
    label_room: f64,
    scale: Scale,
}

impl Plot {
    fn of(chart: &Rates, top: f64) -> Self {
        let rows = || chart.rows.iter().take(ROWS_MAX);
        let count = rows().count();
        let widest = rows()
            .map(|row| width(&row.label, LABEL_SIZE * BOLD).ceil())
            .fold(60.0, f64::max);
        let label_room = widest.min(LABEL_ROOM_MAX);
        let row_height = if widest > LABEL_ROOM_MAX {
            TWO_LINES
        } else if count > 15 {
            21.0
        } else {
            26.0
        };
        let largest = rows()
            .filter_map(RateRow::figures)
            .map(|(rate, _, high)| rate.max(high))
            .chain(chart.shop)
            .fold(0.0, f64::max);
        let top = top + 16.0;
        Self {
            top,
            bottom: top + row_height * float(count) + 4.0,
            row_height,
            label_room,
            scale: Scale::over(
                largest,
                Measure::Percent,
                MARGIN + label_room + 16.0,
                WIDTH - MARGIN - COUNT_ROOM - 12.0,
            ),
        }
    }

    fn axis(&self, chart: &Rates) -> Vec<Element> {
        let mut drawn = Vec::new();
        for (x, tick) in self.scale.ticks() {
            drawn.push(line((x, self.top), (x, self.bottom), FAINT));
            drawn.push(
                words(&tick, (x, self.bottom + 16.0), 12.0, Anchor::Middle).with("fill", SOFT),
            );
        }
        let (left, right) = (self.scale.place(0.0), self.scale.place(f64::from(u16::MAX)));
        let title = shortened(&chart.axis, 12.0, WIDTH - 2.0 * MARGIN);
        let middle = f64::midpoint(left, right);
        drawn.push(
            words(&title, (middle, self.bottom + 34.0), 12.0, Anchor::Middle).with("fill", SOFT),
        );
        if let Some(rate) = chart.shop.and_then(usable) {
            let x = self.scale.place(rate);
            drawn.push(
                line((x, self.top - 4.0), (x, self.bottom), INK).with("stroke-dasharray", "5 3"),
            );
            let said = format!("shop {}", percent(rate));
            drawn.push(words(&said, (x, self.top - 8.0), 12.0, Anchor::Middle));
        }
        drawn
    }

    fn row(&self, row: &RateRow, index: usize) -> Element {
        let y = self.top + self.row_height * (float(index) + 0.5);
        let base = y + 4.5;
        let ink = row.judgement.ink();
        let count = format!("{}{}", row.counts(), row.judgement.short());
        let count = shortened(&count, LABEL_SIZE, COUNT_ROOM);
        let (weight, wider) = if row.judgement == Judgement::Worse {
            ("bold", BOLD)
        } else {
            ("normal", 1.0)
        };
        let room = self.label_room;
        let label = broken(&row.label, LABEL_SIZE * wider, room, LABEL_LINES_MAX);
        let label = label_lines(&label, (MARGIN + room, y), LABEL_SIZE)
            .into_iter()
            .map(|line| line.with("font-weight", weight));
        let mut group = Element::new("g")
            .child(Element::new("title").text(&row.told()))
            .children(label)
            .child(words(
                &count,
                (WIDTH - MARGIN - COUNT_ROOM, base),
                LABEL_SIZE,
                Anchor::Start,
            ));
        if let Some((rate, low, high)) = row.figures() {
            let (low, high) = (self.scale.place(low), self.scale.place(high));
            let dash = if row.judgement == Judgement::TooFew {
                "2 3"
            } else {
                "none"
            };
            group = group
                .child(line((low, y), (high, y), ink).with("stroke-dasharray", dash))
                .child(line((low, y - 4.0), (low, y + 4.0), ink))
                .child(line((high, y - 4.0), (high, y + 4.0), ink))
                .child(mark(
                    row.judgement.shape(),
                    (self.scale.place(rate), y),
                    5.0,
                    ink,
                ));
        }
        group
    }

    /// The key, what was left out, and where it all ends.
    fn below(&self, chart: &Rates) -> (Vec<Element>, f64) {
        let used: Vec<KeyItem> = Judgement::ALL
            .into_iter()
            .filter(|judgement| chart.rows.iter().any(|row| row.judgement == *judgement))
            .map(|judgement| KeyItem {
                shape: judgement.shape(),
                ink: judgement.ink(),
                meaning: judgement.meaning(),
            })
            .collect();
        let y = self.bottom + 58.0;
        let mut drawn = key(&used, MARGIN, y);
        let left_out = chart.rows.len().saturating_sub(ROWS_MAX);
        if left_out > 0 {
            let said = format!("{left_out} more not drawn");
            drawn.push(words(&said, (WIDTH - MARGIN, y), 12.0, Anchor::End).with("fill", SOFT));
        }
        (drawn, y)
    }
}
