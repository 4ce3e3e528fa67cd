//! What every input is held against at the door. All problems of one input are collected, so that a
//! clerk mends them in one go.

use chrono::{Datelike, Days, NaiveDate};
use nameplate_rules::countries::is_country;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use unicode_properties::{GeneralCategoryGroup, UnicodeGeneralCategory};

use super::error::{Error, Problem, ProblemCode, Result};

/// Collects the problems of one input.
#[derive(Default)]
pub struct Checks {
    problems: Vec<Problem>,
}

/// The longest text in a field of one line.
pub const LINE_MAX: usize = 200;
/// The largest single amount. Sums of many such still fit the databases' whole numbers.
pub const AMOUNT_MAX: Cents = Cents(1_000_000_000);
/// The longest text in a field of many lines.
pub const TEXT_MAX: usize = 4_000;

impl Checks {
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a problem.
    pub fn refuse(&mut self, code: ProblemCode, path: &str, message: impl Into<String>) {
        self.problems.push(Problem::new(code, path, message));
    }

    /// A text that must say something, trimmed.
    pub fn text(&mut self, path: &str, value: &str, characters_max: usize) -> String {
        let trimmed = value.trim();
        if is_blank(trimmed) {
            self.refuse(ProblemCode::Missing, path, "This must not be empty.");
        } else if trimmed.chars().count() > characters_max {
            self.refuse(
                ProblemCode::TooLong,
                path,
                format!("This takes at most {characters_max} characters."),
            );
        } else if trimmed.chars().any(|c| is_unprintable(c, characters_max)) {
            self.refuse(
                ProblemCode::Malformed,
                path,
                "This holds control or invisible characters; type it again.",
            );
        }
        trimmed.to_owned()
    }

    /// A text that may be left out; empty counts as left out.
    pub fn text_if_any(
        &mut self,
        path: &str,
        value: Option<&str>,
        characters_max: usize,
    ) -> Option<String> {
        let value = value.filter(|text| !is_blank(text))?;
        Some(self.text(path, value, characters_max))
    }

    /// An e-mail address, lower-cased.
    pub fn email(&mut self, path: &str, value: &str) -> String {
        let address = value.trim().to_lowercase();
        if address.len() > 254 || address.parse::<lettre::Address>().is_err() {
            self.refuse(
                ProblemCode::Malformed,
                path,
                "This is no e-mail address; write it like name@example.org.",
            );
        }
        address
    }

    pub fn email_if_any(&mut self, path: &str, value: Option<&str>) -> Option<String> {
        let value = value.filter(|text| !text.trim().is_empty())?;
        Some(self.email(path, value))
    }

    /// A telephone number in E.164. National numbers are read as those of `country` (ISO 3166).
    pub fn phone(&mut self, path: &str, value: &str, country: &str) -> String {
        let region = country.parse().ok();
        match phonenumber::parse(region, value.trim()) {
            Ok(number) if number.is_valid() => {
                number.format().mode(phonenumber::Mode::E164).to_string()
            }
            _ => {
                self.refuse(
                    ProblemCode::Malformed,
                    path,
                    "This is no telephone number that can be dialled; give it with its area code.",
                );
                String::new()
            }
        }
    }

    pub fn phone_if_any(
        &mut self,
        path: &str,
        value: Option<&str>,
        country: &str,
    ) -> Option<String> {
        let value = value.filter(|text| !text.trim().is_empty())?;
        Some(self.phone(path, value, country))
    }

    /// The code of a country, two letters of ISO 3166-1 in any case.
    pub fn country(&mut self, path: &str, value: &str) -> String {
        let code = value.trim().to_uppercase();
        if !is_country(&code) {
            let message = "Give the country by its two letters (ISO 3166-1), like US.";
            self.refuse(ProblemCode::Malformed, path, message);
        }
        code
    }

