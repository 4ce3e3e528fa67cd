//! One builder for each money event of the shop: amounts in, a balanced entry out.
//!
//! They are together so that an accountant can read the whole list on one page. What must stay true: amounts of zero are
//! left out, an event without any money gives no entry where that is lawful (a free repair is still invoiced), and a
//! builder never balances by itself: what a document owes must equal its lines and taxes, or it is refused.

mod borne;
mod claims;
mod suppliers;
mod warranty;

pub use borne::{Borne, borne_changed, call_costs};
pub use claims::{Debtor, Owed, ShortfallBearer, claim_borne, claim_short_paid};
pub use suppliers::{PartsBilled, supplier_bill, supplier_paid};
pub use warranty::reserve_moved;

use super::{AccountKind, AccountRef, BooksRefusal, Entry, Posting, Role, Side, sum};
use crate::money::Cents;
use crate::tax::ChargeKind;
use serde::{Deserialize, Serialize};

/// Sales tax of one level on a document. Negative on a line that takes something back.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TaxAmount {
    /// Key of the tax level.
    pub level: String,
    pub amount: Cents,
}

/// Revenue of one kind on a document, before discounts. Negative where something is taken back, such as a diagnostic
/// charge credited to the repair.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RevenueAmount {
    /// A role of kind revenue.
    pub role: Role,
    pub amount: Cents,
}

/// What an invoice or a credit note adds up to. Amounts are those printed, not negative on a credit note.
///
/// Must hold: `customer_owes + payer_owes = revenue - discounts + tax`. What the shop pays itself is no revenue and
/// stays out.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DocumentAmounts {
    /// Owed by the customer, zero or more.
    pub customer_owes: Cents,
    /// Owed by warranty payers, zero or more.
    pub payer_owes: Cents,
    pub revenue: Vec<RevenueAmount>,
    /// Discounts given, zero or more.
    pub discounts: Cents,
    pub tax: Vec<TaxAmount>,
}

impl DocumentAmounts {
    /// Whoever owes it.
    ///
    /// # Errors
    /// `Overflow`.
    pub fn owed(&self) -> Result<Cents, BooksRefusal> {
        sum([self.customer_owes, self.payer_owes])
    }

    /// The same document, all of it owed by one.
    ///
    /// # Errors
    /// `Overflow`.
    pub fn owed_by(self, debtor: Debtor) -> Result<Self, BooksRefusal> {
        let owed = Owed::by(debtor, self.owed()?);
        Ok(Self {
            customer_owes: owed.customer,
            payer_owes: owed.payer,
            ..self
        })
    }
}

/// Invoice issued: receivables and discounts against revenue and sales tax payable. `None` for an invoice of nothing.
///
/// # Errors
/// `NegativeAmount` for what is owed or discounted, `NotRevenue`, and those of [`Entry::balanced`], above all `Unbalanced`.
///
/// # Source
/// Tax is never revenue: *Accounting Principles: A Business Perspective* (Global Text), p. 381; `worked/books-events.json`.
pub fn invoice_issued(document: &DocumentAmounts) -> Result<Option<Entry>, BooksRefusal> {
    not_negative("what the customer owes", document.customer_owes)?;
    not_negative("what the warranty payer owes", document.payer_owes)?;
    not_negative("the discount", document.discounts)?;
    let mut postings = vec![
        Posting::debit(Role::Receivable, document.customer_owes),
        Posting::debit(Role::ClaimsReceivable, document.payer_owes),
        Posting::debit(Role::Discounts, document.discounts),
    ];
    for revenue in &document.revenue {
        if revenue.role.kind() != AccountKind::Revenue {
            return Err(BooksRefusal::NotRevenue { role: revenue.role });
        }
        postings.push(turned(Posting::credit(revenue.role, revenue.amount))?);
    }
    for tax in &document.tax {
        postings.push(turned(Posting::sales_tax(
            Side::Credit,
            tax.level.clone(),
            tax.amount,
        ))?);
    }
    entry_if_any(postings)
}

