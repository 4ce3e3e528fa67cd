//! What was recorded by mistake of suppliers: bills and credits undone, and credit laid against the wrong bill taken back.
//!
//! Nothing is changed or deleted. What is undone is met by rows of the other sign, dated today; the supplier's number is
//! free again, so that the true document can be recorded under it.

use chrono::NaiveDate;
use nameplate_entities::kinds::{StockMoveKind, SupplierBillKind};
use nameplate_entities::{
    supplier_bill, supplier_bill_line, supplier_bill_undoing, unbilled_receipt,
};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::stock::{self, About, Back, In, Ledger};
use crate::{books, pricing, shop};

use super::super::store;
use super::credits::Standing;
use super::{less, of_bill};

/// A bill or credit that was recorded by mistake.
#[derive(Clone, Debug, Serialize)]
pub struct UndoSupplierBill {
    #[serde(skip)]
    pub idempotency_key: String,
    pub bill_id: i64,
    pub reason: String,
}

/// Undoes a bill or credit as of today. Parts of a bill leave at what they came in at, those of a credit come back at
/// what they left at; the receipts that a bill named wait for their bill again, and its orders are on order again.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one that is undone already, a bill on which something is paid or credited, a
/// credit that is laid against a bill, parts that are gone, or an account or place out of use; `PeriodClosed`.
pub async fn undo_supplier_bill(
    act: &Act,
    order: UndoSupplierBill,
) -> Result<supplier_bill::Model> {
    let staff_id = act.staff_with(Right::UndoSupplierBill)?;
    let verb = Right::UndoSupplierBill.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_bill(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.finish()?;
    let bill = store::get_bill(&tx, "billId", order.bill_id).await?;
    must_stand(&tx, &bill).await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    books::check_open(&tx, "billId", today).await?;
    let undoing = Undoing {
        bill: &bill,
        verb,
        today,
        payable: books::account_id(&tx, &Role::Payables.into()).await?,
    };
    undoing.books_and_stock(&tx, act).await?;
    store::take_off(&tx, bill.id, Cents(bill.total_cents)).await?;
    let row = supplier_bill_undoing::ActiveModel {
        bill_id: Set(bill.id),
        undone_on: Set(today),
        reason: Set(reason),
        recorded_at: Set(act.at),
        recorded_by: Set(staff_id),
    };
    let row = row.insert(&tx).await?;
    audit::record(&tx, act, verb, of_bill(bill.id), (Some(&bill), Some(&row))).await?;
    once.keep(&tx, act, &bill.id).await?;
    tx.commit().await?;
    Ok(bill)
}

/// Neither undone nor settled.
async fn must_stand(tx: &impl ConnectionTrait, bill: &supplier_bill::Model) -> Result<()> {
    let mut checks = Checks::new();
    if let Some(undone) = store::undoing_of(tx, bill.id).await? {
        let message = format!("{} was undone on {}.", bill.number, undone.undone_on);
        checks.refuse(ProblemCode::WrongState, "billId", message);
    } else if store::payable_of(tx, bill.id).await?.open_cents != bill.total_cents {
        let message = match bill.kind {
            SupplierBillKind::Bill => format!(
                "Something is paid or credited on {}; undo that first (undoSupplierPayment, undoAppliedSupplierCredit).",
                bill.number
            ),
            SupplierBillKind::Credit => format!(
                "{} is laid against a bill; take it back first (undoAppliedSupplierCredit).",
                bill.number
            ),
        };
        checks.refuse(ProblemCode::WrongState, "billId", message);
    }
    checks.finish()
}

struct Undoing<'a> {
    bill: &'a supplier_bill::Model,
    verb: &'static str,
    today: NaiveDate,
    /// The account of what is payable to suppliers.
    payable: i64,
}

