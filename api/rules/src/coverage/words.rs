//! The reasons of a decision, and their words for whoever reads them to a customer.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::programme::{Covers, Evidence, Exclusion, Registration, Segment, StartEvent};
use super::window::{Held, Standing};
use crate::dates::Term;
use crate::money::Cents;
use crate::percent::Percent;

/// What would settle a programme's answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "lacks")]
pub enum Missing {
    /// The day of an event.
    Start {
        event: StartEvent,
    },
    /// What has failed.
    Finding,
    /// Which of several findings counts.
    OneFinding,
    Evidence {
        evidence: Evidence,
    },
    /// Whether this is so.
    Answer {
        exclusion: Exclusion,
    },
    /// The hours of a line, for a payer who pays by the hour.
    Hours {
        line: usize,
    },
    /// How far the trip of a line was, for a payer who pays by distance.
    Distance {
        line: usize,
    },
}

/// Why a decision is as it is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "reason")]
pub enum Reason {
    /// More than one component was found to have failed.
    AlsoFound {
        component: String,
        others: Vec<String>,
        is_named: bool,
    },
    Excluded {
        exclusion: Exclusion,
    },
    /// The warranty is on another component.
    OtherComponent {
        component: String,
    },
    /// The segment is for another class of component.
    OtherClass {
        segment: usize,
    },
    InForce {
        segment: usize,
        held: Held,
    },
    StartUnknown {
        segment: usize,
    },
    NotInForce {
        segment: usize,
        standing: Standing,
    },
    Lacks {
        missing: Missing,
    },
    ByRate {
        allowed: Cents,
    },
    HoursUnknown,
    DistanceUnknown,
    PaysPercent {
        percent: Percent,
    },
    FlatLabour {
        amount: Cents,
    },
    AtMost {
        amount: Cents,
    },
    Deductible {
        amount: Cents,
    },
    Pays {
        amount: Cents,
    },
    NothingToPay,
    ShopBears {
        amount: Cents,
    },
    LeftAside,
    CustomerOwes {
        amount: Cents,
    },
    CustomerOwesAtMost {
        amount: Cents,
    },
}

/// One reason, and what it is about.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// Place of the programme; none for the whole.
    pub registration: Option<usize>,
    /// Place of the line; none for all of them.
    pub line: Option<usize>,
    #[serde(flatten)]
    pub reason: Reason,
}

impl Step {
    pub(super) fn of(registration: usize, reason: Reason) -> Self {
        Self {
            registration: Some(registration),
            line: None,
            reason,
        }
    }

    pub(super) fn on(registration: usize, line: usize, reason: Reason) -> Self {
        Self {
            registration: Some(registration),
            line: Some(line),
            reason,
        }
    }

    pub(super) fn of_all(reason: Reason) -> Self {
        Self {
            registration: None,
            line: None,
            reason,
        }
    }

    /// The step as a sentence, with the name of the programme in front. Lines are named by what they say, given in their
    /// order, with their number from 1 behind; by the number alone where nothing is said.
    #[must_use]
    pub fn words(&self, registrations: &[Registration], lines: &[String]) -> String {
        let held = self.registration.and_then(|place| registrations.get(place));
        let programme = held.map(|held| &held.programme);
        let about = About {
            programme: programme.map_or("", |programme| programme.name.as_str()),
            segments: programme.map_or(&[][..], |programme| &programme.segments),
            line: self.line.map(|line| named(line, lines)).unwrap_or_default(),
        };
        said(&self.reason, &about)
    }
}

/// A line as a sentence names it, such as "Drain pump (line 2)".
fn named(line: usize, lines: &[String]) -> String {
    let number = line.saturating_add(1);
    let says = lines.get(line).map(|says| says.trim());
    match says.filter(|says| !says.is_empty()) {
        Some(says) => format!("{says} (line {number})"),
        None => format!("line {number}"),
    }
}

/// What a sentence is about.
struct About<'a> {
    /// The name of the programme.
    programme: &'a str,
    segments: &'a [Segment],
    /// The line by name; empty for all of them.
    line: String,
}

