//! Repairs over the life of machines: for each model the mean number per machine up to an age, with its band.

use crate::frame::{Frame, MARGIN, NOTHING, WIDTH, identity};
use crate::marks::{Anchor, BAND, DASHES, INK, SOFT, Shape, line, mark, pair, polyline, words};
use crate::plane::{Label, Plane, Sample};
use crate::scale::{Measure, Scale, float, usable};
use crate::svg::Element;
use crate::words::{figure, sentences, width};
use crate::{Caption, Chart, Picture};

const HEIGHT: f64 = 260.0;
const LABEL_ROOM_MAX: f64 = 190.0;
/// More curves than this cannot be told apart and are not drawn.
const CURVES_MAX: usize = 4;
/// Bands of more curves than this hide each other: each has a whisker beside the plane instead.
const BANDS_MAX: usize = 2;
/// Room for the whiskers, and from one to the next.
const WHISKERS_ROOM: f64 = 48.0;
const WHISKER_STEP: f64 = 11.0;
/// Below so many machines under observation a curve is drawn thin and grey.
const UNITS_MIN: u32 = 5;

/// Mean cumulative repairs per machine against age, one curve a model. One or two curves lie in their bands, more have
/// their last well founded interval beside the plane.
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
        let banded = curves.len() <= BANDS_MAX;
        let patterns = Patterns::of(self, curves.len());
        drawn.extend(patterns.defined());
        for (place, (_, moments)) in curves.iter().enumerate().filter(|_| banded) {
            drawn.push(plot.band(moments, &patterns.fill(place)));
        }
        drawn.extend(plot.plane.level(&plot.level, &self.age_axis));
        let mut labels = Vec::new();
        for ((curve, moments), dash) in curves.iter().zip(DASHES) {
            drawn.push(plot.curve(curve, moments, dash));
            if !banded {
                drawn.extend(plot.whisker(moments, labels.len(), dash));
            }
            if let Some(last) = moments.last() {
                labels.push(Label {
                    y: plot.upright.place(last.mean),
                    text: curve.label.clone(),
                    sample: Sample::Dash(dash),
                });
            }
        }
        if !banded {
            drawn.push(plot.whiskers_named());
        }
        drawn.extend(plot.labels_plane().beside(labels, plot.label_room));
        frame.around(drawn, plot.plane.bottom + 44.0, self.alternative())
    }
}

struct Plot {
    plane: Plane,
    upright: Scale,
    level: Scale,
    label_room: f64,
    whiskers_room: f64,
}

impl Plot {
    fn of(curves: &[(&Curve, Vec<Moment>)], top: f64) -> Self {
        let label_room = curves
            .iter()
            .map(|(curve, _)| width(&curve.label, 12.0) + Sample::Dash("").room())
            .fold(60.0, f64::max)
            .min(LABEL_ROOM_MAX);
        let whiskers_room = if curves.len() > BANDS_MAX {
            WHISKERS_ROOM
        } else {
            0.0
        };
        let plane = Plane {
            left: MARGIN + 34.0,
            right: WIDTH - MARGIN - label_room - 8.0 - whiskers_room,
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
            level: Scale::ending_at(oldest, Measure::Number, plane.left, plane.right),
            label_room,
            whiskers_room,
        }
    }

    /// The plane with its whiskers; labels stand beside it.
    fn labels_plane(&self) -> Plane {
        Plane {
            right: self.plane.right + self.whiskers_room,
            ..self.plane
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

    /// Low to high where the curve last had enough machines, in the dash of its curve, to the right of the plane.
    fn whisker(&self, moments: &[Moment], place: usize, dash: &str) -> Vec<Element> {
        let enough = moments
            .iter()
            .rev()
            .find(|moment| moment.units >= UNITS_MIN);
        let Some(moment) = enough.or(moments.last()) else {
            return Vec::new();
        };
        let x = self.plane.right + WHISKER_STEP * (float(place) + 1.0);
        let [low, mean, high] =
            [moment.low, moment.mean, moment.high].map(|figure| self.upright.place(figure));
        vec![
            line((x, low), (x, high), SOFT).with("stroke-dasharray", dash),
            line((x - 3.0, low), (x + 3.0, low), SOFT),
            line((x - 3.0, high), (x + 3.0, high), SOFT),
            mark(Shape::Disc, (x, mean), 2.8, INK),
        ]
    }

    fn whiskers_named(&self) -> Element {
        let middle = self.plane.right + WHISKERS_ROOM / 2.0 + 4.0;
        let at = (middle, self.plane.bottom + 18.0);
        words("intervals", at, 12.0, Anchor::Middle).with("fill", SOFT)
    }

    /// The curve in ink as far as enough machines are behind it, then thin and grey.
    fn curve(&self, curve: &Curve, moments: &[Moment], dash: &str) -> Element {
        let corners = self.steps(moments, |moment| moment.mean);
        let enough = moments
            .iter()
            .take_while(|moment| moment.units >= UNITS_MIN)
            .count();
        // Each moment but the first has two corners: where the step before ends, and where it rises to. Ink goes up to the
        // end of the last step that has enough machines; there the grey begins.
        let inked = enough.saturating_mul(2);
        let sure: Vec<_> = corners.iter().copied().take(inked).collect();
        let thin: Vec<_> = corners.into_iter().skip(inked.saturating_sub(1)).collect();
        let parts = [(sure, INK, 1.8), (thin, SOFT, 0.8)];
        Element::new("g")
            .child(Element::new("title").text(&curve.told()))
            .children(
                parts
                    .into_iter()
                    .filter(|(corners, _, _)| !corners.is_empty())
                    .map(|(corners, ink, thick)| {
                        polyline(&corners, ink)
                            .with("stroke-width", thick)
                            .with("stroke-dasharray", dash)
                    }),
            )
    }
}

/// How bands are filled: grey where there is one, hatched at an angle of its own where there are more.
struct Patterns {
    id: String,
    count: usize,
}

impl Patterns {
    const TURNS: [&'static str; BANDS_MAX] = ["rotate(45)", "rotate(-45)"];

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
        (self.count == BANDS_MAX).then(|| {
            let patterns = Self::TURNS.iter().enumerate();
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
