//! Keeping price books, parts and tax rules.

use async_graphql::{Context, ID, InputObject, Object};
use chrono::NaiveDate;

use crate::base::Result;
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::payload;

use super::super::operations;
use super::{
    ChargeKind, LevelKind, MarkupKind, Part, PriceBook, PriceEnding, TaxBasis, TaxExemption,
    TaxJurisdiction,
};

/// One step of a markup schedule.
#[derive(InputObject)]
pub struct MarkupBracketInput {
    /// Highest cost of this bracket, itself inside; left out for the last, open bracket.
    up_to: Option<Money>,
    /// Price per unit of cost, 1 to 100.
    multiplier: ExactDecimal,
}

/// A price book to draft.
#[derive(InputObject)]
pub struct DraftPriceBookInput {
    /// Name, such as the period it is for.
    name: String,
    /// First day it is used.
    effective_from: NaiveDate,
    /// Price of an hour of one technician.
    hourly_rate: Money,
    /// Whether the first hour is billed whole.
    #[graphql(default = true)]
    first_hour_minimum: bool,
    /// Time is rounded up to a multiple of this, 1 to 60.
    #[graphql(default = 15)]
    increment_minutes: i32,
    /// Factor for work after hours, 1 to 100; 1.5 when left out.
    after_hours_multiplier: Option<ExactDecimal>,
    /// Charge for one trip.
    trip: Money,
    /// Charge for finding what is wrong.
    diagnostic: Money,
    /// Whether that charge is credited when the repair is accepted.
    #[graphql(default = true)]
    diagnostic_credited: bool,
    /// How the brackets apply.
    markup_kind: MarkupKind,
    /// Least a part earns over its cost; nothing when left out.
    minimum_markup: Option<Money>,
    /// The cents a part price is lifted to; as computed when left out.
    price_ending: Option<PriceEnding>,
    /// Steps from the cheapest cost up; the last is open.
    brackets: Vec<MarkupBracketInput>,
}

impl From<DraftPriceBookInput> for operations::DraftPriceBook {
    fn from(input: DraftPriceBookInput) -> Self {
        let usual = rust_decimal::Decimal::new(15, 1);
        let bracket = |bracket: MarkupBracketInput| operations::NewBracket {
            up_to: bracket.up_to.map(|edge| edge.0),
            multiplier: bracket.multiplier.0,
        };
        Self {
            name: input.name,
            effective_from: input.effective_from,
            hourly_rate: input.hourly_rate.0,
            first_hour_minimum: input.first_hour_minimum,
            increment_minutes: input.increment_minutes,
            after_hours_multiplier: input.after_hours_multiplier.map_or(usual, |given| given.0),
            trip: input.trip.0,
            diagnostic: input.diagnostic.0,
            diagnostic_credited: input.diagnostic_credited,
            markup_kind: input.markup_kind.into(),
            minimum_markup: input
                .minimum_markup
                .map_or_else(Default::default, |least| least.0),
            price_ending: input.price_ending.unwrap_or(PriceEnding::AsComputed).into(),
            brackets: input.brackets.into_iter().map(bracket).collect(),
        }
    }
}

payload! {
    /// What drafting a price book gave.
    DraftPriceBookPayload {
        /// The draft; look at its inversions before adopting it.
        price_book: PriceBook
    }
}

/// A drafted price book to put to use.
#[derive(InputObject)]
pub struct AdoptPriceBookInput {
    /// The draft.
    price_book_id: ID,
}

payload! {
    /// What adopting a price book gave.
    AdoptPriceBookPayload {
        /// The book in use.
        price_book: PriceBook
    }
}

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

/// Keeping price books, parts and tax rules.
#[derive(Default)]
pub struct PricingMutation;

#[Object]
impl PricingMutation {
    /// Begins a price book: all rates and the whole markup schedule at once.
    async fn draft_price_book(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The price book.")] input: DraftPriceBookInput,
    ) -> async_graphql::Result<DraftPriceBookPayload> {
        let outcome = operations::draft_price_book(act(ctx)?, input.into()).await;
        DraftPriceBookPayload::of(outcome.map(PriceBook::from))
    }

    /// Puts a drafted price book to use from its day on; it is never edited afterwards.
    async fn adopt_price_book(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which draft.")] input: AdoptPriceBookInput,
    ) -> async_graphql::Result<AdoptPriceBookPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let book = Kind::PriceBook.row("priceBookId", &input.price_book_id)?;
            operations::adopt_price_book(act, book).await
        }
        .await;
        AdoptPriceBookPayload::of(outcome.map(PriceBook::from))
    }

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
