//! Invoices, credit notes and payments in the graph.

pub mod chasing;
pub mod covering;
pub mod electronic;
pub mod mutations;
pub mod payments;
pub mod queries;
pub mod receipts;
pub mod receivables;
pub mod receiving;
pub mod statements;

use async_graphql::{Context, Enum, ID, Object, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{
    allocation, customer, invoice, invoice_division, invoice_line, invoice_tax, programme_terms,
    receivable, write_off,
};

use crate::calls::graphql::ServiceCall;
use crate::coverage::graphql::CoverageDecision;
use crate::customers::graphql::Customer;
use crate::estimates::graphql::EstimateRevision;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::local_rules::graphql::MissingElement;
use crate::pricing::graphql::{ChargeKind, PartCondition};
use crate::shop::graphql::Staff;
use crate::warranty::graphql::{WarrantyPayer, WarrantyProgramme};

use super::issuing::local;

pub use chasing::{ChasingMutation, ChasingQuery, WriteOff};
pub use electronic::{EInvoicesMutation, EInvoicing};
pub use mutations::InvoicesMutation;
pub use payments::{Allocation, Payment, PaymentMethod};
pub use queries::InvoicesQuery;
pub use receipts::ReceiptsMutation;
pub use receivables::ReceivablesQuery;
pub use receiving::{PaymentReversal, ReceivingMutation, ReceivingQuery, Refund};
pub use statements::{AccountStatementsMutation, AccountStatementsQuery};

/// An invoice, or the credit note that takes one back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::ReceivableKind")]
pub enum InvoiceKind {
    /// Asks for money.
    Invoice,
    /// Takes an invoice back; its amounts are below zero.
    CreditNote,
}

/// Whether the caller sees what customers owe: owner and office do.
fn may_read(ctx: &Context<'_>) -> async_graphql::Result<bool> {
    Ok(act(ctx)?.is_desk())
}

/// An issued invoice or credit note. It never changes.
pub struct Invoice {
    pub row: invoice::Model,
}

impl From<invoice::Model> for Invoice {
    fn from(row: invoice::Model) -> Self {
        Self { row }
    }
}

impl Invoice {
    /// The document behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<invoice::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The documents of a call, oldest first.
    pub async fn of_call(ctx: &Context<'_>, call_id: i64) -> async_graphql::Result<Vec<Self>> {
        let column = invoice::Column::CallId;
        let rows = loaders::children::<invoice::Entity>(ctx, column, call_id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }

    /// The sale it bills a share of.
    async fn division(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<invoice_division::Model>> {
        match self.row.division_id {
            Some(id) => loaders::row::<invoice_division::Entity>(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The document with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if may_read(ctx)? {
            Self::of(ctx, id).await
        } else {
            Ok(None)
        }
    }
}

/// An issued invoice or credit note. It never changes.
#[Object]
impl Invoice {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Invoice.id(self.row.id)
    }

    /// Where its PDF lies, for a request with the same token.
    async fn pdf_path(&self) -> String {
        let id = Kind::Invoice.id(self.row.id);
        format!("/documents/{}.pdf", id.as_str())
    }

    /// Where its file for machines lies, UBL 2.1 by EN 16931, for a request with the same token; null for a household,
    /// which has none.
    async fn e_invoice_path(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        let payer = loaders::row::<customer::Entity>(ctx, self.row.customer_id).await?;
        let payer = payer.filter(super::electronic::is_for);
        Ok(payer.map(|_| {
            let id = Kind::Invoice.id(self.row.id);
            format!("/documents/{}/e-invoice.xml", id.as_str())
        }))
    }

    /// Invoice or credit note.
    async fn kind(&self) -> InvoiceKind {
        self.row.kind.into()
    }

    /// Its number, without gaps in its series.
    async fn number(&self) -> &str {
        &self.row.number
    }

    /// Who owes it.
    async fn customer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Customer>> {
        Customer::of(ctx, self.row.customer_id).await
    }

    /// The invoices that bill the other shares of its call, where several payers share it; none for any other.
    async fn shared_with(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Invoice>> {
        let Some(division) = self.row.division_id else {
            return Ok(Vec::new());
        };
        let column = invoice::Column::DivisionId;
        let rows = loaders::children::<invoice::Entity>(ctx, column, division).await?;
        let others = rows.into_iter().filter(|row| row.id != self.row.id);
        Ok(others
            .filter(|row| row.credits_invoice_id.is_none())
            .map(Self::from)
            .collect())
    }

    /// What one invoice for the whole of its call would have come to; null where no other payer shares it.
    async fn whole_total(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Money>> {
        let row = self.division(ctx).await?;
        Ok(row.map(|row| Money::cents(row.total_cents)))
    }

    /// What the shop bears itself of the whole of its call, with tax; null where no decision said who pays.
    async fn shop_bears(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Money>> {
        let row = self.division(ctx).await?;
        let by_decision = row.filter(|row| row.coverage_decision_id.is_some());
        Ok(by_decision.map(|row| Money::cents(row.shop_cents)))
    }

    /// The decision that said who pays what of its call; null where nobody decided.
    async fn coverage_decision(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<CoverageDecision>> {
        let row = self.division(ctx).await?;
        match row.and_then(|row| row.coverage_decision_id) {
            Some(id) => CoverageDecision::find(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The warranty payer who owes it; null where a customer does.
    async fn warranty_payer(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<WarrantyPayer>> {
        match self.row.warranty_payer_id {
            Some(id) => WarrantyPayer::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The programme by which that payer is billed.
    async fn programme(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<WarrantyProgramme>> {
        let Some(id) = self.row.programme_terms_id else {
            return Ok(None);
        };
        match loaders::row::<programme_terms::Entity>(ctx, id).await? {
            Some(terms) => WarrantyProgramme::of(ctx, terms.programme_id).await,
            None => Ok(None),
        }
    }

    /// The invoice, taken back in whole, whose share this one bills to somebody else.
    async fn rebills(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        match self.row.rebills_invoice_id {
            Some(id) => Self::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The invoice that bills the share of this one to somebody else.
    async fn rebilled_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        let column = invoice::Column::RebillsInvoiceId;
        let rows = loaders::children::<invoice::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().next().map(Self::from))
    }

    /// The call it bills.
    async fn call(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<ServiceCall>> {
        match self.row.call_id {
            Some(id) => ServiceCall::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The accepted revision it bills.
    async fn estimate_revision(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<EstimateRevision>> {
        match self.row.estimate_revision_id {
            Some(id) => EstimateRevision::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Day of issue.
    async fn issued_on(&self) -> NaiveDate {
        self.row.issued_on
    }

    /// Day the money is due.
    async fn due_on(&self) -> NaiveDate {
        self.row.due_on
    }

    /// When it was issued.
    async fn issued_at(&self) -> DateTime<Utc> {
        self.row.issued_at
    }

    /// Who issued it.
    async fn issued_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.issued_by).await
    }

    /// Why it was credited, or what a charge about another invoice is for; null for other invoices.
    async fn reason(&self) -> Option<&str> {
        self.row.reason.as_deref()
    }

    /// Sum of the lines before discount and tax.
    async fn net(&self) -> Money {
        Money::cents(self.row.net_cents)
    }

    /// What is taken off.
    async fn discount(&self) -> Money {
        Money::cents(self.row.discount_cents)
    }

    /// Sales tax.
    async fn tax(&self) -> Money {
        Money::cents(self.row.tax_cents)
    }

    /// Net less discount plus tax.
    async fn total(&self) -> Money {
        Money::cents(self.row.total_cents)
    }

    /// What is still owed on an invoice; null for a credit note.
    async fn open(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Money>> {
        let row = loaders::row::<receivable::Entity>(ctx, self.row.id).await?;
        Ok(row.map(|row| Money::cents(row.open_cents)))
    }

    /// Its lines, in order.
    async fn lines(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<InvoiceLine>> {
        let rows = loaders::children::<invoice_line::Entity>(
            ctx,
            invoice_line::Column::InvoiceId,
            self.row.id,
        )
        .await?;
        Ok(rows.into_iter().map(InvoiceLine::from).collect())
    }

    /// Its sales tax by level.
    async fn taxes(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<InvoiceTax>> {
        let rows = loaders::children::<invoice_tax::Entity>(
            ctx,
            invoice_tax::Column::InvoiceId,
            self.row.id,
        )
        .await?;
        Ok(rows.into_iter().map(InvoiceTax::from).collect())
    }

    /// What settled it so far, oldest first.
    async fn allocations(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Allocation>> {
        let column = allocation::Column::InvoiceId;
        let rows = loaders::children::<allocation::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(Allocation::from).collect())
    }

    /// Credit note only: the invoice it takes back.
    async fn credits(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        match self.row.credits_invoice_id {
            Some(id) => Self::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Credit notes that give back of it, oldest first.
    async fn credit_notes(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Invoice>> {
        let column = invoice::Column::CreditsInvoiceId;
        let rows = loaders::children::<invoice::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }

    /// Whether credit notes give back all of it; null for a credit note.
    async fn taken_back(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<bool>> {
        let row = loaders::row::<receivable::Entity>(ctx, self.row.id).await?;
        Ok(row.map(|row| row.taken_back))
    }

    /// Since when its customer disputes it; null while nobody does.
    async fn disputed_on(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<NaiveDate>> {
        let row = loaders::row::<receivable::Entity>(ctx, self.row.id).await?;
        Ok(row.and_then(|row| row.disputed_on))
    }

    /// What its customer says is wrong.
    async fn disputed_because(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<String>> {
        let row = loaders::row::<receivable::Entity>(ctx, self.row.id).await?;
        Ok(row.and_then(|row| row.disputed_because))
    }

    /// How many reminders of it were sent; null for a credit note.
    async fn reminders_sent(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<i32>> {
        let row = loaders::row::<receivable::Entity>(ctx, self.row.id).await?;
        Ok(row.map(|row| row.reminders_sent))
    }

    /// The day of the next reminder, unless it is paid before; null where none is to come or it is disputed.
    async fn next_reminder_on(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<NaiveDate>> {
        let row = loaders::row::<receivable::Entity>(ctx, self.row.id).await?;
        let owed = row.filter(|row| row.open_cents > 0 && row.disputed_on.is_none());
        Ok(owed.and_then(|row| row.next_reminder_on))
    }

    /// Its write-offs, those included that were undone, oldest first.
    async fn write_offs(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<WriteOff>> {
        let column = write_off::Column::InvoiceId;
        let rows = loaders::children::<write_off::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().map(WriteOff::from).collect())
    }

    /// For a charge about lateness or a returned payment: the invoice it is about.
    async fn charge_for(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        match self.row.charge_for_invoice_id {
            Some(id) => Self::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// For what a warranty payer left unpaid and the call's customer owes: the payer's invoice. It is no sale.
    async fn moved_from(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        match self.row.moved_from_invoice_id {
            Some(id) => Self::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// The first credit note that gives back of it, if there is one.
    async fn credited_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Invoice>> {
        let column = invoice::Column::CreditsInvoiceId;
        let rows = loaders::children::<invoice::Entity>(ctx, column, self.row.id).await?;
        Ok(rows.into_iter().next().map(Self::from))
    }

    /// What the local rules of where the machine stands ask for and it does not hold; no legal advice.
    #[graphql(complexity = "20 + child_complexity")]
    async fn missing(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<MissingElement>> {
        let missing = local::missing_of(reader(ctx)?, &self.row).await;
        let missing = missing.map_err(edge)?;
        Ok(missing.into_iter().map(MissingElement::from).collect())
    }

    /// SHA-256 of what was issued.
    async fn content_hash(&self) -> &str {
        &self.row.content_hash
    }
}

/// One charge of an invoice.
#[derive(SimpleObject)]
pub struct InvoiceLine {
    /// Its place, from 1; a credit note in part names lines by it.
    position: i32,
    /// What it charges for.
    kind: ChargeKind,
    /// Description as printed.
    description: String,
    /// How many; below zero on a credit note.
    quantity: ExactDecimal,
    /// Price of one.
    unit_price: Money,
    /// Price before discount and tax.
    net: Money,
    /// Its share of discounts, the one on it alone included.
    discount: Money,
    /// The discount granted on it alone, as the customer sees it.
    own_discount: Money,
    /// For a part: whether it is new, used or rebuilt; null where nobody said.
    part_condition: Option<PartCondition>,
    /// How much of it is taxed.
    taxable: Money,
    /// Its share of the tax.
    tax: Money,
    /// Why it is or is not taxed.
    tax_reason: String,
    /// What the shop paid for it.
    cost: Money,
}

impl From<invoice_line::Model> for InvoiceLine {
    fn from(row: invoice_line::Model) -> Self {
        Self {
            position: row.position,
            kind: row.kind.into(),
            description: row.description,
            quantity: row.quantity.into(),
            unit_price: Money::cents(row.unit_price_cents),
            net: Money::cents(row.net_cents),
            discount: Money::cents(row.discount_cents),
            own_discount: Money::cents(row.own_discount_cents),
            part_condition: row.part_condition.map(Into::into),
            taxable: Money::cents(row.taxable_cents),
            tax: Money::cents(row.tax_cents),
            tax_reason: row.tax_reason,
            cost: Money::cents(row.cost_cents),
        }
    }
}

/// Sales tax of one level on an invoice.
#[derive(SimpleObject)]
pub struct InvoiceTax {
    /// The level.
    tax_level_id: ID,
    /// Its name as printed.
    name: String,
    /// Its rate in percent.
    rate_percent: ExactDecimal,
    /// What it is charged on.
    taxable: Money,
    /// The tax.
    tax: Money,
}

impl From<invoice_tax::Model> for InvoiceTax {
    fn from(row: invoice_tax::Model) -> Self {
        Self {
            tax_level_id: Kind::TaxLevel.id(row.tax_level_id),
            name: row.name,
            rate_percent: row.rate_percent.into(),
            taxable: Money::cents(row.taxable_cents),
            tax: Money::cents(row.tax_cents),
        }
    }
}
