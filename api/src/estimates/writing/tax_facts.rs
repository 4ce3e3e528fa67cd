//! What is known about an offer that tax rules turn on: about the whole of it, and about single lines.

use nameplate_entities::kinds::{Carrier, ChargeKind, StatedAs, TripServes, WorkOutcome};
use nameplate_entities::{estimate_line, estimate_option};
use nameplate_rules::estimate::{PrintedAs, Shown};
use nameplate_rules::money::Cents;
use serde::{Deserialize, Serialize};

use crate::base::check::TEXT_MAX;
use crate::base::{Checks, ProblemCode};
use crate::estimates::store::Accepted;

/// Facts of an alternative.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct OptionFacts {
    pub stated_as: StatedAs,
    pub outcome: WorkOutcome,
    /// What proves that no part is used.
    pub material_evidence: Option<String>,
    /// Which declared disaster did the damage, and how that is known.
    pub disaster_area: Option<String>,
}

/// Facts of one charge.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineFacts {
    pub trip_serves: Option<TripServes>,
    pub delivery: Option<Delivered>,
    pub replaced_under_warranty: bool,
}

/// How goods reach the customer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Delivered {
    pub by: Carrier,
    /// What the carrier takes from the shop.
    pub actual_cost: Option<Cents>,
    /// Whether the charge is divided on the document between taxed and untaxed goods.
    pub divided: bool,
}

impl OptionFacts {
    /// Holds the facts against the door; `parts` says whether a line charges for one.
    pub(in crate::estimates) fn check(&mut self, checks: &mut Checks, below: &str, parts: bool) {
        let path = format!("{below}.materialEvidence");
        self.material_evidence =
            checks.text_if_any(&path, self.material_evidence.as_deref(), TEXT_MAX);
        if self.material_evidence.is_some() && parts {
            let words = "A line charges for a part, so nothing can prove that none is used.";
            checks.refuse(ProblemCode::Malformed, &path, words);
        }
        if self.outcome == WorkOutcome::OnlyDiagnosed && parts {
            let words = "A line charges for a part, so the machine is not only diagnosed.";
            checks.refuse(ProblemCode::Malformed, &format!("{below}.outcome"), words);
        }
        let path = format!("{below}.disasterArea");
        self.disaster_area = checks.text_if_any(&path, self.disaster_area.as_deref(), TEXT_MAX);
    }

    /// The facts of an option on record.
    pub fn of_row(row: &estimate_option::Model) -> Self {
        Self {
            stated_as: row.stated_as,
            outcome: row.outcome,
            material_evidence: row.material_evidence.clone(),
            disaster_area: row.disaster_reason.clone(),
        }
    }
}

impl LineFacts {
    /// Holds the facts of a line of this kind against the door.
    pub(in crate::estimates) fn check(&self, checks: &mut Checks, below: &str, kind: ChargeKind) {
        let mut only = |of: ChargeKind, field: &str, given: bool, words: &str| {
            if given && kind != of {
                let path = format!("{below}.{field}");
                checks.refuse(ProblemCode::Malformed, &path, words);
            }
        };
        only(
            ChargeKind::Trip,
            "tripServes",
            self.trip_serves.is_some(),
            "Only a line for a trip says what it serves.",
        );
        only(
            ChargeKind::Part,
            "replacedUnderWarranty",
            self.replaced_under_warranty,
            "Only a part is replaced under warranty.",
        );
        let delivers = matches!(kind, ChargeKind::Freight | ChargeKind::Part);
        if self.delivery.is_some() && !delivers {
            let words =
                "Only a line for freight, or for a part that brings freight, says who delivers.";
            checks.refuse(ProblemCode::Malformed, &format!("{below}.delivery"), words);
        }
        if let Some(cost) = self.delivery.and_then(|delivery| delivery.actual_cost) {
            checks.not_negative(&format!("{below}.delivery.actualCost"), cost);
        }
    }

    /// Those that a charge of this kind has: a part may bring freight, which is delivered as its line says.
    pub(in crate::estimates) fn of_kind(&self, kind: ChargeKind) -> Self {
        Self {
            trip_serves: self.trip_serves.filter(|_| kind == ChargeKind::Trip),
            delivery: self.delivery.filter(|_| kind == ChargeKind::Freight),
            replaced_under_warranty: self.replaced_under_warranty && kind == ChargeKind::Part,
        }
    }

    /// The facts of a line on record.
    pub fn of_row(row: &estimate_line::Model) -> Self {
        Self {
            trip_serves: row.trip_serves,
            delivery: row.delivered_by.map(|by| Delivered {
                by,
                actual_cost: row.delivery_cost_cents.map(Cents),
                divided: row.delivery_divided,
            }),
            replaced_under_warranty: row.under_warranty,
        }
    }
}

/// Whether an option is printed as one amount: it was asked for, and no tax rule wants its parts stated.
pub(in crate::estimates) fn is_one_amount(row: &estimate_option::Model) -> bool {
    row.stated_as == StatedAs::LumpSum && !row.parts_to_be_stated
}

/// A line's price and discount with the tax they hold, where they hold it.
pub(in crate::estimates) fn shown(row: &estimate_line::Model) -> Option<Shown> {
    Some(Shown {
        net: Cents(row.shown_net_cents?),
        discount: Cents(row.shown_discount_cents?),
    })
}

/// How what was accepted is printed on its invoice.
pub fn printed_as(accepted: &Accepted) -> PrintedAs {
    PrintedAs {
        one_amount: is_one_amount(&accepted.option),
        with_tax: accepted.lines.iter().filter_map(shown).collect(),
    }
}
