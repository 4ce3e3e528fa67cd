//! Shapes, inks and lines that all charts share.
//!
//! What must stay true: marks differ by shape and filling; the one accent only underlines what the shape says already.

use crate::scale::float;
use crate::svg::Element;
use crate::words::width;

pub(crate) const INK: &str = "#1a1a1a";
/// For words of second rank; still dark enough to read on white.
pub(crate) const SOFT: &str = "#555555";
/// For grid lines.
pub(crate) const FAINT: &str = "#dcdcdc";
/// For bands.
pub(crate) const BAND: &str = "#e9e6e0";
/// Rust brown: dark in a grey print.
pub(crate) const ACCENT: &str = "#9a3412";
pub(crate) const PAPER: &str = "#ffffff";

/// Dashes, so that lines in one picture are told apart.
pub(crate) const DASHES: [&str; 4] = ["none", "9 4", "2 3", "10 3 2 3"];

#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    Disc,
    Ring,
    Square,
    Diamond,
    OpenDiamond,
    TriangleUp,
    TriangleDown,
}

/// A mark around a place, about `size` units to each side.
pub(crate) fn mark(shape: Shape, (x, y): (f64, f64), size: f64, ink: &str) -> Element {
    let polygon = |corners: &[(f64, f64)]| {
        let points: Vec<String> = corners
            .iter()
            .map(|(dx, dy)| pair(x + dx * size, y + dy * size))
            .collect();
        Element::new("polygon").with("points", &points.join(" "))
    };
    let filled = |corners: &[(f64, f64)]| polygon(corners).with("fill", ink);
    let circle = || {
        Element::new("circle")
            .with("cx", x)
            .with("cy", y)
            .with("r", size * 0.9)
    };
    match shape {
        Shape::Disc => circle().with("fill", ink),
        Shape::Ring => circle()
            .with("fill", PAPER)
            .with("stroke", ink)
            .with("stroke-width", 1.5),
        Shape::Square => filled(&[(-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)]),
        Shape::Diamond => filled(&DIAMOND),
        Shape::OpenDiamond => polygon(&DIAMOND)
            .with("fill", PAPER)
            .with("stroke", ink)
            .with("stroke-width", 1.5),
        Shape::TriangleUp => filled(&[(0.0, -1.25), (1.25, 1.0), (-1.25, 1.0)]),
        Shape::TriangleDown => filled(&[(0.0, 1.25), (1.25, -1.0), (-1.25, -1.0)]),
    }
}

const DIAMOND: [(f64, f64); 4] = [(0.0, -1.3), (1.3, 0.0), (0.0, 1.3), (-1.3, 0.0)];

/// Coordinates as `x,y`.
pub(crate) fn pair(x: f64, y: f64) -> String {
    format!(
        "{},{}",
        crate::svg::number_text(x),
        crate::svg::number_text(y)
    )
}

/// A straight line.
pub(crate) fn line((x1, y1): (f64, f64), (x2, y2): (f64, f64), ink: &str) -> Element {
    Element::new("line")
        .with("x1", x1)
        .with("y1", y1)
        .with("x2", x2)
        .with("y2", y2)
        .with("stroke", ink)
}

/// A line through places.
pub(crate) fn polyline(places: &[(f64, f64)], ink: &str) -> Element {
    let points: Vec<String> = places.iter().map(|(x, y)| pair(*x, *y)).collect();
    Element::new("polyline")
        .with("points", &points.join(" "))
        .with("fill", "none")
        .with("stroke", ink)
        .with("stroke-linejoin", "round")
}

/// Where a text stands against its place.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// A text on its base line.
pub(crate) fn words(text: &str, (x, y): (f64, f64), size: f64, anchor: Anchor) -> Element {
    let anchor = match anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    };
    Element::new("text")
        .with("x", x)
        .with("y", y)
        .with("font-size", size)
        .with("text-anchor", anchor)
        .text(text)
}

/// A text that stays readable across lines: paper lies around its letters.
pub(crate) fn words_over_lines(
    text: &str,
    place: (f64, f64),
    size: f64,
    anchor: Anchor,
) -> Element {
    words(text, place, size, anchor)
        .with("stroke", PAPER)
        .with("stroke-width", 3.0)
        .with("stroke-linejoin", "round")
        .with("paint-order", "stroke")
}

/// Lines of a label that end at a place, set around its height.
pub(crate) fn label_lines(lines: &[String], (x, middle): (f64, f64), size: f64) -> Vec<Element> {
    let step = size + 1.0;
    let first = middle - step * (float(lines.len()) - 1.0) / 2.0;
    lines
        .iter()
        .enumerate()
        .map(|(place, line)| {
            let base = first + step * float(place) + size * 0.35;
            words(line, (x, base), size, Anchor::End)
        })
        .collect()
}

/// One thing of a key: how it is drawn, and what it means.
pub(crate) struct KeyItem {
    pub(crate) shape: Shape,
    pub(crate) ink: &'static str,
    pub(crate) meaning: &'static str,
}

/// A key in one row, its words on the base line `y`.
pub(crate) fn key(items: &[KeyItem], left: f64, y: f64) -> Vec<Element> {
    let mut x = left;
    let mut drawn = Vec::new();
    for item in items {
        drawn.push(mark(item.shape, (x + 5.0, y - 4.0), 4.5, item.ink));
        drawn.push(words(item.meaning, (x + 15.0, y), 12.0, Anchor::Start).with("fill", SOFT));
        x += 15.0 + width(item.meaning, 12.0) + 18.0;
    }
    drawn
}
