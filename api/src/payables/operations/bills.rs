//! Recording a supplier's bill: parts into stock, expenses, charges.

use chrono::{Days, NaiveDate};
use nameplate_entities::kinds::{AccountKind, SupplierBillKind};
use nameplate_entities::{account, part, payable, supplier, supplier_bill, unbilled_receipt};
use nameplate_rules::money::{Cents, spread_by_cents};
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};
use serde::Serialize;

use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::{books, pricing, shop, stock};

use super::super::store;
use super::arriving::take_in;
use super::{LINES_MAX, of_bill, post_entry, sum};

/// Days a supplier's bill is due after when the supplier has no terms of its own. Common practice, no source.
const TERMS_DAYS: u64 = 30;

/// One line: parts at a unit cost, or an amount for an account, or an amount spread over the cost of the parts.
#[derive(Clone, Debug, Default, Serialize)]
pub struct BillLine {
    pub description: Option<String>,
    pub part_id: Option<i64>,
    pub quantity: Option<Decimal>,
    pub unit_cost: Option<Cents>,
    /// Where the parts are put; the main shelf when left out.
    pub place_id: Option<i64>,
    /// The order they were sent for.
    pub order_id: Option<i64>,
    /// The receipt by which they came in before the bill.
    pub receipt_id: Option<i64>,
    /// Code of the account of an expense.
    pub account: Option<String>,
    /// Amount of an expense or charge.
    pub amount: Option<Cents>,
}

/// A supplier's bill.
#[derive(Clone, Debug, Serialize)]
pub struct RecordSupplierBill {
    #[serde(skip)]
    pub idempotency_key: String,
    pub supplier_id: i64,
    /// The supplier's own number.
    pub supplier_number: String,
    pub billed_on: NaiveDate,
    /// By the supplier's terms when left out.
    pub due_on: Option<NaiveDate>,
    pub note: Option<String>,
    pub lines: Vec<BillLine>,
}

/// A line that passed the door.
pub struct Line {
    pub description: Option<String>,
    pub amount: Cents,
    /// The amount and what is spread over it.
    pub cost: Cents,
    pub what: What,
}

/// What a line is.
pub enum What {
    Part {
        part: Box<part::Model>,
        quantity: Decimal,
        unit_cost: Cents,
        place_id: Option<i64>,
        order_id: Option<i64>,
        receipt: Option<unbilled_receipt::Model>,
    },
    Expense(account::Model),
    Spread,
}

