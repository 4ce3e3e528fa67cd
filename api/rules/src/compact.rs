//! Text for a small screen on a poor connection: lines by section, the most important first, never beyond so many bytes.
//!
//! Words: a *section* is lines of one kind; a *whole* line stands in full or not at all, as a caution must, while any
//! other is cut where it grows too long. What must stay true: the text is never longer than asked for; nothing is left out
//! unsaid: whole lines are counted where they would stand, all others at the end; in a section the first lines stay.

/// Ends a line that was cut.
const CUT: char = '…';

/// Lines of one kind.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Section {
    /// What one line is about, such as "earlier call".
    pub one: &'static str,
    /// The same of several.
    pub many: &'static str,
    /// The most important first. Breaks and other control characters in them become spaces.
    pub lines: Vec<String>,
    pub length: Length,
}

/// How long a line may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Length {
    /// It stands in full or not at all.
    Whole,
    /// It is cut behind so many bytes.
    UpTo(usize),
}

impl Section {
    fn named(&self, count: usize) -> String {
        let name = if count == 1 { self.one } else { self.many };
        format!("{count} {name}")
    }

    /// Says how many whole lines are missing.
    fn more(&self, count: usize) -> String {
        let name = if count == 1 { self.one } else { self.many };
        format!("{count} more {name}: see the full brief.")
    }

    fn shown(&self) -> Vec<String> {
        let fit = |line: &String| match self.length {
            Length::Whole => tidy(line),
            Length::UpTo(bytes_max) => cut(tidy(line), bytes_max),
        };
        self.lines.iter().map(fit).collect()
    }
}

/// The sections as text of at most `bytes_max` bytes of UTF-8, a line each.
///
/// Shape: everything, where it fits; else as many lines as fit beside what says how many do not. What says so takes less
/// than 40 bytes a section, and so much must be there.
///
/// # Example
/// ```
/// use nameplate_rules::compact::{Length, Section, compact};
/// let calls = Section {
///     one: "earlier call",
///     many: "earlier calls",
///     lines: vec!["May 2: belt".to_owned(), "Mar 1: drum bearing, seized".to_owned()],
///     length: Length::UpTo(16),
/// };
/// assert_eq!(compact(&[calls.clone()], 60), "May 2: belt\nMar 1: drum b…\n");
/// let more = Section { lines: vec!["May 2: belt".to_owned(); 3], ..calls };
/// assert_eq!(compact(&[more], 35), "Left out: 3 earlier calls.\n");
/// ```
#[must_use]
pub fn compact(sections: &[Section], bytes_max: usize) -> String {
    let shown: Vec<Vec<String>> = sections.iter().map(Section::shown).collect();
    let all = lines_of(shown.iter().flatten());
    if all.len() <= bytes_max {
        return all;
    }
    // What is kept free for telling of the lines that do not fit; a section's own share is free once it is done.
    let mut kept = tail(
        sections
            .iter()
            .map(|section| (section, section.lines.len())),
    )
    .len();
    kept += sections.iter().map(room_for_more).sum::<usize>();
    let mut text = String::new();
    let mut left = Vec::new();
    for (section, lines) in sections.iter().zip(&shown) {
        let mut out = 0;
        for line in lines {
            let fits = out == 0 && text.len() + line.len() + 1 + kept <= bytes_max;
            if fits {
                push(&mut text, line);
            } else {
                out += 1;
            }
        }
        kept -= room_for_more(section);
        match section.length {
            Length::Whole if out > 0 => push(&mut text, &section.more(out)),
            Length::Whole => {}
            Length::UpTo(_) => left.push((section, out)),
        }
    }
    text.push_str(&tail(left.into_iter()));
    text
}

/// What the line on missing whole lines of a section may take.
fn room_for_more(section: &Section) -> usize {
    match section.length {
        Length::Whole if !section.lines.is_empty() => {
            let counts = [1, section.lines.len()];
            let rooms = counts.map(|count| section.more(count).len() + 1);
            rooms.into_iter().max().unwrap_or_default()
        }
        Length::Whole | Length::UpTo(_) => 0,
    }
}

/// The last line, which says how many lines are missing; nothing where none is.
fn tail<'s>(left: impl Iterator<Item = (&'s Section, usize)>) -> String {
    let named: Vec<String> = left
        .filter(|(section, count)| *count > 0 && section.length != Length::Whole)
        .map(|(section, count)| section.named(count))
        .collect();
    if named.is_empty() {
        return String::new();
    }
    format!("Left out: {}.\n", named.join(", "))
}

fn lines_of<'l>(lines: impl Iterator<Item = &'l String>) -> String {
    let mut text = String::new();
    for line in lines {
        push(&mut text, line);
    }
    text
}

fn push(text: &mut String, line: &str) {
    text.push_str(line);
    text.push('\n');
}