/// Credit note: the mirror image of the invoice it corrects, in whole or in part. `None` for one of nothing.
///
/// # Errors
/// As [`invoice_issued`].
pub fn credit_note(document: &DocumentAmounts) -> Result<Option<Entry>, BooksRefusal> {
    Ok(invoice_issued(document)?.map(|entry| entry.reversed()))
}

/// Credit note for a whole invoice of which part may be paid already: what is still open is settled, and what was paid
/// becomes the credit of who paid it, so that nobody's receivable falls below zero. `None` for one of nothing.
///
/// # Errors
/// As [`invoice_issued`]; `NegativeAmount` for what is open; `PartExceedsWhole` if more is open than was owed.
pub fn credit_note_settling(
    document: &DocumentAmounts,
    open: Owed,
) -> Result<Option<Entry>, BooksRefusal> {
    let settled = open.settled()?;
    let paid = [
        rest_of("what is open", document.customer_owes, open.customer)?,
        rest_of("what is open", document.payer_owes, open.payer)?,
    ];
    let Some(whole) = credit_note(document)? else {
        return Ok(None);
    };
    let owed: [AccountRef; 2] = [Role::Receivable.into(), Role::ClaimsReceivable.into()];
    let rest = whole.into_postings().into_iter();
    let mut postings = settled.to_vec();
    postings.push(Posting::credit(Role::CustomerDeposits, sum(paid)?));
    postings.extend(rest.filter(|posting| !owed.contains(&posting.account)));
    entry(postings).map(Some)
}

/// The revenue account of a kind of charge.
#[must_use]
pub fn revenue_of(kind: ChargeKind) -> Role {
    match kind {
        ChargeKind::Part => Role::PartsRevenue,
        ChargeKind::Labour => Role::LabourRevenue,
        ChargeKind::Trip => Role::TripRevenue,
        ChargeKind::Diagnostic => Role::DiagnosticRevenue,
        ChargeKind::Freight => Role::FreightRevenue,
        ChargeKind::Fee => Role::OtherRevenue,
    }
}

/// A payment received: the parts laid against documents and the excess, which becomes its payer's credit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Payment {
    pub settles: Owed,
    pub excess: Cents,
}

/// Payment or claim paid: receipts against the receivables it settles, the excess to customer deposits.
///
/// # Errors
/// `NegativeAmount`; `TooFewPostings` for a payment of nothing; `Overflow`.
pub fn payment(payment: Payment) -> Result<Entry, BooksRefusal> {
    let [receivable, claims] = payment.settles.settled()?;
    not_negative("the excess", payment.excess)?;
    entry(vec![
        Posting::debit(
            Role::UndepositedReceipts,
            sum([payment.settles.sum()?, payment.excess])?,
        ),
        receivable,
        claims,
        Posting::credit(Role::CustomerDeposits, payment.excess),
    ])
}

/// Deposit taken before the work: receipts against customer deposits.
///
/// # Errors
/// `NegativeAmount`, `TooFewPostings` for nothing.
pub fn deposit_taken(amount: Cents) -> Result<Entry, BooksRefusal> {
    pair(Role::UndepositedReceipts, Role::CustomerDeposits, amount)
}

/// Deposit or credit laid against invoices: customer deposits against the receivables.
///
/// # Errors
/// `NegativeAmount`, `TooFewPostings` for nothing, `Overflow`.
pub fn deposit_applied(settles: Owed) -> Result<Entry, BooksRefusal> {
    let [receivable, claims] = settles.settled()?;
    let deposits = Posting::debit(Role::CustomerDeposits, settles.sum()?);
    entry(vec![deposits, receivable, claims])
}

/// What was refunded out of a payment that then came back: its customer owes it again, and the credit it was paid out of
/// was never there.
///
/// # Errors
/// `NegativeAmount`, `TooFewPostings` for nothing.
pub fn refund_claimed(amount: Cents) -> Result<Entry, BooksRefusal> {
    pair(Role::Receivable, Role::CustomerDeposits, amount)
}

