//! Repairs over the life of machines: for each model the mean number per machine up to an age, with its band.

use crate::frame::{Frame, MARGIN, NOTHING, WIDTH, identity};
use crate::marks::{Anchor, BAND, DASHES, INK, SOFT, Shape, line, mark, pair, polyline, words};
use crate::plane::{Label, Plane, Sample, label_room};
use crate::scale::{Measure, Scale, float, usable};
use crate::svg::Element;
use crate::words::{counted, figure, sentences};
use crate::{Caption, Chart, Picture};

const HEIGHT: f64 = 260.0;
const LABEL_ROOM_MAX: f64 = 200.0;
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
/// their last well founded interval beside the plane, where there is one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Visits {
    pub caption: Caption,
    /// What the level axis measures, with its unit, such as "Age in years".
    pub age_axis: String,
    /// The same unit, for words.
    pub age_unit: AgeUnit,
    /// What the upright axis measures, such as "Repairs per machine".
    pub mean_axis: String,
    /// The first four are drawn.
    pub curves: Vec<Curve>,
}

/// In what ages are told.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum AgeUnit {
    Days,
    #[default]
    Years,
}

impl AgeUnit {
    /// An age in words; one above zero is never told as zero.
    fn told(self, age: f64) -> String {
        let (decimals, one, several) = match self {
            Self::Days => (0, "day", "days"),
            Self::Years => (1, "year", "years"),
        };
        let said = (decimals..=3)
            .map(|decimals| figure(age, decimals))
            .find(|said| said != "0" || age <= 0.0)
            .unwrap_or_else(|| "less than 0.001".to_owned());
        counted(&said, one, several)
    }
}

/// One model.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curve {
    pub label: String,
    /// By age, from zero. Each holds until the next; the last one says how far the model was observed.
    pub moments: Vec<Moment>,
}

/// The curve from an age on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moment {
    pub age: f64,
    pub mean: f64,
    /// Low and high; `None` where they cannot be told.
    pub limits: Option<(f64, f64)>,
    /// Machines still under observation at this age.
    pub units: u32,
}

impl Moment {
    fn drawable(&self) -> bool {
        let (low, high) = self.limits.unwrap_or_default();
        [self.age, self.mean, low, high]
            .into_iter()
            .all(|figure| usable(figure).is_some())
            && self.age >= 0.0
    }

