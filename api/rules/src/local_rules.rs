//! What a place asks of a written estimate and of a bill, and when a bill needs a recorded consent.
//!
//! A place is configuration: which elements a document must hold, how far a bill may pass what was accepted,
//! and what must stand on paper. Nothing here knows any place by name. What must stay true: what is asked for
//! is either on the document or named as missing, in words; and a statement is printed only where it holds for
//! every document this program makes. This helps a shop to keep its papers in order; it is no legal advice.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::estimate::{ApplianceBlock, CustomerBlock, Line, ShopBlock, Tolerance, consent_needed};
use crate::money::{Cents, MoneyRefusal};
use crate::plural::counted;
use crate::tax::ChargeKind;

mod element;
pub use element::Element;

#[cfg(test)]
mod tests;

/// What one place asks for, from a day on.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LocalRules {
    /// What a written estimate holds.
    pub estimate: Vec<Element>,
    /// What a bill holds.
    pub bill: Vec<Element>,
    /// How far a bill may pass the accepted total; none leaves the shop's own setting.
    pub tolerance: Option<Tolerance>,
    /// Whether tax counts on both sides of that comparison.
    pub counts_tax: bool,
    /// Above this the customer must have the estimate in writing.
    pub written_over: Option<Cents>,
    /// Whether parts that come out are the customer's.
    pub offers_removed_parts: bool,
    /// The least warranty on labour, in days.
    pub labour_warranty_days: Option<u32>,
    /// A line of the place's own; it should defer to local law.
    pub wording: Option<String>,
}

impl LocalRules {
    /// What is asked of the bill for goods without a call: nothing about a machine that was reported and repaired.
    #[must_use]
    pub fn for_sale_of_goods(&self) -> Self {
        let about_a_repair = |element: &Element| {
            matches!(
                element,
                Element::Make
                    | Element::Model
                    | Element::Serial
                    | Element::RepairsNeeded
                    | Element::LabourRate
                    | Element::LabourTime
                    | Element::RemovalCharge
                    | Element::EstimateFee
                    | Element::ReceivedOn
                    | Element::PromisedOn
            )
        };
        let bill = self.bill.iter().copied();
        Self {
            bill: bill.filter(|element| !about_a_repair(element)).collect(),
            offers_removed_parts: false,
            labour_warranty_days: None,
            ..self.clone()
        }
    }

    /// Whether work of so much before tax must be with the customer in writing.
    #[must_use]
    pub fn wants_writing(&self, total: Cents) -> bool {
        self.written_over.is_some_and(|over| total > over)
    }
}

/// What a document says, as far as local rules ask.
#[derive(Debug, Clone)]
pub struct Paper<'a> {
    /// Who offers or bills.
    pub shop: &'a ShopBlock,
    /// To whom.
    pub customer: &'a CustomerBlock,
    /// For which machine.
    pub appliance: &'a ApplianceBlock,
    /// The customer's own words.
    pub complaint: &'a str,
    /// What was found.
    pub found: &'a str,
    /// Every line of every option.
    pub lines: Vec<&'a Line>,
    /// Whether some of them are printed as one amount.
    pub one_amount: bool,
    /// Whether the prices printed hold the tax.
    pub tax_inside: bool,
    /// Day the machine was reported or taken in.
    pub received_on: Option<NaiveDate>,
    /// Day the work is promised for, or was done.
    pub promised_on: Option<NaiveDate>,
    /// Who prepared it, by name or number.
    pub prepared_by: Option<&'a str>,
    /// Whether the customer has, or will get, the estimate in writing.
    pub in_writing: bool,
    /// The dearest total after discount, before tax.
    pub total: Cents,
    /// The shop's warranty on labour, in days.
    pub labour_warranty_days: u32,
}

/// Something asked for that is not there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Missing {
    /// What is asked for.
    pub element: Element,
    /// What to do about it.
    pub words: String,
}

/// Which of the two documents is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PaperKind {
    /// A written estimate.
    Estimate,
    /// A bill.
    Bill,
}