/// What is missing, as a sentence that says what would settle it.
#[must_use]
pub fn settles(missing: Missing) -> String {
    match missing {
        Missing::Start { event } => {
            format!("The day of {event} is not known; a paper that shows it settles this.")
        }
        Missing::Finding => {
            "What failed is not known yet; the finding of the visit settles this.".to_owned()
        }
        Missing::Evidence { evidence } => format!("{evidence} is asked for and not there yet."),
        Missing::OneFinding => {
            "More than one component was found to have failed; naming the finding that counts settles this.".to_owned()
        }
        Missing::Answer { exclusion } => format!("It is not settled whether {exclusion}."),
        Missing::Hours { line } => format!(
            "The hours of line {} are not known; saying them when it is decided settles this.",
            line + 1
        ),
        Missing::Distance { line } => format!(
            "How far the trip of line {} was is not known; saying it when it is decided settles this.",
            line + 1
        ),
    }
}

fn said(reason: &Reason, about: &About) -> String {
    let About {
        programme,
        segments,
        line,
    } = about;
    let terms = |segment: &usize| {
        let terms = segments.get(*segment).map(terms).unwrap_or_default();
        format!("{programme}: {terms}")
    };
    match reason {
        Reason::AlsoFound {
            component,
            others,
            is_named,
        } => several_words(component, others, *is_named),
        Reason::Excluded { exclusion } => format!("{programme} does not pay where {exclusion}."),
        Reason::OtherComponent { component } => format!(
            "{programme} is on another component ({}).",
            component.replace('_', " ")
        ),
        Reason::OtherClass { segment } => {
            format!("{}: only for another kind of component.", terms(segment))
        }
        Reason::InForce { segment, held } => format!("{}: {}", terms(segment), held_words(held)),
        Reason::StartUnknown { segment } => {
            format!("{}: its first day is not known.", terms(segment))
        }
        Reason::NotInForce { segment, standing } => {
            format!("{}: {}", terms(segment), standing_words(standing))
        }
        Reason::Lacks { missing } => format!("{programme}: {}", settles(*missing)),
        Reason::ByRate { allowed } => {
            format!("{programme} allows {allowed} for {line}, by its rate.")
        }
        Reason::HoursUnknown => format!(
            "{programme} pays by the hour, and the hours of {line} are not known; until they are, it is expected to pay \
             without its rate."
        ),
        Reason::DistanceUnknown => format!(
            "{programme} pays by distance, and the distance of {line} is not known; until it is, it is expected to pay \
             without its rate."
        ),
        Reason::PaysPercent { percent } => format!("{programme} covers {percent} % of {line}."),
        Reason::FlatLabour { amount } => format!("{programme} pays {amount} for all labor."),
        Reason::AtMost { amount } => format!("{programme} pays at most {amount} on one call."),
        Reason::Deductible { amount } => {
            format!("{programme}: the customer bears the first {amount} of what it covers.")
        }
        Reason::Pays { amount } => format!("{programme} pays {amount} of {line}."),
        Reason::NothingToPay => format!("{programme} has nothing to pay here."),
        Reason::ShopBears { amount } => format!(
            "{programme}: the shop bears {amount} of {line}, which this programme covers and does not pay."
        ),
        Reason::LeftAside => {
            format!("{programme} is left aside: asking it would leave the customer worse off.")
        }
        Reason::CustomerOwes { amount } => format!("The customer owes {amount} before tax."),
        Reason::CustomerOwesAtMost { amount } => {
            format!("The customer owes {amount} before tax if what is missing does not turn up.")
        }
    }
}

fn several_words(component: &str, others: &[String], is_named: bool) -> String {
    let plain = |name: &str| name.replace('_', " ");
    let others: Vec<String> = others.iter().map(|name| plain(name)).collect();
    if is_named {
        return format!(
            "Decided by what failed of {}; found to have failed, too: {}.",
            plain(component),
            listed(&others)
        );
    }
    let all: Vec<String> = std::iter::once(plain(component)).chain(others).collect();
    format!(
        "Found to have failed: {}; it is not said for which of them this is decided.",
        listed(&all)
    )
}

