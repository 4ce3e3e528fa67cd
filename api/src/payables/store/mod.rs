//! Rows of bills, payments and what settles what.

mod reports;

pub use reports::{
    OpenBill, balance_before, balance_through, by_hand_on, moves_between, named, open_now, open_on,
};

use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::SupplierBillKind;
use nameplate_entities::{
    journal_entry, payable, payable_allocation, stock_move, supplier_bill, supplier_bill_line,
    supplier_bill_undoing, supplier_payment, unbilled_receipt,
};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::sea_query::{Expr, ExprTrait, Query, SelectStatement, SimpleExpr};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
    QueryOrder,
};

use crate::base::audit::Subject;
use crate::base::{Error, ProblemCode, Result};

/// The bill or credit, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_bill(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<supplier_bill::Model> {
    supplier_bill::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "supplier's bill"))
}

/// The same, if it is a credit.
///
/// # Errors
/// `NotFound`.
pub async fn get_credit(
    db: &impl ConnectionTrait,
    (path, id): (&str, i64),
) -> Result<supplier_bill::Model> {
    let row = get_bill(db, path, id).await?;
    if row.kind != SupplierBillKind::Credit {
        return Err(Error::not_found(path, "supplier's credit"));
    }
    Ok(row)
}

/// The same, if it is a bill of this supplier.
///
/// # Errors
/// `NotFound`.
pub async fn get_bill_of(
    db: &impl ConnectionTrait,
    (path, id): (&str, i64),
    supplier_id: i64,
) -> Result<supplier_bill::Model> {
    let row = get_bill(db, path, id).await?;
    if row.supplier_id != supplier_id || row.kind != SupplierBillKind::Bill {
        return Err(Error::not_found(path, "bill of this supplier"));
    }
    Ok(row)
}

fn undone_bills() -> SelectStatement {
    Query::select()
        .column(supplier_bill_undoing::Column::BillId)
        .from(supplier_bill_undoing::Entity)
        .to_owned()
}

/// Refuses a number of this supplier that is on record, on a bill that stands.
///
/// # Errors
/// `Taken`.
pub async fn is_new_number(
    db: &impl ConnectionTrait,
    (supplier_id, kind): (i64, SupplierBillKind),
    number: &str,
) -> Result<()> {
    let twin = supplier_bill::Entity::find()
        .filter(supplier_bill::Column::SupplierId.eq(supplier_id))
        .filter(supplier_bill::Column::Kind.eq(kind))
        .filter(supplier_bill::Column::SupplierNumberKey.eq(number.to_lowercase()))
        .filter(supplier_bill::Column::Id.not_in_subquery(undone_bills()))
        .one(db)
        .await?;
    match twin {
        None => Ok(()),
        Some(twin) => Err(Error::refused(
            ProblemCode::Taken,
            "supplierNumber",
            format!("This supplier's {number} is on record as {}.", twin.number),
        )),
    }
}

/// A receipt without a bill, and the move by which the parts came in.
pub async fn receipt(
    db: &impl ConnectionTrait,
    move_id: i64,
) -> Result<Option<(unbilled_receipt::Model, stock_move::Model)>> {
    let row = unbilled_receipt::Entity::find_by_id(move_id)
        .one(db)
        .await?;
    let moved = stock_move::Entity::find_by_id(move_id).one(db).await?;
    Ok(row.zip(moved))
}

/// So many pieces of a receipt are billed now, and so much of its cost; both below zero for a bill that is undone.
///
/// # Errors
/// Internal only.
pub async fn bill_some(
    tx: &impl ConnectionTrait,
    receipt: &unbilled_receipt::Model,
    (quantity, cost): (Decimal, Cents),
) -> Result<()> {
    let left = receipt.open_quantity.0.checked_sub(quantity);
    let cost = Cents(receipt.open_cents).checked_sub(cost);
    let (Some(left), Some(cost)) = (left, cost) else {
        return Err(Error::internal("a receipt is too large"));
    };
    let row = unbilled_receipt::ActiveModel {
        move_id: Set(receipt.move_id),
        is_open: Set(left > Decimal::ZERO),
        open_quantity: Set(Exact(left.normalize())),
        open_cents: Set(cost.0),
        ..Default::default()
    };
    row.update(tx).await?;
    Ok(())
}

