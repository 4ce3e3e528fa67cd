//! How a bank's files are read, in the graph.

use async_graphql::{ComplexObject, Context, Enum, ID, InputObject, Object, SimpleObject};
use nameplate_entities::bank_layout;

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::payload;

use super::super::importing::take_back_statement;
use super::super::layouts::{self as operations, BankColumns};
use super::BankAccount;
use super::lines::BankStatement;

/// What stands between two columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::BankDelimiter")]
pub enum BankDelimiter {
    /// `,`
    Comma,
    /// `;`
    Semicolon,
    /// A tabulator.
    Tab,
    /// `|`
    Bar,
}

/// How letters are written as bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::BankEncoding")]
pub enum BankEncoding {
    /// UTF-8.
    Utf8,
    /// Windows-1252, as older programs write it.
    Windows1252,
}

/// In which order a date names its parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::DateOrder")]
pub enum DateOrder {
    /// Like 2026-03-31.
    YearMonthDay,
    /// Like 03/31/2026.
    MonthDayYear,
    /// Like 31.03.2026.
    DayMonthYear,
}

/// What stands before the cents.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::DecimalSign")]
pub enum DecimalSign {
    /// Like 1,234.56.
    Point,
    /// Like 1.234,56.
    Comma,
}

/// Which column holds what: its name in the first line, or its place, from 1.
#[derive(SimpleObject, InputObject)]
#[graphql(input_name = "BankColumnsInput")]
pub struct BankColumnNames {
    /// The day of a line.
    day: String,
    /// Amounts with a sign, below zero for money out.
    amount: Option<String>,
    /// Money in, where money in and out have a column each.
    money_in: Option<String>,
    /// Money out, likewise.
    money_out: Option<String>,
    /// What the bank writes.
    text: String,
    /// Who paid or was paid.
    payee: Option<String>,
    /// A number of the check or transfer.
    reference: Option<String>,
    /// The bank's own id of a line.
    bank_id: Option<String>,
    /// The balance after a line.
    balance: Option<String>,
    /// The currency; another than the shop's is refused.
    currency: Option<String>,
}

impl From<BankColumnNames> for BankColumns {
    fn from(names: BankColumnNames) -> Self {
        Self {
            day: names.day,
            amount: names.amount,
            money_in: names.money_in,
            money_out: names.money_out,
            words: names.text,
            payee: names.payee,
            reference: names.reference,
            bank_key: names.bank_id,
            balance: names.balance,
            currency: names.currency,
        }
    }
}

impl From<BankColumns> for BankColumnNames {
    fn from(columns: BankColumns) -> Self {
        Self {
            day: columns.day,
            amount: columns.amount,
            money_in: columns.money_in,
            money_out: columns.money_out,
            text: columns.words,
            payee: columns.payee,
            reference: columns.reference,
            bank_id: columns.bank_key,
            balance: columns.balance,
            currency: columns.currency,
        }
    }
}

/// How the files of an account's bank are read.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct BankLayout {
    /// What stands between two columns.
    delimiter: BankDelimiter,
    /// Whether the first line names the columns.
    has_header: bool,
    /// How letters are written.
    encoding: BankEncoding,
    /// In which order a date names its parts.
    date_order: DateOrder,
    /// What stands before the cents.
    decimal_sign: DecimalSign,
    /// How many days a line and a posting may lie apart to be proposed.
    near_days: i32,
    /// Goes up with each change.
    version: i32,
    #[graphql(skip)]
    row: bank_layout::Model,
}

impl From<bank_layout::Model> for BankLayout {
    fn from(row: bank_layout::Model) -> Self {
        Self {
            delimiter: row.delimiter.into(),
            has_header: row.has_header,
            encoding: row.encoding.into(),
            date_order: row.date_order.into(),
            decimal_sign: row.decimal_sign.into(),
            near_days: row.near_days,
            version: row.version,
            row,
        }
    }
}

#[ComplexObject]
impl BankLayout {
    /// Whose bank.
    async fn account(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<BankAccount>> {
        BankAccount::of(ctx, self.row.account_id).await
    }

    /// Which column holds what.
    async fn columns(&self) -> async_graphql::Result<BankColumnNames> {
        Ok(BankColumns::of(&self.row).map_err(edge)?.into())
    }
}

/// How the files of an account's bank are to be read.
#[derive(InputObject)]
pub struct SaveBankLayoutInput {
    /// The account at a bank.
    bank_account_id: ID,
    /// What stands between two columns.
    delimiter: BankDelimiter,
    /// Whether the first line names the columns.
    has_header: bool,
    /// How letters are written.
    encoding: BankEncoding,
    /// In which order a date names its parts.
    date_order: DateOrder,
    /// What stands before the cents.
    decimal_sign: DecimalSign,
    /// Which column holds what.
    columns: BankColumnNames,
    /// How many days a line and a posting may lie apart to be proposed, 0 to 60; 7 when left out.
    near_days: Option<i32>,
    /// The layout's version as you read it; none for the first.
    version: Option<i32>,
}

impl SaveBankLayoutInput {
    fn command(self) -> Result<operations::SaveBankLayout> {
        Ok(operations::SaveBankLayout {
            account_id: Kind::Account.row("bankAccountId", &self.bank_account_id)?,
            delimiter: self.delimiter.into(),
            has_header: self.has_header,
            encoding: self.encoding.into(),
            date_order: self.date_order.into(),
            decimal_sign: self.decimal_sign.into(),
            columns: self.columns.into(),
            near_days: self.near_days,
            version: self.version,
        })
    }
}

payload! {
    /// What saying how a bank's files are read gave.
    SaveBankLayoutPayload {
        /// The layout as it is now.
        layout: BankLayout
    }
}

/// A file of a bank to take back.
#[derive(InputObject)]
pub struct TakeBackBankStatementInput {
    /// The file; none of its lines is matched.
    statement_id: ID,
}

payload! {
    /// What taking a file back gave.
    TakeBackBankStatementPayload {
        /// The file as it was; neither it nor its lines are there any more.
        statement: BankStatement
    }
}

/// How a bank's files are read.
#[derive(Default)]
pub struct BankLayoutMutation;

#[Object]
impl BankLayoutMutation {
    /// Says how the files of an account's bank are read. `POST` to `/bank-accounts/{id}/statement` then takes one in, and
    /// with `?preview=true` only shows how it would be read.
    async fn save_bank_layout(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The layout.")] input: SaveBankLayoutInput,
    ) -> async_graphql::Result<SaveBankLayoutPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::save_bank_layout(act, input.command()?).await }.await;
        SaveBankLayoutPayload::of(outcome.map(BankLayout::from))
    }

    /// Takes back a file of a bank that was taken in by mistake, with the lines that came with it; it may come again.
    async fn take_back_bank_statement(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The file.")] input: TakeBackBankStatementInput,
    ) -> async_graphql::Result<TakeBackBankStatementPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let id = Kind::BankStatement.row("statementId", &input.statement_id)?;
            take_back_statement(act, id).await
        };
        TakeBackBankStatementPayload::of(outcome.await.map(BankStatement::from))
    }
}
