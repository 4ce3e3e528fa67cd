//! Disputes, write-offs, and the shop's terms about money owed.

use async_graphql::{Context, Enum, ID, InputObject, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::{receivable_terms, write_off, write_off_return, write_off_tax};
use rust_decimal::Decimal;

use crate::base::Result;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::shop::graphql::Staff;
use crate::{payload, remittances};

use super::super::chasing::{dispute, late, terms, undoing, writing_off};
use super::super::dated::Dated;
use super::Invoice;

/// Whose loss a write-off is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::WriteOffKind")]
pub enum WriteOffKind {
    /// Of a debt that is no longer expected.
    BadDebt,
    /// Of what a warranty payer left unpaid of a claim and the shop bears.
    ClaimShortfall,
}

/// An open amount that is no longer expected.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct WriteOff {
    /// Its number, without gaps.
    number: String,
    /// Whose loss it is.
    kind: WriteOffKind,
    /// How much.
    amount: Money,
    /// What the shop bears of it; the rest is sales tax that it gets back.
    bad_debt: Money,
    /// Why.
    reason: String,
    /// Day it was written off.
    written_off_on: NaiveDate,
    /// The day on which nothing was left of it: all came in after all, or it was undone.
    reversed_on: Option<NaiveDate>,
    #[graphql(skip)]
    row: write_off::Model,
}

impl From<write_off::Model> for WriteOff {
    fn from(row: write_off::Model) -> Self {
        Self {
            number: row.number.clone(),
            kind: row.kind.into(),
            amount: Money::cents(row.amount_cents),
            bad_debt: Money::cents(row.bad_debt_cents),
            reason: row.reason.clone(),
            written_off_on: row.written_off_on,
            reversed_on: row.reversed_on,
            row,
        }
    }
}

impl WriteOff {
    /// The write-off behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<write_off::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }

    /// The invoice of a write-off the caller may see.
    pub async fn invoice_of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Invoice>> {
        match loaders::row::<write_off::Entity>(ctx, id).await? {
            Some(row) => Invoice::of(ctx, row.invoice_id).await,
            None => Ok(None),
        }
    }
}

#[async_graphql::ComplexObject]
impl WriteOff {
    /// The invoice.
    async fn invoice(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        Invoice::of(ctx, self.row.invoice_id).await
    }

    /// Who wrote it off.
    async fn written_off_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.written_off_by).await
    }

    /// The sales tax that it gives back, by level.
    async fn taxes(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<WriteOffTax>> {
        let column = write_off_tax::Column::WriteOffId;
        let rows = loaders::children::<write_off_tax::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(WriteOffTax::from).collect())
    }

    /// What of it is owed again, as it came.
    async fn returns(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<WriteOffReturn>> {
        let column = write_off_return::Column::WriteOffId;
        let rows = loaders::children::<write_off_return::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(WriteOffReturn::from).collect())
    }
}

/// So much of a write-off that is owed again.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct WriteOffReturn {
    /// How much.
    amount: Money,
    /// What the shop had borne of it; the rest is sales tax that is owed again.
    bad_debt: Money,
    /// Why: what came in, or the reason it was undone for.
    because: String,
    /// From which day on.
    returned_on: NaiveDate,
    #[graphql(skip)]
    recorded_by_id: i64,
}

impl From<write_off_return::Model> for WriteOffReturn {
    fn from(row: write_off_return::Model) -> Self {
        Self {
            amount: Money::cents(row.amount_cents),
            bad_debt: Money::cents(row.bad_debt_cents),
            because: row.because,
            returned_on: row.returned_on,
            recorded_by_id: row.recorded_by,
        }
    }
}

#[async_graphql::ComplexObject]
impl WriteOffReturn {
    /// Who recorded it.
    async fn recorded_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.recorded_by_id).await
    }
}

/// Sales tax of one level that a write-off gives back.
#[derive(SimpleObject)]
pub struct WriteOffTax {
    /// The level.
    tax_level_id: ID,
    /// How much.
    amount: Money,
}

impl From<write_off_tax::Model> for WriteOffTax {
    fn from(row: write_off_tax::Model) -> Self {
        Self {
            tax_level_id: Kind::TaxLevel.id(row.tax_level_id),
            amount: Money::cents(row.amount_cents),
        }
    }
}

/// The shop's terms about money owed.
#[derive(SimpleObject)]
pub struct ReceivableTerms {
    /// Whether a customer's credit is laid against an invoice as it is issued.
    credit_applies_itself: bool,
    /// Whether the place gives back the sales tax in what is written off.
    write_off_tax_relief: bool,
    /// Charged for a returned payment; zero for nothing.
    returned_payment_fee: Money,
    /// Days after the due date without a late charge.
    late_charge_grace_days: i32,
    /// Late charge in percent a month of what is overdue; null for none.
    late_charge_percent: Option<ExactDecimal>,
    /// Fixed late charge a month; zero for none.
    late_charge_amount: Money,
    /// Whether late charges are made by themselves, once a day; else somebody of the shop asks for them.
    late_charges_by_themselves: bool,
    /// Days after the due date until the first reminder; zero for none.
    overdue_first_days: i32,
    /// The same until the second.
    overdue_second_days: i32,
    /// The same until the third.
    overdue_third_days: i32,
}

