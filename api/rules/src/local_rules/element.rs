//! The closed list of what local rules ask a document to hold.

use serde::{Deserialize, Serialize};

use super::{Paper, PaperKind, charges};
use crate::tax::ChargeKind;

macro_rules! elements {
    ($($(#[$doc:meta])* $element:ident $key:literal $remedy:literal,)*) => {
        /// Something a document must hold.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum Element {
            $($(#[$doc])* $element,)*
        }

        impl Element {
            /// Every element.
            pub const ALL: &'static [Self] = &[$(Self::$element,)*];

            /// The stable key under which a place's rules are kept.
            #[must_use]
            pub fn key(self) -> &'static str {
                match self {
                    $(Self::$element => $key,)*
                }
            }

            /// What to do when it is missing.
            #[must_use]
            pub fn remedy(self) -> &'static str {
                match self {
                    $(Self::$element => $remedy,)*
                }
            }
        }
    };
}

elements! {
    /// Trading name of the shop.
    ShopName "shop_name" "Give the shop's name in its settings.",
    /// Postal address of the shop.
    ShopAddress "shop_address" "Give the shop's postal address in its settings.",
    /// Telephone of the shop.
    ShopTelephone "shop_telephone" "Give the shop's telephone in its settings.",
    /// Registration or licence number of the shop.
    RegistrationNumber "registration_number" "Give the shop's registration in its settings, as its licence line.",
    /// Who the customer is.
    CustomerName "customer_name" "Give the customer's name.",
    /// Make of the machine.
    Make "make" "Record the make of the appliance.",
    /// Model of the machine.
    Model "model" "Record the model of the appliance.",
    /// Serial of the machine, or the shop's tag where no plate can be read.
    Serial "serial" "Record the serial of the appliance.",
    /// The customer's own description of the problem.
    CustomersWords "customers_words" "Record the problem in the customer's own words.",
    /// What is to be repaired.
    RepairsNeeded "repairs_needed" "Say what was found and what has to be repaired.",
    /// Each part and each piece of labour on a line of its own.
    LinesItemised "lines_itemised" "Give each part and each piece of labor its own line with words of its own, and print them so, not as one amount.",
    /// The class of each part: new, used or rebuilt.
    PartClass "part_class" "Say of each part whether it is new, used or rebuilt.",
    /// The hourly or flat rate of labour.
    LabourRate "labour_rate" "Charge labor on a line of its own, with its rate, and print it so.",
    /// The time of labour.
    LabourTime "labour_time" "Charge labor on a line of its own, with its time, and print it so.",
    /// What taking the machine away and bringing it back costs.
    RemovalCharge "removal_charge" "Say what taking the appliance away and bringing it back costs.",
    /// What is due for the estimate itself.
    EstimateFee "estimate_fee" "Charge the visit or the diagnosis on a line of its own, or say that it is free.",
    /// That tax is part of the total.
    TaxInside "tax_inside" "Show the total with tax.",
    /// That tax stands apart from what is estimated.
    TaxApart "tax_apart" "Show the amounts before tax: the tax rules here put the tax into the prices, which this place does not want.",
    /// Day the problem was reported or the machine taken in.
    ReceivedOn "received_on" "Record the day the call was taken.",
    /// Day the work is promised for.
    PromisedOn "promised_on" "Plan a visit: the document names the day the work is promised for.",
    /// Who of the shop prepared it: a name, a signature or an employee's number.
    PreparedBy "prepared_by" "Say who of the shop prepared this.",
    /// The estimate in the customer's hands, above the place's amount. Asked by the amount, not by name.
    WrittenCopy "written_copy" "Send the estimate by mail, or hand it over printed and have it signed: above this amount it must be in writing.",
    /// A warranty on labour as long as the place asks. Asked by its days, not by name.
    LabourWarranty "labour_warranty" "Raise the shop's warranty on labor in its settings.",
}

impl Element {
    /// The element with this key, if there is one.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL
            .iter()
            .copied()
            .find(|element| element.key() == key)
    }

    /// Whether the document holds it.
    pub(super) fn is_on(self, paper: &Paper<'_>) -> bool {
        let says = |text: &str| !text.trim().is_empty();
        match self {
            Self::ShopName => says(&paper.shop.name),
            Self::ShopAddress => !paper.shop.address.is_empty(),
            Self::ShopTelephone => says(&paper.shop.phone),
            Self::RegistrationNumber => says(&paper.shop.registration),
            Self::CustomerName => says(&paper.customer.name),
            Self::Make => says(&paper.appliance.make),
            Self::Model => says(&paper.appliance.model),
            Self::Serial => says(&paper.appliance.serial),
            Self::CustomersWords => says(paper.complaint),
            Self::RepairsNeeded => says(paper.found),
            Self::LinesItemised => {
                !paper.one_amount
                    && !paper.lines.is_empty()
                    && paper.lines.iter().all(|line| says(&line.description))
            }
            Self::LabourRate | Self::LabourTime => {
                !paper.one_amount && charges(paper, ChargeKind::Labour)
            }
            Self::TaxApart => !paper.tax_inside,
            Self::EstimateFee => {
                charges(paper, ChargeKind::Diagnostic) || charges(paper, ChargeKind::Trip)
            }
            Self::ReceivedOn => paper.received_on.is_some(),
            Self::PromisedOn => paper.promised_on.is_some(),
            Self::PreparedBy => paper.prepared_by.is_some_and(says),
            Self::PartClass => {
                let mut parts = paper
                    .lines
                    .iter()
                    .filter(|line| line.kind == ChargeKind::Part);
                parts.all(|line| line.condition.is_some())
            }
            // Each document states the first two in its own lines, or shows them in its sums; the others are asked by an
            // amount and by days, see `missing`.
            Self::RemovalCharge | Self::TaxInside | Self::WrittenCopy | Self::LabourWarranty => {
                true
            }
        }
    }

    /// The line the document prints for it; none where the document shows it anyhow or it is missing.
    pub(super) fn line(self, kind: PaperKind, paper: &Paper<'_>) -> Option<String> {
        let fixed = |words: &str| Some(words.to_owned());
        match self {
            Self::RemovalCharge => fixed(
                "Nothing is charged for taking the appliance away and bringing it back unless a line above says so.",
            ),
            Self::TaxInside => fixed("The total includes sales tax."),
            Self::TaxApart => fixed(
                "Sales tax is not part of the estimated price; it is added by law and shown apart.",
            ),
            Self::ReceivedOn => paper
                .received_on
                .map(|day| format!("Reported on {}.", in_words(day))),
            Self::PromisedOn => paper.promised_on.map(|day| match kind {
                PaperKind::Estimate => format!("Work planned for {}.", in_words(day)),
                PaperKind::Bill => format!("Work done on {}.", in_words(day)),
            }),
            Self::PreparedBy => paper
                .prepared_by
                .map(|name| format!("Prepared for the shop by {name}.")),
            _ => None,
        }
    }
}

fn in_words(day: chrono::NaiveDate) -> String {
    day.format("%B %-d, %Y").to_string()
}
