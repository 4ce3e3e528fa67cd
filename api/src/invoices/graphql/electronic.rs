//! Which customers want e-invoices.

use async_graphql::{Context, ID, InputObject, Object, SimpleObject};
use nameplate_entities::e_invoicing;

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::payload;

use super::super::electronic::settings;

/// What a customer wants of e-invoices.
#[derive(SimpleObject)]
pub struct EInvoicing {
    /// Whether the file comes with each mail of an invoice or credit note.
    wanted: bool,
    /// What the buyer wants to find on it, such as a cost centre.
    buyer_reference: Option<String>,
    /// The buyer's number in a register.
    registration: Option<String>,
    /// To send back when changing it.
    version: i32,
}

impl From<e_invoicing::Model> for EInvoicing {
    fn from(row: e_invoicing::Model) -> Self {
        Self {
            wanted: row.wanted,
            buyer_reference: row.buyer_reference,
            registration: row.registration,
            version: row.version,
        }
    }
}

/// What a customer wants of e-invoices, in place of what was written before.
#[derive(InputObject)]
pub struct ChangeEInvoicingInput {
    /// The customer, an organisation.
    customer_id: ID,
    /// Whether the file comes with each mail of an invoice or credit note.
    wanted: bool,
    /// What the buyer wants to find on it, such as a cost centre.
    buyer_reference: Option<String>,
    /// The buyer's number in a register.
    registration: Option<String>,
    /// The version as you read it; none for the first.
    version: Option<i32>,
}

impl ChangeEInvoicingInput {
    fn command(self) -> Result<settings::ChangeEInvoicing> {
        Ok(settings::ChangeEInvoicing {
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            wanted: self.wanted,
            buyer_reference: self.buyer_reference,
            registration: self.registration,
            version: self.version,
        })
    }
}

payload! {
    /// What writing it down gave.
    ChangeEInvoicingPayload {
        /// What the customer wants now.
        e_invoicing: EInvoicing
    }
}

/// Which customers want e-invoices.
#[derive(Default)]
pub struct EInvoicesMutation;

#[Object]
impl EInvoicesMutation {
    /// Writes down whether a customer wants e-invoices, and what these say.
    async fn change_e_invoicing(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What the customer wants.")] input: ChangeEInvoicingInput,
    ) -> async_graphql::Result<ChangeEInvoicingPayload> {
        let act = act(ctx)?;
        let outcome = async { settings::change_e_invoicing(act, input.command()?).await }.await;
        ChangeEInvoicingPayload::of(outcome.map(EInvoicing::from))
    }
}
