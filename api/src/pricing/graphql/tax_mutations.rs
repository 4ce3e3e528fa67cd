//! Keeping tax rules and certificates.

use async_graphql::{Context, ID, InputObject, Object};
use chrono::NaiveDate;
use nameplate_rules::tax::{BracketStep, BracketTable, Treatment, When};

use crate::base::{Checks, ProblemCode, Result};
use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::invoices;
use crate::payload;

use super::super::operations::{self, CertificateDetails};
use super::tax_facts::{PricesWord, PurchasesWord, TaxConditionsInput, TreatmentWord};
use super::{ChargeKind, LevelKind, TaxBasis, TaxExemption, TaxJurisdiction};

/// One levying authority.
#[derive(InputObject)]
pub struct TaxLevelInput {
    /// Name as the return asks for it.
    name: String,
    /// Rank.
    kind: LevelKind,
    /// Rate per hundred, 0 to 100; left out, the published rate of `rateCode` is taken.
    rate_percent: Option<ExactDecimal>,
    /// The row of a published rate table it follows: state, type and code, such as "99:45:99".
    rate_code: Option<String>,
    /// First day in force; left out for as long as the rules are.
    from_on: Option<NaiveDate>,
    /// Last day in force; left out for open.
    until_on: Option<NaiveDate>,
    /// Kinds of charge it leaves alone though the others tax them.
    #[graphql(default)]
    exempts: Vec<ChargeKind>,
}

impl From<TaxLevelInput> for operations::NewLevel {
    fn from(level: TaxLevelInput) -> Self {
        Self {
            name: level.name,
            kind: level.kind.into(),
            rate_percent: level.rate_percent.map(|rate| rate.0),
            rate_code: level.rate_code,
            from_on: level.from_on,
            until_on: level.until_on,
            exempts: level.exempts.into_iter().map(Into::into).collect(),
        }
    }
}

/// A rule of taxability. Rules of one kind are tried in their order, the first whose conditions hold decides, and the
/// last of a kind must always apply.
#[derive(InputObject)]
pub struct TaxabilityInput {
    /// The kind of charge.
    charge_kind: ChargeKind,
    /// Taxed or not; or give a `treatment`.
    taxable: Option<bool>,
    /// What to do with the charge, where that is more than yes or no.
    treatment: Option<TreatmentWord>,
    /// Conditions; left out for a rule that always applies.
    when: Option<TaxConditionsInput>,
    /// The rule's own words; they stand on every line.
    reason: String,
    /// First day it applies; left out for always.
    from_on: Option<NaiveDate>,
    /// Last day it applies; left out for open.
    until_on: Option<NaiveDate>,
    /// Whether a sale decided by it must state parts apart from labour.
    #[graphql(default)]
    parts_apart: bool,
}

impl TaxabilityInput {
    fn command(self, checks: &mut Checks, at: usize) -> operations::NewTaxability {
        let treatment = match (self.taxable, self.treatment) {
            (Some(true), None) => Treatment::Taxed,
            (None, Some(word)) => word.into(),
            (Some(false), None) => Treatment::NotTaxed,
            (given, _) => {
                let (code, words) = match given {
                    None => (
                        ProblemCode::Missing,
                        "Say whether it is taxed, or how it is treated.",
                    ),
                    Some(_) => (
                        ProblemCode::Malformed,
                        "Give one of `taxable` and `treatment`.",
                    ),
                };
                checks.refuse(code, &format!("taxability.{at}.taxable"), words);
                Treatment::NotTaxed
            }
        };
        let (when, parts_share_at_most) = match self.when {
            Some(when) => when.command(),
            None => (When::default(), None),
        };
        operations::NewTaxability {
            charge_kind: self.charge_kind.into(),
            treatment,
            when,
            parts_share_at_most,
            reason: self.reason,
            from_on: self.from_on,
            until_on: self.until_on,
            parts_apart: self.parts_apart,
        }
    }
}

/// A way of rounding and the day it begins to apply.
#[derive(InputObject)]
pub struct TaxMethodInput {
    /// First day.
    from_on: NaiveDate,
    /// A bracket table; left out for rounding by rule: up when the third decimal exceeds four.
    brackets: Option<TaxBracketTableInput>,
}

