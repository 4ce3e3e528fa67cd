//! What stands on a document, as plain text.
//!
//! Every amount is text ready to print, such as `189.50` or `-20.00`; every date is `YYYY-MM-DD` and is
//! put into words when printed. An empty text or list leaves its part of the page out.

use serde::{Deserialize, Serialize};

/// Who issues the document.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ShopBlock {
    /// Trading name.
    pub name: String,
    /// Postal address, a line each.
    pub address_lines: Vec<String>,
    /// Telephone in national form.
    pub phone: String,
    /// E-mail address.
    pub email: String,
    /// Registration or licence as local rules want it printed, such as `State registration 41877`.
    pub licence_line: Option<String>,
}

/// Who receives the document.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct CustomerBlock {
    /// Person or organisation.
    pub name: String,
    /// Billing address, a line each.
    pub address_lines: Vec<String>,
    /// Where the machine stands, a line each; empty if it is the billing address.
    pub service_address_lines: Vec<String>,
    /// Telephone in national form.
    pub phone: Option<String>,
    /// E-mail address.
    pub email: Option<String>,
}

/// One more figure of a rating plate, such as `Rated voltage`, `240 V`.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlateEntry {
    /// What the figure is.
    pub label: String,
    /// The figure with its unit.
    pub value: String,
}

/// The machine, as its rating plate names it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ApplianceBlock {
    /// Type of machine, such as `Water heater`.
    #[serde(rename = "type")]
    pub appliance_type: String,
    /// Maker's name.
    pub make: String,
    /// Model as printed.
    pub model: String,
    /// Serial number as printed, or the shop's own tag.
    pub serial: String,
    /// Whether `serial` is the shop's own tag, as the plate could not be read.
    #[serde(default)]
    pub is_shop_tag: bool,
    /// Rated data, in the order of printing.
    pub ratings: Vec<PlateEntry>,
}

/// A picture with what it shows.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Picture {
    /// What it shows; also its text for who cannot see it.
    pub words: String,
    /// The picture itself, a JPEG; it reaches the typesetter as a file of its own.
    #[serde(skip)]
    pub jpeg: Vec<u8>,
}

/// One charged line.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DocumentLine {
    /// Charge kind in the customer's words, such as `Part`, `Labor`, `Trip`.
    pub kind: String,
    /// What is charged.
    pub description: String,
    /// What must be said of it, such as `Rebuilt part` or `Under warranty, no charge`.
    pub note: Option<String>,
    /// How many, with its unit if it has one: `1`, `1.25 h`.
    pub quantity: String,
    /// Price of one.
    pub unit_price: String,
    /// Amount of the line before tax.
    pub amount: String,
    /// Whether sales tax was charged on it.
    pub taxed: bool,
    /// Heading of the section that begins with it.
    #[serde(default)]
    pub section: Option<String>,
}

/// Tax of one level of government.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct TaxLine {
    /// The level and its name, such as `County tax, Brightwater`.
    pub level: String,
    /// The rate as printed, such as `1.25 %`.
    pub rate: String,
    /// The tax of this level.
    pub amount: String,
}

/// One of the alternatives an estimate offers.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct OptionBlock {
    /// Short name, such as `Repair: new upper element`.
    pub title: String,
    /// What it does for the customer, in a sentence or two.
    pub summary: String,
    /// Its lines, in the order of printing.
    pub lines: Vec<DocumentLine>,
    /// Sum of the lines.
    pub subtotal: String,
    /// What is taken off, with its sign: `-15.00`.
    pub discount: Option<String>,
    /// Tax by level.
    pub tax_lines: Vec<TaxLine>,
    /// What the customer would pay.
    pub total: String,
    /// Remarks below the lines, one paragraph each.
    #[serde(default)]
    pub notes: Vec<String>,
    /// What is wanted before the work begins.
    #[serde(default)]
    pub deposit: Option<String>,
}