    /// Low and high in their order, with the moment.
    fn limited(&self) -> Option<(&Self, f64, f64)> {
        self.limits.map(|(a, b)| (self, a.min(b), a.max(b)))
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

    /// The last step with its age, and how far the model was observed.
    fn told(&self, unit: AgeUnit) -> String {
        let moments = self.usable();
        let (Some(first), Some(last)) = (moments.first(), moments.last()) else {
            return format!("{}: no figures", self.label);
        };
        let mean = figure(last.mean, 2);
        let mean = counted(&mean, "repair per machine", "repairs per machine");
        let watched = unit.told(last.age);
        let few = moments.iter().find(|moment| moment.units < UNITS_MIN);
        let few = few.map_or_else(String::new, |moment| {
            if moment.age > 0.0 {
                let from = unit.told(moment.age);
                format!("; fewer than {UNITS_MIN} machines from {from} on")
            } else {
                format!("; fewer than {UNITS_MIN} machines")
            }
        });
        let step = moments.windows(2).rev().find_map(|pair| match pair {
            [before, after] if before.mean.total_cmp(&after.mean).is_ne() => Some(after),
            _ => None,
        });
        let Some(step) = step.or(Some(first).filter(|first| first.mean > 0.0)) else {
            return format!("{}: {mean}, watched for {watched}{few}", self.label);
        };
        let limits = step.limited().map_or_else(String::new, |(_, low, high)| {
            format!(" ({} to {})", figure(low, 2), figure(high, 2))
        });
        format!(
            "{}: {mean}{limits} at {}, watched for {watched}{few}",
            self.label,
            unit.told(step.age)
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
            .chain(curves.iter().map(|(curve, _)| curve.told(self.age_unit))),
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
            drawn.extend(plot.band(moments, &patterns.fill(place)));
        }
        drawn.extend(plot.plane.level(&plot.level, &self.age_axis));
        let mut labels = Vec::new();
        for ((curve, moments), dash) in curves.iter().zip(DASHES) {
            drawn.push(plot.curve(&curve.told(self.age_unit), moments, dash));
            if plot.whiskers_room > 0.0 {
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
        if plot.whiskers_room > 0.0 {
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
        let labels = curves.iter().map(|(curve, _)| curve.label.as_str());
        let label_room = label_room(labels, Sample::Dash(""), LABEL_ROOM_MAX);
        let whiskers = curves
            .iter()
            .any(|(_, moments)| last_founded(moments).is_some());
        let whiskers_room = if whiskers && curves.len() > BANDS_MAX {
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
            .map(|moment| {
                let high = moment.limited().map_or(0.0, |(_, _, high)| high);
                moment.mean.max(high)
            })
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

    /// The corners of a step line over ages and figures.
    fn steps(&self, figures: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
        let mut corners: Vec<(f64, f64)> = Vec::new();
        for (age, figure) in figures {
            let (x, y) = (self.level.place(age), self.upright.place(figure));
            if let Some((_, before)) = corners.last() {
                corners.push((x, *before));
            }
            corners.push((x, y));
        }
        corners
    }

    /// From low to high, as far as there are limits.
    fn band(&self, moments: &[Moment], fill: &str) -> Option<Element> {
        let limited = || moments.iter().filter_map(Moment::limited);
        let mut corners = self.steps(limited().map(|(moment, _, high)| (moment.age, high)));
        let below = self.steps(limited().map(|(moment, low, _)| (moment.age, low)));
        corners.extend(below.into_iter().rev());
        let points: Vec<String> = corners.iter().map(|(x, y)| pair(*x, *y)).collect();
        (!points.is_empty()).then(|| {
            Element::new("polygon")
                .with("points", &points.join(" "))
                .with("fill", fill)
        })
    }

    /// Low to high where the curve last had enough machines, in the dash of its curve, to the right of the plane.
    fn whisker(&self, moments: &[Moment], place: usize, dash: &str) -> Vec<Element> {
        let Some((moment, low, high)) = last_founded(moments) else {
            return Vec::new();
        };
        let x = self.plane.right + WHISKER_STEP * (float(place) + 1.0);
        let [low, mean, high] = [low, moment.mean, high].map(|figure| self.upright.place(figure));
        vec![
            line((x, low), (x, high), SOFT).with("stroke-dasharray", dash),
            line((x - 3.0, low), (x + 3.0, low), SOFT),
            line((x - 3.0, high), (x + 3.0, high), SOFT),
            mark(Shape::Disc, (x, mean), 2.8, INK),
        ]
    }

    /// Above the whiskers what they are, beside the title of the upright axis.
    fn whiskers_named(&self) -> Element {
        let middle = self.plane.right + WHISKERS_ROOM / 2.0 + 4.0;
        let at = (middle, self.plane.top - 14.0);
        words("intervals", at, 12.0, Anchor::Middle).with("fill", SOFT)
    }

    /// The curve in ink as far as enough machines are behind it, then thin and grey; a mark where it is a single point.
    fn curve(&self, told: &str, moments: &[Moment], dash: &str) -> Element {
        let corners = self.steps(moments.iter().map(|moment| (moment.age, moment.mean)));
        let group = Element::new("g").child(Element::new("title").text(told));
        if let [first, rest @ ..] = corners.as_slice()
            && rest.iter().all(|corner| corner == first)
        {
            return group.child(mark(Shape::Disc, *first, 3.6, INK));
        }
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
        group.children(
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

/// The last moment above zero with limits that enough machines stand behind, else the last with limits at all.
fn last_founded(moments: &[Moment]) -> Option<(&Moment, f64, f64)> {
    let limited = || {
        moments
            .iter()
            .rev()
            .filter(|moment| moment.mean > 0.0)
            .filter_map(Moment::limited)
    };
    limited()
        .find(|(moment, _, _)| moment.units >= UNITS_MIN)
        .or_else(|| limited().next())
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
