//! A payer's written terms, and what one machine holds of them.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::dates::{OutOfUseCount, Term};
use crate::money::Cents;
use crate::percent::Percent;

/// What a line is for. Diagnosis is labour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Covers {
    Parts,
    Labour,
    Trip,
}

/// The event from which the months of a segment are counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StartEvent {
    Manufacture,
    Purchase,
    Delivery,
    Installation,
    /// The repair in which a part was fitted, for the part's own warranty and the shop's.
    Repair,
    /// The first day of a service contract.
    Contract,
}

/// Who is asked before whom. Within a rank the order of the registrations counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rank {
    /// The shop stands behind its own work first.
    Workmanship,
    PartMaker,
    ApplianceMaker,
    ServiceContract,
}

/// What a programme does not pay for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Exclusion {
    Misuse,
    CommercialUse,
    NoFaultFound,
    FaultyInstallation,
    HouseSupply,
    LackOfCare,
    Accident,
    WorkByOthers,
}

/// What a payer wants to see.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Evidence {
    ProofOfPurchase,
    PlatePicture,
    FaultPicture,
    /// The part that was taken out, kept under a tag.
    OldPart,
    CustomerSignature,
    ContractNumber,
}

/// How much a segment pays of a line it covers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pays {
    /// Of what is left of the line, after the labour rate or the flat labour of the segment.
    pub percent: Percent,
    /// At most this on one call, over all lines of the segment.
    pub at_most: Option<Cents>,
    /// For all labour of one call: this flat amount by the class of the repair, never more than the labour.
    pub flat_labour: Option<Cents>,
}

/// A stretch of cover.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Segment {
    pub covers: BTreeSet<Covers>,
    /// The class of component it is for; none for all of them.
    pub component_class: Option<String>,
    pub start: StartEvent,
    /// Cover begins on the day after this term; none: on the day of the start event.
    pub after: Option<Term>,
    /// Cover ends with this term, counted from the start event.
    pub through: Term,
    pub pays: Pays,
}

/// Who bears what a programme covers and its rates, its flat labor or its caps leave unpaid.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(rename_all = "snake_case")]
pub enum RestBearer {
    #[default]
    Customer,
    Shop,
}

/// A payer's terms, as they stood when the machine came under them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Programme {
    pub name: String,
    pub rank: Rank,
    pub segments: Vec<Segment>,
    pub exclusions: BTreeSet<Exclusion>,
    pub evidence: BTreeSet<Evidence>,
    /// What the customer bears on one call before the programme pays; taken once, over all lines.
    pub deductible: Cents,
    /// What an hour of labour is paid at most.
    pub labour_rate: Option<Cents>,
    /// What the mile or kilometre of a trip is paid at most.
    pub distance_rate: Option<Cents>,
    /// Whether the days a machine is out of use for a covered repair lengthen the cover, and how they are counted.
    pub out_of_use: Option<OutOfUseCount>,
    /// So many days after a covered repair the same failure is still covered, though the cover ended meanwhile.
    pub failed_repair_days: Option<u32>,
    /// Who bears what the rates, the flat labor and the caps leave of what is covered; the share beyond the percents and the
    /// deductible are the customer's in any case. Terms written before this was asked say nothing of it and read as
    /// "the customer": cover keeps the terms it began under, so what they left is not taken from the customer's bill later.
    #[serde(default)]
    pub rest_borne_by: RestBearer,
}

/// The days that cover is counted from, so far as they are known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Starts {
    pub manufacture: Option<NaiveDate>,
    pub purchase: Option<NaiveDate>,
    pub delivery: Option<NaiveDate>,
    pub installation: Option<NaiveDate>,
    pub repair: Option<NaiveDate>,
    pub contract: Option<NaiveDate>,
}

/// A repair done before on the same machine.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct EarlierRepair {
    pub component: String,
    pub failure: String,
    /// The day the failure was told of, as it was decided who pays.
    pub failed_on: NaiveDate,
    pub completed_on: NaiveDate,
}

/// One programme that a machine holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Registration {
    pub programme: Programme,
    pub starts: Starts,
    /// For the warranty on a repair or a part: the component it is on; none for the whole machine.
    pub component: Option<String>,
    /// The day cover lapsed because the machine changed hands; that day itself is still covered.
    pub lapsed_on: Option<NaiveDate>,
    /// Days on which the machine was out of use for repairs this programme paid, first and last of each.
    pub out_of_use: Vec<(NaiveDate, NaiveDate)>,
    /// Repairs that were done and that this programme paid.
    #[serde(default)]
    pub repairs: Vec<EarlierRepair>,
    /// Place of the first registration of the same programme, where a machine holds it more than once: a programme pays a
    /// line once, by the registration that serves the customer best.
    #[serde(default)]
    pub same_as: Option<usize>,
}

impl Starts {
    /// The day of an event, where it is known.
    #[must_use]
    pub fn of(&self, event: StartEvent) -> Option<NaiveDate> {
        match event {
            StartEvent::Manufacture => self.manufacture,
            StartEvent::Purchase => self.purchase,
            StartEvent::Delivery => self.delivery,
            StartEvent::Installation => self.installation,
            StartEvent::Repair => self.repair,
            StartEvent::Contract => self.contract,
        }
    }

    /// A day before which the event cannot have been: a machine is made, bought, delivered and installed in that order.
    #[must_use]
    pub fn not_before(&self, event: StartEvent) -> Option<NaiveDate> {
        let earlier: &[Option<NaiveDate>] = match event {
            StartEvent::Manufacture | StartEvent::Repair | StartEvent::Contract => &[],
            StartEvent::Purchase => &[self.manufacture],
            StartEvent::Delivery => &[self.manufacture, self.purchase],
            StartEvent::Installation => &[self.manufacture, self.purchase, self.delivery],
        };
        earlier.iter().copied().flatten().max()
    }
}
