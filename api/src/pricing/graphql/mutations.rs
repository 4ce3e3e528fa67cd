//! Keeping parts and tax rules; price books are in `book_mutations`.

use async_graphql::{Context, ID, InputObject, Object};
use chrono::NaiveDate;

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::payload;

use super::super::operations;
use super::{ChargeKind, LevelKind, Part, TaxBasis, TaxExemption, TaxJurisdiction};

/// A part to record.
#[derive(InputObject)]
pub struct AddPartInput {
    /// Number as its supplier prints it.
    number: String,
    /// What it is.
    description: String,
    /// Who supplies it.
    supplier: Option<String>,
    /// What it costs now.
    cost: Money,
    /// Sells at this price whatever it costs.
    fixed_price: Option<Money>,
    /// Never sells above this price.
    list_price: Option<Money>,
    /// How long its maker stands behind it.
    maker_warranty_months: Option<i32>,
}

impl From<AddPartInput> for operations::AddPart {
    fn from(input: AddPartInput) -> Self {
        Self {
            number: input.number,
            description: input.description,
            supplier: input.supplier,
            cost: input.cost.0,
            fixed_price: input.fixed_price.map(|price| price.0),
            list_price: input.list_price.map(|price| price.0),
            maker_warranty_months: input.maker_warranty_months,
        }
    }
}

payload! {
    /// What recording a part gave.
    AddPartPayload {
        /// The part as recorded.
        part: Part
    }
}

/// What a part costs from now on.
#[derive(InputObject)]
pub struct ChangePartCostInput {
    /// The part.
    part_id: ID,
    /// The version that was read.
    version: i32,
    /// The new cost.
    cost: Money,
}

impl ChangePartCostInput {
    fn command(self) -> Result<operations::ChangePartCost> {
        Ok(operations::ChangePartCost {
            part_id: Kind::Part.row("partId", &self.part_id)?,
            version: self.version,
            cost: self.cost.0,
        })
    }
}

payload! {
    /// What recording a new cost gave.
    ChangePartCostPayload {
        /// The part as it is now.
        part: Part
    }
}

/// One levying authority.
#[derive(InputObject)]
pub struct TaxLevelInput {
    /// Name as the return asks for it.
    name: String,
    /// Rank.
    kind: LevelKind,
    /// Rate per hundred, 0 to 100.
    rate_percent: ExactDecimal,
}

/// Whether a kind of charge is taxed.
#[derive(InputObject)]
pub struct TaxabilityInput {
    /// The kind of charge.
    charge_kind: ChargeKind,
    /// Taxed or not.
    taxable: bool,
    /// The rule's own words; they stand on every line.
    reason: String,
}

/// Where and how sales are taxed.
#[derive(InputObject)]
pub struct AddTaxJurisdictionInput {
    /// Name; rules of one name follow one another by their day.
    name: String,
    /// What is rounded.
    basis: TaxBasis,
    /// First day of these rules.
    effective_from: NaiveDate,
    /// Levying authorities, in the order of reporting.
    levels: Vec<TaxLevelInput>,
    /// One for each kind of charge.
    taxability: Vec<TaxabilityInput>,
}

impl From<AddTaxJurisdictionInput> for operations::AddTaxJurisdiction {
    fn from(input: AddTaxJurisdictionInput) -> Self {
        let level = |level: TaxLevelInput| operations::NewLevel {
            name: level.name,
            kind: level.kind.into(),
            rate_percent: level.rate_percent.0,
        };
        let rule = |rule: TaxabilityInput| operations::NewTaxability {
            charge_kind: rule.charge_kind.into(),
            taxable: rule.taxable,
            reason: rule.reason,
        };
        Self {
            name: input.name,
            basis: input.basis.into(),
            effective_from: input.effective_from,
            levels: input.levels.into_iter().map(level).collect(),
            taxability: input.taxability.into_iter().map(rule).collect(),
        }
    }
}

payload! {
    /// What recording tax rules gave.
    AddTaxJurisdictionPayload {
        /// The rules as recorded.
        tax_jurisdiction: TaxJurisdiction
    }
}

/// A certificate to record.
#[derive(InputObject)]
pub struct AddTaxExemptionInput {
    /// The customer.
    customer_id: ID,
    /// Number or name of the certificate.
    certificate: String,
    /// Reason given on it.
    reason: String,
    /// First day it covers.
    valid_from: NaiveDate,
    /// Last day it covers; left out for open.
    valid_until: Option<NaiveDate>,
}

impl AddTaxExemptionInput {
    fn command(self) -> Result<operations::AddTaxExemption> {
        Ok(operations::AddTaxExemption {
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            certificate: self.certificate,
            reason: self.reason,
            valid_from: self.valid_from,
            valid_until: self.valid_until,
        })
    }
}

payload! {
    /// What recording a certificate gave.
    AddTaxExemptionPayload {
        /// The certificate as recorded.
        tax_exemption: TaxExemption
    }
}

/// Keeping parts and tax rules.
#[derive(Default)]
pub struct PricingMutation;

#[Object]
impl PricingMutation {
    /// Records a part the shop sells.
    async fn add_part(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The part.")] input: AddPartInput,
    ) -> async_graphql::Result<AddPartPayload> {
        let outcome = operations::add_part(act(ctx)?, input.into()).await;
        AddPartPayload::of(outcome.map(Part::from))
    }

    /// Records what a part costs from now on; estimates keep what they were priced with.
    async fn change_part_cost(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The new cost.")] input: ChangePartCostInput,
    ) -> async_graphql::Result<ChangePartCostPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::change_part_cost(act, input.command()?).await }.await;
        ChangePartCostPayload::of(outcome.map(Part::from))
    }

    /// Records where and how sales are taxed, from a day on.
    async fn add_tax_jurisdiction(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The rules.")] input: AddTaxJurisdictionInput,
    ) -> async_graphql::Result<AddTaxJurisdictionPayload> {
        let outcome = operations::add_tax_jurisdiction(act(ctx)?, input.into()).await;
        AddTaxJurisdictionPayload::of(outcome.map(TaxJurisdiction::from))
    }

    /// Records a customer's exemption certificate.
    async fn add_tax_exemption(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The certificate.")] input: AddTaxExemptionInput,
    ) -> async_graphql::Result<AddTaxExemptionPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::add_tax_exemption(act, input.command()?).await }.await;
        AddTaxExemptionPayload::of(outcome.map(TaxExemption::from))
    }
}
