//! Serial numbers as they are searched, and the shop's own tag for a plate nobody can read.
//!
//! What is printed on the plate is kept elsewhere, untouched. This module makes the key under which it is found, and
//! says when two keys differ only in characters that people misread. It warns; it never merges two machines.

use serde::{Deserialize, Serialize};
use std::fmt;
use thiserror::Error;

/// Longest key kept, in characters. Longer text is a note or a bar code read twice, not a serial number.
pub const SERIAL_KEY_CHARS_MAX: usize = 40;

/// Why a text cannot be a serial number or a shop tag.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum SerialRefusal {
    /// Nothing was typed.
    #[error("the serial number is empty; if the plate cannot be read, give the machine a shop tag")]
    Empty,
    /// Something was typed, but no letter or digit.
    #[error("\"{printed}\" holds no letter or digit")]
    NoLetterOrDigit { printed: String },
    /// The key would be longer than `limit` characters.
    #[error("the serial number has {chars} letters and digits; at most {limit} are kept")]
    TooLong { chars: usize, limit: usize },
    /// Shop tags are numbered from 1.
    #[error("shop tags are numbered from 1, not 0")]
    TagZero,
    /// The text is not a shop tag.
    #[error("\"{text}\" is not a shop tag; one looks like NP-000123")]
    NotATag { text: String },
}

/// The search key of a serial number: upper case, letters and digits only.
///
/// Shape: 1 to [`SERIAL_KEY_CHARS_MAX`] characters. Making a key of a key changes nothing.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct SerialKey(String);

impl SerialKey {
    /// Makes the key of a serial number as printed or typed.
    ///
    /// # Errors
    /// `Empty`, `NoLetterOrDigit` or `TooLong`, checked in that order.
    ///
    /// # Source
    /// Common practice, no source (the shop's own rule for records).
    ///
    /// # Example
    /// ```
    /// use nameplate_rules::serial::SerialKey;
    /// # fn main() -> Result<(), nameplate_rules::serial::SerialRefusal> {
    /// assert_eq!(SerialKey::parse(" m12-345 a/b ")?.as_str(), "M12345AB");
    /// # Ok(()) }
    /// ```
    pub fn parse(printed: &str) -> Result<Self, SerialRefusal> {
        if printed.trim().is_empty() {
            return Err(SerialRefusal::Empty);
        }
        // Upper case first: some letters become two characters, one of which may then have to go.
        let key: String = printed
            .chars()
            .flat_map(char::to_uppercase)
            .filter(|c| c.is_alphanumeric())
            .collect();
        let chars = key.chars().count();
        if chars == 0 {
            return Err(SerialRefusal::NoLetterOrDigit {
                printed: printed.to_owned(),
            });
        }
        if chars > SERIAL_KEY_CHARS_MAX {
            return Err(SerialRefusal::TooLong {
                chars,
                limit: SERIAL_KEY_CHARS_MAX,
            });
        }
        Ok(Self(key))
    }

    /// The key's text, for storing and searching.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for SerialKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl TryFrom<String> for SerialKey {
    type Error = SerialRefusal;

    fn try_from(printed: String) -> Result<Self, SerialRefusal> {
        Self::parse(&printed)
    }
}

impl From<SerialKey> for String {
    fn from(key: SerialKey) -> Self {
        key.0
    }
}

/// The key with every easily misread character replaced by one of its family, so that misreadings meet.
///
/// Shape: same length as the key. Families: 0 O Q D, 1 I L, 2 Z, 5 S, 8 B. Store it beside the key to find near
/// matches by equality. It is no identity: two different machines may share it.
///
/// # Source
/// Common practice, no source (characters confused on worn plates).
#[must_use]
pub fn fold_key(key: &SerialKey) -> String {
    key.0.chars().map(fold_char).collect()
}

fn fold_char(c: char) -> char {
    match c {
        'O' | 'Q' | 'D' => '0',
        'I' | 'L' => '1',
        'Z' => '2',
        'S' => '5',
        'B' => '8',
        other => other,
    }
}

/// Whether two keys differ, but only in characters that people misread. Equal keys are a match, not a near match.
#[must_use]
pub fn is_near_match(a: &SerialKey, b: &SerialKey) -> bool {
    a != b && fold_key(a) == fold_key(b)
}

/// The shop's own label for a machine whose plate cannot be read, such as `NP-000123`.
///
/// Shape: a number from 1, shown with at least six digits; beyond 999999 it grows longer and stays unique.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct ShopTag(u32);

impl ShopTag {
    /// The tag with this running number.
    ///
    /// # Errors
    /// `TagZero` for 0.
    pub fn from_number(number: u32) -> Result<Self, SerialRefusal> {
        if number == 0 {
            Err(SerialRefusal::TagZero)
        } else {
            Ok(Self(number))
        }
    }