/// What is asked for and not there, in the order in which it is asked for.
#[must_use]
pub fn missing(rules: &LocalRules, kind: PaperKind, paper: &Paper<'_>) -> Vec<Missing> {
    let asked = asked(rules, kind).iter().copied();
    let mut missing: Vec<Missing> = asked
        .filter(|element| !element.is_on(paper))
        .map(|element| Missing {
            element,
            words: element.remedy().to_owned(),
        })
        .collect();
    if rules.wants_writing(paper.total) && !paper.in_writing {
        missing.push(Missing {
            element: Element::WrittenCopy,
            words: Element::WrittenCopy.remedy().to_owned(),
        });
    }
    let least = rules.labour_warranty_days.unwrap_or(0);
    if paper.labour_warranty_days < least {
        missing.push(Missing {
            element: Element::LabourWarranty,
            words: format!(
                "The shop grants {} on labor; this place asks for {least} at least.",
                counted(paper.labour_warranty_days, "day", "days")
            ),
        });
    }
    missing
}

/// The lines a document prints because the place asks for them, one paragraph each.
#[must_use]
pub fn lines(rules: &LocalRules, kind: PaperKind, paper: &Paper<'_>) -> Vec<String> {
    let mut lines: Vec<String> = asked(rules, kind)
        .iter()
        .filter(|element| element.is_on(paper))
        .filter_map(|element| element.line(kind, paper))
        .collect();
    if rules.offers_removed_parts {
        lines.push(
            "Parts we take out are yours. We keep one only if you decline it in writing, or if it goes back for a core \
             charge, is a hazard, or belongs to a maker's warranty; the bill then says which."
                .to_owned(),
        );
    }
    lines.extend(rules.wording.clone());
    lines
}

fn asked(rules: &LocalRules, kind: PaperKind) -> &[Element] {
    match kind {
        PaperKind::Estimate => &rules.estimate,
        PaperKind::Bill => &rules.bill,
    }
}

/// Two amounts of the same document or of two that are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Amounts {
    /// Before tax.
    pub before_tax: Cents,
    /// With tax.
    pub with_tax: Cents,
}

/// How a bill stands to what was agreed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Agreed {
    /// Nothing more is needed.
    Enough,
    /// A consent is needed for this much more than was agreed to.
    ConsentNeeded {
        /// How much is not agreed to, on the side of tax that the place counts.
        beyond: Cents,
    },
}

/// Whether a bill needs a consent that is not recorded yet.
///
/// The place's tolerance decides, or the shop's own where the place has none. Once it is passed, everything above
/// the accepted total must have been agreed to: the tolerance excuses small overruns, it does not shrink large ones.
///
/// # Errors
/// `MoneyRefusal::TooLarge` if a sum does not fit.
/// # Source
/// 16 CCR 2722, MCL 445.833, R152-11-5; fixtures/worked/consent.json.
pub fn agreed(
    rules: Option<&LocalRules>,
    shops_own: Tolerance,
    (accepted, bill): (Amounts, Amounts),
    consented: Cents,
) -> Result<Agreed, MoneyRefusal> {
    let tolerance = rules.and_then(|rules| rules.tolerance).unwrap_or(shops_own);
    let counts_tax = rules.is_some_and(|rules| rules.counts_tax);
    let side = |amounts: Amounts| {
        if counts_tax {
            amounts.with_tax
        } else {
            amounts.before_tax
        }
    };
    let (accepted, bill) = (side(accepted), side(bill));
    if !consent_needed(accepted, bill, tolerance)? {
        return Ok(Agreed::Enough);
    }
    let agreed = accepted
        .checked_add(consented)
        .ok_or(MoneyRefusal::TooLarge)?;
    let beyond = bill.checked_sub(agreed).ok_or(MoneyRefusal::TooLarge)?;
    Ok(if beyond > Cents::ZERO {
        Agreed::ConsentNeeded { beyond }
    } else {
        Agreed::Enough
    })
}

/// What a customer agreed to without an estimate, on the side of tax that the place counts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Consented {
    /// In whatever way.
    pub in_all: Cents,
    /// What of it in writing.
    pub in_writing: Cents,
}