/// An estimate as it was sent.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct EstimateDocument {
    /// Who offers.
    pub shop: ShopBlock,
    /// To whom.
    pub customer: CustomerBlock,
    /// For which machine.
    pub appliance: ApplianceBlock,
    /// Number of the estimate.
    pub number: String,
    /// Its revision; empty prints none.
    pub revision: String,
    /// Day it was sent, `YYYY-MM-DD`. Also the date inside the file.
    pub issued_on: String,
    /// Last day it can be accepted, `YYYY-MM-DD`.
    pub valid_until: Option<String>,
    /// ISO 4217 code of every amount, such as `USD`.
    pub currency: String,
    /// The problem in the customer's own words.
    pub problem_told: String,
    /// What the technician found.
    pub found: String,
    /// The alternatives, in the order of printing.
    pub options: Vec<OptionBlock>,
    /// The revision `changes` compares with.
    #[serde(default)]
    pub changed_since: String,
    /// What is different from that revision, one sentence each.
    #[serde(default)]
    pub changes: Vec<String>,
    /// Figures to weigh repair against replacement, one sentence each.
    #[serde(default)]
    pub weighing: Vec<String>,
    /// Remarks, one paragraph each.
    pub notes: Vec<String>,
    /// The shop's warranty on this work.
    pub warranty: String,
    /// Terms of the offer.
    pub terms: String,
    /// What must not be done or used, one sentence each.
    pub cautions: Vec<String>,
    /// What was found, in pictures.
    #[serde(default)]
    pub pictures: Vec<Picture>,
    /// Lines that the local rules want, one paragraph each.
    #[serde(default)]
    pub local_lines: Vec<String>,
    /// Whether the customer has a link to answer by.
    pub answered_by_link: bool,
    /// How it was accepted, if it was: one sentence. Without it the page ends in lines to sign on.
    pub accepted: Option<String>,
}

/// Which of the two an invoice document is.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum InvoiceKind {
    /// Asks for money.
    #[default]
    Invoice,
    /// Takes back all or part of an invoice.
    CreditNote,
}

/// Money already received, deposits included.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct PaymentLine {
    /// Day of receipt, `YYYY-MM-DD`.
    pub received_on: String,
    /// How it was paid, such as `Card` or `Deposit`.
    pub method: String,
    /// What was received.
    pub amount: String,
}

/// An invoice or a credit note as it was issued.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct InvoiceDocument {
    /// Which of the two it is.
    pub kind: InvoiceKind,
    /// Who issues it.
    pub shop: ShopBlock,
    /// Who owes it.
    pub customer: CustomerBlock,
    /// The machine worked on; none for a bill without one.
    pub appliance: Option<ApplianceBlock>,
    /// Number of the document.
    pub number: String,
    /// Credit note only: number of the invoice it corrects.
    pub corrects: Option<String>,
    /// Number of the accepted estimate behind it.
    pub estimate_number: Option<String>,
    /// Day of issue, `YYYY-MM-DD`. Also the date inside the file.
    pub issued_on: String,
    /// Day the money is due, `YYYY-MM-DD`.
    pub due_on: Option<String>,
    /// Day the work was done, `YYYY-MM-DD`.
    pub service_on: Option<String>,
    /// Who did the work: a name or staff number.
    pub technician: Option<String>,
    /// ISO 4217 code of every amount, such as `USD`.
    pub currency: String,
    /// The problem in the customer's own words.
    pub problem_told: String,
    /// What the technician found.
    pub found: String,
    /// What was done about it.
    pub done: String,
    /// The lines, in the order of printing.
    pub lines: Vec<DocumentLine>,
    /// Sum of the lines.
    pub subtotal: String,
    /// What is taken off, with its sign: `-15.00`.
    pub discount: Option<String>,
    /// Tax by level.
    pub tax_lines: Vec<TaxLine>,
    /// Total with tax.
    pub total: String,
    /// What was received on it, in the order of printing.
    pub payments: Vec<PaymentLine>,
    /// Sum received; `0.00` if nothing was.
    pub paid: String,
    /// What credit notes gave back of it; none for nothing.
    #[serde(default)]
    pub credited: Option<String>,
    /// What was written off; none for nothing.
    #[serde(default)]
    pub written_off: Option<String>,
    /// What is still owed (credit note: still to be paid back or set off).
    pub open: String,
    /// Consents to added work: who, when, how, what, added amount. One sentence each.
    pub consents: Vec<String>,
    /// Lines that the local rules want, one paragraph each.
    #[serde(default)]
    pub local_lines: Vec<String>,
    /// Remarks, one paragraph each.
    pub notes: Vec<String>,
    /// How to pay; left out of a credit note.
    pub how_to_pay: String,
    /// The shop's warranty on this work.
    pub warranty: String,
    /// Terms of payment.
    pub terms: String,
    /// What must not be done or used, one sentence each.
    pub cautions: Vec<String>,
}

