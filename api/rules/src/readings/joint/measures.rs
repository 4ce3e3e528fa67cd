//! What to find out next about a burnt joint, in words to show.
//!
//! What must stay true: whatever is read with the circuit on says whom it is for, in the words of [`UNDER_LOAD`]; all
//! else is done on an isolated machine or from outside; cautions stand beside each.

use crate::cautions::Caution;
use serde::{Deserialize, Serialize};

/// Stands at the end of everything that asks for a reading with the circuit on.
pub const UNDER_LOAD: &str = "Only for those qualified and equipped for readings under load. \
    The maker's instructions, local codes and licensed practice come first.";

/// Something that would settle more.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    PlateRating,
    OhmsLeadOff,
    WireSize,
    Duty,
    BreakerRating,
    EarlierBurns,
    AirPath,
    MakersPressureLimit,
    SupplyPair,
    LoadCurrent,
    JointDrop,
}

impl Measure {
    /// All of them; those on an isolated machine first.
    pub const ALL: [Self; 11] = [
        Self::PlateRating,
        Self::OhmsLeadOff,
        Self::WireSize,
        Self::Duty,
        Self::BreakerRating,
        Self::EarlierBurns,
        Self::AirPath,
        Self::MakersPressureLimit,
        Self::SupplyPair,
        Self::LoadCurrent,
        Self::JointDrop,
    ];

    /// Whether it can only be read with the circuit on.
    #[must_use]
    pub fn under_load(self) -> bool {
        matches!(self, Self::SupplyPair | Self::LoadCurrent | Self::JointDrop)
    }

    /// What to find out, in one or two sentences.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::PlateRating => "Rated volts and watts of the part itself, from its plate.",
            Self::OhmsLeadOff => {
                "Resistance of the part, the machine isolated and one lead of the part off."
            }
            Self::WireSize => {
                "Size of the wire, temperature marked on its insulation and on the terminal, the machine isolated."
            }
            Self::Duty => "Whether the part runs at its maximum for three hours or more at a time.",
            Self::BreakerRating => "Amperes of the breaker or fuse of this circuit.",
            Self::EarlierBurns => "Whether this joint was repaired before and burnt again.",
            Self::AirPath => {
                "Whether vent, duct, outlet and fan are clear over their whole length, the machine isolated."
            }
            Self::MakersPressureLimit => {
                "The pressure that the maker allows in the exhaust, from its installation sheet."
            }
            Self::SupplyPair => {
                "Supply voltage at the machine without load and with the part running. \
                 Only for those qualified and equipped for readings under load. \
                 The maker's instructions, local codes and licensed practice come first."
            }
            Self::LoadCurrent => {
                "Current through the joint with the part running. \
                 Only for those qualified and equipped for readings under load. \
                 The maker's instructions, local codes and licensed practice come first."
            }
            Self::JointDrop => {
                "Voltage from one side of the joint to the other with the part running, and the current with it. \
                 Only for those qualified and equipped for readings under load. \
                 The maker's instructions, local codes and licensed practice come first."
            }
        }
    }

    /// What stands beside it.
    #[must_use]
    pub fn cautions(self) -> &'static [Caution] {
        match self {
            Self::OhmsLeadOff | Self::WireSize => &[Caution::IsolateAndProveDead],
            Self::AirPath => &[Caution::IsolateAndProveDead, Caution::DryerLint],
            Self::SupplyPair | Self::LoadCurrent | Self::JointDrop => {
                &[Caution::IsolateAndProveDead, Caution::OverheatingCause]
            }
            Self::PlateRating
            | Self::Duty
            | Self::BreakerRating
            | Self::EarlierBurns
            | Self::MakersPressureLimit => &[],
        }
    }
}
