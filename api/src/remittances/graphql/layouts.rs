//! How payers' advices are read, in the graph.

use async_graphql::{ComplexObject, Context, ID, InputObject, SimpleObject};
use nameplate_entities::advice_layout;

use crate::banking::graphql::layouts::{BankDelimiter, BankEncoding, DateOrder, DecimalSign};
use crate::base::Result;
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::payload;
use crate::warranty::graphql::WarrantyPayer;

use super::super::layouts::{AdviceColumns, SetAdviceLayout};

/// Which column holds what: its name in the first line, or its place, from 1.
#[derive(SimpleObject, InputObject)]
#[graphql(input_name = "AdviceColumnsInput")]
pub struct AdviceColumnNames {
    /// The claim: the shop's number of it, or the payer's own.
    claim: String,
    /// What is paid.
    paid: String,
    /// What is refused.
    refused: Option<String>,
    /// The payer's code of why.
    reason: Option<String>,
    /// What the payer writes.
    note: Option<String>,
    /// The day of a row.
    day: Option<String>,
    /// The payer's number of the payment; all rows of a file are of one.
    reference: Option<String>,
}

impl From<AdviceColumnNames> for AdviceColumns {
    fn from(names: AdviceColumnNames) -> Self {
        Self {
            claim: names.claim,
            paid: names.paid,
            refused: names.refused,
            reason: names.reason,
            note: names.note,
            day: names.day,
            reference: names.reference,
        }
    }
}

impl From<AdviceColumns> for AdviceColumnNames {
    fn from(columns: AdviceColumns) -> Self {
        Self {
            claim: columns.claim,
            paid: columns.paid,
            refused: columns.refused,
            reason: columns.reason,
            note: columns.note,
            day: columns.day,
            reference: columns.reference,
        }
    }
}

/// How the advices of a payer are read.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct AdviceLayout {
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
    /// Goes up with each change.
    version: i32,
    #[graphql(skip)]
    row: advice_layout::Model,
}

impl From<advice_layout::Model> for AdviceLayout {
    fn from(row: advice_layout::Model) -> Self {
        Self {
            delimiter: row.delimiter.into(),
            has_header: row.has_header,
            encoding: row.encoding.into(),
            date_order: row.date_order.into(),
            decimal_sign: row.decimal_sign.into(),
            version: row.version,
            row,
        }
    }
}

#[ComplexObject]
impl AdviceLayout {
    /// Whose advices.
    async fn payer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<WarrantyPayer>> {
        WarrantyPayer::of(ctx, self.row.payer_id).await
    }

    /// Which column holds what.
    async fn columns(&self) -> async_graphql::Result<AdviceColumnNames> {
        Ok(AdviceColumns::of(&self.row).map_err(edge)?.into())
    }
}

/// How the advices of a payer are to be read.
#[derive(InputObject)]
pub struct SetAdviceLayoutInput {
    /// The payer.
    payer_id: ID,
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
    columns: AdviceColumnNames,
    /// The layout's version as you read it; none for the first.
    version: Option<i32>,
}

impl SetAdviceLayoutInput {
    /// What is to be done.
    ///
    /// # Errors
    /// `NotFound` at `payerId`.
    pub fn command(self) -> Result<SetAdviceLayout> {
        Ok(SetAdviceLayout {
            payer_id: Kind::WarrantyPayer.row("payerId", &self.payer_id)?,
            delimiter: self.delimiter.into(),
            has_header: self.has_header,
            encoding: self.encoding.into(),
            date_order: self.date_order.into(),
            decimal_sign: self.decimal_sign.into(),
            columns: self.columns.into(),
            version: self.version,
        })
    }
}

payload! {
    /// What saying how a payer's advices are read gave.
    SetAdviceLayoutPayload {
        /// The layout as it is now.
        layout: AdviceLayout
    }
}
