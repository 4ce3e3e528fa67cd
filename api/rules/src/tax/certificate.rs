//! A customer's exemption certificate, and whether it counts for a sale.

use std::fmt;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::dates::{days_after, months_after};

use super::place::covers;

/// Days after a sale within which its certificate may still be taken.
const DAYS_AFTER_SALE_MAX: u32 = 90;
/// Months between two purchases after which a blanket certificate lapses.
const MONTHS_BETWEEN_PURCHASES_MAX: u32 = 12;

/// Which purchases a certificate is for.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Purchases {
    /// One.
    Single,
    /// All, as long as they follow one another.
    #[default]
    Blanket,
}

/// Who buys, as a certificate must say; an empty text is a field left blank.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Buyer {
    /// Name.
    pub name: String,
    /// Business address.
    pub address: String,
    /// Tax identification number.
    pub tax_id: String,
    /// Type of business.
    pub business_type: String,
}

/// A customer's exemption certificate, on file or only claimed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Certificate {
    /// Number or name of the certificate.
    pub number: String,
    /// Reason given on it, or empty.
    pub reason: String,
    /// Who buys.
    pub buyer: Buyer,
    /// Day the shop took it; `None` while the customer only says to be exempt.
    pub received_on: Option<NaiveDate>,
    /// Which purchases it is for.
    #[serde(default)]
    pub purchases: Purchases,
    /// First day it covers.
    pub from_on: NaiveDate,
    /// Last day it covers; `None` for open.
    pub until_on: Option<NaiveDate>,
    /// Day of the last purchase billed under it.
    #[serde(default)]
    pub last_purchase_on: Option<NaiveDate>,
}

/// Whether a certificate counts for a sale, and if not, why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// It does.
    Counts,
    /// The shop does not hold it.
    NotReceived,
    /// These fields are blank.
    Incomplete(Vec<&'static str>),
    /// It begins later.
    Begins(NaiveDate),
    /// It ended.
    Ended(NaiveDate),
    /// It was taken too long after the sale.
    TakenLate(NaiveDate),
    /// It was for one purchase, which was made.
    Used(NaiveDate),
    /// More than twelve months passed since the last purchase under it.
    Lapsed(NaiveDate),
}

impl Certificate {
    /// Whether it counts for a sale of a day.
    ///
    /// A blanket certificate is measured from the last purchase before this one, and from the day it was received
    /// before the first. Day 90 after the sale is in time, day 91 is not; the day twelve months on is in.
    ///
    /// # Source
    /// Streamlined Sales and Use Tax Agreement section 317 and the Streamlined audit guidelines of 2011;
    /// fixtures/worked/tax-certificates.json.
    #[must_use]
    pub fn standing(&self, sale_on: NaiveDate) -> Standing {
        let Some(received_on) = self.received_on else {
            return Standing::NotReceived;
        };
        let blank = self.blank_fields();
        if !blank.is_empty() {
            return Standing::Incomplete(blank);
        }
        if !covers(Some(self.from_on), None, sale_on) {
            return Standing::Begins(self.from_on);
        }
        if let Some(until) = self.until_on.filter(|until| *until < sale_on) {
            return Standing::Ended(until);
        }
        let late = days_after(sale_on, DAYS_AFTER_SALE_MAX).is_ok_and(|last| received_on > last);
        if late {
            return Standing::TakenLate(received_on);
        }
        match (self.purchases, self.last_purchase_on) {
            (Purchases::Single, Some(used)) => Standing::Used(used),
            (Purchases::Single, None) => Standing::Counts,
            (Purchases::Blanket, last) => {
                let since = last.unwrap_or(received_on);
                let lapsed = months_after(since, MONTHS_BETWEEN_PURCHASES_MAX)
                    .is_ok_and(|until| until < sale_on);
                if lapsed {
                    Standing::Lapsed(since)
                } else {
                    Standing::Counts
                }
            }
        }
    }

    fn blank_fields(&self) -> Vec<&'static str> {
        [
            (&self.buyer.name, "the buyer's name"),
            (&self.buyer.address, "the business address"),
            (&self.buyer.tax_id, "the tax id"),
            (&self.buyer.business_type, "the type of business"),
            (&self.reason, "the reason"),
        ]
        .into_iter()
        .filter(|(text, _)| text.trim().is_empty())
        .map(|(_, name)| name)
        .collect()
    }
}

impl fmt::Display for Standing {
    /// What follows "exemption certificate X" in a sentence.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Counts => write!(f, "counts"),
            Self::NotReceived => write!(f, "is claimed but not on file"),
            Self::Incomplete(fields) => write!(f, "lacks {}", fields.join(" and ")),
            Self::Begins(on) => write!(f, "begins on {on}"),
            Self::Ended(on) => write!(f, "ended on {on}"),
            Self::TakenLate(on) => write!(
                f,
                "was taken on {on}, more than {DAYS_AFTER_SALE_MAX} days after the sale"
            ),
            Self::Used(on) => write!(f, "was for one purchase, made on {on}"),
            Self::Lapsed(on) => write!(
                f,
                "lapsed: {MONTHS_BETWEEN_PURCHASES_MAX} months without a purchase since {on}"
            ),
        }
    }
}