impl From<receivable_terms::Model> for ReceivableTerms {
    fn from(row: receivable_terms::Model) -> Self {
        Self {
            credit_applies_itself: row.credit_applies_itself,
            write_off_tax_relief: row.write_off_tax_relief,
            returned_payment_fee: Money::cents(row.returned_payment_fee_cents),
            late_charge_grace_days: row.late_charge_grace_days,
            late_charge_percent: row.late_charge_percent.map(Into::into),
            late_charge_amount: Money::cents(row.late_charge_cents),
            late_charges_by_themselves: row.late_charges_set_by.is_some(),
            overdue_first_days: row.overdue_first_days,
            overdue_second_days: row.overdue_second_days,
            overdue_third_days: row.overdue_third_days,
        }
    }
}

/// New terms; what is left out stays.
#[derive(InputObject)]
pub struct ChangeReceivableTermsInput {
    /// Whether a customer's credit is laid against an invoice as it is issued.
    credit_applies_itself: Option<bool>,
    /// Whether the place gives back the sales tax in what is written off.
    write_off_tax_relief: Option<bool>,
    /// Charged for a returned payment; zero for nothing.
    returned_payment_fee: Option<Money>,
    /// Days after the due date without a late charge.
    late_charge_grace_days: Option<i32>,
    /// Late charge in percent a month of what is overdue; zero for none. Local law may limit it.
    late_charge_percent: Option<ExactDecimal>,
    /// Fixed late charge a month; zero for none. Local law may limit it.
    late_charge_amount: Option<Money>,
    /// Whether late charges are made by themselves, once a day, as far as local law allows them. The invoices name who
    /// set this.
    late_charges_by_themselves: Option<bool>,
    /// Days after the due date until the first reminder; zero for none.
    overdue_first_days: Option<i32>,
    /// The same until the second.
    overdue_second_days: Option<i32>,
    /// The same until the third.
    overdue_third_days: Option<i32>,
}

impl From<ChangeReceivableTermsInput> for terms::ChangeReceivableTerms {
    fn from(input: ChangeReceivableTermsInput) -> Self {
        Self {
            credit_applies_itself: input.credit_applies_itself,
            write_off_tax_relief: input.write_off_tax_relief,
            returned_payment_fee: input.returned_payment_fee.map(|fee| fee.0),
            late_charge_grace_days: input.late_charge_grace_days,
            late_charge_percent: input
                .late_charge_percent
                .map(|percent| -> Decimal { percent.0 }),
            late_charge_amount: input.late_charge_amount.map(|amount| amount.0),
            late_charges_by_themselves: input.late_charges_by_themselves,
            overdue_first_days: input.overdue_first_days,
            overdue_second_days: input.overdue_second_days,
            overdue_third_days: input.overdue_third_days,
        }
    }
}

payload! {
    /// What changing the terms gave.
    ChangeReceivableTermsPayload {
        /// The new terms.
        terms: ReceivableTerms
    }
}

/// That a customer disputes an invoice.
#[derive(InputObject)]
pub struct DisputeInvoiceInput {
    /// The invoice.
    invoice_id: ID,
    /// What the customer says is wrong.
    because: String,
}

payload! {
    /// What marking a dispute gave.
    DisputeInvoicePayload {
        /// The invoice.
        invoice: Invoice
    }
}

/// A dispute that is over.
#[derive(InputObject)]
pub struct SettleDisputeInput {
    /// The invoice.
    invoice_id: ID,
}

payload! {
    /// What settling a dispute gave.
    SettleDisputePayload {
        /// The invoice.
        invoice: Invoice
    }
}

/// An invoice whose open amount is no longer expected.
#[derive(InputObject)]
pub struct WriteOffInvoiceInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The invoice.
    invoice_id: ID,
    /// Why.
    reason: String,
    /// The day it counts for, not before the invoice; today when left out.
    written_off_on: Option<NaiveDate>,
}

impl WriteOffInvoiceInput {
    fn command(self) -> Result<Dated<writing_off::WriteOffInvoice>> {
        let order = writing_off::WriteOffInvoice {
            idempotency_key: self.idempotency_key,
            invoice_id: Kind::Invoice.row("invoiceId", &self.invoice_id)?,
            reason: self.reason,
        };
        Ok(Dated {
            order,
            on: self.written_off_on,
        })
    }
}

/// An invoice whose write-off was wrong.
#[derive(InputObject)]
pub struct UndoWriteOffInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The invoice.
    invoice_id: ID,
    /// Why.
    reason: String,
}