/// What is open on a bill, or left of a credit.
pub async fn payable_of(db: &impl ConnectionTrait, bill_id: i64) -> Result<payable::Model> {
    payable::Entity::find_by_id(bill_id)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a supplier's bill without what is open on it"))
}

/// Bills of a supplier of this day or before that are open, the first due first.
pub async fn open_of(
    db: &impl ConnectionTrait,
    (supplier_id, on): (i64, NaiveDate),
) -> Result<Vec<payable::Model>> {
    let there = Query::select()
        .column(supplier_bill::Column::Id)
        .from(supplier_bill::Entity)
        .and_where(supplier_bill::Column::SupplierId.eq(supplier_id))
        .and_where(supplier_bill::Column::BilledOn.lte(on))
        .to_owned();
    Ok(payable::Entity::find()
        .filter(payable::Column::SupplierId.eq(supplier_id))
        .filter(payable::Column::OpenCents.gt(0))
        .filter(payable::Column::Kind.eq(SupplierBillKind::Bill))
        .filter(payable::Column::BillId.in_subquery(there))
        .order_by_asc(payable::Column::DueOn)
        .order_by_asc(payable::Column::BillId)
        .all(db)
        .await?)
}

/// Less is open on a bill, or left of a credit.
///
/// # Errors
/// Internal only.
pub async fn take_off(tx: &impl ConnectionTrait, bill_id: i64, amount: Cents) -> Result<()> {
    let less: SimpleExpr = Expr::col(payable::Column::OpenCents).sub(amount.0);
    payable::Entity::update_many()
        .col_expr(payable::Column::OpenCents, less)
        .filter(payable::Column::BillId.eq(bill_id))
        .exec(tx)
        .await?;
    Ok(())
}

/// What settles a bill.
#[derive(Clone, Copy, Debug)]
pub enum Source {
    Payment(i64),
    Credit(i64),
}

/// So much of a payment or credit against a bill.
pub struct Laid {
    pub source: Source,
    pub bill_id: i64,
    pub amount: Cents,
    pub on: NaiveDate,
}

impl Laid {
    /// Writes it, and takes it off what is open on the bill.
    ///
    /// # Errors
    /// Internal only.
    pub async fn write(&self, tx: &impl ConnectionTrait, at: DateTime<Utc>) -> Result<()> {
        let (payment_id, credit_id) = match self.source {
            Source::Payment(id) => (Some(id), None),
            Source::Credit(id) => (None, Some(id)),
        };
        let row = payable_allocation::ActiveModel {
            bill_id: Set(self.bill_id),
            payment_id: Set(payment_id),
            credit_id: Set(credit_id),
            amount_cents: Set(self.amount.0),
            applied_on: Set(self.on),
            allocated_at: Set(at),
            undoes_allocation_id: Set(None),
            ..Default::default()
        };
        row.insert(tx).await?;
        take_off(tx, self.bill_id, self.amount).await
    }
}

/// What a payment settled.
pub async fn laid_with(
    db: &impl ConnectionTrait,
    payment_id: i64,
) -> Result<Vec<payable_allocation::Model>> {
    Ok(payable_allocation::Entity::find()
        .filter(payable_allocation::Column::PaymentId.eq(payment_id))
        .filter(payable_allocation::Column::UndoesAllocationId.is_null())
        .order_by_asc(payable_allocation::Column::Id)
        .all(db)
        .await?)
}