    /// An amount from zero up to the most that one figure of a small shop can be.
    pub fn not_negative(&mut self, path: &str, amount: Cents) -> Cents {
        if amount > AMOUNT_MAX {
            self.refuse(
                ProblemCode::OutOfRange,
                path,
                format!("{amount} is above {AMOUNT_MAX}; check the figure."),
            );
        }
        if amount.is_negative() {
            self.refuse(
                ProblemCode::NegativeMoney,
                path,
                format!("{amount} is below zero; this takes zero or more."),
            );
        }
        amount
    }

    /// An amount above zero.
    pub fn positive(&mut self, path: &str, amount: Cents) -> Cents {
        self.not_negative(path, amount);
        if amount == Cents::ZERO {
            self.refuse(ProblemCode::OutOfRange, path, "This must be above zero.");
        }
        amount
    }

    /// A number between two bounds, both inside.
    pub fn between<N: PartialOrd + std::fmt::Display + Copy>(
        &mut self,
        path: &str,
        value: N,
        (low, high): (N, N),
    ) -> N {
        if value < low || value > high {
            self.refuse(
                ProblemCode::OutOfRange,
                path,
                format!("{value} is outside {low} to {high}."),
            );
        }
        value
    }

    /// A decimal above zero.
    pub fn positive_decimal(&mut self, path: &str, value: Decimal) -> Decimal {
        if value <= Decimal::ZERO || value.scale() > 6 || value > Decimal::from(1_000_000) {
            self.refuse(
                ProblemCode::OutOfRange,
                path,
                format!("{value} is not above zero, too large, or has more than six decimals."),
            );
        }
        value
    }

    /// Days that must follow one another: each named with its path, those left out skipped.
    pub fn in_order(&mut self, days: &[(&str, &str, Option<NaiveDate>)]) {
        let known = days
            .iter()
            .filter_map(|(path, name, day)| day.map(|day| (*path, *name, day)))
            .collect::<Vec<_>>();
        for pair in known.windows(2) {
            if let [(_, earlier_name, earlier), (path, name, later)] = pair
                && later < earlier
            {
                self.refuse(
                    ProblemCode::ImpossibleDate,
                    path,
                    format!(
                        "{name} {later} lies before {} {earlier}.",
                        uncapitalised(earlier_name)
                    ),
                );
            }
        }
    }

    /// A day that is not in the future.
    pub fn not_after(&mut self, path: &str, day: NaiveDate, today: NaiveDate) -> NaiveDate {
        if day > today {
            self.refuse(
                ProblemCode::ImpossibleDate,
                path,
                format!("{day} is still to come; today is {today}."),
            );
        }
        day
    }

    /// A day in the life of a machine: not before 1900. One that is refused already is not refused once more.
    pub fn of_our_time(&mut self, path: &str, day: NaiveDate) -> NaiveDate {
        let is_refused = self.problems.iter().any(|problem| problem.path == path);
        if !is_refused && day.year() < 1900 {
            let message = format!("{day} is long ago; check the year.");
            self.refuse(ProblemCode::ImpossibleDate, path, message);
        }
        day
    }

    /// A day of payment or posting: within ten years before and a year after today. One that is refused already is not
    /// refused once more.
    pub fn near(&mut self, path: &str, day: NaiveDate, today: NaiveDate) -> NaiveDate {
        let (earliest, latest) = (today - Days::new(3_660), today + Days::new(366));
        let is_refused = self.problems.iter().any(|problem| problem.path == path);
        if !is_refused && (day < earliest || day > latest) {
            self.refuse(
                ProblemCode::ImpossibleDate,
                path,
                format!("{day} is far from today, {today}; check the year."),
            );
        }
        day
    }

    /// Takes over what was refused in a part of the input, each path below the part's.
    pub fn add_below(&mut self, part: &str, below: Self) {
        self.problems
            .extend(below.problems.into_iter().map(|problem| Problem {
                path: format!("{part}.{}", problem.path),
                ..problem
            }));
    }

