//! Cautions: the plain words shown beside work that can burn, shock, poison or flood.
//!
//! They are here, in one list, so that a flag, a brief and a form show the same text. What must stay true: every
//! caution defers to the maker's instructions, local codes and licensed practice; none tells anyone to work live.

use crate::flags::Hazard;
use serde::{Deserialize, Serialize};

/// The sentence with which every caution ends.
pub const DEFERENCE: &str =
    "The maker's instructions, local codes and licensed practice come first.";

/// What one must know before touching the work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Caution {
    IsolateAndProveDead,
    StoredEnergy,
    Gas,
    Refrigerant,
    OverheatingCause,
    HeatedSplice,
    WaterAndElectricity,
    DryerLint,
}

impl Caution {
    /// Every caution, in the order in which they are shown.
    pub const ALL: [Self; 8] = [
        Self::IsolateAndProveDead,
        Self::StoredEnergy,
        Self::Gas,
        Self::Refrigerant,
        Self::OverheatingCause,
        Self::HeatedSplice,
        Self::WaterAndElectricity,
        Self::DryerLint,
    ];

    /// The stable key under which records refer to the caution.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::IsolateAndProveDead => "isolate_and_prove_dead",
            Self::StoredEnergy => "stored_energy",
            Self::Gas => "gas",
            Self::Refrigerant => "refrigerant",
            Self::OverheatingCause => "overheating_cause",
            Self::HeatedSplice => "heated_splice",
            Self::WaterAndElectricity => "water_and_electricity",
            Self::DryerLint => "dryer_lint",
        }
    }

    /// The caution with this key, if there is one.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|caution| caution.key() == key)
    }

    /// What one must know before working on a failure that carries this danger.
    #[must_use]
    pub fn for_hazard(hazard: Hazard) -> &'static [Self] {
        match hazard {
            Hazard::None => &[],
            Hazard::Heat | Hazard::Arc => &[Self::IsolateAndProveDead, Self::OverheatingCause],
            Hazard::Gas => &[Self::IsolateAndProveDead, Self::Gas],
            Hazard::WaterOnElectrics => &[Self::IsolateAndProveDead, Self::WaterAndElectricity],
        }
    }

    /// What one must know before opening a machine of this type: isolation always, gas where it burns gas, and what its
    /// type is known for. A type nobody thought of has no more.
    #[must_use]
    pub fn for_machine(type_key: &str, supply: Supply) -> Vec<Self> {
        let of_type = match type_key {
            "microwave" => Some(Self::StoredEnergy),
            "refrigerator" | "freezer" | "room_air_conditioner" => Some(Self::Refrigerant),
            "dryer" => Some(Self::DryerLint),
            _ => None,
        };
        let of_gas = (supply == Supply::Gas).then_some(Self::Gas);
        [Some(Self::IsolateAndProveDead), of_gas, of_type]
            .into_iter()
            .flatten()
            .collect()
    }

    /// The full text to show. It ends with [`DEFERENCE`].
    ///
    /// # Source
    /// Named beside each text below.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::IsolateAndProveDead => ISOLATE_AND_PROVE_DEAD,
            Self::StoredEnergy => STORED_ENERGY,
            Self::Gas => GAS,
            Self::Refrigerant => REFRIGERANT,
            Self::OverheatingCause => OVERHEATING_CAUSE,
            Self::HeatedSplice => HEATED_SPLICE,
            Self::WaterAndElectricity => WATER_AND_ELECTRICITY,
            Self::DryerLint => DRYER_LINT,
        }
    }

    /// The same in fewer words for a small screen, where [`DEFERENCE`] stands once behind all of them. What is to be done
    /// and kept from is all there.
    ///
    /// # Source
    /// As beside the full texts below.
    #[must_use]
    pub fn short(self) -> &'static str {
        match self {
            Self::IsolateAndProveDead => {
                "Cut the machine off from its supply and prove it dead before touching anything inside. A plug stays in your \
                 hand, in reach and in sight, or locked; a wired-in machine is locked off at its disconnect. Check the tester \
                 before and after on a known source."
            }
            Self::StoredEnergy => {
                "A capacitor can hold a dangerous charge after the plug is out. Discharge it in the way the maker gives and \
                 prove it discharged."
            }
            Self::Gas => {
                "Gas work is only for those licensed for it here. Shut the gas off first; test every opened joint for leaks \
                 before use. If gas is smelled, leave, switch nothing, call from outside."
            }
            Self::Refrigerant => {
                "A sealed system is opened only by a person certified for it; refrigerant is recovered, never vented. Some \
                 burn: no flame or spark near."
            }
            Self::OverheatingCause => {
                "Do not return a circuit to use until the cause of its overheating is found and removed. A new part on a bad \
                 joint, wrong wire size or bad supply burns again."
            }
            Self::HeatedSplice => {
                "No twist-on connector in a heated compartment unless it is marked for the temperature there. Wire, terminal \
                 and crimp must bear it too."
            }
            Self::WaterAndElectricity => {
                "Water has been where electricity is. Cut off supply and water, dry the parts; no use until the leak is closed \
                 and insulation and earth path have been tested."
            }
            Self::DryerLint => {
                "Clear lint from cabinet, duct and outlet before return to use: lint that is not cleared burns."
            }
        }
    }

    /// The caution whose full text this is, if there is one.
    #[must_use]
    pub fn of_text(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|caution| caution.text() == text)
    }
}