impl Undoing<'_> {
    /// Turns the entry and moves the parts back, each line's at what the entry has for it.
    async fn books_and_stock(&self, tx: &impl ConnectionTrait, act: &Act) -> Result<()> {
        for line in store::lines_of(tx, self.bill.id).await? {
            self.line(tx, act, &line).await?;
        }
        let memo = format!("{} undone", self.bill.number);
        let entry = store::entry_of(tx, of_bill(self.bill.id)).await?;
        books::reverse(tx, act, ("billId", &entry), (self.today, memo)).await?;
        Ok(())
    }

    async fn line(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        line: &supplier_bill_line::Model,
    ) -> Result<()> {
        if let Some(id) = line.receipt_move_id {
            self.receipt(tx, (line, id)).await?;
        }
        let (Some(move_id), Some(part_id), Some(quantity)) =
            (line.move_id, line.part_id, line.quantity)
        else {
            return Ok(());
        };
        let parts = Parts {
            part_id,
            move_id,
            quantity: quantity.0,
        };
        match self.bill.kind {
            SupplierBillKind::Bill => self.leave(tx, act, (line, &parts)).await,
            SupplierBillKind::Credit => self.come_back(tx, act, (line, &parts)).await,
        }
    }

    /// The receipt waits for its bill again.
    async fn receipt(
        &self,
        tx: &impl ConnectionTrait,
        (line, id): (&supplier_bill_line::Model, i64),
    ) -> Result<()> {
        let Some((receipt, _)) = store::receipt(tx, id).await? else {
            return Err(Error::internal("a bill's receipt is gone"));
        };
        let quantity = line.quantity.map_or(Decimal::ZERO, |exact| exact.0);
        let back = less(Cents::ZERO, awaited_of(line, &receipt))?;
        store::bill_some(tx, &receipt, (-quantity, back)).await
    }

    async fn leave(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        (line, parts): (&supplier_bill_line::Model, &Parts),
    ) -> Result<()> {
        let part = pricing::get_part(tx, "billId", parts.part_id).await?;
        let place_id = line
            .place_id
            .ok_or_else(|| Error::internal("a line of parts without a place"))?;
        let there = stock::pieces_at(tx, (part.id, place_id)).await?;
        if there < parts.quantity {
            let message = format!(
                "Only {there} of {} lie where the bill's {} were put; bring them back there, or record a supplier's credit.",
                part.number, parts.quantity
            );
            return Err(Error::refused(ProblemCode::WrongState, "billId", message));
        }
        let back = Back {
            part: &part,
            receipt_id: parts.move_id,
            place_id,
            quantity: parts.quantity,
            cost: Cents(line.cost_cents),
            on: self.today,
            about: self.about(line.part_order_id, parts.move_id),
            too_few: (ProblemCode::WrongState, "billId"),
        };
        let ledger = Ledger::open(tx, act, self.verb).await?;
        ledger.give_back(back).await?;
        if let Some(id) = line.part_order_id {
            stock::had_not_come(tx, act, self.verb, (id, parts.quantity)).await?;
        }
        Ok(())
    }

    async fn come_back(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        (line, parts): (&supplier_bill_line::Model, &Parts),
    ) -> Result<()> {
        let part = pricing::get_part(tx, "billId", parts.part_id).await?;
        let place = stock::place_or_main(tx, "billId", line.place_id).await?;
        let new = In {
            part: &part,
            place_id: place.id,
            quantity: parts.quantity,
            cost: Cents(line.cost_cents),
            kind: StockMoveKind::Received,
            on: self.today,
            about: self.about(None, parts.move_id),
        };
        Ledger::open(tx, act, self.verb).await?.come_in(new).await?;
        Ok(())
    }

    fn about(&self, part_order_id: Option<i64>, move_id: i64) -> About {
        About {
            part_order_id,
            account_id: Some(self.payable),
            undoes_move_id: Some(move_id),
            reason: Some(format!("{} undone", self.bill.number)),
            ..About::default()
        }
    }
}

/// Parts of a line, and the move by which they came or went.
struct Parts {
    part_id: i64,
    move_id: i64,
    quantity: Decimal,
}

/// What of a receipt's cost a line took; lines of before took all of it.
fn awaited_of(line: &supplier_bill_line::Model, receipt: &unbilled_receipt::Model) -> Cents {
    Cents(line.awaited_cents.unwrap_or(receipt.cost_cents))
}

/// A credit that was laid against the wrong bill.
#[derive(Clone, Debug, Serialize)]
pub struct UndoAppliedSupplierCredit {
    #[serde(skip)]
    pub idempotency_key: String,
    pub credit_id: i64,
    pub bill_id: i64,
    pub reason: String,
}

/// Takes back, as of today, all that was laid of a credit against a bill: the bill is open again, the credit is left.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` where nothing of the credit is laid against the bill; refusals name the field.
pub async fn undo_applied_supplier_credit(
    act: &Act,
    order: UndoAppliedSupplierCredit,
) -> Result<supplier_bill::Model> {
    act.staff_with(Right::UndoAppliedSupplierCredit)?;
    let verb = Right::UndoAppliedSupplierCredit.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_bill(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    let reason = checks.text("reason", &order.reason, LINE_MAX);
    checks.finish()?;
    let credit = store::get_credit(&tx, ("creditId", order.credit_id)).await?;
    let bill = store::get_bill_of(&tx, ("billId", order.bill_id), credit.supplier_id).await?;
    let laid = store::laid_of_credit(&tx, (credit.id, bill.id)).await?;
    if laid.is_empty() {
        let message = format!(
            "Nothing of {} is laid against {}.",
            credit.number, bill.number
        );
        return Err(Error::refused(ProblemCode::WrongState, "billId", message));
    }
    let before = Standing::of(&tx, (credit.id, bill.id), None).await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    for row in &laid {
        store::take_back(&tx, (row, today), act.at).await?;
    }
    let after = Standing::of(&tx, (credit.id, bill.id), Some(reason)).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, of_bill(bill.id), both).await?;
    once.keep(&tx, act, &bill.id).await?;
    tx.commit().await?;
    Ok(bill)
}
