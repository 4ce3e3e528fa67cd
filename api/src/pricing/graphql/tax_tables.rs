//! Published rate tables and postal codes in the graph.

use async_graphql::{Context, ID, InputObject, Object, SimpleObject};
use chrono::NaiveDate;

use crate::base::{Error, Result};
use crate::graphql::context::act;
use crate::graphql::error::{Problem, edge};
use crate::graphql::ids::Kind;
use crate::graphql::scalars::ExactDecimal;
use crate::payload;

use super::super::operations::{self, AssignPostalCodes, Imported};
use super::super::rates::RateChange;
use super::TaxJurisdiction;

/// A level that follows the rate table and differs from it on a day.
#[derive(SimpleObject)]
pub struct TaxRateChange {
    /// The rules in force on that day.
    tax_jurisdiction: TaxJurisdiction,
    /// Name of the level.
    level: String,
    /// The row of the rate table it follows.
    rate_code: Option<String>,
    /// Its rate in the rules, per hundred.
    rate_percent: ExactDecimal,
    /// The published rate, per hundred; null when it ended.
    published_percent: Option<ExactDecimal>,
}

impl From<RateChange> for TaxRateChange {
    fn from(change: RateChange) -> Self {
        Self {
            tax_jurisdiction: change.place.into(),
            level: change.level.name,
            rate_code: change.level.rate_code,
            rate_percent: change.level.rate_percent.into(),
            published_percent: change.to.map(|row| row.intrastate_percent.into()),
        }
    }
}

/// A published table of rates.
#[derive(InputObject)]
pub struct ImportTaxRatesInput {
    /// The table, or a part of one that fits a request: nine columns with commas between and no heading. They are
    /// state, type of jurisdiction (45 state, 00 county, 01 city), its code, general rate within the state and across
    /// its border, the same two for food and drugs (not used), first and last day as YYYYMMDD. Rates are fractions.
    content: String,
}

/// What recording a rate table gave.
#[derive(SimpleObject)]
pub struct ImportTaxRatesPayload {
    /// Rows that were new; null when the mutation was refused.
    added: Option<usize>,
    /// Rows whose rate or last day changed; null when the mutation was refused.
    changed: Option<usize>,
    /// Rows that were known as they are; null when the mutation was refused.
    unchanged: Option<usize>,
    /// What to mend; empty when it was done.
    problems: Vec<Problem>,
}

impl ImportTaxRatesPayload {
    fn of(outcome: Result<Imported>) -> async_graphql::Result<Self> {
        let (done, problems) = match outcome {
            Ok(done) => (Some(done), Vec::new()),
            Err(Error::Refused(problems)) => {
                (None, problems.into_iter().map(Problem::from).collect())
            }
            Err(error) => return Err(edge(error)),
        };
        Ok(Self {
            added: done.map(|done| done.added),
            changed: done.map(|done| done.changed),
            unchanged: done.map(|done| done.unchanged),
            problems,
        })
    }
}

/// From when places follow the rate table.
#[derive(InputObject)]
pub struct AdoptTaxRatesInput {
    /// First day of the new rules.
    effective_from: NaiveDate,
}

payload! {
    /// What following the rate table gave.
    AdoptTaxRatesPayload {
        /// The new rules, one for each place that differed.
        tax_jurisdictions: Vec<TaxJurisdiction>
    }
}

/// Postal codes of a jurisdiction.
#[derive(InputObject)]
pub struct AssignPostalCodesInput {
    /// The jurisdiction.
    tax_jurisdiction_id: ID,
    /// Codes that may lie in it; those known already stay.
    postal_codes: Vec<String>,
    /// Codes that no longer do.
    #[graphql(default)]
    removed: Vec<String>,
}

payload! {
    /// What recording postal codes gave.
    AssignPostalCodesPayload {
        /// The jurisdiction.
        tax_jurisdiction: TaxJurisdiction
    }
}

/// Keeping rate tables and postal codes.
#[derive(Default)]
pub struct TaxTablesMutation;

#[Object]
impl TaxTablesMutation {
    /// Records a published table of rates, or brings the recorded one up to date.
    async fn import_tax_rates(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The table.")] input: ImportTaxRatesInput,
    ) -> async_graphql::Result<ImportTaxRatesPayload> {
        let outcome = operations::import_tax_rates(act(ctx)?, &input.content).await;
        ImportTaxRatesPayload::of(outcome)
    }

    /// Records new rules for every place that follows the rate table and differs from it; the old rules stay.
    async fn adopt_tax_rates(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "From when.")] input: AdoptTaxRatesInput,
    ) -> async_graphql::Result<AdoptTaxRatesPayload> {
        let outcome = operations::adopt_tax_rates(act(ctx)?, input.effective_from).await;
        AdoptTaxRatesPayload::of(
            outcome.map(|rows| rows.into_iter().map(TaxJurisdiction::from).collect()),
        )
    }

    /// Records which postal codes a jurisdiction has; they propose it when an address is confirmed.
    async fn assign_postal_codes(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The postal codes.")] input: AssignPostalCodesInput,
    ) -> async_graphql::Result<AssignPostalCodesPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let id = Kind::TaxJurisdiction.row("taxJurisdictionId", &input.tax_jurisdiction_id)?;
            let new = AssignPostalCodes {
                tax_jurisdiction_id: id,
                postal_codes: input.postal_codes,
                removed: input.removed,
            };
            operations::assign_postal_codes(act, new).await
        }
        .await;
        AssignPostalCodesPayload::of(outcome.map(TaxJurisdiction::from))
    }
}
