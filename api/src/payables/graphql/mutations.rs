//! Recording bills and credits, and paying.

use async_graphql::{Context, ID, InputObject, Object};
use chrono::NaiveDate;

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::invoices::graphql::PaymentMethod;
use crate::payload;

use super::super::{
    ApplySupplierCredit, BillLine, BillPart, CreditLine, PaySupplier, RecordSupplierBill,
    RecordSupplierCredit, UndoSupplierPayment, apply_supplier_credit, pay_supplier,
    record_supplier_bill, record_supplier_credit, undo_applied_supplier_credit, undo_supplier_bill,
    undo_supplier_payment,
};
use super::undoing::{
    UndoAppliedSupplierCreditInput, UndoAppliedSupplierCreditPayload, UndoSupplierBillInput,
    UndoSupplierBillPayload,
};
use super::{SupplierBill, SupplierPayment};

/// One line of a bill. Parts: `partId`, `quantity`, `unitCost`. An expense: `account` and `amount`. Freight or tax that
/// belongs to what the parts cost: `amount` alone; it is spread over them by largest remainder. The share of parts that came
/// in before the bill is cost of sales.
#[derive(InputObject)]
pub struct SupplierBillLineInput {
    /// In words.
    description: Option<String>,
    /// The part.
    part_id: Option<ID>,
    /// How many.
    quantity: Option<ExactDecimal>,
    /// What one costs.
    unit_cost: Option<Money>,
    /// Where they are put; the main shelf when left out.
    place_id: Option<ID>,
    /// The order they were sent for.
    order_id: Option<ID>,
    /// The move by which they came in before the bill, all of them or some; another cost than was said then goes to cost
    /// of sales.
    receipt_id: Option<ID>,
    /// Code of the account of an expense, or of what the shop keeps, such as tools; `billAccounts` lists them.
    account: Option<String>,
    /// How much, for an expense or charge.
    amount: Option<Money>,
}

impl SupplierBillLineInput {
    fn command((at, line): (usize, Self)) -> Result<BillLine> {
        let path = |field: &str| format!("lines.{at}.{field}");
        let row =
            |kind: Kind, field: &str, id: &Option<ID>| kind.row_if_any(&path(field), id.as_ref());
        Ok(BillLine {
            part_id: row(Kind::Part, "partId", &line.part_id)?,
            place_id: row(Kind::StockPlace, "placeId", &line.place_id)?,
            order_id: row(Kind::PartOrder, "orderId", &line.order_id)?,
            receipt_id: row(Kind::StockMove, "receiptId", &line.receipt_id)?,
            description: line.description,
            quantity: line.quantity.map(|quantity| quantity.0),
            unit_cost: line.unit_cost.map(|cost| cost.0),
            account: line.account,
            amount: line.amount.map(|amount| amount.0),
        })
    }
}

/// A supplier's bill.
#[derive(InputObject)]
pub struct RecordSupplierBillInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// Whose bill it is.
    supplier_id: ID,
    /// The supplier's own number of it; each is recorded once.
    supplier_number: String,
    /// The day on it; its parts come in on that day.
    billed_on: NaiveDate,
    /// The day it is due; by the supplier's terms, or after 30 days, when left out.
    due_on: Option<NaiveDate>,
    /// What the desk adds.
    note: Option<String>,
    /// Its lines.
    lines: Vec<SupplierBillLineInput>,
}

impl RecordSupplierBillInput {
    fn command(self) -> Result<RecordSupplierBill> {
        let lines = self.lines.into_iter().enumerate();
        Ok(RecordSupplierBill {
            idempotency_key: self.idempotency_key,
            supplier_id: Kind::Supplier.row("supplierId", &self.supplier_id)?,
            supplier_number: self.supplier_number,
            billed_on: self.billed_on,
            due_on: self.due_on,
            note: self.note,
            lines: lines
                .map(SupplierBillLineInput::command)
                .collect::<Result<_>>()?,
        })
    }
}

payload! {
    /// What recording a bill gave.
    RecordSupplierBillPayload {
        /// The bill as recorded.
        bill: SupplierBill
    }
}

/// One line of a credit. Parts that go back: `partId`, `quantity`, `unitCost`. Anything else, such as a core or a price:
/// `account` and `amount`.
#[derive(InputObject)]
pub struct SupplierCreditLineInput {
    /// In words.
    description: Option<String>,
    /// The part that goes back.
    part_id: Option<ID>,
    /// How many.
    quantity: Option<ExactDecimal>,
    /// What is given back for one.
    unit_cost: Option<Money>,
    /// Where they lay; the main shelf when left out.
    place_id: Option<ID>,
    /// Code of the account that it is taken off.
    account: Option<String>,
    /// How much.
    amount: Option<Money>,
}