    /// Reads a tag as it is printed on the label; letter case and outer spaces do not matter.
    ///
    /// # Errors
    /// `NotATag` for any other text, `TagZero` for number 0.
    pub fn parse(text: &str) -> Result<Self, SerialRefusal> {
        let refusal = || SerialRefusal::NotATag {
            text: text.to_owned(),
        };
        let upper = text.trim().to_uppercase();
        let digits = upper.strip_prefix("NP-").ok_or_else(refusal)?;
        if digits.len() < 6 || !digits.chars().all(|c| c.is_ascii_digit()) {
            return Err(refusal());
        }
        Self::from_number(digits.parse().map_err(|_| refusal())?)
    }

    /// The running number, from 1.
    #[must_use]
    pub fn number(self) -> u32 {
        self.0
    }
}

impl fmt::Display for ShopTag {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "NP-{:06}", self.0)
    }
}

impl TryFrom<String> for ShopTag {
    type Error = SerialRefusal;

    fn try_from(text: String) -> Result<Self, SerialRefusal> {
        Self::parse(&text)
    }
}

impl From<ShopTag> for String {
    fn from(tag: ShopTag) -> Self {
        tag.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::worked::rows;
    use proptest::prelude::*;

    #[derive(Deserialize)]
    struct Expected {
        key: Option<String>,
        folded: Option<String>,
    }

    fn key(text: &str) -> SerialKey {
        SerialKey::parse(text).expect("a key")
    }

    #[test]
    fn worked_serials_give_their_keys_and_folds() {
        for row in rows::<String, Expected>(include_str!("../../../fixtures/worked/serial.json")) {
            let parsed = SerialKey::parse(&row.input).ok();
            assert_eq!(
                parsed.as_ref().map(|k| k.as_str().to_owned()),
                row.expected.key,
                "{}",
                row.input
            );
            assert_eq!(
                parsed.as_ref().map(fold_key),
                row.expected.folded,
                "{}",
                row.input
            );
        }
    }

    #[test]
    fn a_serial_of_forty_characters_is_kept_and_of_forty_one_refused() {
        assert!(SerialKey::parse(&"7".repeat(40)).is_ok());
        assert_eq!(
            SerialKey::parse(&"7".repeat(41)),
            Err(SerialRefusal::TooLong {
                chars: 41,
                limit: 40
            })
        );
    }

    #[test]
    fn nothing_typed_and_only_punctuation_are_refused_apart() {
        assert_eq!(SerialKey::parse("  "), Err(SerialRefusal::Empty));
        assert_eq!(
            SerialKey::parse("-/-"),
            Err(SerialRefusal::NoLetterOrDigit {
                printed: "-/-".to_owned()
            })
        );
    }

    #[test]
    fn a_misread_letter_is_a_near_match_and_the_same_key_is_not() {
        assert!(is_near_match(&key("M8O5-1Z"), &key("MB0S-I2")));
        assert!(!is_near_match(&key("M80512"), &key("m 805 12")));
        assert!(!is_near_match(&key("M80512"), &key("M80513")));
    }

    #[test]
    fn a_shop_tag_is_shown_with_six_digits_and_read_back() {
        let tag = ShopTag::from_number(123).expect("a tag");
        assert_eq!(tag.to_string(), "NP-000123");
        assert_eq!(ShopTag::parse(" np-000123 "), Ok(tag));
        assert_eq!(
            ShopTag::from_number(1_234_567).expect("a tag").to_string(),
            "NP-1234567"
        );
        assert_eq!(ShopTag::from_number(0), Err(SerialRefusal::TagZero));
        assert!(ShopTag::parse("NP-12").is_err());
        assert!(ShopTag::parse("NP-99999999999").is_err());
    }

    proptest! {
        #[test]
        fn making_a_key_of_a_key_changes_nothing(text in any::<String>()) {
            if let Ok(first) = SerialKey::parse(&text) {
                prop_assert_eq!(SerialKey::parse(first.as_str()), Ok(first));
            }
        }

        #[test]
        fn folding_twice_is_folding_once(text in "[A-Za-z0-9 /-]{1,40}") {
            if let Ok(first) = SerialKey::parse(&text) {
                let folded = fold_key(&first);
                prop_assert_eq!(fold_key(&SerialKey::parse(&folded).expect("a fold is a key")), folded);
            }
        }

        #[test]
        fn near_match_does_not_care_for_order(a in "[0-9OQDILZSB]{1,6}", b in "[0-9OQDILZSB]{1,6}") {
            prop_assert_eq!(is_near_match(&key(&a), &key(&b)), is_near_match(&key(&b), &key(&a)));
        }
    }
}