/// The terms of a segment, such as "Parts and labor for 12 months from purchase".
fn terms(segment: &Segment) -> String {
    let mut covers: Vec<String> = segment.covers.iter().map(ToString::to_string).collect();
    if let Some(first) = covers.first_mut() {
        let mut letters = first.chars();
        let capital: String = letters
            .next()
            .into_iter()
            .flat_map(char::to_uppercase)
            .collect();
        *first = format!("{capital}{}", letters.as_str());
    }
    let of_class = match &segment.component_class {
        Some(class) => format!(" of the {}", class.replace('_', " ")),
        None => String::new(),
    };
    let after = match segment.after {
        Some(term) => format!(", after the first {}", length(term)),
        None => String::new(),
    };
    format!(
        "{}{of_class} for {} from {}{after}",
        listed(&covers),
        length(segment.through),
        segment.start
    )
}

/// Words in a row: "parts", "parts and labor", "parts, labor and trip".
fn listed(words: &[String]) -> String {
    match words.split_last() {
        None => String::new(),
        Some((only, [])) => only.clone(),
        Some((last, before)) => format!("{} and {last}", before.join(", ")),
    }
}

fn length(term: Term) -> String {
    let (count, unit) = match term {
        Term::Days(days) => (days, "day"),
        Term::Months(months) => (months, "month"),
        Term::Years(years) => (years, "year"),
    };
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {unit}{plural}")
}

fn held_words(held: &Held) -> String {
    match held {
        Held::Dates { dates } => format!(
            "in force from {} through {}{}.",
            dates.from_on,
            dates.through_on,
            lengthened(dates.lengthened_by)
        ),
        Held::EarliestStart { dates } => format!(
            "in force in any case; it began no earlier than {}, so it runs through {} at least.",
            dates.from_on, dates.through_on
        ),
        Held::FailedRepair {
            completed_on,
            through_on,
        } => format!(
            "ended, but the repair completed on {completed_on} did not hold, so it counts through {through_on} still."
        ),
    }
}

fn standing_words(standing: &Standing) -> String {
    match standing {
        Standing::NotYet { dates } => format!("begins on {}, after the failure.", dates.from_on),
        Standing::Over { dates, days_past } => format!(
            "ended on {}{}, {days_past} {} before the failure.",
            dates.through_on,
            lengthened(dates.lengthened_by),
            if *days_past == 1 { "day" } else { "days" }
        ),
        Standing::Lapsed { lapsed_on } => {
            format!("lapsed when the machine changed hands on {lapsed_on}.")
        }
        Standing::InForce { held } => held_words(held),
        Standing::StartUnknown => "its first day is not known.".to_owned(),
    }
}

fn lengthened(days: u32) -> String {
    match days {
        0 => String::new(),
        1 => " (lengthened by 1 day of repair)".to_owned(),
        days => format!(" (lengthened by {days} days of repair)"),
    }
}

impl fmt::Display for Covers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Parts => "parts",
            Self::Labour => "labor",
            Self::Trip => "trip",
        })
    }
}

impl fmt::Display for StartEvent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Manufacture => "manufacture",
            Self::Purchase => "purchase",
            Self::Delivery => "delivery",
            Self::Installation => "installation",
            Self::Repair => "the repair",
            Self::Contract => "the start of the contract",
        })
    }
}

impl fmt::Display for Exclusion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Misuse => "the machine was misused",
            Self::CommercialUse => "the machine is used in a business",
            Self::NoFaultFound => "no fault was found",
            Self::FaultyInstallation => "the installation is at fault",
            Self::HouseSupply => "the supply of the house is at fault",
            Self::LackOfCare => "cleaning or care was neglected",
            Self::Accident => "an accident did the damage",
            Self::WorkByOthers => "somebody else worked on the machine",
        })
    }
}

impl fmt::Display for Evidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::ProofOfPurchase => "Proof of purchase",
            Self::PlatePicture => "A picture of the rating plate",
            Self::FaultPicture => "A picture of the fault",
            Self::OldPart => "The part taken out, kept under its tag,",
            Self::CustomerSignature => "The customer's signature",
            Self::ContractNumber => "The number of the contract",
        })
    }
}
