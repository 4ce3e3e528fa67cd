//! Rows of bills, payments and what settles what; what was open on a day.

use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::kinds::SupplierBillKind;
use nameplate_entities::{
    journal_entry, payable, payable_allocation, stock_move, supplier, supplier_bill,
    supplier_payment, unbilled_receipt,
};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Expr, ExprTrait, Query, SimpleExpr};
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult,
    QueryFilter, QueryOrder, Statement,
};

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

/// Refuses a number of this supplier that is on record.
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

/// The bill of a receipt is there.
pub async fn is_billed(tx: &impl ConnectionTrait, receipt: &unbilled_receipt::Model) -> Result<()> {
    let row = unbilled_receipt::ActiveModel {
        move_id: Set(receipt.move_id),
        is_open: Set(false),
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
    take_off(tx, laid.bill_id, back).await
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

/// The entry of a payment itself, not of its undoing.
pub async fn entry_of_payment(
    db: &impl ConnectionTrait,
    payment_id: i64,
) -> Result<journal_entry::Model> {
    journal_entry::Entity::find()
        .filter(journal_entry::Column::DocumentKind.eq("supplier_payment"))
        .filter(journal_entry::Column::DocumentId.eq(payment_id))
        .filter(journal_entry::Column::ReversesEntryId.is_null())
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("a payment to a supplier without its entry"))
}

/// What was open with one supplier and one due day; credits below zero.
#[derive(Clone, Debug, PartialEq, Eq, FromQueryResult)]
pub struct OpenBill {
    pub supplier_id: i64,
    pub kind: SupplierBillKind,
    pub due_on: NaiveDate,
    pub open_cents: i64,
}

/// What was open at the end of a day, by supplier and due day, read from documents and what settled them by then.
///
/// # Errors
/// Internal only.
pub async fn open_on(db: &impl ConnectionTrait, on: NaiveDate) -> Result<Vec<OpenBill>> {
    let sql = "SELECT supplier_id, kind, due_on, CAST(SUM(cents) AS BIGINT) AS open_cents FROM (\
         SELECT supplier_id, kind, due_on, CASE WHEN kind = 'bill' THEN total_cents ELSE -total_cents END AS cents \
         FROM supplier_bill WHERE billed_on <= $1 \
         UNION ALL SELECT b.supplier_id, b.kind, b.due_on, -a.amount_cents FROM payable_allocation a \
         JOIN supplier_bill b ON b.id = a.bill_id WHERE a.applied_on <= $1 \
         UNION ALL SELECT c.supplier_id, c.kind, c.due_on, a.amount_cents FROM payable_allocation a \
         JOIN supplier_bill c ON c.id = a.credit_id WHERE a.applied_on <= $1) moved \
         GROUP BY supplier_id, kind, due_on HAVING SUM(cents) <> 0 ORDER BY supplier_id, kind, due_on";
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, [on.into()]);
    Ok(OpenBill::find_by_statement(statement).all(db).await?)
}

/// What is open now, by supplier and due day.
///
/// # Errors
/// Internal only.
pub async fn open_now(db: &impl ConnectionTrait) -> Result<Vec<OpenBill>> {
    let sql = "SELECT supplier_id, kind, due_on, \
         CAST(SUM(CASE WHEN kind = 'bill' THEN open_cents ELSE -open_cents END) AS BIGINT) AS open_cents FROM payable \
         WHERE open_cents > 0 GROUP BY supplier_id, kind, due_on ORDER BY supplier_id, kind, due_on";
    let statement = Statement::from_string(db.get_database_backend(), sql);
    Ok(OpenBill::find_by_statement(statement).all(db).await?)
}

/// What entries by hand say is payable at the end of a day: posted before bills were recorded, and not undone.
///
/// # Errors
/// Internal only.
pub async fn by_hand_on(db: &impl ConnectionTrait, on: NaiveDate) -> Result<i64> {
    let sql = "SELECT CAST(COALESCE(SUM(p.credit_cents - p.debit_cents), 0) AS BIGINT) AS cents FROM posting p \
         JOIN account a ON a.id = p.account_id AND a.role = 'payables' \
         JOIN journal_entry e ON e.id = p.entry_id AND e.document_kind = 'manual' WHERE p.entry_on <= $1";
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, [on.into()]);
    let row = Sum::find_by_statement(statement).one(db).await?;
    Ok(row.map_or(0, |row| row.cents))
}

/// The suppliers of these ids, in one statement.
///
/// # Errors
/// Internal only.
pub async fn named(
    db: &impl ConnectionTrait,
    ids: impl IntoIterator<Item = i64>,
) -> Result<Vec<supplier::Model>> {
    Ok(supplier::Entity::find()
        .filter(supplier::Column::Id.is_in(ids))
        .all(db)
        .await?)
}

/// One thing that happened on a supplier's account.
#[derive(Clone, Debug, FromQueryResult)]
pub struct Moved {
    pub on_day: NaiveDate,
    pub kind: String,
    pub number: String,
    pub reference: Option<String>,
    pub cents: i64,
}

/// Everything that moves the account of supplier `$1`.
const MOVES: &str = "SELECT billed_on AS on_day, kind, number, supplier_number AS reference, \
     CASE WHEN kind = 'bill' THEN total_cents ELSE -total_cents END AS cents, 1 AS place FROM supplier_bill \
     WHERE supplier_id = $1 \
     UNION ALL SELECT paid_on, 'payment', number, reference, -amount_cents, 2 FROM supplier_payment WHERE supplier_id = $1 \
     UNION ALL SELECT undone_on, 'payment_undone', number, reference, amount_cents, 3 FROM supplier_payment \
     WHERE supplier_id = $1 AND undone_on IS NOT NULL";

#[derive(FromQueryResult)]
struct Sum {
    cents: i64,
}

/// What a supplier was owed before this day.
pub async fn balance_before(
    db: &impl ConnectionTrait,
    supplier_id: i64,
    day: NaiveDate,
) -> Result<i64> {
    let sql = format!(
        "SELECT CAST(COALESCE(SUM(cents), 0) AS BIGINT) AS cents FROM ({MOVES}) m WHERE on_day < $2"
    );
    let values = [supplier_id.into(), day.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    let row = Sum::find_by_statement(statement).one(db).await?;
    Ok(row.map_or(0, |row| row.cents))
}

/// What happened from one day through another, oldest first, at most `rows_max`.
pub async fn moves_between(
    db: &impl ConnectionTrait,
    supplier_id: i64,
    (from, until): (NaiveDate, NaiveDate),
    rows_max: u64,
) -> Result<Vec<Moved>> {
    let sql = format!(
        "SELECT on_day, kind, number, reference, cents FROM ({MOVES}) m WHERE on_day >= $2 AND on_day <= $3 \
         ORDER BY on_day, place, number LIMIT {rows_max}"
    );
    let values = [supplier_id.into(), from.into(), until.into()];
    let statement = Statement::from_sql_and_values(db.get_database_backend(), sql, values);
    Ok(Moved::find_by_statement(statement).all(db).await?)
}