/// Receipts brought to this account at a bank, of which a card company may keep a fee.
///
/// # Errors
/// `NegativeAmount`; `PartExceedsWhole` if the fee is more than the receipts; `TooFewPostings` for nothing.
pub fn banked(
    bank: impl Into<AccountRef>,
    receipts: Cents,
    card_fee: Cents,
) -> Result<Entry, BooksRefusal> {
    not_negative("the receipts", receipts)?;
    not_negative("the card fee", card_fee)?;
    let arrived = rest_of("the card fee", receipts, card_fee)?;
    entry(vec![
        Posting::debit(bank, arrived),
        Posting::debit(Role::CardFees, card_fee),
        Posting::credit(Role::UndepositedReceipts, receipts),
    ])
}

/// A banked payment that the bank took back, such as a check that bounced, and what it kept for it: the receipts are as
/// before they were banked, and the payment can be undone. Two postings on the bank's account, as its statement has two
/// lines.
///
/// # Errors
/// `NegativeAmount`, `TooFewPostings` for nothing, `Overflow`.
pub fn taken_back_by_bank(
    bank: impl Into<AccountRef>,
    amount: Cents,
    bank_fee: Cents,
) -> Result<Entry, BooksRefusal> {
    not_negative("the amount", amount)?;
    not_negative("the bank's fee", bank_fee)?;
    let bank = bank.into();
    entry(vec![
        Posting::debit(Role::UndepositedReceipts, amount),
        Posting::debit(Role::OtherExpense, bank_fee),
        Posting::credit(bank.clone(), amount),
        Posting::credit(bank, bank_fee),
    ])
}

/// Where the money that is refunded stood.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RefundFrom {
    Deposits,
    /// A receivable that a credit note turned into the customer's favour.
    Receivable,
}

/// Refund paid from this account at a bank.
///
/// # Errors
/// `NegativeAmount`, `TooFewPostings` for nothing.
pub fn refund(
    from: RefundFrom,
    bank: impl Into<AccountRef>,
    amount: Cents,
) -> Result<Entry, BooksRefusal> {
    let role = match from {
        RefundFrom::Deposits => Role::CustomerDeposits,
        RefundFrom::Receivable => Role::Receivable,
    };
    not_negative("the amount", amount)?;
    entry(vec![
        Posting::debit(role, amount),
        Posting::credit(bank, amount),
    ])
}

/// Write-off of a receivable. The tax part goes back to sales tax payable only where the law gives relief; otherwise the
/// whole is bad debt and `tax_relief` is empty.
///
/// # Errors
/// `NegativeAmount`, `TooFewPostings` for nothing, `Overflow`, `TaxWithoutLevel`.
pub fn write_off(
    owed_by: Debtor,
    bad_debt: Cents,
    tax_relief: &[TaxAmount],
) -> Result<Entry, BooksRefusal> {
    not_negative("the bad debt", bad_debt)?;
    let loss = Posting::debit(Role::BadDebts, bad_debt);
    claims::lost(loss, owed_by, tax_relief)
}

/// Who pays for a part that was used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PartPayer {
    Customer,
    WarrantyPayer,
    /// The shop, under its own warranty or as goodwill.
    Shop,
}

impl PartPayer {
    /// Where the cost of the part goes.
    #[must_use]
    pub fn expense(self) -> Role {
        match self {
            Self::Customer | Self::WarrantyPayer => Role::PartsCostOfSales,
            Self::Shop => Role::CallbackCost,
        }
    }
}

/// Part used from stock at its cost: cost of sales, or callback cost when the shop pays. `None` for a part without cost.
/// A part that comes back unused is [`Entry::reversed`] at the cost it left at.
///
/// # Errors
/// `NegativeAmount`.
pub fn part_used(paid_by: PartPayer, cost: Cents) -> Result<Option<Entry>, BooksRefusal> {
    not_negative("the part's cost", cost)?;
    entry_if_any(vec![
        Posting::debit(paid_by.expense(), cost),
        Posting::credit(Role::PartsStock, cost),
    ])
}

/// Parts stock grew in value, or shrank where the amount is below zero, against another account. `None` for nothing.
///
/// # Errors
/// `Overflow`.
pub fn stock_changed(
    by: Cents,
    against: impl Into<AccountRef>,
) -> Result<Option<Entry>, BooksRefusal> {
    entry_if_any(vec![
        turned(Posting::debit(Role::PartsStock, by))?,
        turned(Posting::credit(against, by))?,
    ])
}

