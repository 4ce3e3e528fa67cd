//! Tax rules and certificates in the graph.

use async_graphql::{ComplexObject, Context, Enum, ID, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::{tax_exemption, tax_jurisdiction, tax_level, tax_method, taxability};
use nameplate_rules::tax::{BracketStep, Method, When};
use rust_decimal::Decimal;

use crate::base::Result;
use crate::customers::graphql::Customer;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::shop;

use super::super::{kinds, tax};
use super::tax_facts::{PricesWord, PurchasesWord, TaxConditions, TreatmentWord};

/// What a line charges for; decides its taxability and its revenue account.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::ChargeKind")]
pub enum ChargeKind {
    /// A part.
    Part,
    /// Work on the machine.
    Labour,
    /// Getting there.
    Trip,
    /// Finding what is wrong.
    Diagnostic,
    /// Getting a part to the shop or the customer.
    Freight,
    /// Any other charge, such as disposal.
    Fee,
}

/// Rank of a levying authority.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::LevelKind")]
pub enum LevelKind {
    /// State.
    State,
    /// County.
    County,
    /// City.
    City,
    /// Special district.
    District,
}

/// What is rounded: each line, or the document.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::TaxBasis")]
pub enum TaxBasis {
    /// The tax of each line is rounded, then added.
    Item,
    /// The taxable lines are added, then the tax is rounded once.
    Invoice,
}

/// One levying authority of a place.
#[derive(SimpleObject)]
pub struct TaxLevel {
    /// Name as the return asks for it.
    name: String,
    /// Rank.
    kind: LevelKind,
    /// Rate per hundred.
    rate_percent: ExactDecimal,
    /// First day in force; null for as long as the rules are.
    from_on: Option<NaiveDate>,
    /// Last day in force; null for open.
    until_on: Option<NaiveDate>,
    /// Kinds of charge it leaves alone though the others tax them.
    exempts: Vec<ChargeKind>,
    /// The row of a published rate table it follows: state, type and code, with colons between.
    rate_code: Option<String>,
}

/// A rule of taxability for a kind of charge; the first whose conditions hold decides.
#[derive(SimpleObject)]
pub struct Taxability {
    /// The kind of charge.
    charge_kind: ChargeKind,
    /// Whether this rule can tax it.
    taxable: bool,
    /// What it does with the charge.
    treatment: TreatmentWord,
    /// Its conditions; null for a rule that always applies.
    when: Option<TaxConditions>,
    /// The rule's own words, shown on every line.
    reason: String,
    /// First day it applies; null for always.
    from_on: Option<NaiveDate>,
    /// Last day it applies; null for open.
    until_on: Option<NaiveDate>,
    /// Whether a sale decided by it must state parts apart from labour.
    parts_apart: bool,
}

impl Taxability {
    fn shown(row: &taxability::Model) -> Result<Self> {
        let rule = tax::rule(row)?;
        let treatment = rule.treatment;
        Ok(Self {
            charge_kind: row.charge_kind.into(),
            taxable: treatment != nameplate_rules::tax::Treatment::NotTaxed,
            treatment: treatment.into(),
            when: Some(rule.when)
                .filter(|when| *when != When::default())
                .map(TaxConditions::from),
            reason: rule.reason,
            from_on: rule.from_on,
            until_on: rule.until_on,
            parts_apart: rule.parts_apart,
        })
    }
}

/// A way of rounding and the day it begins to apply.
#[derive(SimpleObject)]
pub struct TaxMethod {
    /// First day.
    from_on: NaiveDate,
    /// The bracket table; null for rounding by rule: up when the third decimal exceeds four.
    brackets: Option<TaxBracketTable>,
}

/// A bracket table: so much a whole dollar, and steps for what is over.
#[derive(SimpleObject)]
pub struct TaxBracketTable {
    /// Tax on each whole dollar.
    whole_dollar_tax: Money,
    /// Steps for amounts under one dollar; beyond the last, the tax of a whole dollar.
    under_a_dollar: Vec<TaxBracketStep>,
    /// Steps for the cents over whole dollars; beyond the last, the tax of a whole dollar.
    over_whole_dollars: Vec<TaxBracketStep>,
}

/// One step of a bracket table.
#[derive(SimpleObject)]
pub struct TaxBracketStep {
    /// Highest amount of this step, itself inside.
    up_to: Money,
    /// Tax on it.
    tax: Money,
}

impl TaxMethod {
    fn shown(row: &tax_method::Model) -> Result<Self> {
        let step = |step: BracketStep| TaxBracketStep {
            up_to: step.up_to_cents.into(),
            tax: step.tax_cents.into(),
        };
        let dated = tax::method(row)?;
        let brackets = match dated.method {
            Method::Section324 => None,
            Method::Brackets(table) => Some(TaxBracketTable {
                whole_dollar_tax: table.whole_dollar_tax_cents.into(),
                under_a_dollar: table.under_a_dollar.into_iter().map(step).collect(),
                over_whole_dollars: table.over_whole_dollars.into_iter().map(step).collect(),
            }),
        };
        Ok(Self {
            from_on: dated.from_on,
            brackets,
        })
    }
}

/// Where and how sales are taxed, from a day on.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct TaxJurisdiction {
    /// Name; rules of one name follow one another by their day.
    name: String,
    /// What is rounded.
    basis: TaxBasis,
    /// First day of these rules.
    effective_from: NaiveDate,
    /// Whether prices hold the tax.
    prices: PricesWord,
    /// The most that all levels but the state's may add up to, per hundred; null for no ceiling.
    local_ceiling_percent: Option<ExactDecimal>,
    #[graphql(skip)]
    row: tax_jurisdiction::Model,
}

