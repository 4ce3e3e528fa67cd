//! Codes on claims: what failed in the words of an industry scheme, and why a payer paid less.
//!
//! Symptom (what the customer notices) and diagnosis (what the technician found and did) are kept apart. Only the shape
//! of a symptom's codes is checked, as the scheme's full tables are not free to copy; the lengths of its diagnosis codes
//! could not be confirmed, so there only the letters are checked.

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// The release of the list below.
pub const OUTCOME_RELEASE: &str = "004030";

/// Why a payer answers as it does, by an open list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct OutcomeCode {
    pub code: &'static str,
    /// In our own words.
    pub meaning: &'static str,
}

const OUTCOMES: [OutcomeCode; 13] = [
    outcome("CDR", "the customer did the damage"),
    outcome("CMP", "the customer is to pay the deductible"),
    outcome("DC", "claimed twice"),
    outcome("ELR", "the labor rate is above what is allowed"),
    outcome("EPC", "the part costs more than is allowed"),
    outcome("EW", "the warranty had ended"),
    outcome("IIS", "something is missing from the claim"),
    outcome("NDF", "no defect was found"),
    outcome("NWR", "no warranty is on record"),
    outcome("PNR", "the part or the papers did not come back in time"),
    outcome("PWA", "approved in part"),
    outcome("SUB", "filed too late"),
    outcome("UPR", "not related to the earlier repair"),
];

const fn outcome(code: &'static str, meaning: &'static str) -> OutcomeCode {
    OutcomeCode { code, meaning }
}

/// The reasons of a payer that are known, by code.
///
/// # Source
/// ASC X12 data element 1172, release 004030 (part of the list); later releases differ, so the release is kept with a code.
#[must_use]
pub fn outcome_codes() -> &'static [OutcomeCode] {
    &OUTCOMES
}

/// Codes of one failure in the industry's scheme; each may be left out.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct FailureCodes {
    /// When it shows: one character.
    pub condition: Option<String>,
    /// Where or under what it shows, on appliances: three characters.
    pub extended_condition: Option<String>,
    /// What is noticed: three characters.
    pub symptom: Option<String>,
    /// Which part of the machine, or in its place the code that no technical fault was found.
    pub section: Option<String>,
    pub defects: Vec<String>,
    pub repairs: Vec<String>,
}

/// Why codes are not taken.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum CodeRefusal {
    #[error("{field} has {expected} characters, letters or digits: {code:?} has not")]
    Length {
        field: &'static str,
        code: String,
        expected: usize,
    },
    #[error("{field} is letters and digits, 1 to {CODE_MAX} of them: {code:?} is not")]
    Letters { field: &'static str, code: String },
}

/// Longest diagnosis code taken; the scheme's own length is not confirmed.
const CODE_MAX: usize = 8;

/// Codes in capitals, if their shape is right. The field named is that of [`FailureCodes`].
///
/// # Errors
/// `Length` for a symptom code, `Letters` for a diagnosis code.
///
/// # Source
/// International Repair Information System: condition 1, extended condition 3, symptom 3 characters.
pub fn checked_codes(codes: &FailureCodes) -> Result<FailureCodes, CodeRefusal> {
    Ok(FailureCodes {
        condition: of_length("condition", codes.condition.as_deref(), 1)?,
        extended_condition: of_length(
            "extended_condition",
            codes.extended_condition.as_deref(),
            3,
        )?,
        symptom: of_length("symptom", codes.symptom.as_deref(), 3)?,
        section: (codes.section.as_deref())
            .map(|code| of_letters("section", code))
            .transpose()?,
        defects: all_of_letters("defects", &codes.defects)?,
        repairs: all_of_letters("repairs", &codes.repairs)?,
    })
}

fn of_length(
    field: &'static str,
    code: Option<&str>,
    expected: usize,
) -> Result<Option<String>, CodeRefusal> {
    let Some(code) = code else { return Ok(None) };
    let given = code.trim().to_ascii_uppercase();
    if given.chars().count() == expected && is_plain(&given) {
        return Ok(Some(given));
    }
    Err(CodeRefusal::Length {
        field,
        code: code.to_owned(),
        expected,
    })
}

fn all_of_letters(field: &'static str, codes: &[String]) -> Result<Vec<String>, CodeRefusal> {
    codes.iter().map(|code| of_letters(field, code)).collect()
}

fn of_letters(field: &'static str, code: &str) -> Result<String, CodeRefusal> {
    let given = code.trim().to_ascii_uppercase();
    if (1..=CODE_MAX).contains(&given.chars().count()) && is_plain(&given) {
        return Ok(given);
    }
    Err(CodeRefusal::Letters {
        field,
        code: code.to_owned(),
    })
}

fn is_plain(code: &str) -> bool {
    code.chars().all(|letter| letter.is_ascii_alphanumeric())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Codes seen in published tables of the scheme: 1 constantly, X1J front left, 110 power problem.
    #[test]
    fn the_codes_of_a_symptom_have_one_three_and_three_characters() {
        let codes = FailureCodes {
            condition: Some("1".to_owned()),
            extended_condition: Some("x1j".to_owned()),
            symptom: Some(" 110 ".to_owned()),
            section: Some("EL1".to_owned()),
            defects: vec!["A".to_owned(), "F".to_owned()],
            repairs: vec!["R".to_owned()],
        };
        let checked = checked_codes(&codes).expect("codes");
        assert_eq!(checked.extended_condition.as_deref(), Some("X1J"));
        assert_eq!(checked.symptom.as_deref(), Some("110"));
        assert_eq!(checked.defects, ["A", "F"]);
    }

    #[test]
    fn a_code_of_the_wrong_shape_is_refused_with_its_field() {
        let wrong = |change: fn(&mut FailureCodes)| {
            let mut codes = FailureCodes::default();
            change(&mut codes);
            checked_codes(&codes)
        };
        for (refused, name) in [
            (wrong(|c| c.condition = Some("11".to_owned())), "condition"),
            (
                wrong(|c| c.extended_condition = Some("X1".to_owned())),
                "extended_condition",
            ),
            (wrong(|c| c.symptom = Some("11é".to_owned())), "symptom"),
        ] {
            assert!(matches!(refused, Err(CodeRefusal::Length { field, .. }) if field == name));
        }
        for (refused, name) in [
            (wrong(|c| c.section = Some(String::new())), "section"),
            (wrong(|c| c.defects = vec!["A B".to_owned()]), "defects"),
            (
                wrong(|c| c.repairs = vec!["123456789".to_owned()]),
                "repairs",
            ),
        ] {
            assert!(matches!(refused, Err(CodeRefusal::Letters { field, .. }) if field == name));
        }
        assert_eq!(
            checked_codes(&FailureCodes::default()),
            Ok(FailureCodes::default())
        );
    }

    /// ASC X12 data element 1172: identifiers of one to three characters, each once.
    #[test]
    fn outcome_codes_are_one_to_three_capitals_each_once() {
        let codes: Vec<&str> = outcome_codes().iter().map(|known| known.code).collect();
        let mut sorted = codes.clone();
        sorted.sort_unstable();
        sorted.dedup();
        assert_eq!(sorted, codes);
        let is_right = |code: &&str| (1..=3).contains(&code.len()) && is_plain(code);
        assert!(codes.iter().all(is_right));
    }
}