/// Warranty accrual: expected cost of the shop's own warranty, set aside.
///
/// # Errors
/// `NegativeAmount`, `TooFewPostings` for nothing.
///
/// # Source
/// FASB ASC 460-10-50-8(c).
pub fn warranty_accrued(amount: Cents) -> Result<Entry, BooksRefusal> {
    pair(Role::WarrantyExpense, Role::WarrantyReserve, amount)
}

/// Warranty used: a callback's parts and labour taken from the reserve; no new expense.
///
/// # Errors
/// `NegativeAmount`, `TooFewPostings` for nothing, `Overflow`.
///
/// # Source
/// FASB ASC 460-10-50-8(c).
pub fn warranty_used(parts: Cents, labour: Cents) -> Result<Entry, BooksRefusal> {
    not_negative("the parts", parts)?;
    not_negative("the labour", labour)?;
    entry(vec![
        Posting::debit(Role::WarrantyReserve, sum([parts, labour])?),
        Posting::credit(Role::PartsStock, parts),
        Posting::credit(Role::LabourApplied, labour),
    ])
}

/// Sales tax paid over by level, less what the law lets the shop keep for filing on time.
///
/// # Errors
/// `NegativeAmount`; `PartExceedsWhole` if more is kept than is due; `TooFewPostings` for nothing; `TaxWithoutLevel`.
pub fn tax_remitted(due: &[TaxAmount], timely_discount: Cents) -> Result<Entry, BooksRefusal> {
    not_negative("the discount for filing on time", timely_discount)?;
    let mut postings = debits_of_tax(due)?;
    let whole = sum(postings.iter().map(|p| p.amount))?;
    postings.push(Posting::credit(
        Role::Bank,
        rest_of("the discount for filing on time", whole, timely_discount)?,
    ));
    postings.push(Posting::credit(Role::TimelyFilingDiscount, timely_discount));
    entry(postings)
}

fn debits_of_tax(taxes: &[TaxAmount]) -> Result<Vec<Posting>, BooksRefusal> {
    taxes
        .iter()
        .map(|tax| {
            not_negative("the sales tax", tax.amount)?;
            Ok(Posting::sales_tax(
                Side::Debit,
                tax.level.clone(),
                tax.amount,
            ))
        })
        .collect()
}

fn pair(debit: Role, credit: Role, amount: Cents) -> Result<Entry, BooksRefusal> {
    not_negative("the amount", amount)?;
    entry(vec![
        Posting::debit(debit, amount),
        Posting::credit(credit, amount),
    ])
}

fn entry(postings: Vec<Posting>) -> Result<Entry, BooksRefusal> {
    Entry::balanced(
        postings
            .into_iter()
            .filter(|p| p.amount != Cents(0))
            .collect(),
    )
}

fn entry_if_any(postings: Vec<Posting>) -> Result<Option<Entry>, BooksRefusal> {
    if postings.iter().all(|p| p.amount == Cents(0)) {
        Ok(None)
    } else {
        entry(postings).map(Some)
    }
}

/// A negative amount moves to the other side with its sign turned.
fn turned(posting: Posting) -> Result<Posting, BooksRefusal> {
    if posting.amount >= Cents(0) {
        return Ok(posting);
    }
    let amount = posting
        .amount
        .0
        .checked_neg()
        .map(Cents)
        .ok_or(BooksRefusal::Overflow)?;
    Ok(Posting {
        side: posting.side.opposite(),
        amount,
        ..posting
    })
}

fn not_negative(what: &'static str, amount: Cents) -> Result<(), BooksRefusal> {
    if amount < Cents(0) {
        Err(BooksRefusal::NegativeAmount { what, amount })
    } else {
        Ok(())
    }
}

fn rest_of(what: &'static str, whole: Cents, part: Cents) -> Result<Cents, BooksRefusal> {
    match whole.0.checked_sub(part.0) {
        Some(rest) if rest >= 0 => Ok(Cents(rest)),
        _ => Err(BooksRefusal::PartExceedsWhole { what, part, whole }),
    }
}
