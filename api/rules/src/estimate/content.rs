//! The frozen content of one revision: what the customer was shown, and its hash.
//!
//! The order of the fields below is the order in the hashed text. Adding, renaming or moving a field changes the
//! hash of every new estimate and must not be done to content that is read back: keep the stored text, not only the values.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::Around;
use super::line::Line;
use super::printed::PrintedAs;
use crate::money::{Cents, MoneyRefusal};
use crate::percent::Percent;
use crate::tax::LevelKind;

use super::deposit::Deposit;
use super::repair_or_replace::Weighing;

/// Everything an estimate says, as it was sent.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Content {
    /// Number of the estimate, the same for all its revisions.
    pub number: String,
    /// Revision, from 1.
    pub revision: u32,
    /// Day it was sent.
    pub sent_on: NaiveDate,
    /// Last day it can be accepted.
    pub valid_until: NaiveDate,
    /// Who offers.
    pub shop: ShopBlock,
    /// Who is offered to.
    pub customer: CustomerBlock,
    /// Which machine.
    pub appliance: ApplianceBlock,
    /// Its rated data, in the order of printing.
    pub ratings: Vec<Rating>,
    /// The customer's own words for what is wrong.
    pub complaint: String,
    /// What was found, or empty.
    pub found: String,
    /// ISO 4217 code of every amount.
    pub currency: String,
    /// Alternatives, at least one.
    pub options: Vec<OfferOption>,
    /// Version of the price book used.
    pub price_book: String,
    /// Remarks, or empty.
    pub notes: String,
    /// The shop's warranty on this work, as printed.
    pub warranty: String,
    /// Terms as printed.
    pub terms: String,
    /// What stands around the offer; estimates sent before there was any of it have none.
    #[serde(default, skip_serializing_if = "Around::is_empty")]
    pub around: Around,
    /// What is different from the revision sent before, for a customer who read that one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub changes: Option<ChangesBlock>,
    /// Figures for weighing repair against replacement, if the office wants them shown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weighing: Option<Weighing>,
}

/// What is different from an earlier revision, as printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ChangesBlock {
    /// The revision it is compared with.
    pub since: u32,
    /// One sentence each.
    pub sentences: Vec<String>,
}

/// The shop as printed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ShopBlock {
    /// Name.
    pub name: String,
    /// Address, one entry a line.
    pub address: Vec<String>,
    /// Telephone, national form.
    pub phone: String,
    /// E-mail.
    pub email: String,
    /// Registration number where the law wants one shown, or empty.
    pub registration: String,
}

/// The customer as printed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct CustomerBlock {
    /// Name.
    pub name: String,
    /// Billing address, one entry a line.
    pub billing_address: Vec<String>,
    /// Where the machine stands, one entry a line.
    pub service_address: Vec<String>,
}

/// The machine as printed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ApplianceBlock {
    /// Type, such as electric range.
    pub kind: String,
    /// Make.
    pub make: String,
    /// Model.
    pub model: String,
    /// Serial as printed on its plate, or the shop's tag.
    pub serial: String,
    /// Whether `serial` is the shop's tag. Left out of the frozen text where it is not, so that older ones stay as they are.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub is_shop_tag: bool,
}

impl ApplianceBlock {
    /// What is printed before `serial`.
    #[must_use]
    pub fn serial_label(&self) -> &'static str {
        if self.is_shop_tag {
            "shop tag"
        } else {
            "serial"
        }
    }
}

/// One figure of a rating plate, such as `Rated voltage`, `240 V`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rating {
    /// What the figure is.
    pub label: String,
    /// The figure with its unit.
    pub value: String,
}

/// One alternative of the offer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OfferOption {
    /// Name, such as "repair".
    pub title: String,
    /// What it does for the customer, or empty.
    pub summary: String,
    /// Its lines.
    pub lines: Vec<Line>,
    /// Sum of the lines' nets.
    pub subtotal: Cents,
    /// Sum of the lines' discounts, zero or more.
    pub discount: Cents,
    /// Tax by level.
    pub tax_levels: Vec<TaxLevel>,
    /// Sum of the lines' taxes, and of the levels'.
    pub tax: Cents,
    /// Subtotal less discount plus tax.
    pub total: Cents,
    /// Remarks below the lines, or empty.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub notes: String,
    /// What is wanted before the work begins.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub deposit: Option<Deposit>,
    /// How the lines are printed, where that is not one by one before tax.
    #[serde(default, skip_serializing_if = "PrintedAs::is_plain")]
    pub printed_as: PrintedAs,
}

/// Tax of one authority on one option.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TaxLevel {
    /// Name.
    pub name: String,
    /// Rank.
    pub kind: LevelKind,
    /// Rate.
    pub rate: Percent,
    /// What it is charged on.
    pub taxable: Cents,
    /// The tax.
    pub tax: Cents,
}

