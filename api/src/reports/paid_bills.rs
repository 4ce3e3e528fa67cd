//! Expenses of suppliers' bills as far as they are paid.
//!
//! On the cash basis a bill counts when it is paid, not when it is recorded (26 CFR 1.446-1(c)(1)(i), 1.461-1(a)(1)). What
//! is paid of a bill is divided over its lines; what falls on an expense counts, on the day paid. A credit laid against a
//! bill pays it too, and takes off as much of what the credit itself is about. A payment that is undone counts no more from
//! the day it is undone.
//!
//! Parts bought into stock are no expense when they are paid, but when they are used, as the stock says; so is what a bill
//! asks above or below the cost a receipt was entered at, on the bill's day. That is how a shop that keeps an inventory
//! counts (26 CFR 1.471-1(a)), and close to the non-incidental supplies of a small taxpayer, which count when used or paid,
//! whichever is later (26 CFR 1.471-1(b)(4)); parts used before they are paid count here when they are used. Other methods
//! that 26 CFR 1.471-1(b) leaves to a small taxpayer, such as that of its own books, are not built.

use std::collections::{BTreeMap, HashMap};

use nameplate_rules::books::cash::{Settled, counted_between};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::{Error, Result};

use super::cash::add;
use super::store::Span;
use super::store::bills;
use super::too_large;

/// Bills taken apart together.
const PAGE: u64 = 1_000;

/// By how much expenses differ from what the books say, by account: what was paid of bills less what bills were recorded.
/// Three statements for a thousand bills, and one more.
pub async fn paid_less_recorded(
    db: &impl ConnectionTrait,
    span: Span,
) -> Result<BTreeMap<i64, Cents>> {
    let mut expenses = BTreeMap::new();
    for row in bills::recorded(db, span).await? {
        add(
            expenses.entry(row.account_id).or_default(),
            turned(Cents(row.cents))?,
        )?;
    }
    let mut after = 0;
    loop {
        let ids = bills::moved(db, span, (after, PAGE)).await?;
        let Some(last) = ids.last() else {
            return Ok(expenses);
        };
        after = *last;
        let (lines, settled) = bills::settled(db, span, &ids).await?;
        let mut of_bill: HashMap<i64, Bill> = HashMap::new();
        for line in lines {
            of_bill.entry(line.bill_id).or_default().take(&line);
        }
        for row in settled {
            if let Some(bill) = of_bill.get(&row.bill_id) {
                bill.count(
                    &mut expenses,
                    (Cents(row.before_cents), Cents(row.through_cents)),
                )?;
            }
        }
        if u64::try_from(ids.len()).is_ok_and(|count| count < PAGE) {
            return Ok(expenses);
        }
    }
}

/// A bill or credit by its lines.
#[derive(Default)]
struct Bill {
    is_credit: bool,
    /// By position.
    lines: BTreeMap<i32, Cents>,
    /// The account of each line that is an expense.
    accounts: HashMap<i32, i64>,
}

impl Bill {
    fn take(&mut self, line: &bills::BillLine) {
        self.is_credit = line.is_credit;
        self.lines.insert(line.position, Cents(line.amount_cents));
        if let Some(id) = line.account_id {
            self.accounts.insert(line.position, id);
        }
    }

    /// Adds what was settled between the two ends to the accounts of its lines.
    fn count(
        &self,
        expenses: &mut BTreeMap<i64, Cents>,
        (before, through): (Cents, Cents),
    ) -> Result<()> {
        if self.accounts.is_empty() {
            return Ok(());
        }
        let settled = |paid| Settled {
            parts: self.lines.clone(),
            paid,
        };
        let counted = counted_between(&settled(before), &settled(through)).map_err(too_large)?;
        for (position, amount) in counted {
            if let Some(id) = self.accounts.get(&position) {
                let amount = if self.is_credit {
                    turned(amount)?
                } else {
                    amount
                };
                add(expenses.entry(*id).or_default(), amount)?;
            }
        }
        Ok(())
    }
}

fn turned(amount: Cents) -> Result<Cents> {
    amount
        .checked_neg()
        .ok_or_else(|| Error::internal("a sum is too large"))
}