impl UndoWriteOffInput {
    fn command(self) -> Result<undoing::UndoWriteOff> {
        Ok(undoing::UndoWriteOff {
            idempotency_key: self.idempotency_key,
            invoice_id: Kind::Invoice.row("invoiceId", &self.invoice_id)?,
            reason: self.reason,
        })
    }
}

payload! {
    /// What undoing a write-off gave.
    UndoWriteOffPayload {
        /// The invoice, which is owed again.
        invoice: Invoice
    }
}

payload! {
    /// What writing off gave.
    WriteOffInvoicePayload {
        /// The invoice, of which nothing is open now.
        invoice: Invoice
    }
}

/// A request to charge what is overdue.
#[derive(InputObject)]
pub struct ChargeLateInvoicesInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// Only this customer's invoices.
    customer_id: Option<ID>,
    /// The day the charges are of, and by which they are due; today when left out.
    charged_on: Option<NaiveDate>,
}

impl ChargeLateInvoicesInput {
    fn command(self) -> Result<Dated<late::ChargeLateInvoices>> {
        let customer = self.customer_id.as_ref();
        let order = late::ChargeLateInvoices {
            idempotency_key: self.idempotency_key,
            customer_id: Kind::Customer.row_if_any("customerId", customer)?,
        };
        Ok(Dated {
            order,
            on: self.charged_on,
        })
    }
}

payload! {
    /// What charging gave.
    ChargeLateInvoicesPayload {
        /// The charges as issued, at most 50.
        invoices: Vec<Invoice>
    }
}

/// The shop's terms about money owed.
#[derive(Default)]
pub struct ChasingQuery;

#[Object]
impl ChasingQuery {
    /// The shop's terms about money owed.
    async fn receivable_terms(&self, ctx: &Context<'_>) -> async_graphql::Result<ReceivableTerms> {
        let row = terms::terms(reader(ctx)?).await.map_err(edge)?;
        Ok(row.into())
    }
}

/// Disputes, write-offs, and the shop's terms about money owed.
#[derive(Default)]
pub struct ChasingMutation;

#[Object]
impl ChasingMutation {
    /// Changes the shop's terms about money owed.
    async fn change_receivable_terms(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The new terms.")] input: ChangeReceivableTermsInput,
    ) -> async_graphql::Result<ChangeReceivableTermsPayload> {
        let outcome = terms::change_receivable_terms(act(ctx)?, input.into()).await;
        ChangeReceivableTermsPayload::of(outcome.map(ReceivableTerms::from))
    }

    /// Marks an invoice as disputed; it stays owed.
    async fn dispute_invoice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The invoice.")] input: DisputeInvoiceInput,
    ) -> async_graphql::Result<DisputeInvoicePayload> {
        let act = act(ctx)?;
        let outcome = async {
            let order = dispute::DisputeInvoice {
                invoice_id: Kind::Invoice.row("invoiceId", &input.invoice_id)?,
                because: input.because,
            };
            dispute::dispute_invoice(act, order).await
        };
        DisputeInvoicePayload::of(outcome.await.map(Invoice::from))
    }

    /// Takes the mark of a dispute off an invoice.
    async fn settle_dispute(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The invoice.")] input: SettleDisputeInput,
    ) -> async_graphql::Result<SettleDisputePayload> {
        let act = act(ctx)?;
        let outcome = async {
            let invoice_id = Kind::Invoice.row("invoiceId", &input.invoice_id)?;
            dispute::settle_dispute(act, invoice_id).await
        };
        SettleDisputePayload::of(outcome.await.map(Invoice::from))
    }

    /// Undoes what stands of an invoice's write-offs, as of today: it is owed again, and so is the tax given back.
    async fn undo_write_off(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The invoice.")] input: UndoWriteOffInput,
    ) -> async_graphql::Result<UndoWriteOffPayload> {
        let act = act(ctx)?;
        let outcome = async { undoing::undo_write_off(act, input.command()?).await }.await;
        UndoWriteOffPayload::of(outcome.map(Invoice::from))
    }

    /// Writes off what is open on an invoice, as of today or the day told; what a claim asks for is borne on the claim
    /// (`bearClaimRest`).
    async fn write_off_invoice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The invoice.")] input: WriteOffInvoiceInput,
    ) -> async_graphql::Result<WriteOffInvoicePayload> {
        let act = act(ctx)?;
        let outcome = async { remittances::write_off_invoice(act, input.command()?).await }.await;
        WriteOffInvoicePayload::of(outcome.map(Invoice::from))
    }

    /// Bills the late charges that are due today or on the day told, at most 50: one for each month begun, never on what is disputed.
    async fn charge_late_invoices(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Whose.")] input: ChargeLateInvoicesInput,
    ) -> async_graphql::Result<ChargeLateInvoicesPayload> {
        let act = act(ctx)?;
        let outcome = async { late::charge_late_invoices(act, input.command()?).await }.await;
        let charged = |rows: Vec<_>| rows.into_iter().map(Invoice::from).collect();
        ChargeLateInvoicesPayload::of(outcome.map(charged))
    }
}
