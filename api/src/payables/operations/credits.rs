//! What suppliers give back, and laying it against their bills.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{StockMoveKind, SupplierBillKind};
use nameplate_entities::{
    account, part, payable, payable_allocation, supplier_bill, supplier_bill_line,
};
use nameplate_rules::books::{Posting, Role};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};
use serde::Serialize;

use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::numbers::{self, Series};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};
use crate::stock::{self, About, Ledger, Out};
use crate::{books, pricing, shop};

use super::super::store::{self, Laid, Source};
use super::bills::{Head, check_count, expense, open};
use super::{by_code, debit, less, of_bill, post, sum};

/// One line: parts that go back, or an amount taken off an account.
#[derive(Clone, Debug, Default, Serialize)]
pub struct CreditLine {
    pub description: Option<String>,
    pub part_id: Option<i64>,
    pub quantity: Option<Decimal>,
    /// What the supplier gives back for one.
    pub unit_cost: Option<Cents>,
    /// Where they lay; the main shelf when left out.
    pub place_id: Option<i64>,
    /// Code of the account.
    pub account: Option<String>,
    pub amount: Option<Cents>,
}

/// What a supplier gives back.
#[derive(Clone, Debug, Serialize)]
pub struct RecordSupplierCredit {
    #[serde(skip)]
    pub idempotency_key: String,
    pub supplier_id: i64,
    /// The supplier's own number.
    pub supplier_number: String,
    pub credited_on: NaiveDate,
    /// The bill that it is about; it is laid against that one first.
    pub bill_id: Option<i64>,
    pub note: Option<String>,
    pub lines: Vec<CreditLine>,
}

struct Line {
    description: Option<String>,
    amount: Cents,
    what: What,
}

enum What {
    Part(Box<part::Model>, Decimal, Cents, i64),
    Account(account::Model),
}