/// A bracket table: so much a whole dollar, and steps for what is over.
#[derive(InputObject)]
pub struct TaxBracketTableInput {
    /// Tax on each whole dollar.
    whole_dollar_tax: Money,
    /// Steps for amounts under one dollar, rising; beyond the last, the tax of a whole dollar.
    under_a_dollar: Vec<TaxBracketStepInput>,
    /// Steps for the cents over whole dollars, rising; beyond the last, the tax of a whole dollar.
    over_whole_dollars: Vec<TaxBracketStepInput>,
}

/// One step of a bracket table.
#[derive(InputObject)]
pub struct TaxBracketStepInput {
    /// Highest amount of this step, itself inside; 0.01 to 0.99.
    up_to: Money,
    /// Tax on it.
    tax: Money,
}

impl From<TaxMethodInput> for operations::NewMethod {
    fn from(method: TaxMethodInput) -> Self {
        let step = |step: TaxBracketStepInput| BracketStep {
            up_to_cents: step.up_to.0,
            tax_cents: step.tax.0,
        };
        let table = |table: TaxBracketTableInput| BracketTable {
            whole_dollar_tax_cents: table.whole_dollar_tax.0,
            under_a_dollar: table.under_a_dollar.into_iter().map(step).collect(),
            over_whole_dollars: table.over_whole_dollars.into_iter().map(step).collect(),
        };
        Self {
            from_on: method.from_on,
            brackets: method.brackets.map(table),
        }
    }
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
    /// Said outright of a place where nobody levies a tax on sales; it has no levels then.
    #[graphql(default)]
    without_tax: bool,
    /// Rules for every kind of charge, in order.
    taxability: Vec<TaxabilityInput>,
    /// Ways of rounding by their days; left out for rounding by rule.
    #[graphql(default)]
    methods: Vec<TaxMethodInput>,
    /// Whether prices hold the tax.
    #[graphql(default_with = "PricesWord::BeforeTax")]
    prices: PricesWord,
    /// The most that all levels but the state's may add up to, per hundred; left out for no ceiling.
    local_ceiling_percent: Option<ExactDecimal>,
}

impl AddTaxJurisdictionInput {
    fn command(self) -> Result<operations::AddTaxJurisdiction> {
        let mut checks = Checks::new();
        let rules = self
            .taxability
            .into_iter()
            .enumerate()
            .map(|(at, rule)| rule.command(&mut checks, at))
            .collect();
        checks.finish()?;
        Ok(operations::AddTaxJurisdiction {
            name: self.name,
            basis: self.basis.into(),
            effective_from: self.effective_from,
            levels: self.levels.into_iter().map(Into::into).collect(),
            without_tax: self.without_tax,
            taxability: rules,
            methods: self.methods.into_iter().map(Into::into).collect(),
            prices: self.prices.into(),
            local_ceiling_percent: self.local_ceiling_percent.map(|ceiling| ceiling.0),
        })
    }
}

payload! {
    /// What recording tax rules gave.
    AddTaxJurisdictionPayload {
        /// The rules as recorded.
        tax_jurisdiction: TaxJurisdiction
    }
}

/// Tax rules that were recorded by mistake, and what takes their place.
#[derive(InputObject)]
pub struct ReplaceTaxJurisdictionInput {
    /// The rules recorded by mistake.
    tax_jurisdiction_id: ID,
    /// What takes their place, whole.
    #[graphql(flatten)]
    rules: AddTaxJurisdictionInput,
}

payload! {
    /// What replacing tax rules gave.
    ReplaceTaxJurisdictionPayload {
        /// The rules as they are now.
        tax_jurisdiction: TaxJurisdiction
    }
}

/// A certificate to record. It counts once it holds everything and was received.
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
    /// The buyer's name as it stands there.
    buyer_name: Option<String>,
    /// The buyer's business address.
    business_address: Option<String>,
    /// The buyer's tax identification number.
    tax_id: Option<String>,
    /// The buyer's type of business.
    business_type: Option<String>,
    /// Day the shop took it; left out while the customer only says to be exempt.
    received_on: Option<NaiveDate>,
    /// Which purchases it is for.
    #[graphql(default_with = "PurchasesWord::Blanket")]
    purchases: PurchasesWord,
}

