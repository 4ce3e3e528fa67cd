//! How often a kind of repair comes back over the whole shop, as a sentence beside a flag.
//!
//! It gives a flag its measure. What must stay true: the counts can be said aloud and checked by hand, and few repairs
//! are said to be too few.

use serde::Serialize;
use std::fmt;
use thiserror::Error;

/// Why counts are no base rate.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum BaseRateRefusal {
    /// More repairs came back than were made.
    #[error("{returned} of {repairs} repairs cannot have come back")]
    MoreReturnedThanRepaired { repairs: u32, returned: u32 },
}

/// How often this kind of repair comes back over the whole shop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct BaseRate {
    repairs: u32,
    returned: u32,
}

/// Fewer repairs than this are too few to judge.
pub const BASE_RATE_REPAIRS_MIN: u32 = 10;

/// What is said beside a figure that rests on too little.
pub(crate) const TOO_FEW: &str = " (too few to judge)";

impl BaseRate {
    /// Takes the counts: repairs of this kind, and how many of them came back.
    ///
    /// # Errors
    /// `MoreReturnedThanRepaired`.
    pub fn new(repairs: u32, returned: u32) -> Result<Self, BaseRateRefusal> {
        if returned > repairs {
            return Err(BaseRateRefusal::MoreReturnedThanRepaired { repairs, returned });
        }
        Ok(Self { repairs, returned })
    }

    /// Repairs of this kind.
    #[must_use]
    pub fn repairs(self) -> u32 {
        self.repairs
    }

    /// How many of them came back.
    #[must_use]
    pub fn returned(self) -> u32 {
        self.returned
    }

    /// The rate as a sentence: "About 1 of 180 such repairs comes back".
    ///
    /// Rounding: one in so many, to the nearest whole number, from one in five on; above that the exact counts are said.
    /// Below [`BASE_RATE_REPAIRS_MIN`] repairs the sentence adds that they are too few to judge.
    #[must_use]
    pub fn sentence(self) -> String {
        let Self { repairs, returned } = self;
        let mut sentence = match one_in(repairs, returned) {
            _ if repairs == 0 => return "No such repair is on record yet".to_owned(),
            _ if repairs == 1 => format!(
                "The one such repair on record {}",
                if returned == 0 {
                    "has not come back"
                } else {
                    "came back"
                }
            ),
            None => format!("None of {repairs} such repairs has come back"),
            Some(n) if n >= 5 => format!("About 1 of {n} such repairs comes back"),
            Some(_) => format!("{returned} of {repairs} such repairs came back"),
        };
        if repairs < BASE_RATE_REPAIRS_MIN {
            sentence.push_str(TOO_FEW);
        }
        sentence
    }

    /// The rate of what a group is compared with, such as the other batches of a part: the exact counts, with the same mark
    /// below [`BASE_RATE_REPAIRS_MIN`] repairs.
    #[must_use]
    pub fn sentence_of_others(self) -> String {
        let Self { repairs, returned } = self;
        if repairs == 0 {
            return "No comparable repair of others is on record yet".to_owned();
        }
        let too_few = if repairs < BASE_RATE_REPAIRS_MIN {
            TOO_FEW
        } else {
            ""
        };
        format!("Comparable repairs of others: {returned} of {repairs} came back{too_few}")
    }
}

impl fmt::Display for BaseRate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentence())
    }
}

/// Repairs for each one returned, rounded half up; `None` if none returned.
fn one_in(repairs: u32, returned: u32) -> Option<u64> {
    let (repairs, returned) = (u64::from(repairs), u64::from(returned));
    (2 * repairs + returned).checked_div(2 * returned)
}