    /// Whether anything was refused so far.
    pub fn is_clean(&self) -> bool {
        self.problems.is_empty()
    }

    /// Nothing wrong, or everything that is.
    ///
    /// # Errors
    /// `Refused` with every problem found.
    pub fn finish(self) -> Result<()> {
        if self.problems.is_empty() {
            Ok(())
        } else {
            Err(Error::Refused(self.problems))
        }
    }
}

/// Whether a text says nothing: no letter, number or sign in it has a picture.
pub fn is_blank(text: &str) -> bool {
    // Letters and signs of Unicode that are drawn as nothing: fillers of Hangul, an empty pattern of Braille.
    let is_filler = |c| {
        matches!(
            c,
            '\u{115f}' | '\u{1160}' | '\u{3164}' | '\u{ffa0}' | '\u{2800}'
        )
    };
    let is_seen = |c: char| {
        let group = c.general_category_group();
        let has_picture = matches!(
            group,
            GeneralCategoryGroup::Letter
                | GeneralCategoryGroup::Number
                | GeneralCategoryGroup::Punctuation
                | GeneralCategoryGroup::Symbol
        );
        has_picture && !is_filler(c)
    };
    !text.chars().any(is_seen)
}

/// Characters that a field cannot show: controls (line ends only where there are several lines), those that turn the
/// direction of what follows, and those of no width that come with text copied from a page. A break of words without width
/// is among them, which some scripts use between words; it is refused, as two names would look alike and differ.
pub fn is_unprintable(c: char, characters_max: usize) -> bool {
    let is_line_end = matches!(c, '\n' | '\r' | '\t');
    let turns = matches!(c, '\u{61c}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    turns || is_without_width(c) || (c.is_control() && !(is_line_end && characters_max > LINE_MAX))
}
/// A name as it stands within a sentence.
fn uncapitalised(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_lowercase().chain(letters).collect()
    })
}

/// Characters without width that join nothing: they may be left out of a text without a change to be seen.
pub fn is_without_width(c: char) -> bool {
    matches!(c, '\u{200b}' | '\u{2060}'..='\u{2064}' | '\u{feff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    fn checked(value: &str) -> (String, Vec<ProblemCode>) {
        let mut checks = Checks::new();
        let text = checks.text("name", value, LINE_MAX);
        let problems = checks.finish().map_or_else(
            |error| match error {
                Error::Refused(problems) => problems,
                other => panic!("{other}"),
            },
            |()| Vec::new(),
        );
        let codes = problems.into_iter().map(|problem| problem.code);
        (text, codes.collect())
    }

    #[test]
    fn a_text_without_a_picture_is_missing_and_one_with_hidden_signs_is_malformed() {
        for blank in [
            "",
            " ",
            "\u{200b}",
            "\u{feff} \u{ad}",
            "\u{200d}\u{fe0f}",
            "\u{61c}",
            "\u{34f}\u{180e}",
            "\u{2800}",
            "\u{e000}",
        ] {
            assert_eq!(checked(blank).1, [ProblemCode::Missing], "{blank:?}");
        }
        for hidden in [
            "Bolt\u{200b}",
            "\u{feff}Bolt",
            "Bo\u{2060}lt",
            "Bo\u{202e}lt",
            "Bo\u{7}lt",
        ] {
            assert_eq!(checked(hidden).1, [ProblemCode::Malformed], "{hidden:?}");
        }
        for said in ["Bolt", "co\u{ad}op", "\u{1f527}\u{fe0f}"] {
            assert_eq!(checked(said), (said.to_owned(), Vec::new()));
        }
    }

    #[test]
    fn what_may_be_left_out_is_left_out_where_it_says_nothing() {
        let mut checks = Checks::new();
        for blank in [None, Some(""), Some(" \n"), Some("\u{200b}")] {
            assert_eq!(checks.text_if_any("note", blank, TEXT_MAX), None);
        }
        assert!(checks.finish().is_ok());
    }
}