/// A row of the other sign undoes an allocation from a day on.
///
/// # Errors
/// Internal only.
pub async fn take_back(
    tx: &impl ConnectionTrait,
    (laid, on): (&payable_allocation::Model, NaiveDate),
    at: DateTime<Utc>,
) -> Result<()> {
    let back = Cents(laid.amount_cents)
        .checked_neg()
        .ok_or_else(|| Error::internal("an allocation that cannot be turned"))?;
    let row = payable_allocation::ActiveModel {
        bill_id: Set(laid.bill_id),
        payment_id: Set(laid.payment_id),
        credit_id: Set(laid.credit_id),
        amount_cents: Set(back.0),
        applied_on: Set(on),
        allocated_at: Set(at),
        undoes_allocation_id: Set(Some(laid.id)),
        ..Default::default()
    };
    row.insert(tx).await?;
    if let Some(credit_id) = laid.credit_id {
        take_off(tx, credit_id, back).await?;
    }
    take_off(tx, laid.bill_id, back).await
}

/// What of this credit settles this bill and was not undone.
///
/// # Errors
/// Internal only.
pub async fn laid_of_credit(
    db: &impl ConnectionTrait,
    (credit_id, bill_id): (i64, i64),
) -> Result<Vec<payable_allocation::Model>> {
    let undone = Query::select()
        .column(payable_allocation::Column::UndoesAllocationId)
        .from(payable_allocation::Entity)
        .and_where(payable_allocation::Column::CreditId.eq(credit_id))
        .and_where(payable_allocation::Column::UndoesAllocationId.is_not_null())
        .to_owned();
    Ok(payable_allocation::Entity::find()
        .filter(payable_allocation::Column::CreditId.eq(credit_id))
        .filter(payable_allocation::Column::BillId.eq(bill_id))
        .filter(payable_allocation::Column::UndoesAllocationId.is_null())
        .filter(payable_allocation::Column::Id.not_in_subquery(undone))
        .order_by_asc(payable_allocation::Column::Id)
        .all(db)
        .await?)
}

/// From which day a bill or credit counts no more; none while it stands.
///
/// # Errors
/// Internal only.
pub async fn undoing_of(
    db: &impl ConnectionTrait,
    bill_id: i64,
) -> Result<Option<supplier_bill_undoing::Model>> {
    Ok(supplier_bill_undoing::Entity::find_by_id(bill_id)
        .one(db)
        .await?)
}

/// The lines of a bill or credit, in order.
///
/// # Errors
/// Internal only.
pub async fn lines_of(
    db: &impl ConnectionTrait,
    bill_id: i64,
) -> Result<Vec<supplier_bill_line::Model>> {
    Ok(supplier_bill_line::Entity::find()
        .filter(supplier_bill_line::Column::BillId.eq(bill_id))
        .order_by_asc(supplier_bill_line::Column::Position)
        .all(db)
        .await?)
}

/// The last day from which something that had settled one of these bills was undone.
///
/// # Errors
/// Internal only.
pub async fn last_undone(
    db: &impl ConnectionTrait,
    bill_ids: impl IntoIterator<Item = i64>,
) -> Result<Option<NaiveDate>> {
    let row = payable_allocation::Entity::find()
        .filter(payable_allocation::Column::BillId.is_in(bill_ids))
        .filter(payable_allocation::Column::UndoesAllocationId.is_not_null())
        .order_by_desc(payable_allocation::Column::AppliedOn)
        .one(db)
        .await?;
    Ok(row.map(|row| row.applied_on))
}

/// The payment, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_payment(
    db: &impl ConnectionTrait,
    path: &str,
    id: i64,
) -> Result<supplier_payment::Model> {
    supplier_payment::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "payment to a supplier"))
}

/// The entry of a bill, credit or payment itself, not of its undoing.
pub async fn entry_of(
    db: &impl ConnectionTrait,
    document: Subject,
) -> Result<journal_entry::Model> {
    journal_entry::Entity::find()
        .filter(journal_entry::Column::DocumentKind.eq(document.kind))
        .filter(journal_entry::Column::DocumentId.eq(document.id))
        .filter(journal_entry::Column::ReversesEntryId.is_null())
        .order_by_asc(journal_entry::Column::Id)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a supplier's document without its entry"))
}
