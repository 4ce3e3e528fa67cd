//! Whether a safety recall is about a machine, by make, model and serial number.
//!
//! What must stay true: a machine that might be meant is never passed over in silence; where the plate or the notice is
//! not enough to tell, the answer is "look at the plate", not "no".

use serde::{Deserialize, Serialize};

/// What a recall notice says of the machines it is about. Texts are keys: capitals, letters and digits only, save that
/// a model pattern may hold `*` for any letters and `?` for one.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Recalled {
    pub make_key: String,
    /// None for all models of the make.
    pub model_pattern: Option<String>,
    /// First and last serial number, each inside; either may be open.
    pub serial_from: Option<String>,
    pub serial_through: Option<String>,
}

/// What is said beside every recall of a machine.
pub const CAUTION: &str = "This goes by the make, model and serial number on record. The maker's own notice comes first: \
     read it, and follow what it says about using the machine until its remedy is carried out.";

/// What is known of a machine, as keys. An empty model is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Plate<'a> {
    pub make_key: &'a str,
    pub model_key: &'a str,
    pub serial_key: Option<&'a str>,
}

/// Whether a recall is about a machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Meant {
    Yes,
    /// Make and model are meant; whether the serial number is cannot be told.
    LookAtPlate,
    No,
}

impl Recalled {
    /// Whether the recall is about a machine.
    ///
    /// # Source
    /// Common practice, no source: serial numbers are compared where they have the same letters in front and digits after.
    #[must_use]
    pub fn means(&self, plate: Plate) -> Meant {
        if self.make_key != plate.make_key {
            return Meant::No;
        }
        if let Some(pattern) = self.model_pattern.as_deref() {
            if plate.model_key.is_empty() {
                return Meant::LookAtPlate;
            }
            if !model_fits(pattern, plate.model_key) {
                return Meant::No;
            }
        }
        let bounds = [self.serial_from.as_deref(), self.serial_through.as_deref()];
        if bounds.iter().all(Option::is_none) {
            return Meant::Yes;
        }
        let Some(serial) = plate.serial_key else {
            return Meant::LookAtPlate;
        };
        let [from, through] = bounds.map(|bound| bound.map(|bound| compared(serial, bound)));
        match (from, through) {
            (Some(Some(std::cmp::Ordering::Less)), _)
            | (_, Some(Some(std::cmp::Ordering::Greater))) => Meant::No,
            (Some(None), _) | (_, Some(None)) => Meant::LookAtPlate,
            _ => Meant::Yes,
        }
    }
}

/// Whether a text is a pattern of models: letters, digits, `*` and `?`, and not stars alone.
#[must_use]
pub fn is_pattern(text: &str) -> bool {
    let is_letter = |letter: char| letter.is_alphanumeric() || matches!(letter, '*' | '?');
    text.chars().all(is_letter) && text.chars().any(|letter| letter != '*')
}

/// Two serial numbers with the same letters in front, by the number after them; none where they are not alike.
fn compared(serial: &str, bound: &str) -> Option<std::cmp::Ordering> {
    let (front, number) = cut(serial)?;
    let (bound_front, bound_number) = cut(bound)?;
    (front == bound_front).then(|| {
        let digits = |number: &str| number.trim_start_matches('0').to_owned();
        let (a, b) = (digits(number), digits(bound_number));
        a.len().cmp(&b.len()).then(a.cmp(&b))
    })
}

/// A serial number cut before its last run of digits; none where it ends in a letter.
fn cut(serial: &str) -> Option<(&str, &str)> {
    let front = serial.trim_end_matches(|letter: char| letter.is_ascii_digit());
    let number = serial.get(front.len()..)?;
    (!number.is_empty()).then_some((front, number))
}

