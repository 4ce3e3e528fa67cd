//! One or two series of percentages by month.

use crate::frame::{Frame, MARGIN, NOTHING, WIDTH};
use crate::marks::{DASHES, INK, Shape, line, mark};
use crate::plane::{Label, Plane, Sample, label_room};
use crate::scale::{Measure, Scale, float, usable};
use crate::svg::Element;
use crate::words::{percent, sentences};
use crate::{Caption, Chart, Picture};

const HEIGHT: f64 = 250.0;
const LABEL_ROOM_MAX: f64 = 170.0;
/// More series than this are not drawn: two shapes and two dashes are told apart at a glance.
const SERIES_MAX: usize = 2;
const SHAPES: [Shape; SERIES_MAX] = [Shape::Disc, Shape::Square];

/// Percentages by month, such as calls completed at the first visit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lines {
    pub caption: Caption,
    /// What the upright axis measures, with its unit.
    pub axis: String,
    /// Short names in the order of the calendar, such as "Mar 26".
    pub months: Vec<String>,
    /// The first two are drawn.
    pub series: Vec<Series>,
}

/// One line: a percentage for each month, in the order of the months; `None` where there is none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Series {
    pub label: String,
    pub values: Vec<Option<f64>>,
}

impl Series {
    /// Place among the months and value, where there is one.
    fn points<'a>(&'a self, months: &'a [String]) -> impl Iterator<Item = (usize, &'a str, f64)> {
        months
            .iter()
            .zip(&self.values)
            .enumerate()
            .filter_map(|(index, (month, value))| {
                Some((index, month.as_str(), value.and_then(usable)?))
            })
    }

    fn told(&self, months: &[String]) -> String {
        let points: Vec<_> = self.points(months).collect();
        let (Some((_, first, from)), Some((_, last, to))) = (points.first(), points.last()) else {
            return format!("{}: no figures", self.label);
        };
        let by_value = |a: &&(usize, &str, f64), b: &&(usize, &str, f64)| a.2.total_cmp(&b.2);
        let said = |point: Option<&(usize, &str, f64)>| {
            point.map_or_else(String::new, |(_, month, value)| {
                format!("{} in {month}", percent(*value))
            })
        };
        if points.len() == 1 {
            return format!("{}: {} in {first}", self.label, percent(*from));
        }
        format!(
            "{}: {} in {first}, {} in {last}; lowest {}, highest {}",
            self.label,
            percent(*from),
            percent(*to),
            said(points.iter().min_by(by_value)),
            said(points.iter().max_by(by_value))
        )
    }
}

impl Lines {
    fn drawn_series(&self) -> impl Iterator<Item = &Series> {
        self.series.iter().take(SERIES_MAX)
    }

    fn is_empty(&self) -> bool {
        !self
            .drawn_series()
            .any(|series| series.points(&self.months).next().is_some())
    }
}

impl Chart for Lines {
    fn alternative(&self) -> String {
        if self.is_empty() {
            return sentences([self.caption.title.clone(), NOTHING.to_owned()]);
        }
        sentences(
            [self.caption.title.clone(), self.caption.subtitle.clone()]
                .into_iter()
                .chain(self.drawn_series().map(|series| series.told(&self.months))),
        )
    }

    fn picture(&self) -> Picture {
        let frame = Frame::of(&self.caption);
        if self.is_empty() {
            return frame.empty(self.alternative());
        }
        let top = frame.top() + 22.0;
        let labels = self.drawn_series().map(|series| series.label.as_str());
        let label_room = label_room(labels, Sample::Mark(Shape::Disc), LABEL_ROOM_MAX);
        let plane = Plane {
            left: MARGIN + 34.0,
            right: WIDTH - MARGIN - label_room - 8.0,
            top,
            bottom: top + HEIGHT,
        };
        let largest = self
            .drawn_series()
            .flat_map(|series| series.points(&self.months))
            .map(|(_, _, value)| value)
            .fold(0.0, f64::max);
        let scale = Scale::over(largest, Measure::Percent, plane.bottom, plane.top);
        let step = (plane.right - plane.left) / float(self.months.len().max(1));
        let x = |index: usize| plane.left + step * (float(index) + 0.5);

        let mut drawn = plane.upright(&scale, &self.axis);
        drawn.extend(plane.named(&self.months, x));
        let mut labels = Vec::new();
        for ((series, shape), dash) in self.drawn_series().zip(SHAPES).zip(DASHES) {
            let places: Vec<(usize, (f64, f64), String)> = series
                .points(&self.months)
                .map(|(index, month, value)| {
                    let said = format!("{}, {month}: {}", series.label, percent(value));
                    (index, (x(index), scale.place(value)), said)
                })
                .collect();
            drawn.extend(joined(&places, dash));
            let size = if step < 9.0 { 2.4 } else { 3.6 };
            drawn.extend(places.iter().map(|(_, place, said)| {
                Element::new("g")
                    .child(Element::new("title").text(said))
                    .child(mark(shape, *place, size, INK))
            }));
            if let Some((_, (_, y), _)) = places.last() {
                labels.push(Label {
                    y: *y,
                    text: series.label.clone(),
                    sample: Sample::Mark(shape),
                });
            }
        }
        drawn.extend(plane.beside(labels, label_room));
        frame.around(drawn, plane.bottom + 26.0, self.alternative())
    }
}

/// Neighbouring months are joined; over a month without a figure there is a gap.
fn joined(places: &[(usize, (f64, f64), String)], dash: &str) -> Vec<Element> {
    places
        .windows(2)
        .filter_map(|pair| {
            let [(before, from, _), (after, to, _)] = pair else {
                return None;
            };
            let neighbours = before.saturating_add(1) == *after;
            neighbours.then(|| {
                line(*from, *to, INK)
                    .with("stroke-width", 1.4)
                    .with("stroke-dasharray", dash)
            })
        })
        .collect()
}