impl SupplierCreditLineInput {
    fn command((at, line): (usize, Self)) -> Result<CreditLine> {
        let path = |field: &str| format!("lines.{at}.{field}");
        Ok(CreditLine {
            part_id: Kind::Part.row_if_any(&path("partId"), line.part_id.as_ref())?,
            place_id: Kind::StockPlace.row_if_any(&path("placeId"), line.place_id.as_ref())?,
            description: line.description,
            quantity: line.quantity.map(|quantity| quantity.0),
            unit_cost: line.unit_cost.map(|cost| cost.0),
            account: line.account,
            amount: line.amount.map(|amount| amount.0),
        })
    }
}

/// What a supplier gives back.
#[derive(InputObject)]
pub struct RecordSupplierCreditInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// Whose credit it is.
    supplier_id: ID,
    /// The supplier's own number of it; each is recorded once.
    supplier_number: String,
    /// The day on it; its parts leave on that day.
    credited_on: NaiveDate,
    /// The bill that it is about; it is laid against that one by itself.
    bill_id: Option<ID>,
    /// What the desk adds.
    note: Option<String>,
    /// Its lines.
    lines: Vec<SupplierCreditLineInput>,
}

impl RecordSupplierCreditInput {
    fn command(self) -> Result<RecordSupplierCredit> {
        let lines = self.lines.into_iter().enumerate();
        Ok(RecordSupplierCredit {
            idempotency_key: self.idempotency_key,
            supplier_id: Kind::Supplier.row("supplierId", &self.supplier_id)?,
            supplier_number: self.supplier_number,
            credited_on: self.credited_on,
            bill_id: Kind::SupplierBill.row_if_any("billId", self.bill_id.as_ref())?,
            note: self.note,
            lines: lines
                .map(SupplierCreditLineInput::command)
                .collect::<Result<_>>()?,
        })
    }
}

payload! {
    /// What recording a credit gave.
    RecordSupplierCreditPayload {
        /// The credit as recorded.
        credit: SupplierBill
    }
}

/// Credit to lay against a bill.
#[derive(InputObject)]
pub struct ApplySupplierCreditInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The credit.
    credit_id: ID,
    /// The bill, of the same supplier.
    bill_id: ID,
    /// How much of it.
    amount: Money,
}

impl ApplySupplierCreditInput {
    fn command(self) -> Result<ApplySupplierCredit> {
        Ok(ApplySupplierCredit {
            idempotency_key: self.idempotency_key,
            credit_id: Kind::SupplierBill.row("creditId", &self.credit_id)?,
            bill_id: Kind::SupplierBill.row("billId", &self.bill_id)?,
            amount: self.amount.0,
        })
    }
}

payload! {
    /// What laying credit against a bill gave.
    ApplySupplierCreditPayload {
        /// The bill.
        bill: SupplierBill
    }
}

/// What part of a payment settles which bill.
#[derive(InputObject)]
pub struct BillPartInput {
    /// The bill.
    bill_id: ID,
    /// How much of it.
    amount: Money,
}

/// Money paid to a supplier.
#[derive(InputObject)]
pub struct PaySupplierInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// To whom.
    supplier_id: ID,
    /// How.
    method: PaymentMethod,
    /// Such as the number of the check.
    reference: Option<String>,
    /// The day it was paid.
    paid_on: NaiveDate,
    /// How much; not more than is open.
    amount: Money,
    /// Code of the bank account it was paid from; `bankAccounts` lists them. Money of the till is on none of them: bank it
    /// first (`bankReceipts`), or let the owner post what was paid out of it.
    paid_from: String,
    /// What it settles, adding up to the amount; the bills due first when left out.
    allocations: Option<Vec<BillPartInput>>,
}

impl PaySupplierInput {
    fn command(self) -> Result<PaySupplier> {
        let part = |(at, part): (usize, BillPartInput)| {
            Ok(BillPart {
                bill_id: Kind::SupplierBill
                    .row(&format!("allocations.{at}.billId"), &part.bill_id)?,
                amount: part.amount.0,
            })
        };
        let parts = self
            .allocations
            .map(|parts| {
                parts
                    .into_iter()
                    .enumerate()
                    .map(part)
                    .collect::<Result<_>>()
            })
            .transpose()?;
        Ok(PaySupplier {
            idempotency_key: self.idempotency_key,
            supplier_id: Kind::Supplier.row("supplierId", &self.supplier_id)?,
            method: self.method.into(),
            reference: self.reference,
            paid_on: self.paid_on,
            amount: self.amount.0,
            paid_from: self.paid_from,
            parts,
        })
    }
}