/// Records a supplier's bill: its parts come into stock, what it asks is payable.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Taken` for a number of this supplier that is on record; `WrongState` for an account that
/// takes no bills, a place out of use, an order that is closed, a receipt that is billed, or either of another supplier;
/// `TooMuch` for more than an order waits for; `ImpossibleDate`; `PeriodClosed`; refusals name the field.
pub async fn record_supplier_bill(
    act: &Act,
    new: RecordSupplierBill,
) -> Result<supplier_bill::Model> {
    let staff_id = act.staff_with(Right::RecordSupplierBill)?;
    let verb = Right::RecordSupplierBill.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_bill(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let supplier = pricing::get_supplier(&tx, "supplierId", new.supplier_id).await?;
    let head = new.head(&supplier, today)?;
    store::is_new_number(
        &tx,
        (supplier.id, SupplierBillKind::Bill),
        &head.supplier_number,
    )
    .await?;
    let mut lines = checked(&tx, &new).await?;
    books::check_open(&tx, "billedOn", new.billed_on).await?;
    let total = sum(lines.iter().map(|line| line.amount))?;
    let mut checks = Checks::new();
    checks.positive("lines", total);
    checks.finish()?;
    spread_charges(&mut lines)?;
    let row = head.row(SupplierBillKind::Bill, (total, staff_id), act);
    let row = supplier_bill::ActiveModel {
        number: Set(numbers::take(&tx, Series::SupplierBill).await?),
        ..row
    };
    let row = row.insert(&tx).await?;
    let entry = take_in(&tx, act, (verb, &row), &lines).await?;
    let about = (
        of_bill(row.id),
        row.billed_on,
        format!("Bill {} of {}", row.supplier_number, supplier.name),
    );
    post_entry(&tx, act, about, entry).await?;
    open(&tx, &row).await?;
    audit::created(&tx, act, verb, of_bill(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// What a bill or credit begins with, checked.
pub struct Head {
    pub supplier_id: i64,
    pub supplier_number: String,
    pub billed_on: NaiveDate,
    pub due_on: NaiveDate,
    pub note: Option<String>,
    pub credits_bill_id: Option<i64>,
}

impl Head {
    pub fn row(
        &self,
        kind: SupplierBillKind,
        (total, staff_id): (Cents, i64),
        act: &Act,
    ) -> supplier_bill::ActiveModel {
        supplier_bill::ActiveModel {
            kind: Set(kind),
            supplier_id: Set(self.supplier_id),
            supplier_number_key: Set(self.supplier_number.to_lowercase()),
            supplier_number: Set(self.supplier_number.clone()),
            billed_on: Set(self.billed_on),
            due_on: Set(self.due_on),
            total_cents: Set(total.0),
            credits_bill_id: Set(self.credits_bill_id),
            note: Set(self.note.clone()),
            recorded_at: Set(act.at),
            recorded_by: Set(staff_id),
            ..Default::default()
        }
    }
}

impl RecordSupplierBill {
    fn head(&self, supplier: &supplier::Model, today: NaiveDate) -> Result<Head> {
        let mut checks = Checks::new();
        let supplier_number = checks.text("supplierNumber", &self.supplier_number, LINE_MAX);
        checks.not_after("billedOn", self.billed_on, today);
        checks.near("billedOn", self.billed_on, today);
        let terms = supplier
            .terms_days
            .and_then(|days| u64::try_from(days).ok());
        let by_terms = self
            .billed_on
            .checked_add_days(Days::new(terms.unwrap_or(TERMS_DAYS)));
        let due_on = self.due_on.or(by_terms).unwrap_or(self.billed_on);
        checks.in_order(&[
            ("billedOn", "the day of the bill,", Some(self.billed_on)),
            ("dueOn", "The day it is due", Some(due_on)),
        ]);
        if self.due_on.is_some() {
            checks.near("dueOn", due_on, today);
        }
        let note = checks.text_if_any("note", self.note.as_deref(), LINE_MAX);
        check_count(&mut checks, self.lines.len());
        checks.finish()?;
        Ok(Head {
            supplier_id: supplier.id,
            supplier_number,
            billed_on: self.billed_on,
            due_on,
            note,
            credits_bill_id: None,
        })
    }
}

pub fn check_count(checks: &mut Checks, count: usize) {
    if count == 0 {
        checks.refuse(ProblemCode::Missing, "lines", "Give at least one line.");
    }
    if count > LINES_MAX {
        let message = format!("A bill has at most {LINES_MAX} lines.");
        checks.refuse(ProblemCode::OutOfRange, "lines", message);
    }
}

async fn checked(tx: &impl ConnectionTrait, new: &RecordSupplierBill) -> Result<Vec<Line>> {
    let ids: Vec<i64> = new.lines.iter().filter_map(|line| line.part_id).collect();
    let parts = pricing::parts_by_id(tx, &ids).await?;
    let chart = books::chart(tx).await?;
    let mut checks = Checks::new();
    let mut lines = Vec::with_capacity(new.lines.len());
    let mut receipts = std::collections::HashSet::new();
    for (at, line) in new.lines.iter().enumerate() {
        let path = format!("lines.{at}");
        if line.receipt_id.is_some_and(|id| !receipts.insert(id)) {
            let message = "This receipt is named twice.";
            checks.refuse(
                ProblemCode::Malformed,
                &format!("{path}.receiptId"),
                message,
            );
        }
        let known = (&parts[..], &chart[..]);
        let bill = (new.supplier_id, ("billedOn", new.billed_on));
        lines.extend(line.checked(tx, &mut checks, (&path, bill), known).await?);
    }
    checks.finish()?;
    Ok(lines)
}

impl BillLine {
    async fn checked(
        &self,
        tx: &impl ConnectionTrait,
        checks: &mut Checks,
        (path, (supplier_id, came)): (&str, (i64, (&str, NaiveDate))),
        (parts, chart): (&[part::Model], &[account::Model]),
    ) -> Result<Option<Line>> {
        let at = |field: &str| format!("{path}.{field}");
        let description =
            checks.text_if_any(&at("description"), self.description.as_deref(), LINE_MAX);
        let Some(part_id) = self.part_id else {
            let extra = [
                ("quantity", self.quantity.is_some()),
                ("unitCost", self.unit_cost.is_some()),
                ("placeId", self.place_id.is_some()),
                ("orderId", self.order_id.is_some()),
                ("receiptId", self.receipt_id.is_some()),
            ];
            for (field, _) in extra.iter().filter(|(_, given)| *given) {
                let message = "Only a line of parts takes this; name the part.";
                checks.refuse(ProblemCode::Malformed, &at(field), message);
            }
            return Ok(self.money(checks, path, (description, chart)));
        };
        self.without_money(checks, path);
        let Some(part) = parts.iter().find(|part| part.id == part_id) else {
            return Err(Error::not_found(at("partId"), "part"));
        };
        let (Some(quantity), Some(unit_cost)) = (self.quantity, self.unit_cost) else {
            let message = "Say how many, and what one costs.";
            checks.refuse(ProblemCode::Missing, &at("quantity"), message);
            return Ok(None);
        };
        stock::pieces(checks, &at("quantity"), quantity);
        checks.not_negative(&at("unitCost"), unit_cost);
        let whose = (supplier_id, part_id);
        let receipt = self.receipt(tx, checks, &at("receiptId"), whose).await?;
        if let Some(id) = self.order_id {
            let path = at("orderId");
            let what = (part_id, (&*at("quantity"), quantity));
            let order = stock::order_to_receive(tx, (&path, id), what, came).await?;
            of_this_supplier(checks, &path, (supplier_id, order.supplier_id));
        }
        if let Some(id) = self.place_id {
            stock::place_or_main(tx, &at("placeId"), Some(id)).await?;
        }
        if !checks.is_clean() {
            return Ok(None);
        }
        let amount = stock::cost_of(&at("unitCost"), unit_cost, quantity)?;
        Ok(Some(Line {
            description,
            amount,
            cost: amount,
            what: What::Part {
                part: Box::new(part.clone()),
                quantity,
                unit_cost,
                place_id: self.place_id,
                order_id: self.order_id,
                receipt,
            },
        }))
    }

    /// A line of parts names neither account nor amount.
    fn without_money(&self, checks: &mut Checks, path: &str) {
        let extra = [
            ("account", self.account.is_some()),
            ("amount", self.amount.is_some()),
        ];
        for (field, _) in extra.iter().filter(|(_, given)| *given) {
            let message = "A line of parts has a quantity and a unit cost, and goes to the stock.";
            checks.refuse(ProblemCode::Malformed, &format!("{path}.{field}"), message);
        }
    }

    /// The receipt that this line bills, wholly or in part: of the same part, for no order of another supplier, and with as
    /// many pieces not billed yet.
    async fn receipt(
        &self,
        tx: &impl ConnectionTrait,
        checks: &mut Checks,
        path: &str,
        (supplier_id, part_id): (i64, i64),
    ) -> Result<Option<unbilled_receipt::Model>> {
        let Some(id) = self.receipt_id else {
            return Ok(None);
        };
        if self.order_id.is_some() || self.place_id.is_some() {
            let message = "These parts are there already; name neither order nor place.";
            checks.refuse(ProblemCode::Malformed, path, message);
        }
        let Some((row, moved)) = store::receipt(tx, id).await? else {
            return Err(Error::not_found(path, "receipt without a bill"));
        };
        if !row.is_open {
            checks.refuse(
                ProblemCode::WrongState,
                path,
                "Nothing of this receipt waits for a bill: it is billed, or went back.",
            );
        }
        if moved.part_id != Some(part_id) {
            checks.refuse(
                ProblemCode::WrongState,
                path,
                "This receipt is of another part.",
            );
        } else if row.is_open && self.quantity > Some(row.open_quantity.0) {
            let message = format!(
                "Only {} pieces of this receipt are not billed yet; bill the rest as new parts.",
                row.open_quantity
            );
            checks.refuse(ProblemCode::OutOfRange, path, message);
        }
        // Without an order the supplier of a receipt is only the one the part usually comes from.
        if let (Some(_), Some(sent_by)) = (moved.part_order_id, row.supplier_id) {
            of_this_supplier(checks, path, (supplier_id, sent_by));
        }
        Ok(Some(row))
    }

    /// An expense, or a charge to spread.
    fn money(
        &self,
        checks: &mut Checks,
        path: &str,
        (description, chart): (Option<String>, &[account::Model]),
    ) -> Option<Line> {
        let at = |field: &str| format!("{path}.{field}");
        let Some(amount) = self.amount else {
            let message = "Name a part, or give an amount.";
            checks.refuse(ProblemCode::Missing, &at("amount"), message);
            return None;
        };
        checks.positive(&at("amount"), amount);
        let what = match &self.account {
            None => What::Spread,
            Some(code) => What::Expense(expense(checks, &at("account"), (chart, code))?),
        };
        Some(Line {
            description,
            amount,
            cost: amount,
            what,
        })
    }
}

/// Nobody bills what was ordered from somebody else.
fn of_this_supplier(checks: &mut Checks, path: &str, (billing, ordered_from): (i64, i64)) {
    if billing != ordered_from {
        let message = "This was ordered from another supplier than the one who bills it.";
        checks.refuse(ProblemCode::WrongState, path, message);
    }
}

/// The account of what was bought: an expense, or something the shop keeps, such as tools. Anything else would make a
/// bill an entry by hand, which is the owner's alone.
pub fn expense(
    checks: &mut Checks,
    path: &str,
    (chart, code): (&[account::Model], &str),
) -> Option<account::Model> {
    books::free_account(checks, path, (chart, code))?;
    let row = chart.iter().find(|row| row.code == code.trim())?;
    let is_kept = row.kind == AccountKind::Asset && row.role.is_none() && !row.is_bank;
    if row.kind != AccountKind::Expense && !is_kept {
        let message = format!(
            "{} {} is neither an expense nor something the shop keeps, such as tools.",
            row.code, row.name
        );
        checks.refuse(ProblemCode::WrongState, path, message);
        return None;
    }
    Some(row.clone())
}

/// The accounts that a line of a bill or credit may name, by number.
pub fn accounts_of_bills(chart: Vec<account::Model>) -> Vec<account::Model> {
    let named = |row: &account::Model| {
        let one = std::slice::from_ref(row);
        expense(&mut Checks::new(), "", (one, &row.code)).is_some()
    };
    let mut rows: Vec<account::Model> = chart.into_iter().filter(named).collect();
    rows.sort_by(|a, b| a.code.cmp(&b.code));
    rows
}

/// Spreads what names no account over the cost of all parts, by largest remainder. The share of parts that came in before
/// the bill is cost of sales with whatever else the bill asks beyond what they were entered at.
fn spread_charges(lines: &mut [Line]) -> Result<()> {
    let charges = lines
        .iter()
        .filter(|line| matches!(line.what, What::Spread));
    let charges = sum(charges.map(|line| line.amount))?;
    if charges == Cents::ZERO {
        return Ok(());
    }
    let weight = |line: &Line| match line.what {
        What::Part { .. } => line.amount,
        _ => Cents::ZERO,
    };
    let weights: Vec<Cents> = lines.iter().map(weight).collect();
    let shares = spread_by_cents(charges, &weights).map_err(|_| {
        let message =
            "There is no cost of parts to spread a charge over: name the account it goes to.";
        Error::refused(ProblemCode::Missing, "lines", message)
    })?;
    for (line, share) in lines.iter_mut().zip(shares) {
        line.cost = match line.what {
            What::Spread => Cents::ZERO,
            _ => sum([line.cost, share])?,
        };
    }
    Ok(())
}

/// All of it is open.
pub async fn open(tx: &impl ConnectionTrait, row: &supplier_bill::Model) -> Result<()> {
    let owed = payable::ActiveModel {
        bill_id: Set(row.id),
        supplier_id: Set(row.supplier_id),
        kind: Set(row.kind),
        due_on: Set(row.due_on),
        open_cents: Set(row.total_cents),
    };
    payable::Entity::insert(owed)
        .exec_without_returning(tx)
        .await?;
    Ok(())
}
