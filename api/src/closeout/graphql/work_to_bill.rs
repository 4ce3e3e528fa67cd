//! The work of a call as lines to look at, change and bill.

use async_graphql::{ComplexObject, Context, ID, Object, SimpleObject};

use crate::base::Error;
use crate::calls::graphql::ServiceCall;
use crate::closeout::proposing;
use crate::estimates::{NewLine, PricedLine};
use crate::graphql::context::{act, reader};
use crate::graphql::error::{Problem, edge};
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::pricing::graphql::{ChargeKind, Part};
use crate::shop::graphql::Staff;

/// What a call comes to by what is on record of it: parts fitted, time of each technician, one trip. Nothing is written;
/// hand the lines to `issueInvoice` as its `option`, changed as needed.
#[derive(SimpleObject)]
pub struct WorkToBill {
    /// The call.
    call: ServiceCall,
    /// What could be priced, as it is typed for `issueInvoice`.
    lines: Vec<WorkToBillLine>,
    /// The same as it would be billed today.
    charges: Vec<WorkToBillCharge>,
    /// Sum of the charges before discount and tax.
    net: Money,
    /// What is taken off, such as a credited diagnosis.
    discount: Money,
    /// The tax.
    tax: Money,
    /// What the customer would owe.
    total: Money,
    /// What is on record and is not among the lines, and why.
    left_out: Vec<String>,
    /// Why `issueInvoice` would refuse it now; empty when nothing is in the way but what the place asks of the lines.
    in_the_way: Vec<Problem>,
}

/// A line as it is typed; what it leaves out comes from the price book.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct WorkToBillLine {
    /// What it charges for.
    kind: ChargeKind,
    /// How many of a part.
    quantity: Option<ExactDecimal>,
    /// Minutes on record, for labour.
    minutes: Option<i32>,
    #[graphql(skip)]
    part_id: Option<i64>,
    #[graphql(skip)]
    technician_id: Option<i64>,
}

impl From<NewLine> for WorkToBillLine {
    fn from(line: NewLine) -> Self {
        Self {
            kind: line.kind.into(),
            quantity: line.quantity.map(ExactDecimal),
            minutes: line.minutes,
            part_id: line.part_id,
            technician_id: line.terms.technician_id,
        }
    }
}

#[ComplexObject]
impl WorkToBillLine {
    /// The part that was fitted.
    async fn part(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Part>> {
        match self.part_id {
            Some(id) => Part::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Who worked, for labour at that person's grade; null at the book's own rate.
    async fn technician(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        match self.technician_id {
            Some(id) => Staff::of(ctx, id).await,
            None => Ok(None),
        }
    }
}

/// A charge as it would be billed; a part may bring its deposit and freight as charges of their own.
#[derive(SimpleObject)]
pub struct WorkToBillCharge {
    /// What it charges for.
    kind: ChargeKind,
    /// Description as printed.
    description: String,
    /// How many; labour in billed hours.
    quantity: ExactDecimal,
    /// Price of one; labour by the hour.
    unit_price: Money,
    /// Price before discount and tax.
    net: Money,
    /// Its share of discounts.
    discount: Money,
    /// Its share of the tax.
    tax: Money,
    /// Why it is or is not taxed.
    tax_reason: String,
}

impl From<&PricedLine> for WorkToBillCharge {
    fn from(line: &PricedLine) -> Self {
        Self {
            kind: line.kind.into(),
            description: line.description.clone(),
            quantity: ExactDecimal(line.quantity),
            unit_price: line.unit_price.into(),
            net: line.net.into(),
            discount: line.discount.into(),
            tax: line.tax.tax_cents.into(),
            tax_reason: line.tax.reason.clone(),
        }
    }
}

impl From<proposing::WorkToBill> for WorkToBill {
    fn from(found: proposing::WorkToBill) -> Self {
        let proposed = found.proposed;
        let option = proposed.work.as_ref().map(|work| &work.option);
        let sum = |of: fn(&crate::estimates::PricedOption) -> Money| {
            option.map_or_else(|| Money::cents(0), of)
        };
        Self {
            call: found.call.into(),
            charges: option
                .map(|option| option.lines.iter().map(WorkToBillCharge::from).collect())
                .unwrap_or_default(),
            net: sum(|option| option.net.into()),
            discount: sum(|option| option.discount.into()),
            tax: sum(|option| option.tax.total_cents.into()),
            total: sum(|option| option.total.into()),
            lines: proposed
                .lines
                .into_iter()
                .map(WorkToBillLine::from)
                .collect(),
            left_out: proposed.left_out,
            in_the_way: found.in_the_way.into_iter().map(Problem::from).collect(),
        }
    }
}

/// What calls come to.
#[derive(Default)]
pub struct CloseoutQuery;

#[Object]
impl CloseoutQuery {
    /// What the work of a call comes to by what is on record of it, for a call that nothing was accepted for; null if
    /// there is no such call.
    async fn work_to_bill(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The call.")] call_id: ID,
    ) -> async_graphql::Result<Option<WorkToBill>> {
        let Ok(row) = Kind::ServiceCall.row("callId", &call_id) else {
            return Ok(None);
        };
        match proposing::work_to_bill(reader(ctx)?, act(ctx)?, row).await {
            Ok(found) => Ok(Some(found.into())),
            Err(Error::Refused(_)) => Ok(None),
            Err(error) => Err(edge(error)),
        }
    }
}