impl AddTaxExemptionInput {
    fn command(self) -> Result<operations::AddTaxExemption> {
        Ok(operations::AddTaxExemption {
            customer_id: Kind::Customer.row("customerId", &self.customer_id)?,
            certificate: self.certificate,
            reason: self.reason,
            valid_from: self.valid_from,
            valid_until: self.valid_until,
            purchases: self.purchases.into(),
            details: CertificateDetails {
                buyer_name: self.buyer_name,
                business_address: self.business_address,
                tax_id: self.tax_id,
                business_type: self.business_type,
                received_on: self.received_on,
            },
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

/// What a certificate lacked; what is left out stays as it is.
#[derive(InputObject)]
pub struct CompleteTaxExemptionInput {
    /// The certificate.
    tax_exemption_id: ID,
    /// The version that was read.
    version: i32,
    /// Last day it covers.
    valid_until: Option<NaiveDate>,
    /// The buyer's name as it stands there.
    buyer_name: Option<String>,
    /// The buyer's business address.
    business_address: Option<String>,
    /// The buyer's tax identification number.
    tax_id: Option<String>,
    /// The buyer's type of business.
    business_type: Option<String>,
    /// Day the shop took it.
    received_on: Option<NaiveDate>,
}

impl CompleteTaxExemptionInput {
    fn command(self) -> Result<operations::CompleteTaxExemption> {
        Ok(operations::CompleteTaxExemption {
            tax_exemption_id: Kind::TaxExemption.row("taxExemptionId", &self.tax_exemption_id)?,
            version: self.version,
            valid_until: self.valid_until,
            details: CertificateDetails {
                buyer_name: self.buyer_name,
                business_address: self.business_address,
                tax_id: self.tax_id,
                business_type: self.business_type,
                received_on: self.received_on,
            },
        })
    }
}

payload! {
    /// What completing a certificate gave.
    CompleteTaxExemptionPayload {
        /// The certificate as it is now.
        tax_exemption: TaxExemption
    }
}

/// Keeping tax rules and certificates.
#[derive(Default)]
pub struct TaxMutation;

#[Object]
impl TaxMutation {
    /// Records where and how sales are taxed, from a day on.
    async fn add_tax_jurisdiction(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The rules.")] input: AddTaxJurisdictionInput,
    ) -> async_graphql::Result<AddTaxJurisdictionPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::add_tax_jurisdiction(act, input.command()?).await }.await;
        AddTaxJurisdictionPayload::of(outcome.map(TaxJurisdiction::from))
    }

    /// Puts other rules in the place of ones recorded by mistake, as long as no estimate was priced by them. Addresses
    /// and postal codes that name them stay.
    async fn replace_tax_jurisdiction(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which rules, and what takes their place.")]
        input: ReplaceTaxJurisdictionInput,
    ) -> async_graphql::Result<ReplaceTaxJurisdictionPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let id = Kind::TaxJurisdiction.row("taxJurisdictionId", &input.tax_jurisdiction_id)?;
            invoices::replace_tax_jurisdiction(act, id, input.rules.command()?).await
        }
        .await;
        ReplaceTaxJurisdictionPayload::of(outcome.map(TaxJurisdiction::from))
    }

    /// Records a customer's exemption certificate, or that the customer says to be exempt.
    async fn add_tax_exemption(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The certificate.")] input: AddTaxExemptionInput,
    ) -> async_graphql::Result<AddTaxExemptionPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::add_tax_exemption(act, input.command()?).await }.await;
        AddTaxExemptionPayload::of(outcome.map(TaxExemption::from))
    }

    /// Completes a certificate: fields it lacked, the day it came, the day it ends.
    async fn complete_tax_exemption(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What it lacked.")] input: CompleteTaxExemptionInput,
    ) -> async_graphql::Result<CompleteTaxExemptionPayload> {
        let act = act(ctx)?;
        let outcome =
            async { operations::complete_tax_exemption(act, input.command()?).await }.await;
        CompleteTaxExemptionPayload::of(outcome.map(TaxExemption::from))
    }
}