/// One thing that happened on a customer's account.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct StatementLine {
    /// Its day, `YYYY-MM-DD`.
    pub on: String,
    /// What it was, with its number.
    pub what: String,
    /// What it adds, or takes off with a sign in front.
    pub amount: String,
    /// What is owed after it.
    pub balance: String,
}

/// A statement of account.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct StatementDocument {
    /// Who writes it.
    pub shop: ShopBlock,
    /// Whose account it is.
    pub customer: CustomerBlock,
    /// First day, `YYYY-MM-DD`.
    pub from: String,
    /// Last day, `YYYY-MM-DD`. Also the date inside the file.
    pub until: String,
    /// ISO 4217 code of every amount, such as `USD`.
    pub currency: String,
    /// What was owed before the first day.
    pub opening: String,
    /// What happened, in the order of printing.
    pub lines: Vec<StatementLine>,
    /// What is owed at the end of the last day.
    pub closing: String,
    /// Who owes whom, in a sentence.
    pub meaning: String,
    /// The bills that are open when it is printed and when each is due, one sentence each.
    #[serde(default)]
    pub open_bills: Vec<String>,
}

/// One thing that a payment paid.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReceiptLine {
    /// What, such as `Invoice I-000012`.
    pub what: String,
    /// How much of the payment went to it.
    pub amount: String,
}

/// A receipt of a payment.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReceiptDocument {
    /// Who received it.
    pub shop: ShopBlock,
    /// Who paid.
    pub customer: CustomerBlock,
    /// Number of the payment.
    pub number: String,
    /// Day it was received, `YYYY-MM-DD`. Also the date inside the file.
    pub received_on: String,
    /// How it was paid, such as `Check`.
    pub method: String,
    /// What was written on it, such as a check number.
    pub reference: Option<String>,
    /// ISO 4217 code of every amount, such as `USD`.
    pub currency: String,
    /// What was received.
    pub amount: String,
    /// What it paid, in the order of printing.
    pub lines: Vec<ReceiptLine>,
    /// Remarks, one paragraph each.
    pub notes: Vec<String>,
}

/// A label with its value.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClaimFact {
    /// What it is, such as `Bought on`.
    pub label: String,
    /// The value; a day as `YYYY-MM-DD`.
    pub value: String,
}

/// A claim on a warranty payer.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClaimDocument {
    /// Who claims.
    pub shop: ShopBlock,
    /// Of whom.
    pub payer: String,
    /// Whose machine it is, and where it stands.
    pub customer: CustomerBlock,
    /// The machine.
    pub appliance: ApplianceBlock,
    /// Number of the claim.
    pub number: String,
    /// Day of the claim, `YYYY-MM-DD`. Also the date inside the file.
    pub dated_on: String,
    /// Programme, contract, call and days, in the order of printing.
    pub facts: Vec<ClaimFact>,
    /// ISO 4217 code of every amount, such as `USD`.
    pub currency: String,
    /// What the customer noticed.
    pub complaint: String,
    /// What was found and done.
    pub diagnosis: String,
    /// Codes of the failure in the industry's scheme.
    pub codes: Vec<ClaimFact>,
    /// What the shop answers to a question of the payer.
    pub answer: Option<String>,
    /// The charges, in the order of printing.
    pub lines: Vec<DocumentLine>,
    /// Sum of the lines.
    pub subtotal: String,
    /// What is taken off, with its sign: `-15.00`.
    pub discount: Option<String>,
    /// All tax.
    pub tax: String,
    /// What is claimed.
    pub total: String,
    /// How it was counted where less than the price is claimed, sentence by sentence.
    pub counted: Vec<String>,
    /// What the terms ask for, and whether it is there.
    pub asked: Vec<ClaimFact>,
    /// The papers that go with it.
    pub papers: Vec<ClaimFact>,
}