/// Why content cannot be frozen.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ContentRefusal {
    /// Nothing is offered.
    #[error("an estimate needs at least one option")]
    NoOptions,
    /// An option without lines.
    #[error("option {option:?} has no lines")]
    NoLines { option: String },
    /// A total that its parts do not add up to.
    #[error("{total:?} of option {option:?} says {shown}, but its parts add up to {added}")]
    DoesNotAddUp {
        option: String,
        total: TotalKind,
        shown: Cents,
        added: Cents,
    },
    /// A sum does not fit.
    #[error(transparent)]
    Money(#[from] MoneyRefusal),
}

/// Which total is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TotalKind {
    /// Sum of the lines' nets.
    Subtotal,
    /// Sum of the lines' discounts.
    Discount,
    /// Tax, by the lines.
    TaxByLine,
    /// Tax, by the levels.
    TaxByLevel,
    /// Subtotal less discount plus tax.
    Total,
}

impl Content {
    /// Refuses content whose options do not add up.
    ///
    /// # Errors
    /// `NoOptions`, `NoLines`, `DoesNotAddUp` for the first total at fault, `Money`.
    /// # Source
    /// EN 16931-1 rules BR-CO-10, -13, -14, -15 (how document totals are made up).
    pub fn totals(&self) -> Result<(), ContentRefusal> {
        if self.options.is_empty() {
            return Err(ContentRefusal::NoOptions);
        }
        self.options.iter().try_for_each(OfferOption::totals)
    }

    /// The text that is hashed: JSON without blanks, fields in the order declared here.
    #[must_use]
    #[expect(
        clippy::missing_panics_doc,
        reason = "no value of this type fails to serialise"
    )]
    pub fn canonical_json(&self) -> String {
        serde_json::to_string(self)
            .expect("content holds only text, whole numbers and days, which always serialise")
    }

    /// SHA-256 of [`Content::canonical_json`], as 64 lower-case hexadecimal digits.
    #[must_use]
    pub fn hash(&self) -> String {
        let digest = Sha256::digest(self.canonical_json().as_bytes());
        format!("{digest:x}")
    }
}

impl OfferOption {
    /// Subtotal less discount: what is agreed before tax.
    ///
    /// # Errors
    /// `MoneyRefusal::TooLarge`.
    pub fn before_tax(&self) -> Result<Cents, MoneyRefusal> {
        self.subtotal
            .checked_sub(self.discount)
            .ok_or(MoneyRefusal::TooLarge)
    }

    fn totals(&self) -> Result<(), ContentRefusal> {
        if self.lines.is_empty() {
            return Err(ContentRefusal::NoLines {
                option: self.title.clone(),
            });
        }
        let by_line = |amount: fn(&Line) -> Cents| Cents::sum(self.lines.iter().map(amount));
        let by_level = Cents::sum(self.tax_levels.iter().map(|level| level.tax))?;
        let total = self
            .before_tax()?
            .checked_add(self.tax)
            .ok_or(MoneyRefusal::TooLarge)?;
        self.same(
            TotalKind::Subtotal,
            self.subtotal,
            by_line(|line| line.net)?,
        )?;
        self.same(
            TotalKind::Discount,
            self.discount,
            by_line(|line| line.discount)?,
        )?;
        self.same(TotalKind::TaxByLine, self.tax, by_line(|line| line.tax)?)?;
        self.same(TotalKind::TaxByLevel, self.tax, by_level)?;
        self.same(TotalKind::Total, self.total, total)
    }