/// Whether a pattern with `*` (any letters) and `?` (one) fits a model; both are keys.
#[must_use]
pub fn model_fits(pattern: &str, text: &str) -> bool {
    let (pattern, text): (Vec<char>, Vec<char>) =
        (pattern.chars().collect(), text.chars().collect());
    let (mut at, mut place) = (0, 0);
    let mut star: Option<(usize, usize)> = None;
    while place < text.len() {
        match pattern.get(at) {
            Some('*') => {
                star = Some((at, place));
                at += 1;
            }
            Some(letter) if *letter == '?' || text.get(place) == Some(letter) => {
                at += 1;
                place += 1;
            }
            _ => {
                let Some((star_at, from)) = star else {
                    return false;
                };
                at = star_at + 1;
                place = from + 1;
                star = Some((star_at, from + 1));
            }
        }
    }
    pattern
        .get(at..)
        .unwrap_or(&[])
        .iter()
        .all(|letter| *letter == '*')
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn recalled(model: Option<&str>, from: Option<&str>, through: Option<&str>) -> Recalled {
        Recalled {
            make_key: "FERNWELL".to_owned(),
            model_pattern: model.map(str::to_owned),
            serial_from: from.map(str::to_owned),
            serial_through: through.map(str::to_owned),
        }
    }

    fn plate(serial_key: Option<&str>) -> Plate<'_> {
        Plate {
            make_key: "FERNWELL",
            model_key: "DW410S",
            serial_key,
        }
    }

    #[test]
    fn a_model_pattern_means_its_models_and_no_others() {
        let machine = plate(Some("FA1234"));
        for (pattern, meant) in [
            ("DW410S", Meant::Yes),
            ("DW4*", Meant::Yes),
            ("*S", Meant::Yes),
            ("DW4?0S", Meant::Yes),
            ("DW4?S", Meant::No),
            ("DX4*", Meant::No),
            ("DW410", Meant::No),
            ("*", Meant::Yes),
        ] {
            assert_eq!(
                recalled(Some(pattern), None, None).means(machine),
                meant,
                "{pattern}"
            );
        }
        assert_eq!(recalled(None, None, None).means(machine), Meant::Yes);
        let other = Plate {
            make_key: "OTHER",
            ..machine
        };
        assert_eq!(recalled(None, None, None).means(other), Meant::No);
    }

    #[test]
    fn a_model_that_is_not_known_is_to_be_looked_at() {
        let unknown = Plate {
            model_key: "",
            ..plate(Some("FA1234"))
        };
        let meant = recalled(Some("DW4*"), None, None).means(unknown);
        assert_eq!(meant, Meant::LookAtPlate);
        assert_eq!(recalled(None, None, None).means(unknown), Meant::Yes);
    }

    #[test]
    fn a_pattern_says_something_of_the_model() {
        assert!(is_pattern("DW*") && is_pattern("?"));
        assert!(!is_pattern("*") && !is_pattern("") && !is_pattern("D W"));
    }

    #[test]
    fn a_serial_is_meant_from_the_first_through_the_last() {
        let notice = recalled(Some("DW4*"), Some("FA1000"), Some("FA1999"));
        for (serial, meant) in [
            (Some("FA1000"), Meant::Yes),
            (Some("FA1999"), Meant::Yes),
            (Some("FA999"), Meant::No),
            (Some("FA2000"), Meant::No),
            (Some("FA01500"), Meant::Yes),
            (Some("FB1500"), Meant::LookAtPlate),
            (Some("FA15X"), Meant::LookAtPlate),
            (None, Meant::LookAtPlate),
        ] {
            assert_eq!(notice.means(plate(serial)), meant, "{serial:?}");
        }
        let open = recalled(None, Some("FA1000"), None);
        assert_eq!(
            open.means(plate(Some("FA99999999999999999999999"))),
            Meant::Yes
        );
        assert_eq!(open.means(plate(Some("FA1"))), Meant::No);
    }

    proptest! {
        #[test]
        fn a_pattern_made_of_a_model_by_hiding_letters_means_the_model(
            model in "[A-Z0-9]{1,12}", hidden in proptest::collection::vec(any::<bool>(), 12), from in 0usize..12,
        ) {
            let one_each: String = model.chars().zip(&hidden)
                .map(|(letter, hide)| if *hide { '?' } else { letter }).collect();
            prop_assert!(model_fits(&one_each, &model));
            let front: String = model.chars().take(from).chain(['*']).collect();
            prop_assert!(model_fits(&front, &model));
        }

        #[test]
        fn numbers_are_compared_as_numbers(a in any::<u32>(), b in any::<u32>()) {
            prop_assert_eq!(compared(&format!("X{a}"), &format!("X{b:012}")), Some(a.cmp(&b)));
        }
    }
}
