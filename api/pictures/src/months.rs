//! Months against their own limits: a control chart of percentages.

use crate::frame::{Frame, MARGIN, NOTHING, WIDTH};
use crate::marks::{
    ACCENT, Anchor, INK, KeyItem, SOFT, Shape, key, line, mark, polyline, words_over_lines,
};
use crate::plane::{Label, Plane};
use crate::scale::{Measure, Scale, float, usable};
use crate::svg::Element;
use crate::words::{list, percent, sentences, shortened, width};
use crate::{Caption, Chart, Picture};

const HEIGHT: f64 = 250.0;
/// For "upper limit 12.5 %" beside the plane.
const LABEL_ROOM: f64 = 126.0;
const ALARM_SIZE: f64 = 12.0;

/// A control chart: one point a month, the mean of all, and the limits beyond which a month stands out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Months {
    pub caption: Caption,
    /// What the upright axis measures, with its unit.
    pub axis: String,
    /// In the order of the calendar, without gaps.
    pub months: Vec<Month>,
    /// The centre line, in percent.
    pub centre: Option<f64>,
}

/// One month; all figures in percent.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Month {
    /// Short, such as "Mar 26".
    pub name: String,
    /// What is counted, as "3 of 41".
    pub counts: String,
    /// `None` where nothing was counted.
    pub rate: Option<f64>,
    /// Limits of this month; they step with how many there were.
    pub lower: Option<f64>,
    pub upper: Option<f64>,
    /// Beyond its limits or part of a run: what is said of it, in a few words.
    pub alarm: Option<String>,
    /// Whether its full time to come back has passed. Without it the point is hollow.
    pub mature: bool,
}

impl Month {
    fn told(&self) -> String {
        match self.rate.and_then(usable) {
            Some(rate) => format!("{} {} ({})", self.name, percent(rate), self.counts),
            None => format!("{}: nothing counted", self.name),
        }
    }

    fn shape(&self) -> Shape {
        match (&self.alarm, self.mature) {
            (Some(_), true) => Shape::Diamond,
            (Some(_), false) => Shape::OpenDiamond,
            (None, true) => Shape::Disc,
            (None, false) => Shape::Ring,
        }
    }

    fn ink(&self) -> &'static str {
        match (&self.alarm, self.mature) {
            (Some(_), _) => ACCENT,
            (None, true) => INK,
            (None, false) => SOFT,
        }
    }
}

impl Chart for Months {
    fn alternative(&self) -> String {
        let (Some(first), Some(last)) = (self.months.first(), self.months.last()) else {
            return sentences([self.caption.title.clone(), NOTHING.to_owned()]);
        };
        let counted = match self.months.len() {
            1 => format!("One month, {}", first.told()),
            several => format!("{several} months, from {} to {}", first.told(), last.told()),
        };
        let alarms: Vec<String> = self
            .months
            .iter()
            .filter_map(|month| Some(format!("{}: {}", month.told(), month.alarm.as_ref()?)))
            .collect();
        let alarms = if alarms.is_empty() {
            "No month stands out".to_owned()
        } else {
            format!("Standing out: {}", list(&alarms, 5))
        };
        let immature = self.months.iter().filter(|month| !month.mature).count();
        let immature = match immature {
            0 => String::new(),
            1 => "1 month has not had its full time yet".to_owned(),
            several => format!("{several} months have not had their full time yet"),
        };
        let centre = self
            .centre
            .and_then(usable)
            .map(|centre| format!("The mean is {}", percent(centre)));
        sentences([
            self.caption.title.clone(),
            self.caption.subtitle.clone(),
            counted,
            centre.unwrap_or_default(),
            alarms,
            immature,
        ])
    }

    fn picture(&self) -> Picture {
        let frame = Frame::of(&self.caption);
        if self.months.is_empty() {
            return frame.empty(self.alternative());
        }
        let plot = Plot::of(self, frame.top() + 22.0);
        let mut drawn = plot.plane.upright(&plot.scale, &self.axis);
        let names: Vec<String> = self.months.iter().map(|month| month.name.clone()).collect();
        drawn.extend(plot.plane.named(&names, |index| plot.x(index)));
        drawn.extend(plot.limits(self));
        drawn.extend(plot.joined(self));
        drawn.extend(plot.points(self));
        drawn.extend(plot.alarms(self));
        let bottom = plot.plane.bottom + 46.0;
        drawn.extend(key(&used_marks(self), MARGIN, bottom));
        frame.around(drawn, bottom, self.alternative())
    }
}

fn used_marks(chart: &Months) -> Vec<KeyItem> {
    [
        (Shape::Disc, INK, "month"),
        (Shape::Ring, SOFT, "full time has not passed yet"),
        (Shape::Diamond, ACCENT, "month that stands out"),
        (Shape::OpenDiamond, ACCENT, "stands out before its time"),
    ]
    .into_iter()
    .filter(|(shape, _, _)| chart.months.iter().any(|month| month.shape() == *shape))
    .map(|(shape, ink, meaning)| KeyItem {
        shape,
        ink,
        meaning,
    })
    .collect()
}

struct Plot {
    plane: Plane,
    scale: Scale,
    /// From one month to the next.
    step: f64,
}

