//! Repairs over the life of machines: for each model the mean number per machine up to an age, with its band.

use crate::frame::{Frame, MARGIN, NOTHING, WIDTH, identity};
use crate::marks::{BAND, DASHES, INK, SOFT, pair, polyline};
use crate::plane::Plane;
use crate::scale::{Measure, Scale, usable};
use crate::svg::Element;
use crate::words::{figure, sentences, width};
use crate::{Caption, Chart, Picture};

const HEIGHT: f64 = 260.0;
const LABEL_ROOM_MAX: f64 = 190.0;
/// More curves than this cannot be told apart and are not drawn.
const CURVES_MAX: usize = 4;
/// Below so many machines under observation a curve is drawn thin and grey.
const UNITS_MIN: u32 = 5;

/// Mean cumulative repairs per machine against age, one curve a model.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Visits {
    pub caption: Caption,
    /// What the level axis measures, with its unit, such as "Age in years".
    pub age_axis: String,
    /// What the upright axis measures, such as "Repairs per machine".
    pub mean_axis: String,
    /// The first four are drawn.
    pub curves: Vec<Curve>,
}

/// One model.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    pub label: String,
    /// By age. Each holds until the next; the last one says how far the model was observed.
    pub moments: Vec<Moment>,
}

/// The curve from an age on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moment {
    pub age: f64,
    pub mean: f64,
    pub low: f64,
    pub high: f64,
    /// Machines still under observation at this age.
    pub units: u32,
}

impl Moment {
    fn drawable(&self) -> bool {
        [self.age, self.mean, self.low, self.high]
            .into_iter()
            .all(|figure| usable(figure).is_some())
            && self.age >= 0.0
    }
}

impl Curve {
    /// What can be drawn, by age.
    fn usable(&self) -> Vec<Moment> {
        let mut moments: Vec<Moment> = self
            .moments
            .iter()
            .copied()
            .filter(Moment::drawable)
            .collect();
        moments.sort_by(|a, b| a.age.total_cmp(&b.age));
        moments
    }

    fn told(&self) -> String {
        let moments = self.usable();
        let Some(last) = moments.last() else {
            return format!("{}: no figures", self.label);
        };
        let few = moments.iter().find(|moment| moment.units < UNITS_MIN);
        let few = few.map_or_else(String::new, |moment| {
            format!(
                "; fewer than {UNITS_MIN} machines from {} on",
                figure(moment.age, 1)
            )
        });
        format!(
            "{}: {} repairs per machine ({} to {}) at {}{few}",
            self.label,
            figure(last.mean, 2),
            figure(last.low, 2),
            figure(last.high, 2),
            figure(last.age, 1)
        )
    }
}

impl Visits {
    fn drawn_curves(&self) -> Vec<(&Curve, Vec<Moment>)> {
        self.curves
            .iter()
            .map(|curve| (curve, curve.usable()))
            .filter(|(_, moments)| !moments.is_empty())
            .take(CURVES_MAX)
            .collect()
    }
}

impl Chart for Visits {
    fn alternative(&self) -> String {
        let curves = self.drawn_curves();
        if curves.is_empty() {
            return sentences([self.caption.title.clone(), NOTHING.to_owned()]);
        }
        sentences(
            [
                self.caption.title.clone(),
                self.caption.subtitle.clone(),
                self.age_axis.clone(),
            ]
            .into_iter()
            .chain(curves.iter().map(|(curve, _)| curve.told())),
        )
    }

    fn picture(&self) -> Picture {
        let frame = Frame::of(&self.caption);
        let curves = self.drawn_curves();
        if curves.is_empty() {
            return frame.empty(self.alternative());
        }
        let plot = Plot::of(&curves, frame.top() + 22.0);
        let mut drawn = plot.plane.upright(&plot.upright, &self.mean_axis);
        let patterns = Patterns::of(self, curves.len());
        drawn.extend(patterns.defined());
        for (place, (_, moments)) in curves.iter().enumerate() {
            drawn.push(plot.band(moments, &patterns.fill(place)));
        }
        drawn.extend(plot.plane.level(&plot.level, &self.age_axis));
        let mut labels = Vec::new();
        for ((curve, moments), dash) in curves.iter().zip(DASHES) {
            drawn.push(plot.curve(curve, moments, dash));
            if let Some(last) = moments.last() {
                labels.push((plot.upright.place(last.mean), curve.label.clone()));
            }
        }
        drawn.extend(plot.plane.beside(&labels, plot.label_room));
        frame.around(drawn, plot.plane.bottom + 44.0, self.alternative())
    }
}

struct Plot {
    plane: Plane,
    upright: Scale,
    level: Scale,
    label_room: f64,
}