payload! {
    /// What paying a supplier gave.
    PaySupplierPayload {
        /// The payment as recorded.
        payment: SupplierPayment
    }
}

/// A payment to undo.
#[derive(InputObject)]
pub struct UndoSupplierPaymentInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The payment.
    payment_id: ID,
    /// Why, such as a voided check.
    reason: String,
    /// The day from which it counts no more.
    undone_on: NaiveDate,
}

impl UndoSupplierPaymentInput {
    fn command(self) -> Result<UndoSupplierPayment> {
        Ok(UndoSupplierPayment {
            idempotency_key: self.idempotency_key,
            payment_id: Kind::SupplierPayment.row("paymentId", &self.payment_id)?,
            reason: self.reason,
            undone_on: self.undone_on,
        })
    }
}

payload! {
    /// What undoing a payment gave.
    UndoSupplierPaymentPayload {
        /// The payment as it is now.
        payment: SupplierPayment
    }
}

/// Suppliers' bills, credits and payments.
#[derive(Default)]
pub struct PayablesMutation;

#[Object]
impl PayablesMutation {
    /// Records a supplier's bill: its parts come into stock, what it asks is payable.
    async fn record_supplier_bill(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The bill.")] input: RecordSupplierBillInput,
    ) -> async_graphql::Result<RecordSupplierBillPayload> {
        let act = act(ctx)?;
        let outcome = async { record_supplier_bill(act, input.command()?).await }.await;
        RecordSupplierBillPayload::of(outcome.map(SupplierBill::from))
    }

    /// Records what a supplier gives back: parts leave at what they cost in stock, the difference is cost of sales.
    async fn record_supplier_credit(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The credit.")] input: RecordSupplierCreditInput,
    ) -> async_graphql::Result<RecordSupplierCreditPayload> {
        let act = act(ctx)?;
        let outcome = async { record_supplier_credit(act, input.command()?).await }.await;
        RecordSupplierCreditPayload::of(outcome.map(SupplierBill::from))
    }

    /// Lays a supplier's credit against a bill, as of today.
    async fn apply_supplier_credit(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Credit, bill and amount.")] input: ApplySupplierCreditInput,
    ) -> async_graphql::Result<ApplySupplierCreditPayload> {
        let act = act(ctx)?;
        let outcome = async { apply_supplier_credit(act, input.command()?).await }.await;
        ApplySupplierCreditPayload::of(outcome.map(SupplierBill::from))
    }

    /// Takes back all that was laid of a credit against a bill, as of today: the bill is open again, the credit is left.
    async fn undo_applied_supplier_credit(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Credit, bill and why.")] input: UndoAppliedSupplierCreditInput,
    ) -> async_graphql::Result<UndoAppliedSupplierCreditPayload> {
        let act = act(ctx)?;
        let outcome = async { undo_applied_supplier_credit(act, input.command()?).await }.await;
        UndoAppliedSupplierCreditPayload::of(outcome.map(SupplierBill::from))
    }

    /// Undoes a bill or credit that was recorded by mistake, as of today: its parts go back at what they came in at, and the
    /// supplier's number is free again. What is paid on it or laid of it is undone first. An order that it names waits again,
    /// unless it was closed by hand: it stays closed, and the true bill is recorded without it.
    async fn undo_supplier_bill(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The bill or credit, and why.")] input: UndoSupplierBillInput,
    ) -> async_graphql::Result<UndoSupplierBillPayload> {
        let act = act(ctx)?;
        let outcome = async { undo_supplier_bill(act, input.command()?).await }.await;
        UndoSupplierBillPayload::of(outcome.map(SupplierBill::from))
    }

    /// Pays one or more bills of a supplier from a bank account.
    async fn pay_supplier(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The payment.")] input: PaySupplierInput,
    ) -> async_graphql::Result<PaySupplierPayload> {
        let act = act(ctx)?;
        let outcome = async { pay_supplier(act, input.command()?).await }.await;
        PaySupplierPayload::of(outcome.map(SupplierPayment::from))
    }

    /// Undoes a payment, such as a voided check: what it settled is open again.
    async fn undo_supplier_payment(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The payment and why.")] input: UndoSupplierPaymentInput,
    ) -> async_graphql::Result<UndoSupplierPaymentPayload> {
        let act = act(ctx)?;
        let outcome = async { undo_supplier_payment(act, input.command()?).await }.await;
        UndoSupplierPaymentPayload::of(outcome.map(SupplierPayment::from))
    }
}