impl Plot {
    fn of(chart: &Months, top: f64) -> Self {
        let plane = Plane {
            left: MARGIN + 34.0,
            right: WIDTH - MARGIN - LABEL_ROOM,
            top,
            bottom: top + HEIGHT,
        };
        let largest = chart
            .months
            .iter()
            .flat_map(|month| [month.rate, month.upper])
            .chain([chart.centre])
            .flatten()
            .filter_map(usable)
            .fold(0.0, f64::max);
        // Free space above the highest point is for its label.
        let scale = Scale::ending_at(largest * 1.1, Measure::Percent, plane.bottom, plane.top);
        let step = (plane.right - plane.left) / float(chart.months.len().max(1));
        Self { plane, scale, step }
    }

    fn x(&self, index: usize) -> f64 {
        self.plane.left + self.step * (float(index) + 0.5)
    }

    /// Where each month's point lies; `None` where nothing was counted.
    fn places<'a>(
        &'a self,
        chart: &'a Months,
    ) -> impl Iterator<Item = (&'a Month, Option<(f64, f64)>)> {
        chart.months.iter().enumerate().map(|(index, month)| {
            let rate = month.rate.and_then(usable);
            let place = rate.map(|rate| (self.x(index), self.scale.place(rate)));
            (month, place)
        })
    }

    /// Centre line and both limits with their labels.
    fn limits(&self, chart: &Months) -> Vec<Element> {
        let mut drawn = Vec::new();
        let mut labels = Vec::new();
        if let Some(centre) = chart.centre.and_then(usable) {
            let y = self.scale.place(centre);
            drawn.push(line((self.plane.left, y), (self.plane.right, y), INK));
            labels.push(Label::plain(y, format!("mean {}", percent(centre))));
        }
        let upper = |month: &Month| month.upper.and_then(usable);
        // A limit at zero is no limit.
        let lower = |month: &Month| month.lower.and_then(usable).filter(|low| *low > 0.0);
        drawn.extend(self.stepped(chart, upper));
        drawn.extend(self.stepped(chart, lower));
        let last = [
            ("upper", chart.months.iter().rev().find_map(upper)),
            ("lower", chart.months.iter().rev().find_map(lower)),
        ];
        for (which, limit) in last {
            labels.extend(limit.map(|limit| {
                let said = format!("{which} limit {}", percent(limit));
                Label::plain(self.scale.place(limit), said)
            }));
        }
        drawn.extend(self.plane.beside(labels, LABEL_ROOM - 8.0));
        drawn
    }

    /// A dashed line that steps from month to month, broken where a month has no limit.
    fn stepped(&self, chart: &Months, limit: impl Fn(&Month) -> Option<f64>) -> Vec<Element> {
        let mut runs: Vec<Vec<(f64, f64)>> = vec![Vec::new()];
        for (index, month) in chart.months.iter().enumerate() {
            match limit(month) {
                Some(limit) => {
                    let (x, y) = (self.x(index), self.scale.place(limit));
                    if let Some(run) = runs.last_mut() {
                        run.extend([(x - self.step / 2.0, y), (x + self.step / 2.0, y)]);
                    }
                }
                None => runs.push(Vec::new()),
            }
        }
        runs.iter()
            .filter(|run| !run.is_empty())
            .map(|run| polyline(run, SOFT).with("stroke-dasharray", "6 4"))
            .collect()
    }

    /// Neighbours are joined; by dots where one of them has not had its full time.
    fn joined(&self, chart: &Months) -> Vec<Element> {
        let places: Vec<_> = self.places(chart).collect();
        places
            .windows(2)
            .filter_map(|pair| {
                let [(a, Some(from)), (b, Some(to))] = pair else {
                    return None;
                };
                let dash = if a.mature && b.mature { "none" } else { "2 3" };
                Some(line(*from, *to, SOFT).with("stroke-dasharray", dash))
            })
            .collect()
    }

    fn points(&self, chart: &Months) -> Vec<Element> {
        let size = if self.step < 9.0 { 2.6 } else { 4.0 };
        self.places(chart)
            .filter_map(|(month, place)| {
                let told = match &month.alarm {
                    Some(alarm) => format!("{}: {alarm}", month.told()),
                    None => month.told(),
                };
                Some(
                    Element::new("g")
                        .child(Element::new("title").text(&told))
                        .child(mark(month.shape(), place?, size, month.ink())),
                )
            })
            .collect()
    }

    /// The words of alarms above their points; one that finds no free place is left to the point's own title.
    fn alarms(&self, chart: &Months) -> Vec<Element> {
        let mut taken: Vec<(f64, f64, f64)> = Vec::new();
        let mut drawn = Vec::new();
        for (month, place) in self.places(chart) {
            let (Some(alarm), Some((x, y))) = (&month.alarm, place) else {
                continue;
            };
            let said = shortened(alarm, ALARM_SIZE, 180.0);
            let half = width(&said, ALARM_SIZE) / 2.0 + 3.0;
            let middle = x.clamp(self.plane.left + half, self.plane.right - half);
            let free = [-11.0, -25.0, 21.0, -39.0, 35.0]
                .into_iter()
                .map(|offset| y + offset)
                .filter(|base| *base > self.plane.top - 2.0 && *base < self.plane.bottom - 3.0)
                .find(|base| {
                    taken.iter().all(|(at, other, other_half)| {
                        (at - middle).abs() >= half + other_half || (other - base).abs() >= 14.0
                    })
                });
            if let Some(base) = free {
                taken.push((middle, base, half));
                drawn.push(
                    words_over_lines(&said, (middle, base), ALARM_SIZE, Anchor::Middle)
                        .with("fill", ACCENT),
                );
            }
        }
        drawn
    }
}