impl Plot {
    fn of(curves: &[(&Curve, Vec<Moment>)], top: f64) -> Self {
        let label_room = curves
            .iter()
            .map(|(curve, _)| width(&curve.label, 12.0))
            .fold(60.0, f64::max)
            .min(LABEL_ROOM_MAX);
        let plane = Plane {
            left: MARGIN + 34.0,
            right: WIDTH - MARGIN - label_room - 8.0,
            top,
            bottom: top + HEIGHT,
        };
        let moments = || curves.iter().flat_map(|(_, moments)| moments);
        let highest = moments()
            .map(|moment| moment.mean.max(moment.high))
            .fold(0.0, f64::max);
        let oldest = moments().map(|moment| moment.age).fold(0.0, f64::max);
        Self {
            plane,
            upright: Scale::over(highest, Measure::Number, plane.bottom, plane.top),
            level: Scale::over(oldest, Measure::Number, plane.left, plane.right),
            label_room,
        }
    }

    /// The corners of a step line over some of the moments.
    fn steps(&self, moments: &[Moment], figure: impl Fn(&Moment) -> f64) -> Vec<(f64, f64)> {
        let mut corners: Vec<(f64, f64)> = Vec::new();
        for moment in moments {
            let (x, y) = (
                self.level.place(moment.age),
                self.upright.place(figure(moment)),
            );
            if let Some((_, before)) = corners.last() {
                corners.push((x, *before));
            }
            corners.push((x, y));
        }
        corners
    }

    fn band(&self, moments: &[Moment], fill: &str) -> Element {
        let mut corners = self.steps(moments, |moment| moment.high.max(moment.low));
        let below = self.steps(moments, |moment| moment.low.min(moment.high));
        corners.extend(below.into_iter().rev());
        let points: Vec<String> = corners.iter().map(|(x, y)| pair(*x, *y)).collect();
        Element::new("polygon")
            .with("points", &points.join(" "))
            .with("fill", fill)
    }

    /// The curve in ink as far as enough machines are behind it, then thin and grey.
    fn curve(&self, curve: &Curve, moments: &[Moment], dash: &str) -> Element {
        let enough = moments
            .iter()
            .take_while(|moment| moment.units >= UNITS_MIN)
            .count();
        let (sure, thin) = moments.split_at(enough);
        // Where the curve thins out, both parts share the step between.
        let reach = sure.iter().chain(thin.first().map(|first| first));
        let mut dark: Vec<Moment> = reach.copied().collect();
        if let (Some(last), false, Some(before)) = (dark.last_mut(), thin.is_empty(), sure.last()) {
            last.mean = before.mean;
        }
        let grey: Vec<Moment> = match (dark.last(), sure.is_empty()) {
            (Some(joint), false) if !thin.is_empty() => std::iter::once(*joint)
                .chain(thin.iter().copied())
                .collect(),
            _ => thin.to_vec(),
        };
        let mut group = Element::new("g").child(Element::new("title").text(&curve.told()));
        if !sure.is_empty() {
            group = group.child(
                polyline(&self.steps(&dark, |moment| moment.mean), INK)
                    .with("stroke-width", 1.8)
                    .with("stroke-dasharray", dash),
            );
        }
        if !grey.is_empty() {
            group = group.child(
                polyline(&self.steps(&grey, |moment| moment.mean), SOFT)
                    .with("stroke-width", 0.8)
                    .with("stroke-dasharray", dash),
            );
        }
        group
    }
}

/// How bands are filled: grey where there is one, hatched at an angle of its own where there are more.
struct Patterns {
    id: String,
    count: usize,
}

impl Patterns {
    const TURNS: [&'static str; CURVES_MAX] =
        ["rotate(45)", "rotate(-45)", "rotate(0)", "rotate(90)"];

    fn of(chart: &Visits, count: usize) -> Self {
        Self {
            id: identity(&["bands", &chart.caption.title, &chart.caption.subtitle]),
            count,
        }
    }

    fn name(&self, place: usize) -> String {
        format!("b{place}{}", self.id)
    }

    fn fill(&self, place: usize) -> String {
        if self.count == 1 {
            BAND.to_owned()
        } else {
            format!("url(#{})", self.name(place))
        }
    }

    fn defined(&self) -> Option<Element> {
        (self.count > 1).then(|| {
            let patterns = Self::TURNS.iter().take(self.count).enumerate();
            Element::new("defs").children(patterns.map(|(place, turn)| {
                Element::new("pattern")
                    .with("id", &self.name(place))
                    .with("width", 6.0)
                    .with("height", 6.0)
                    .with("patternUnits", "userSpaceOnUse")
                    .with("patternTransform", *turn)
                    .child(
                        Element::new("rect")
                            .with("width", 0.9)
                            .with("height", 6.0)
                            .with("fill", "#c4c0b8"),
                    )
            }))
        })
    }
}
