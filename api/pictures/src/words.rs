//! Texts that fit: how wide a text is, how it is shortened or broken, and figures in words.

/// Advance widths of Libertinus Serif Regular for U+0020 to U+007E, in thousandths of the size (read from the font).
const WIDTHS: [u16; 95] = [
    250, 288, 336, 465, 465, 637, 705, 190, 298, 298, 369, 550, 220, 338, 220, 323, 465, 465, 465,
    465, 465, 465, 465, 465, 465, 465, 236, 236, 550, 550, 550, 435, 895, 695, 588, 646, 701, 557,
    485, 685, 730, 297, 322, 637, 528, 839, 699, 702, 541, 702, 587, 485, 597, 661, 652, 951, 660,
    575, 604, 356, 287, 356, 518, 486, 392, 457, 493, 428, 506, 447, 310, 500, 538, 271, 272, 512,
    264, 790, 542, 504, 519, 503, 372, 390, 316, 531, 497, 747, 490, 515, 424, 277, 205, 277, 449,
];

/// For all else: letters with accents, and the wide scripts.
const OTHER_WIDTH: u16 = 600;
const WIDE_WIDTH: u16 = 1000;
const WIDE_FROM: char = '\u{1100}';

/// A browser without our font takes another serif one; the widest in common use is a quarter wider.
const SAFETY: f64 = 1.25;

/// About how wide a text is at a size, in units of the picture.
pub(crate) fn width(text: &str, size: f64) -> f64 {
    let thousandths: f64 = text.chars().map(|c| f64::from(advance(c))).sum();
    thousandths * size * SAFETY / 1000.0
}

fn advance(character: char) -> u16 {
    let place = u32::from(character).checked_sub(0x20);
    let known = place
        .and_then(|place| usize::try_from(place).ok())
        .and_then(|place| WIDTHS.get(place));
    match known {
        Some(width) => *width,
        None if character >= WIDE_FROM => WIDE_WIDTH,
        None => OTHER_WIDTH,
    }
}

/// How much wider bold letters are.
pub(crate) const BOLD: f64 = 1.08;

/// The text, or as much of it as fits before an ellipsis.
pub(crate) fn shortened(text: &str, size: f64, room: f64) -> String {
    if width(text, size) <= room {
        return text.to_owned();
    }
    let mut kept = String::new();
    for character in text.chars() {
        kept.push(character);
        if width(&kept, size) + width("…", size) > room {
            kept.pop();
            break;
        }
    }
    format!("{}…", kept.trim_end())
}

/// The text in lines that fit, `lines_max` at most; what is left over is shortened.
pub(crate) fn broken(text: &str, size: f64, room: f64, lines_max: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut words = text.split_whitespace().peekable();
    while words.peek().is_some() {
        if lines.len().saturating_add(1) == lines_max {
            let rest: Vec<&str> = words.collect();
            lines.push(shortened(&rest.join(" "), size, room));
            break;
        }
        let mut line = String::new();
        while let Some(word) = words.peek() {
            let longer = if line.is_empty() {
                (*word).to_owned()
            } else {
                format!("{line} {word}")
            };
            if width(&longer, size) > room && !line.is_empty() {
                break;
            }
            line = longer;
            words.next();
        }
        lines.push(shortened(&line, size, room));
    }
    lines
}

/// A percentage with one decimal at most: `8.3 %`, `12 %`.
pub(crate) fn percent(value: f64) -> String {
    format!("{} %", figure(value, 1))
}

/// A figure without trailing zeros.
pub(crate) fn figure(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        &text
    };
    if text == "-0" { "0" } else { text }.to_owned()
}

/// A written figure before its noun, which is given for one and for several.
pub(crate) fn counted(figure: &str, one: &str, several: &str) -> String {
    let noun = if figure == "1" { one } else { several };
    format!("{figure} {noun}")
}

/// `one`, `one and two`, `one, two and three`; past `named_max` the rest is counted.
pub(crate) fn list(items: &[String], named_max: usize) -> String {
    let left = items.len().saturating_sub(named_max);
    let mut named: Vec<String> = items.iter().take(named_max).cloned().collect();
    if left > 0 {
        named.push(format!("{left} more"));
    }
    match named.pop() {
        None => String::new(),
        Some(last) if named.is_empty() => last,
        Some(last) => format!("{} and {last}", named.join(", ")),
    }
}

/// The parts that are there, each a sentence, in one text.
pub(crate) fn sentences(parts: impl IntoIterator<Item = String>) -> String {
    let told: Vec<String> = parts
        .into_iter()
        .map(|part| part.trim().to_owned())
        .filter(|part| !part.is_empty())
        .map(|part| {
            if part.ends_with(['.', '?', '!']) {
                part
            } else {
                format!("{part}.")
            }
        })
        .collect();
    told.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_long_label_ends_in_an_ellipsis_and_a_short_one_does_not() {
        assert_eq!(shortened("Dryer", 13.0, 100.0), "Dryer");
        let short = shortened("Dryer heating element terminals, upper", 13.0, 100.0);
        assert!(
            short.ends_with('…') && short.starts_with("Dryer"),
            "{short}"
        );
    }

    #[test]
    fn a_list_names_some_and_counts_the_rest() {
        let items: Vec<String> = ["a", "b", "c", "d"].map(str::to_owned).to_vec();
        assert_eq!(list(&items, 4), "a, b, c and d");
        assert_eq!(list(&items, 2), "a, b and 2 more");
        assert_eq!(list(&[], 2), "");
    }

    #[test]
    fn figures_have_no_trailing_zeros() {
        assert_eq!(percent(8.25), "8.2 %");
        assert_eq!(percent(100.0), "100 %");
        assert_eq!(figure(-0.01, 1), "0");
        let machines = |count: f64| counted(&figure(count, 1), "machine", "machines");
        assert_eq!(machines(1.0), "1 machine");
        assert_eq!(machines(0.5), "0.5 machines");
    }

    proptest! {
        #[test]
        fn whatever_is_shortened_or_broken_fits(text in "\\PC{0,80}", room in 20.0f64..400.0) {
            prop_assert!(width(&shortened(&text, 12.0, room), 12.0) <= room);
            let lines = broken(&text, 12.0, room, 2);
            prop_assert!(lines.len() <= 2);
            for line in lines {
                prop_assert!(width(&line, 12.0) <= room);
            }
        }
    }
}