impl Caution {
    /// What the owner of the machine is told on an estimate; nothing where the caution is for who opens it.
    ///
    /// # Source
    /// As beside the technician's text of the same caution. Each tells the owner to keep away and leaves the work
    /// to who is licensed for it.
    #[must_use]
    pub fn for_customer(self) -> Option<&'static str> {
        match self {
            Self::IsolateAndProveDead | Self::HeatedSplice => None,
            Self::StoredEnergy => Some(
                "Do not open this appliance, even unplugged: parts inside can hold a dangerous charge. \
                 The maker's instructions, local codes and licensed practice come first.",
            ),
            Self::Gas => Some(
                "This appliance burns gas. If you smell gas, leave, switch nothing, and call from outside. Work on gas is \
                 only for those whom the place licenses for it. \
                 The maker's instructions, local codes and licensed practice come first.",
            ),
            Self::Refrigerant => Some(
                "If the sealed cooling system has to be opened, a person certified for it does so and recovers the \
                 refrigerant. Keep flames and sparks away from a leak. \
                 The maker's instructions, local codes and licensed practice come first.",
            ),
            Self::OverheatingCause => Some(
                "Parts of this appliance have overheated. Do not use it until it is repaired; switch it off at its plug or \
                 circuit breaker if you can do so safely. \
                 The maker's instructions, local codes and licensed practice come first.",
            ),
            Self::WaterAndElectricity => Some(
                "Water has been where electricity is. Do not use or touch the appliance while it or the floor is wet, and \
                 leave it off until it has been tested. \
                 The maker's instructions, local codes and licensed practice come first.",
            ),
            Self::DryerLint => Some(
                "Lint in a dryer, its duct or its outlet can burn. Clear the filter at every load and have the duct kept \
                 clear. The maker's instructions, local codes and licensed practice come first.",
            ),
        }
    }
}

/// Whether a machine is fed with gas.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Supply {
    Gas,
    NoGas,
}

/// Source: 29 CFR 1910.147(a)(2)(iii)(A) for plug-connected equipment; proving dead: common practice, no source.
pub const ISOLATE_AND_PROVE_DEAD: &str = "Cut the machine off from its supply and prove it dead before touching \
    anything inside. A plug stays in your hand, in reach and in sight, or locked; a wired-in machine is isolated and locked at its \
    disconnect. Check the tester before and after on a known source. The maker's instructions, local codes and licensed practice come first.";

/// Source: 29 CFR 1910.147 leaves stored energy outside the plug exception (our reading); common practice, no source.
pub const STORED_ENERGY: &str = "A capacitor can hold a dangerous charge after the plug is out. Discharge it in the way \
    the maker gives and prove it discharged. The maker's instructions, local codes and licensed practice come first.";

/// Source: licensing by state, for example Massachusetts 248 CMR 3.01 and the New Hampshire gas fitter rules.
pub const GAS: &str = "Gas work is only for those whom the place licenses for it. Shut the gas off first; test every \
    joint that was opened for leaks before use. If gas is smelled, leave, switch nothing, and call from outside. \
    The maker's instructions, local codes and licensed practice come first.";

/// Source: Clean Air Act s. 608, 40 CFR 82 subpart F.
pub const REFRIGERANT: &str = "A sealed system may be opened only by a person certified for it, and refrigerant is \
    recovered, never vented. Some refrigerants burn: no flame or spark near. \
    The maker's instructions, local codes and licensed practice come first.";

