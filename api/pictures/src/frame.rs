//! What stands around every chart: title, subtitle, note, and the words for who cannot see it.

use crate::Picture;
use crate::marks::{Anchor, INK, PAPER, SOFT, words};
use crate::scale::float;
use crate::svg::{Element, number_text};
use crate::words::{broken, shortened};

/// Width of every picture.
pub(crate) const WIDTH: f64 = 720.0;
/// Free space at each side.
pub(crate) const MARGIN: f64 = 20.0;
const ROOM: f64 = WIDTH - 2.0 * MARGIN;

const TITLE_SIZE: f64 = 20.0;
const SUBTITLE_SIZE: f64 = 14.0;
const NOTE_SIZE: f64 = 12.0;

/// The words around a chart.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Caption {
    /// What is shown, in a few words.
    pub title: String,
    /// What is counted, how many, and as of which day.
    pub subtitle: String,
    /// How to read it, or what to mind; may be empty.
    pub note: String,
}

/// A picture that has its caption and waits for its chart.
pub(crate) struct Frame<'a> {
    caption: &'a Caption,
    subtitle: Vec<String>,
    note: Vec<String>,
}

impl<'a> Frame<'a> {
    pub(crate) fn of(caption: &'a Caption) -> Self {
        Self {
            caption,
            subtitle: broken(&caption.subtitle, SUBTITLE_SIZE, ROOM, 3),
            note: broken(&caption.note, NOTE_SIZE, ROOM, 4),
        }
    }

    /// Where the chart may begin.
    pub(crate) fn top(&self) -> f64 {
        56.0 + 18.0 * float(self.subtitle.len())
    }

    /// The whole picture, with the chart's elements and where they end.
    pub(crate) fn around(&self, chart: Vec<Element>, bottom: f64, alternative: String) -> Picture {
        let note_top = bottom + 22.0;
        let height = note_top + 16.0 * float(self.note.len()) + 2.0;
        let id = identity(&[&self.caption.title, &self.caption.subtitle, &alternative]);
        let (title_id, desc_id) = (format!("t{id}"), format!("d{id}"));
        let size = format!("0 0 {} {}", number_text(WIDTH), number_text(height));
        let title = shortened(&self.caption.title, TITLE_SIZE, ROOM);
        let root = Element::new("svg")
            .with("xmlns", "http://www.w3.org/2000/svg")
            .with("width", WIDTH)
            .with("height", height)
            .with("viewBox", &size)
            .with("role", "img")
            .with("lang", "en-US")
            .with("aria-labelledby", &format!("{title_id} {desc_id}"))
            .with(
                "font-family",
                "'Libertinus Serif', 'Times New Roman', serif",
            )
            .with("fill", INK)
            .child(titled("title", &title_id, &self.caption.title))
            .child(titled("desc", &desc_id, &alternative))
            .child(
                Element::new("rect")
                    .with("width", WIDTH)
                    .with("height", height)
                    .with("fill", PAPER),
            )
            .child(
                words(&title, (MARGIN, 34.0), TITLE_SIZE, Anchor::Start)
                    .with("font-weight", "bold"),
            )
            .children(stacked(&self.subtitle, 56.0, 18.0, SUBTITLE_SIZE))
            .children(chart)
            .children(stacked(&self.note, note_top, 16.0, NOTE_SIZE));
        Picture {
            svg: root.written(),
            alternative,
        }
    }

    /// The picture where there is nothing to draw.
    pub(crate) fn empty(&self, alternative: String) -> Picture {
        let middle = self.top() + 60.0;
        let said = words(NOTHING, (WIDTH / 2.0, middle), 16.0, Anchor::Middle).with("fill", SOFT);
        self.around(vec![said], middle + 50.0, alternative)
    }
}

/// What is said where there is nothing to draw.
pub(crate) const NOTHING: &str = "There is nothing to show yet";

fn titled(name: &'static str, id: &str, text: &str) -> Element {
    // An empty title would make the element, and with it the label, go away.
    let text = if text.trim().is_empty() {
        NOTHING
    } else {
        text
    };
    Element::new(name).with("id", id).text(text)
}

fn stacked(lines: &[String], top: f64, step: f64, size: f64) -> Vec<Element> {
    lines
        .iter()
        .enumerate()
        .map(|(place, line)| {
            words(
                line,
                (MARGIN, top + step * float(place)),
                size,
                Anchor::Start,
            )
            .with("fill", SOFT)
        })
        .collect()
}

/// Names that stay apart where two pictures stand in one page: FNV-1a over the words.
pub(crate) fn identity(texts: &[&str]) -> String {
    let hash = texts
        .iter()
        .flat_map(|text| text.bytes().chain([0]))
        .fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
        });
    format!("{hash:016x}")
}
