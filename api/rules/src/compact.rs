//! Text for a small screen on a poor connection: lines by section, the most important first, never beyond so many bytes.
//!
//! Words: a *section* is lines of one kind; a *whole* line stands in full or not at all, as a caution must, while any
//! other is cut where it grows too long; a *kept* line has its room held free before any other line takes it. What must
//! stay true: the text is never longer than asked for; nothing is left out unsaid: whole lines are counted where they would
//! stand, all others at the end; in a section the first lines stay.

use std::collections::VecDeque;

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
    /// How many of the first lines are kept.
    pub kept: usize,
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
/// than 40 bytes a section, and so much must be there. Room for kept lines is held free from the last section on, so where
/// even they are too many, those of the last sections stay.
///
/// # Example
/// ```
/// use nameplate_rules::compact::{Length, Section, compact};
/// let calls = Section {
///     one: "earlier call",
///     many: "earlier calls",
///     lines: vec!["May 2: belt".to_owned(), "Mar 1: drum bearing, seized".to_owned()],
///     length: Length::UpTo(16),
///     kept: 0,
/// };
/// assert_eq!(compact(&[calls.clone()], 60), "May 2: belt\nMar 1: drum b…\n");
/// let more = Section { lines: vec!["May 2: belt".to_owned(); 3], ..calls };
/// assert_eq!(compact(&[more], 35), "Left out: 3 earlier calls.\n");
/// ```
#[must_use]
pub fn compact(sections: &[Section], bytes_max: usize) -> String {
    let mut waiting: VecDeque<Waiting<'_>> = sections.iter().map(Waiting::of).collect();
    let all = lines_of(waiting.iter().flat_map(|turn| &turn.lines));
    if all.len() <= bytes_max {
        return all;
    }
    let told = tail(waiting.iter().map(Waiting::all)).len();
    let held: usize = waiting.iter().map(Waiting::held).sum();
    let mut free = bytes_max.saturating_sub(told + held);
    for turn in waiting.iter_mut().rev() {
        turn.keep(&mut free);
    }
    let mut text = String::new();
    let mut left: Vec<(&Section, usize)> = Vec::new();
    while let Some(turn) = waiting.pop_front() {
        // What is held free for telling of the lines that do not fit, and for kept lines behind.
        let all = std::iter::once(turn.all()).chain(waiting.iter().map(Waiting::all));
        let told = tail(left.iter().copied().chain(all)).len() + room_for_more(turn.section);
        let held: usize = waiting.iter().map(Waiting::held).sum();
        let out = turn.fill(&mut text, bytes_max.saturating_sub(told + held));
        if out > 0 && turn.section.length == Length::Whole {
            push(&mut text, &turn.section.more(out));
        }
        left.push((turn.section, out));
    }
    text.push_str(&tail(left.into_iter()));
    text
}

/// A section whose turn is still to come.
struct Waiting<'s> {
    section: &'s Section,
    lines: Vec<String>,
    /// For how many of the first lines room is held free.
    kept: usize,
}

impl<'s> Waiting<'s> {
    fn of(section: &'s Section) -> Self {
        Self {
            section,
            lines: section.shown(),
            kept: 0,
        }
    }

    fn all(&self) -> (&'s Section, usize) {
        (self.section, self.lines.len())
    }

    /// Holds room free for its kept lines, as far as there is any.
    fn keep(&mut self, free: &mut usize) {
        for line in self.lines.iter().take(self.section.kept) {
            let Some(rest) = free.checked_sub(line.len() + 1) else {
                return;
            };
            *free = rest;
            self.kept += 1;
        }
    }

    /// What is held free for it.
    fn held(&self) -> usize {
        let kept = self.lines.iter().take(self.kept);
        let kept: usize = kept.map(|line| line.len() + 1).sum();
        kept + room_for_more(self.section)
    }

    /// Writes its kept lines, and others as long as the text does not grow beyond so many bytes. Says how many are missing.
    fn fill(&self, text: &mut String, bytes_max: usize) -> usize {
        let mut missing = self.lines.len();
        for (at, line) in self.lines.iter().enumerate() {
            if at >= self.kept && text.len() + line.len() + 1 > bytes_max {
                break;
            }
            push(text, line);
            missing -= 1;
        }
        missing
    }
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
            kept: 0,
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

    #[test]
    fn a_kept_line_stands_though_earlier_ones_would_have_taken_its_room() {
        let long = "y".repeat(40);
        let flags = section(0, &[&long, &long], Length::UpTo(80));
        let calls = section(2, &["May 2: terminal", "Mar 1: belt"], Length::UpTo(80));
        let calls = Section { kept: 1, ..calls };
        assert_eq!(
            compact(&[flags.clone(), calls.clone()], 100),
            format!("{long}\nMay 2: terminal\nLeft out: 1 flag, 1 earlier call.\n")
        );
        let flags = Section { kept: 2, ..flags };
        assert_eq!(
            compact(&[flags, calls], 60),
            "May 2: terminal\nLeft out: 2 flags, 1 earlier call.\n"
        );
    }

    fn sections() -> impl Strategy<Value = Vec<Section>> {
        let lines = || proptest::collection::vec(".{0,400}", 0..12);
        let parts = (lines(), any::<bool>(), 1_usize..300, 0_usize..4);
        proptest::collection::vec(parts, 1..=4).prop_map(|all| {
            type Parts = (Vec<String>, bool, usize, usize);
            let of = |(place, (lines, is_whole, bytes, kept)): (usize, Parts)| {
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
                    kept,
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