/// Source: common practice, no source.
pub const OVERHEATING_CAUSE: &str = "Do not return a circuit to use while the cause of its overheating has not been \
    found and removed. A new part on a bad joint, a wrong wire size or a bad supply burns again. \
    The maker's instructions, local codes and licensed practice come first.";

/// Source: UL 486C covers splicing wire connectors; the temperature limit is the one marked on the connector itself.
pub const HEATED_SPLICE: &str = "A twist-on connector is not a repair in a heated compartment unless it is rated for the \
    temperature there: read the marking on the connector. Wire, terminal and crimp must bear that heat too. \
    The maker's instructions, local codes and licensed practice come first.";

/// Source: common practice, no source.
pub const WATER_AND_ELECTRICITY: &str = "Water has been where electricity is. Cut off supply and water, dry the parts, and \
    do not return the machine to use until the leak is closed and insulation and earth path have been tested. \
    The maker's instructions, local codes and licensed practice come first.";

/// Source: U.S. Fire Administration, Topical Fire Report vol. 13 no. 7 (Aug 2012), for 2008-2010.
pub const DRYER_LINT: &str = "Clear lint from cabinet, duct and outlet before return to use. In 2008-2010 about 2,900 home dryer \
    fires a year were reported in the United States, and failure to clean led the contributing factors with 34 % \
    (U.S. Fire Administration, 2012). The maker's instructions, local codes and licensed practice come first.";

/// Certificate of a person for work on refrigerant.
///
/// # Source
/// 40 CFR 82 subpart F.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RefrigerantCertificate {
    /// Small appliances, factory charged and sealed, 5 lb or less.
    TypeOne,
    /// High pressure.
    TypeTwo,
    /// Low pressure.
    TypeThree,
    /// All of them.
    Universal,
}

/// Whether a person with these certificates may open the sealed system of a household refrigerator or the like.
///
/// # Source
/// Clean Air Act s. 608, 40 CFR 82 subpart F: small appliances need Type I or Universal.
#[must_use]
pub fn may_open_small_sealed_system(held: &[RefrigerantCertificate]) -> bool {
    held.iter().any(|c| {
        matches!(
            c,
            RefrigerantCertificate::TypeOne | RefrigerantCertificate::Universal
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_caution_ends_by_deferring_to_maker_code_and_licence() {
        for caution in Caution::ALL {
            assert!(caution.text().ends_with(DEFERENCE), "{}", caution.key());
            assert!(!caution.text().contains("  "), "{}", caution.key());
            let told = caution.for_customer().unwrap_or(DEFERENCE);
            assert!(told.ends_with(DEFERENCE), "{}", caution.key());
            assert!(!told.contains("  "), "{}", caution.key());
        }
    }

    #[test]
    fn a_short_caution_is_shorter_and_leaves_deferring_to_the_sentence_behind_all() {
        for caution in Caution::ALL {
            let short = caution.short();
            assert!(
                short.len() + DEFERENCE.len() < caution.text().len(),
                "{short}"
            );
            assert!(short.ends_with('.') && !short.contains("  "), "{short}");
            assert!(!short.contains(DEFERENCE), "{short}");
            assert_eq!(Caution::of_text(caution.text()), Some(caution));
        }
        assert_eq!(Caution::of_text("none such"), None);
    }

    #[test]
    fn a_machine_names_isolation_first_then_gas_and_what_its_type_is_known_for() {
        assert_eq!(
            Caution::for_machine("dryer", Supply::Gas),
            [
                Caution::IsolateAndProveDead,
                Caution::Gas,
                Caution::DryerLint
            ]
        );
        assert_eq!(
            Caution::for_machine("disposer", Supply::NoGas),
            [Caution::IsolateAndProveDead]
        );
    }

    #[test]
    fn every_key_finds_its_caution_again() {
        for caution in Caution::ALL {
            assert_eq!(Caution::from_key(caution.key()), Some(caution));
        }
        assert_eq!(Caution::from_key("none such"), None);
    }

    /// 40 CFR 82 subpart F.
    #[test]
    fn a_sealed_system_needs_type_one_or_universal_and_type_two_alone_is_not_enough() {
        use RefrigerantCertificate::{TypeOne, TypeThree, TypeTwo, Universal};
        assert!(may_open_small_sealed_system(&[TypeOne]));
        assert!(may_open_small_sealed_system(&[TypeTwo, Universal]));
        assert!(!may_open_small_sealed_system(&[TypeTwo]));
        assert!(!may_open_small_sealed_system(&[TypeThree]));
        assert!(!may_open_small_sealed_system(&[]));
    }
}
