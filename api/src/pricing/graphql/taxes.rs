//! Tax rules and certificates in the graph.

use async_graphql::{ComplexObject, Context, Enum, ID, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::{tax_exemption, tax_jurisdiction, tax_level, taxability};
use rust_decimal::Decimal;

use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::ExactDecimal;

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
}

/// Whether a kind of charge is taxed in a place, and why.
#[derive(SimpleObject)]
pub struct Taxability {
    /// The kind of charge.
    charge_kind: ChargeKind,
    /// Taxed or not.
    taxable: bool,
    /// The rule's own words, shown on every line.
    reason: String,
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
    #[graphql(skip)]
    row: tax_jurisdiction::Model,
}

impl From<tax_jurisdiction::Model> for TaxJurisdiction {
    fn from(row: tax_jurisdiction::Model) -> Self {
        Self {
            name: row.name.clone(),
            basis: row.basis.into(),
            effective_from: row.effective_from,
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
        let shown = |row: tax_level::Model| TaxLevel {
            name: row.name,
            kind: row.kind.into(),
            rate_percent: row.rate_percent.into(),
        };
        Ok(self.level_rows(ctx).await?.into_iter().map(shown).collect())
    }

    /// The rates of its levels together, per hundred.
    async fn total_rate_percent(&self, ctx: &Context<'_>) -> async_graphql::Result<ExactDecimal> {
        let rows = self.level_rows(ctx).await?;
        let total: Decimal = rows.iter().map(|row| row.rate_percent.0).sum();
        Ok(ExactDecimal(total.normalize()))
    }

    /// Whether each kind of charge is taxed there.
    async fn taxability(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<Taxability>> {
        let column = taxability::Column::TaxJurisdictionId;
        let rows = loaders::children::<taxability::Entity>(ctx, column, self.row.id).await?;
        let shown = |row: taxability::Model| Taxability {
            charge_kind: row.charge_kind.into(),
            taxable: row.taxable,
            reason: row.reason,
        };
        Ok(rows.into_iter().map(shown).collect())
    }
}

/// A customer's exemption certificate.
#[derive(SimpleObject)]
pub struct TaxExemption {
    /// Opaque id.
    id: ID,
    /// Number or name of the certificate.
    certificate: String,
    /// Reason given on it.
    reason: String,
    /// First day it covers.
    valid_from: NaiveDate,
    /// Last day it covers; null for open.
    valid_until: Option<NaiveDate>,
}

impl From<tax_exemption::Model> for TaxExemption {
    fn from(row: tax_exemption::Model) -> Self {
        Self {
            id: Kind::TaxExemption.id(row.id),
            certificate: row.certificate,
            reason: row.reason,
            valid_from: row.valid_from,
            valid_until: row.valid_until,
        }
    }
}