impl From<tax_jurisdiction::Model> for TaxJurisdiction {
    fn from(row: tax_jurisdiction::Model) -> Self {
        Self {
            name: row.name.clone(),
            basis: row.basis.into(),
            effective_from: row.effective_from,
            prices: kinds::prices_of_row(row.prices).into(),
            local_ceiling_percent: row.local_ceiling_percent.map(Into::into),
            row,
        }
    }
}

impl TaxJurisdiction {
    /// The jurisdiction behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<tax_jurisdiction::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The jurisdiction with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        Self::of(ctx, id).await
    }

    async fn level_rows(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<tax_level::Model>> {
        let column = tax_level::Column::TaxJurisdictionId;
        let mut rows = loaders::children::<tax_level::Entity>(ctx, column, self.row.id).await?;
        rows.sort_by_key(|row| row.position);
        Ok(rows)
    }
}

#[ComplexObject]
impl TaxJurisdiction {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::TaxJurisdiction.id(self.row.id)
    }

    /// Its levying authorities, in the order of reporting.
    async fn levels(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<TaxLevel>> {
        let shown = |row: tax_level::Model| -> Result<TaxLevel> {
            let level = tax::level(&row)?;
            let exempts = level.exempts.into_iter().map(kinds::charge_for_row);
            Ok(TaxLevel {
                exempts: exempts.map(ChargeKind::from).collect(),
                name: row.name,
                kind: row.kind.into(),
                rate_percent: row.rate_percent.into(),
                from_on: row.from_on,
                until_on: row.until_on,
                rate_code: row.rate_code,
            })
        };
        let rows = self.level_rows(ctx).await?;
        rows.into_iter()
            .map(shown)
            .collect::<Result<_>>()
            .map_err(edge)
    }

    /// The rates of its levels together on the first day of these rules, per hundred.
    async fn total_rate_percent(&self, ctx: &Context<'_>) -> async_graphql::Result<ExactDecimal> {
        let first = self.row.effective_from;
        let in_force = |row: &&tax_level::Model| {
            row.from_on.is_none_or(|from| from <= first)
                && row.until_on.is_none_or(|until| first <= until)
        };
        let rows = self.level_rows(ctx).await?;
        let rates = rows.iter().filter(in_force).map(|row| row.rate_percent.0);
        Ok(ExactDecimal(rates.sum::<Decimal>().normalize()))
    }

    /// Its rules of taxability, in order for each kind of charge.
    async fn taxability(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Taxability>> {
        let column = taxability::Column::TaxJurisdictionId;
        let mut rows = loaders::children::<taxability::Entity>(ctx, column, self.row.id).await?;
        rows.sort_by_key(|row| (kinds::charge_of_row(row.charge_kind), row.position));
        rows.iter()
            .map(Taxability::shown)
            .collect::<Result<_>>()
            .map_err(edge)
    }

    /// Ways of rounding by their days; before the first of them, and with none, by rule.
    async fn methods(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<TaxMethod>> {
        let column = tax_method::Column::TaxJurisdictionId;
        let mut rows = loaders::children::<tax_method::Entity>(ctx, column, self.row.id).await?;
        rows.sort_by_key(|row| row.from_on);
        rows.iter()
            .map(TaxMethod::shown)
            .collect::<Result<_>>()
            .map_err(edge)
    }
}

/// A customer's exemption certificate, on file or only claimed.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct TaxExemption {
    /// Number or name of the certificate.
    certificate: String,
    /// Reason given on it.
    reason: String,
    /// First day it covers.
    valid_from: NaiveDate,
    /// Last day it covers; null for open.
    valid_until: Option<NaiveDate>,
    /// The buyer's name as it stands there.
    buyer_name: Option<String>,
    /// The buyer's business address.
    business_address: Option<String>,
    /// The buyer's tax identification number.
    tax_id: Option<String>,
    /// The buyer's type of business.
    business_type: Option<String>,
    /// Day the shop took it; null while the customer only says to be exempt.
    received_on: Option<NaiveDate>,
    /// Which purchases it is for.
    purchases: PurchasesWord,
    /// Day of the last purchase billed under it.
    last_purchase_on: Option<NaiveDate>,
    /// Version, to send back with a change.
    version: i32,
    #[graphql(skip)]
    row: tax_exemption::Model,
}

impl From<tax_exemption::Model> for TaxExemption {
    fn from(row: tax_exemption::Model) -> Self {
        Self {
            certificate: row.certificate.clone(),
            reason: row.reason.clone(),
            valid_from: row.valid_from,
            valid_until: row.valid_until,
            buyer_name: row.buyer_name.clone(),
            business_address: row.business_address.clone(),
            tax_id: row.tax_id.clone(),
            business_type: row.business_type.clone(),
            received_on: row.received_on,
            purchases: kinds::purchases_of_row(row.purchases).into(),
            last_purchase_on: row.last_purchase_on,
            version: row.version,
            row,
        }
    }
}

#[ComplexObject]
impl TaxExemption {
    /// Opaque id.
    async fn id(&self) -> ID {
        Kind::TaxExemption.id(self.row.id)
    }

    /// Whose certificate it is.
    async fn customer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Customer>> {
        Customer::of(ctx, self.row.customer_id).await
    }

    /// Whether it counts for a sale of today, and if not, why: "counts", or "ended on 2025-12-31".
    #[graphql(complexity = 10)]
    async fn standing(&self, ctx: &Context<'_>) -> async_graphql::Result<String> {
        let settings = shop::settings(reader(ctx)?).await.map_err(edge)?;
        let today = settings.day_of(act(ctx)?.at);
        let held = tax::certificate(self.row.clone());
        Ok(held.rules.standing(today).to_string())
    }
}