/// How a bill for work without an accepted estimate stands to what the place asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WithoutEstimate {
    /// Nothing more is needed.
    Enough,
    /// A consent is needed for this much that nobody agreed to.
    ConsentNeeded {
        /// How much.
        beyond: Cents,
    },
    /// A consent in writing is needed for this much that nobody agreed to in writing.
    WritingNeeded {
        /// How much.
        beyond: Cents,
    },
}

/// Whether work that no estimate was accepted for may be billed.
///
/// A place that limits bills by what was accepted wants all of such work agreed to, and one that wants work above an
/// amount in writing wants it so here too. Other places ask nothing.
///
/// # Errors
/// `MoneyRefusal::TooLarge` if a difference does not fit.
/// # Source
/// 16 CCR 2722 and MCL 445.833: no charge beyond what the customer authorised; R152-11-5: in writing over 50.00. That
/// nothing accepted is authorised as nothing is our reading; this is no legal advice.
pub fn without_estimate(
    rules: &LocalRules,
    bill: Amounts,
    consented: Consented,
) -> Result<WithoutEstimate, MoneyRefusal> {
    let side = if rules.counts_tax {
        bill.with_tax
    } else {
        bill.before_tax
    };
    let beyond = |agreed: Cents| side.checked_sub(agreed).ok_or(MoneyRefusal::TooLarge);
    let unwritten = beyond(consented.in_writing)?;
    if rules.wants_writing(bill.before_tax) && unwritten > Cents::ZERO {
        return Ok(WithoutEstimate::WritingNeeded { beyond: unwritten });
    }
    let unasked = beyond(consented.in_all)?;
    if rules.tolerance.is_some() && unasked > Cents::ZERO {
        return Ok(WithoutEstimate::ConsentNeeded { beyond: unasked });
    }
    Ok(WithoutEstimate::Enough)
}

/// How a consent was given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ConsentWay {
    /// Face to face.
    InPerson,
    /// By telephone.
    ByTelephone,
    /// By letter, mail or message.
    InWriting,
}

/// A consent to more work, with finished texts for day, time and amount.
#[derive(Debug, Clone, Copy)]
pub struct ConsentNote<'a> {
    /// Day and time in words.
    pub given_at: &'a str,
    /// Who agreed.
    pub authorised_by: &'a str,
    /// How.
    pub way: ConsentWay,
    /// The number called or calling, for one by telephone.
    pub telephone: Option<&'a str>,
    /// Who received it.
    pub received_by: &'a str,
    /// Whether it goes beyond an accepted estimate; else it stands for one.
    pub beyond_estimate: bool,
    /// The added parts and labour.
    pub added_work: &'a str,
    /// The added total with its currency.
    pub added_total: &'a str,
    /// Conditions, if any were made.
    pub conditions: Option<&'a str>,
}

impl ConsentNote<'_> {
    /// The sentence a bill prints.
    ///
    /// # Source
    /// 16 CCR 2722: date, time, who authorised, telephone number, who received it, conditions, the added parts and
    /// labour, and the added total.
    #[must_use]
    pub fn sentence(&self) -> String {
        let way = match (self.way, self.telephone) {
            (ConsentWay::InPerson, _) => "in person".to_owned(),
            (ConsentWay::ByTelephone, Some(number)) => format!("by telephone ({number})"),
            (ConsentWay::ByTelephone, None) => "by telephone".to_owned(),
            (ConsentWay::InWriting, _) => "in writing".to_owned(),
        };
        let conditions = self.conditions.map_or_else(String::new, |conditions| {
            format!(" Conditions: {conditions}")
        });
        let (added, more) = if self.beyond_estimate {
            ("added work", " more")
        } else {
            ("this work", "")
        };
        format!(
            "On {} {} agreed {way} to {added}: {}, for {}{more}. Received by {}.{conditions}",
            self.given_at, self.authorised_by, self.added_work, self.added_total, self.received_by
        )
    }
}

/// Whether any line charges for this.
fn charges(paper: &Paper<'_>, kind: ChargeKind) -> bool {
    paper.lines.iter().any(|line| line.kind == kind)
}
