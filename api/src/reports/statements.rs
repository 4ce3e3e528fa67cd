//! The statements of the books: each account with its sum, and what the sums add up to.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use nameplate_entities::account;
use nameplate_rules::books::statements::{self, TrialBalance as Sums};
use nameplate_rules::books::{AccountKind, Role, Side};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::{Error, Result};
use crate::books::{self, Balance, Closings, Days, balances, role_key};

use super::store::Span;
use super::{Basis, cash, paid_bills, too_large};

/// Accounts with a balance, by code, and their sums, row for row.
pub struct Statement {
    pub balances: Vec<Balance>,
    pub sums: Sums<String>,
}

impl Statement {
    fn of(mut balances: Vec<Balance>) -> Result<Self> {
        balances.retain(|balance| balance.balance_cents != 0);
        let amounts = balances.iter().map(|balance| {
            let amount = Cents(balance.balance_cents);
            (balance.code.clone(), balance.rules_kind(), amount)
        });
        let sums = statements::trial_balance(amounts).map_err(too_large)?;
        Ok(Self { balances, sums })
    }

    /// The accounts of one class, each with its balance positive on the side on which the class grows.
    pub fn of_kind(&self, kind: AccountKind) -> impl Iterator<Item = (&Balance, Cents)> {
        self.balances
            .iter()
            .filter(move |balance| balance.rules_kind() == kind)
            .map(move |balance| {
                let cents = balance.balance_cents;
                let shown = match kind.normal_side() {
                    Side::Debit => cents,
                    Side::Credit => cents.saturating_neg(),
                };
                (balance, Cents(shown))
            })
    }
}

/// The trial balance through a day; with the entries that closed a year on that very day, or before them.
pub async fn trial_balance(
    db: &impl ConnectionTrait,
    on: NaiveDate,
    before_closing: bool,
) -> Result<Statement> {
    let closings = if before_closing {
        Closings::LeaveOutOnLastDay
    } else {
        Closings::Count
    };
    let days = Days {
        closings,
        ..Days::through(on)
    };
    Statement::of(balances(db, days).await?)
}

/// What the shop has and owes on a day. A year closed on that very day is shown with its result still apart, so that the
/// sheet reads the same before and after it is closed.
pub async fn balance_sheet(db: &impl ConnectionTrait, on: NaiveDate) -> Result<Statement> {
    trial_balance(db, on, true).await
}

/// Revenue and expenses of some days. Entries that close a year do not count.
///
/// On the cash basis, entries of invoices and others that touch what is owed on them are left out, and sales count as far
/// as they are paid, after their discounts. Expenses of suppliers' bills count as far as they are paid, other expenses and
/// the cost of parts used on the day they are posted.
pub async fn income(db: &impl ConnectionTrait, span: Span, basis: Basis) -> Result<Statement> {
    let days = Days {
        from: Some(span.from),
        through: Some(span.to),
        closings: Closings::LeaveOut,
        without_invoices: basis == Basis::Cash,
    };
    let mut rows = balances(db, days).await?;
    if basis == Basis::Cash {
        count_as_paid(db, span, &mut rows).await?;
    }
    rows.retain(|row| {
        matches!(
            row.rules_kind(),
            AccountKind::Revenue | AccountKind::Expense
        )
    });
    Statement::of(rows)
}

/// Sales of invoices come to the rest, and expenses of bills move to the days they are paid on.
async fn count_as_paid(
    db: &impl ConnectionTrait,
    span: Span,
    rows: &mut Vec<Balance>,
) -> Result<()> {
    let mut by_role: BTreeMap<Role, Cents> = BTreeMap::new();
    for (sale, amount) in cash::cash(db, span).await?.sales {
        cash::add(by_role.entry(sale.role).or_insert(Cents::ZERO), amount)?;
    }
    let expenses = paid_bills::paid_less_recorded(db, span).await?;
    let chart = books::chart(db).await?;
    for (role, amount) in by_role {
        let key = role_key(role);
        let account = chart.iter().find(|row| row.role.as_deref() == Some(&*key));
        add_to(rows, account, amount.checked_neg())?;
    }
    for (account_id, amount) in expenses {
        let account = chart.iter().find(|row| row.id == account_id);
        add_to(rows, account, Some(amount))?;
    }
    rows.sort_by(|a, b| a.code.cmp(&b.code));
    Ok(())
}

/// Adds a debit to the account's row, which is made where there is none.
fn add_to(
    rows: &mut Vec<Balance>,
    account: Option<&account::Model>,
    debit: Option<Cents>,
) -> Result<()> {
    let account = account.ok_or_else(|| Error::internal("an account is not in the chart"))?;
    let mut row = Balance::from(account.clone());
    if let Some(at) = rows.iter().position(|row| row.id == account.id) {
        row = rows.swap_remove(at);
    }
    let mut balance = Cents(row.balance_cents);
    let debit = debit.ok_or_else(|| Error::internal("a sum is too large"))?;
    cash::add(&mut balance, debit)?;
    row.balance_cents = balance.0;
    rows.push(row);
    Ok(())
}