/// One line without breaks, control characters and needless space.
fn tidy(line: &str) -> String {
    let spaced: String = line
        .chars()
        .map(|sign| if sign.is_control() { ' ' } else { sign })
        .collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The line, or what of it fits before the sign that it was cut.
fn cut(line: String, bytes_max: usize) -> String {
    if line.len() <= bytes_max {
        return line;
    }
    let room = bytes_max.saturating_sub(CUT.len_utf8());
    let end = (0..=room).rev().find(|end| line.is_char_boundary(*end));
    let (kept, _) = line.split_at(end.unwrap_or_default());
    format!("{}{CUT}", kept.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const NAMES: [(&str, &str); 4] = [
        ("flag", "flags"),
        ("caution", "cautions"),
        ("earlier call", "earlier calls"),
        ("other machine", "other machines"),
    ];

    fn section(place: usize, lines: &[&str], length: Length) -> Section {
        let (one, many) = NAMES[place];
        Section {
            one,
            many,
            lines: lines.iter().map(|line| (*line).to_owned()).collect(),
            length,
        }
    }

    #[test]
    fn everything_stands_where_it_fits_and_nothing_is_said_to_be_missing() {
        let sections = [
            section(0, &["ACT: burnt again"], Length::UpTo(80)),
            section(1, &["Isolate it first."], Length::Whole),
            section(2, &[], Length::UpTo(80)),
        ];
        assert_eq!(
            compact(&sections, 35),
            "ACT: burnt again\nIsolate it first.\n"
        );
    }

    #[test]
    fn a_whole_line_that_does_not_fit_is_counted_where_it_would_stand() {
        let sections = [
            section(0, &["ACT: burnt again"], Length::UpTo(80)),
            section(
                1,
                &["Isolate it first.", &"x".repeat(200), "Gas."],
                Length::Whole,
            ),
            section(2, &["a", "b"], Length::UpTo(80)),
        ];
        assert_eq!(
            compact(&sections, 120),
            "ACT: burnt again\nIsolate it first.\n2 more cautions: see the full brief.\na\nb\n"
        );
    }

    #[test]
    fn a_line_is_cut_between_letters_and_breaks_in_it_are_spaces() {
        let sections = [section(0, &["über\nalle\u{7} Dächer"], Length::UpTo(15))];
        assert_eq!(compact(&sections, 100), "über alle D…\n");
    }

    #[test]
    fn within_a_section_the_first_lines_stay_and_a_later_section_may_still_fit() {
        let long = "y".repeat(60);
        let sections = [
            section(2, &["first", &long, "third"], Length::UpTo(80)),
            section(3, &["dryer"], Length::UpTo(80)),
        ];
        assert_eq!(
            compact(&sections, 75),
            "first\ndryer\nLeft out: 2 earlier calls.\n"
        );
    }

    fn sections() -> impl Strategy<Value = Vec<Section>> {
        let lines = || proptest::collection::vec(".{0,400}", 0..12);
        proptest::collection::vec((lines(), any::<bool>(), 1_usize..300), 1..=4).prop_map(|all| {
            let of = |(place, (lines, is_whole, bytes)): (usize, (Vec<String>, bool, usize))| {
                let (one, many) = NAMES[place];
                let length = if is_whole {
                    Length::Whole
                } else {
                    Length::UpTo(bytes)
                };
                Section {
                    one,
                    many,
                    lines,
                    length,
                }
            };
            all.into_iter().enumerate().map(of).collect()
        })
    }

    proptest! {
        #[test]
        fn no_text_is_too_long_and_every_line_stands_or_is_counted(
            sections in sections(),
            bytes_max in 300_usize..2_500,
        ) {
            let text = compact(&sections, bytes_max);
            prop_assert!(text.len() <= bytes_max);
            prop_assert!(text.is_empty() || text.ends_with('\n'));
            let told = |line: &str, sign: &str| -> usize {
                line.split(", ")
                    .filter(|part| part.contains(sign))
                    .filter_map(|part| part.split(' ').next()?.parse::<usize>().ok())
                    .sum()
            };
            let lines: Vec<&str> = text.lines().collect();
            let all: usize = sections.iter().map(|section| section.lines.len()).sum();
            let tail = lines.last().and_then(|line| line.strip_prefix("Left out: "));
            let counts = lines.iter().filter(|line| line.ends_with(": see the full brief."));
            let whole: Vec<usize> = counts.map(|line| told(line, " more ")).collect();
            let left = tail.map_or(0, |tail| told(tail.trim_end_matches('.'), ""));
            let said = whole.len() + usize::from(tail.is_some());
            prop_assert_eq!(lines.len() - said + left + whole.iter().sum::<usize>(), all);
        }

        #[test]
        fn a_whole_line_is_never_cut(sections in sections(), bytes_max in 300_usize..2_500) {
            let text = compact(&sections, bytes_max);
            let lines: Vec<&str> = text.lines().collect();
            for section in sections.iter().filter(|section| section.length == Length::Whole) {
                let stands = section.lines.iter().map(|line| tidy(line));
                let missing = stands.filter(|line| !lines.contains(&line.as_str())).count();
                let told = lines.iter().any(|line| line.starts_with(&format!("{missing} more ")));
                prop_assert!(missing == 0 || told || lines.iter().any(|line| line.contains(" more ")));
            }
        }
    }
}
