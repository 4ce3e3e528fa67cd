//! Makes any text printable before it reaches the page.
//!
//! An accessible PDF may not hold a character without a glyph, and a customer's name may hold anything.
//! So what no font inside the program can draw is printed as a box, what would turn the reading
//! direction of the amounts around is dropped, and words too long for a line may break inside.

use serde_json::Value;

use crate::press::Press;

/// Printed in place of a character that no font inside the program has.
const BOX: char = '\u{25A1}';
/// A place where a line may break, of no width.
const BREAK_HERE: char = '\u{200B}';
/// Words longer than this many characters get places to break. Longer than any e-mail address or
/// serial number we expect, so that those stay whole when copied from the page.
const LONG_WORD: usize = 40;
/// Characters between two places to break.
const PIECE: usize = 10;

/// Which characters may stay.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Repertoire {
    /// Those of any font inside the program.
    Every,
    /// Those of the text face alone. Used when the fonts have each character but not together.
    TextFace,
}

/// The characters of a text that would be printed as a box, each once, in order.
///
/// For telling the person who types a name or a note. Latin, Greek, Cyrillic and common signs are
/// printable; most pictographs and East Asian scripts are not.
#[must_use]
pub fn unprintable_characters(text: &str) -> Vec<char> {
    let Ok(press) = Press::get() else {
        return Vec::new();
    };
    let mut missing = Vec::new();
    for character in text.chars() {
        let drawn = !is_dropped(character) && !is_line_end(character) && character != '\t';
        if drawn && !press.can_print(character, Repertoire::Every) && !missing.contains(&character)
        {
            missing.push(character);
        }
    }
    missing
}

/// Every text inside the data made printable; names of fields are ours and stay.
pub(crate) fn make_printable(data: &mut Value, press: &Press, repertoire: Repertoire) {
    match data {
        Value::String(text) => *text = printable(text, press, repertoire),
        Value::Array(items) => {
            for item in items {
                make_printable(item, press, repertoire);
            }
        }
        Value::Object(fields) => {
            for field in fields.values_mut() {
                make_printable(field, press, repertoire);
            }
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

fn printable(text: &str, press: &Press, repertoire: Repertoire) -> String {
    let mut kept = String::with_capacity(text.len());
    for character in text.replace("\r\n", "\n").chars() {
        if is_line_end(character) {
            kept.push('\n');
        } else if character == '\t' {
            kept.push(' ');
        } else if is_dropped(character) {
            // Nothing to see, and no harm in its absence.
        } else if press.can_print(character, repertoire) {
            kept.push(character);
        } else {
            kept.push(BOX);
        }
    }
    with_breaks(&kept)
}

fn is_line_end(character: char) -> bool {
    matches!(
        character,
        '\n' | '\r' | '\u{0B}' | '\u{0C}' | '\u{85}' | '\u{2028}' | '\u{2029}'
    )
}

/// Control characters, joiners, direction controls and variation marks.
///
/// A direction control inside a name could make the amount beside it read backwards.
fn is_dropped(character: char) -> bool {
    character.is_control()
        || matches!(character,
            '\u{200B}'..='\u{200F}'
            | '\u{202A}'..='\u{202E}'
            | '\u{2060}'..='\u{206F}'
            | '\u{FE00}'..='\u{FE0F}'
            | '\u{FEFF}'
            | '\u{FFF0}'..='\u{FFFB}'
            | '\u{E0000}'..='\u{E0FFF}')
}

/// The text with places to break inside words longer than [`LONG_WORD`].
fn with_breaks(text: &str) -> String {
    let mut broken = String::with_capacity(text.len());
    for word in text.split_inclusive(char::is_whitespace) {
        if word.chars().count() <= LONG_WORD {
            broken.push_str(word);
            continue;
        }
        for (position, character) in word.chars().enumerate() {
            let may_break = position > 0 && position % PIECE == 0 && character.is_alphanumeric();
            if may_break {
                broken.push(BREAK_HERE);
            }
            broken.push(character);
        }
    }
    broken
}