    fn same(&self, total: TotalKind, shown: Cents, added: Cents) -> Result<(), ContentRefusal> {
        if shown == added {
            return Ok(());
        }
        let option = self.title.clone();
        Err(ContentRefusal::DoesNotAddUp {
            option,
            total,
            shown,
            added,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tax::ChargeKind;

    fn line(kind: ChargeKind, net: i64, discount: i64, taxable: i64, tax: i64) -> Line {
        Line {
            kind,
            description: format!("A {kind}"),
            quantity: "1".to_owned(),
            unit_price: Cents(net),
            net: Cents(net),
            discount: Cents(discount),
            taxable: Cents(taxable),
            tax: Cents(tax),
            tax_reason: "Because the sample says so.".to_owned(),
            section: String::new(),
            condition: None,
            own_discount: None,
        }
    }

    fn sample() -> Content {
        let level = |name: &str, kind, rate: &str, tax| TaxLevel {
            name: name.to_owned(),
            kind,
            rate: Percent::parse(rate).unwrap(),
            taxable: Cents(7_200),
            tax: Cents(tax),
        };
        Content {
            number: "E-1042".to_owned(),
            revision: 1,
            sent_on: "2025-03-14".parse().unwrap(),
            valid_until: "2025-04-13".parse().unwrap(),
            shop: ShopBlock {
                name: "Sample Repair".to_owned(),
                ..ShopBlock::default()
            },
            customer: CustomerBlock {
                name: "A. Household".to_owned(),
                ..CustomerBlock::default()
            },
            appliance: ApplianceBlock {
                kind: "electric range".to_owned(),
                ..ApplianceBlock::default()
            },
            ratings: Vec::new(),
            complaint: "Front left does not heat".to_owned(),
            found: "The element is open.".to_owned(),
            currency: "USD".to_owned(),
            options: vec![OfferOption {
                title: "Repair".to_owned(),
                summary: String::new(),
                lines: vec![
                    line(ChargeKind::Part, 8_000, 800, 7_200, 558),
                    line(ChargeKind::Labour, 12_000, 1_200, 0, 0),
                ],
                subtotal: Cents(20_000),
                discount: Cents(2_000),
                tax_levels: vec![
                    level("State", LevelKind::State, "6.25", 450),
                    level("City", LevelKind::City, "1.5", 108),
                ],
                tax: Cents(558),
                total: Cents(18_558),
                notes: String::new(),
                deposit: None,
                printed_as: PrintedAs::default(),
            }],
            price_book: "2025-01".to_owned(),
            notes: String::new(),
            warranty: String::new(),
            terms: "Payment on completion.".to_owned(),
            around: Around::default(),
            changes: None,
            weighing: None,
        }
    }

    fn fault(change: impl FnOnce(&mut OfferOption)) -> TotalKind {
        let mut content = sample();
        change(content.options.first_mut().unwrap());
        match content.totals().unwrap_err() {
            ContentRefusal::DoesNotAddUp { total, .. } => total,
            other => panic!("{other}"),
        }
    }

    #[test]
    fn content_that_adds_up_is_taken() {
        assert_eq!(sample().totals(), Ok(()));
        assert_eq!(sample().options[0].before_tax(), Ok(Cents(18_000)));
    }

    #[test]
    fn each_total_that_is_a_cent_off_is_named() {
        assert_eq!(
            fault(|o| o.lines[0].net = Cents(8_001)),
            TotalKind::Subtotal
        );
        assert_eq!(
            fault(|o| o.lines[1].discount = Cents(1_199)),
            TotalKind::Discount
        );
        assert_eq!(fault(|o| o.lines[0].tax = Cents(557)), TotalKind::TaxByLine);
        assert_eq!(
            fault(|o| o.tax_levels[1].tax = Cents(109)),
            TotalKind::TaxByLevel
        );
        assert_eq!(fault(|o| o.total = Cents(18_559)), TotalKind::Total);
    }

    #[test]
    fn an_offer_of_nothing_is_refused() {
        let mut content = sample();
        content.options[0].lines.clear();
        assert_eq!(
            content.totals(),
            Err(ContentRefusal::NoLines {
                option: "Repair".to_owned()
            })
        );
        content.options.clear();
        assert_eq!(content.totals(), Err(ContentRefusal::NoOptions));
    }

    #[test]
    fn the_hash_survives_a_round_trip_and_shows_any_change() {
        let content = sample();
        let read: Content = serde_json::from_str(&content.canonical_json()).unwrap();
        assert_eq!(read.hash(), content.hash());
        assert_eq!(content.hash().len(), 64);
        let mut changed = content.clone();
        changed.options[0].lines[0].description.push(' ');
        assert_ne!(changed.hash(), content.hash());
    }

    #[test]
    fn what_a_revision_does_not_have_leaves_no_trace_in_its_text() {
        let text = sample().canonical_json();
        for key in [
            "changes",
            "weighing",
            "deposit",
            "section",
            "condition",
            "own_discount",
        ] {
            assert!(!text.contains(&format!("\"{key}\"")), "{key}: {text}");
        }
    }

    /// Pinned so that a moved or renamed field is noticed: documents already sent carry such hashes.
    #[test]
    fn the_canonical_text_begins_with_the_fields_in_their_order() {
        let text = sample().canonical_json();
        let keys = [
            "{\"number\":\"E-1042\",\"revision\":1,\"sent_on\":\"2025-03-14\",",
            "\"valid_until\":\"2025-04-13\",\"shop\":{\"name\":",
        ];
        assert!(text.starts_with(&keys.concat()), "{text}");
        let places = [
            "\"customer\":",
            "\"appliance\":",
            "\"ratings\":",
            "\"complaint\":",
            "\"found\":",
            "\"currency\":",
            "\"options\":",
            "\"price_book\":",
            "\"notes\":",
            "\"warranty\":",
            "\"terms\":",
        ]
        .map(|key| text.find(key).unwrap());
        assert!(places.is_sorted());
    }
}