/// Records what a supplier gives back: parts leave at what they cost in stock, the difference is cost of sales.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Taken` for a number of this supplier that is on record; `OutOfRange` for more parts than lie
/// there, over all lines; `WrongState` for an account that takes no bills, or a bill that was undone; `ImpossibleDate`, also for a day before the bill;
/// `PeriodClosed`; refusals name the field.
pub async fn record_supplier_credit(
    act: &Act,
    new: RecordSupplierCredit,
) -> Result<supplier_bill::Model> {
    let staff_id = act.staff_with(Right::RecordSupplierCredit)?;
    let verb = Right::RecordSupplierCredit.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_bill(&tx, "", id).await;
    }
    let today = shop::settings(&tx).await?.day_of(act.at);
    let supplier = pricing::get_supplier(&tx, "supplierId", new.supplier_id).await?;
    let bill = match new.bill_id {
        Some(id) => Some(standing_bill(&tx, (id, supplier.id)).await?),
        None => None,
    };
    let head = new.head(bill.as_ref(), today)?;
    let series = (supplier.id, SupplierBillKind::Credit);
    store::is_new_number(&tx, series, &head.supplier_number).await?;
    let lines = new.checked(&tx).await?;
    books::check_open(&tx, "creditedOn", new.credited_on).await?;
    let total = sum(lines.iter().map(|line| line.amount))?;
    let mut checks = Checks::new();
    checks.positive("lines", total);
    checks.finish()?;
    let row = supplier_bill::ActiveModel {
        number: Set(numbers::take(&tx, Series::SupplierCredit).await?),
        ..head.row(SupplierBillKind::Credit, (total, staff_id), act)
    };
    let row = row.insert(&tx).await?;
    let postings = give_back(&tx, act, (verb, &row), &lines).await?;
    let memo = format!("Credit {} of {}", row.supplier_number, supplier.name);
    post(&tx, act, (of_bill(row.id), row.billed_on, memo), postings).await?;
    open(&tx, &row).await?;
    if let Some(bill) = &bill {
        lay_by_itself(&tx, act, (&row, bill)).await?;
    }
    audit::created(&tx, act, verb, of_bill(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// The bill that a credit is about, which was not undone.
async fn standing_bill(
    tx: &impl ConnectionTrait,
    (id, supplier_id): (i64, i64),
) -> Result<supplier_bill::Model> {
    let bill = store::get_bill_of(tx, ("billId", id), supplier_id).await?;
    match store::undoing_of(tx, bill.id).await? {
        None => Ok(bill),
        Some(undone) => {
            let message = format!("{} was undone on {}.", bill.number, undone.undone_on);
            Err(Error::refused(ProblemCode::WrongState, "billId", message))
        }
    }
}

impl RecordSupplierCredit {
    fn head(&self, bill: Option<&supplier_bill::Model>, today: NaiveDate) -> Result<Head> {
        let mut checks = Checks::new();
        let supplier_number = checks.text("supplierNumber", &self.supplier_number, LINE_MAX);
        checks.not_after("creditedOn", self.credited_on, today);
        checks.near("creditedOn", self.credited_on, today);
        checks.in_order(&[
            (
                "billId",
                "the day of the bill,",
                bill.map(|bill| bill.billed_on),
            ),
            (
                "creditedOn",
                "The day of the credit",
                Some(self.credited_on),
            ),
        ]);
        let note = checks.text_if_any("note", self.note.as_deref(), LINE_MAX);
        check_count(&mut checks, self.lines.len());
        checks.finish()?;
        Ok(Head {
            supplier_id: self.supplier_id,
            supplier_number,
            billed_on: self.credited_on,
            due_on: self.credited_on,
            note,
            credits_bill_id: self.bill_id,
        })
    }

    async fn checked(&self, tx: &impl ConnectionTrait) -> Result<Vec<Line>> {
        let ids: Vec<i64> = self.lines.iter().filter_map(|line| line.part_id).collect();
        let parts = pricing::parts_by_id(tx, &ids).await?;
        let chart = books::chart(tx).await?;
        let mut checks = Checks::new();
        let mut lines = Vec::with_capacity(self.lines.len());
        // How many of a part leave one place, whatever the lines they stand on.
        let mut going: HashMap<(i64, i64), Decimal> = HashMap::new();
        for (at, line) in self.lines.iter().enumerate() {
            let path = format!("lines.{at}");
            let known = (&parts[..], &chart[..]);
            let line = line.checked(tx, &mut checks, &path, known).await?;
            if let Some(What::Part(part, quantity, _, place_id)) =
                line.as_ref().map(|line| &line.what)
            {
                let at = (part.id, *place_id);
                let whole = going.entry(at).or_insert(Decimal::ZERO);
                *whole = whole.saturating_add(*quantity);
                let there = stock::pieces_at(tx, at).await?;
                if *whole > there {
                    let path = format!("{path}.quantity");
                    let message = format!("Only {there} lie there, and {whole} would go back.");
                    checks.refuse(ProblemCode::OutOfRange, &path, message);
                }
            }
            lines.extend(line);
        }
        checks.finish()?;
        Ok(lines)
    }
}

impl CreditLine {
    async fn checked(
        &self,
        tx: &impl ConnectionTrait,
        checks: &mut Checks,
        path: &str,
        (parts, chart): (&[part::Model], &[account::Model]),
    ) -> Result<Option<Line>> {
        let at = |field: &str| format!("{path}.{field}");
        let description =
            checks.text_if_any(&at("description"), self.description.as_deref(), LINE_MAX);
        let what = match (self.part_id, &self.account) {
            (Some(id), None) => {
                let Some(part) = parts.iter().find(|part| part.id == id) else {
                    return Err(Error::not_found(at("partId"), "part"));
                };
                let (Some(quantity), Some(unit_cost)) = (self.quantity, self.unit_cost) else {
                    let message = "Say how many go back, and what is given for one.";
                    checks.refuse(ProblemCode::Missing, &at("quantity"), message);
                    return Ok(None);
                };
                stock::pieces(checks, &at("quantity"), quantity);
                checks.not_negative(&at("unitCost"), unit_cost);
                let place = stock::place_or_main(tx, &at("placeId"), self.place_id).await?;
                What::Part(Box::new(part.clone()), quantity, unit_cost, place.id)
            }
            (None, Some(code)) => match expense(checks, &at("account"), (chart, code)) {
                Some(account) => What::Account(account),
                None => return Ok(None),
            },
            _ => {
                let message = "Name a part or an account, one of the two.";
                checks.refuse(ProblemCode::Missing, &at("account"), message);
                return Ok(None);
            }
        };
        if !checks.is_clean() {
            return Ok(None);
        }
        let amount = match &what {
            What::Part(_, quantity, unit_cost, _) => {
                stock::cost_of(&at("unitCost"), *unit_cost, *quantity)?
            }
            What::Account(_) => checks.positive(&at("amount"), self.amount.unwrap_or_default()),
        };
        Ok(Some(Line {
            description,
            amount,
            what,
        }))
    }
}

/// Writes the lines, lets the parts go, and gives the entry's postings.
async fn give_back(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, credit): (&'static str, &supplier_bill::Model),
    lines: &[Line],
) -> Result<Vec<Posting>> {
    let mut postings = vec![Posting::debit(Role::Payables, Cents(credit.total_cents))];
    let (mut given, mut gone) = (Cents::ZERO, Cents::ZERO);
    let payable = books::account_id(tx, &Role::Payables.into()).await?;
    for (position, line) in (1_i32..).zip(lines) {
        let mut row = supplier_bill_line::ActiveModel {
            bill_id: Set(credit.id),
            position: Set(position),
            description: Set(line.description.clone()),
            amount_cents: Set(line.amount.0),
            cost_cents: Set(line.amount.0),
            ..Default::default()
        };
        match &line.what {
            What::Account(account) => {
                row.account_id = Set(Some(account.id));
                postings.push(Posting::credit(by_code(account), line.amount));
            }
            What::Part(part, quantity, unit_cost, place_id) => {
                let out = Out {
                    part,
                    place_id: *place_id,
                    quantity: *quantity,
                    assumed: Cents(part.cost_cents),
                    kind: StockMoveKind::SentBack,
                    on: credit.billed_on,
                    about: About {
                        account_id: Some(payable),
                        reason: Some(format!("Credit {}", credit.number)),
                        ..About::default()
                    },
                };
                let moved = Ledger::open(tx, act, verb).await?.go_out(out).await?;
                let cost = less(Cents::ZERO, Cents(moved.value_cents))?;
                (given, gone) = (sum([given, line.amount])?, sum([gone, cost])?);
                row.part_id = Set(Some(part.id));
                row.quantity = Set(Some(Exact(quantity.normalize())));
                row.unit_cost_cents = Set(Some(unit_cost.0));
                row.place_id = Set(Some(*place_id));
                row.move_id = Set(Some(moved.id));
                row.cost_cents = Set(cost.0);
            }
        }
        row.insert(tx).await?;
    }
    postings.extend(debit(Role::PartsStock, less(Cents::ZERO, gone)?));
    postings.extend(debit(Role::PartsCostOfSales, less(gone, given)?));
    Ok(postings)
}

/// A credit about a bill is laid against it, as far as that is open. Where something that had settled the bill was undone
/// later than the day of the credit, it is laid on that day: before, the bill was settled.
async fn lay_by_itself(
    tx: &impl ConnectionTrait,
    act: &Act,
    (credit, bill): (&supplier_bill::Model, &supplier_bill::Model),
) -> Result<()> {
    let owed = store::payable_of(tx, bill.id).await?;
    let amount = Cents(owed.open_cents).min(Cents(credit.total_cents));
    if amount <= Cents::ZERO {
        return Ok(());
    }
    let undone_on = store::last_undone(tx, [bill.id]).await?;
    let on = undone_on.map_or(credit.billed_on, |day| day.max(credit.billed_on));
    lay(tx, act, (credit, &owed), (amount, on)).await
}

/// Lays so much of a credit against a bill. Both stand on one account, so nothing is posted.
async fn lay(
    tx: &impl ConnectionTrait,
    act: &Act,
    (credit, owed): (&supplier_bill::Model, &payable::Model),
    (amount, on): (Cents, NaiveDate),
) -> Result<()> {
    let laid = Laid {
        source: Source::Credit(credit.id),
        bill_id: owed.bill_id,
        amount,
        on,
    };
    laid.write(tx, act.at).await?;
    store::take_off(tx, credit.id, amount).await
}

/// What is open on a bill and left of a credit, and what of the one settles the other, for the audit.
#[derive(Debug, Serialize)]
pub struct Standing {
    pub bill: payable::Model,
    pub credit: payable::Model,
    pub laid: Vec<payable_allocation::Model>,
    /// Why it was taken back.
    pub reason: Option<String>,
}

impl Standing {
    /// As it stands now.
    ///
    /// # Errors
    /// Internal only.
    pub async fn of(
        tx: &impl ConnectionTrait,
        (credit_id, bill_id): (i64, i64),
        reason: Option<String>,
    ) -> Result<Self> {
        Ok(Self {
            bill: store::payable_of(tx, bill_id).await?,
            credit: store::payable_of(tx, credit_id).await?,
            laid: store::laid_of_credit(tx, (credit_id, bill_id)).await?,
            reason,
        })
    }
}

/// Credit to lay against a bill.
#[derive(Clone, Debug, Serialize)]
pub struct ApplySupplierCredit {
    #[serde(skip)]
    pub idempotency_key: String,
    pub credit_id: i64,
    pub bill_id: i64,
    pub amount: Cents,
}

/// Lays a supplier's credit against a bill of the same supplier, as of today.
///
/// # Errors
/// `Forbidden`; `NotFound`; `TooMuch` for more than is left of the credit or open on the bill; refusals name the field.
pub async fn apply_supplier_credit(
    act: &Act,
    order: ApplySupplierCredit,
) -> Result<supplier_bill::Model> {
    act.staff_with(Right::ApplySupplierCredit)?;
    let verb = Right::ApplySupplierCredit.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &order.idempotency_key, &order).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get_bill(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    checks.positive("amount", order.amount);
    checks.finish()?;
    let credit = store::get_credit(&tx, ("creditId", order.credit_id)).await?;
    let bill = store::get_bill_of(&tx, ("billId", order.bill_id), credit.supplier_id).await?;
    let before = Standing::of(&tx, (credit.id, bill.id), None).await?;
    let left = Cents(before.credit.open_cents);
    let owed = &before.bill;
    let most = left.min(Cents(owed.open_cents));
    if order.amount > most {
        let message = format!(
            "{left} is left of {}, and {} is open on {}.",
            credit.number,
            Cents(owed.open_cents),
            bill.number
        );
        return Err(Error::refused(ProblemCode::TooMuch, "amount", message));
    }
    let on = shop::settings(&tx).await?.day_of(act.at);
    lay(&tx, act, (&credit, owed), (order.amount, on)).await?;
    let after = Standing::of(&tx, (credit.id, bill.id), None).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, of_bill(bill.id), both).await?;
    once.keep(&tx, act, &bill.id).await?;
    tx.commit().await?;
    Ok(bill)
}
