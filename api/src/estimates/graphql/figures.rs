//! What changed between revisions, and the figures of repair or replace.

use async_graphql::{ComplexObject, Context, Enum, ID, InputObject, Object, SimpleObject};
use nameplate_entities::expected_life;
use nameplate_rules::estimate::difference::{self, Change, Difference, TotalMoved};
use nameplate_rules::estimate::repair_or_replace::{self, Weighing};

use crate::appliances::graphql::ApplianceType;
use crate::base::Result;
use crate::estimates::writing::weighing;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::Money;
use crate::payload;

/// What is different between two revisions.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "difference::What")]
pub enum EstimateChangeKind {
    /// An option that was not there.
    OptionAdded,
    /// An option that is gone.
    OptionRemoved,
    /// The name of an option.
    OptionTitle,
    /// What an option does for the customer.
    OptionSummary,
    /// The remarks of an option.
    OptionNotes,
    /// A line that was not there.
    LineAdded,
    /// A line that is gone.
    LineRemoved,
    /// How many.
    Quantity,
    /// Price of one.
    UnitPrice,
    /// Price of the line before discount.
    Amount,
    /// What is taken off the line.
    Discount,
    /// How much of the line is taxed, or why.
    Taxability,
    /// Tax of the line.
    Tax,
    /// The heading a line stands under.
    Section,
    /// Whether a part is new, used or rebuilt.
    Condition,
    /// The rate of a tax.
    TaxRate,
    /// What is wanted before the work begins.
    Deposit,
    /// What was found.
    Found,
    /// Remarks of the estimate.
    Notes,
    /// The shop's warranty.
    Warranty,
    /// Terms.
    Terms,
    /// Last day.
    ValidUntil,
    /// The figures of repair or replace.
    Weighing,
    /// The pictures shown.
    Pictures,
    /// Anything else that is printed.
    Other,
}

/// One difference between two revisions.
#[derive(SimpleObject)]
pub struct EstimateChange {
    /// What is different.
    kind: EstimateChangeKind,
    /// Title of the option it is in; null for the estimate as a whole.
    option: Option<String>,
    /// Description of the line it is in.
    line: Option<String>,
    /// As it was; null for what is new.
    from: Option<String>,
    /// As it is; null for what is gone.
    to: Option<String>,
}

impl From<Change> for EstimateChange {
    fn from(change: Change) -> Self {
        Self {
            kind: change.what.into(),
            option: change.option,
            line: change.line,
            from: change.from,
            to: change.to,
        }
    }
}

/// How the total of an option moved.
#[derive(SimpleObject)]
pub struct EstimateTotalMoved {
    /// Title of the option.
    option: String,
    /// As it was; null for a new option.
    from: Option<Money>,
    /// As it is; null for an option that is gone.
    to: Option<Money>,
}

impl From<TotalMoved> for EstimateTotalMoved {
    fn from(moved: TotalMoved) -> Self {
        Self {
            option: moved.option,
            from: moved.from.map(Money),
            to: moved.to.map(Money),
        }
    }
}

/// Everything that is different between two revisions.
#[derive(SimpleObject)]
pub struct EstimateDifference {
    /// In sentences that can be read to the customer.
    sentences: Vec<String>,
    /// Field by field, in the order of printing.
    changes: Vec<EstimateChange>,
    /// Totals that moved.
    totals: Vec<EstimateTotalMoved>,
}

impl From<Difference> for EstimateDifference {
    fn from(difference: Difference) -> Self {
        Self {
            sentences: difference.sentences(),
            changes: difference.changes.into_iter().map(Into::into).collect(),
            totals: difference.totals.into_iter().map(Into::into).collect(),
        }
    }
}

/// From which date a machine's age is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "repair_or_replace::AgeBasis")]
pub enum AgeBasis {
    /// The day it was made, by its plate.
    Made,
    /// The day it was bought.
    Bought,
    /// The day it was installed.
    Installed,
}

/// What an option costs against a new machine.
#[derive(SimpleObject)]
pub struct ReplacementShare {
    /// Title of the option.
    option: String,
    /// Its total per hundred of the price of a new machine, in whole numbers.
    percent: u32,
}

/// Figures to weigh repair against replacement. They are notes beside a choice and recommend nothing.
#[derive(SimpleObject)]
pub struct RepairOrReplace {
    /// In sentences, the source of the usual life last.
    sentences: Vec<String>,
    /// Age of the machine in whole years; null if none of its dates is known.
    age_years: Option<u32>,
    /// From which date that is counted.
    age_basis: Option<AgeBasis>,
    /// How long such machines last on average, in years.
    expected_life_years: Option<u32>,
    /// Where that figure comes from, with its year.
    expected_life_source: Option<String>,
    /// The age per hundred of that life, in whole numbers.
    life_used_percent: Option<u32>,
    /// What a comparable new machine costs, as the office typed it.
    replacement_price: Option<Money>,
    /// Each option against that price.
    shares: Vec<ReplacementShare>,
}

impl From<Weighing> for RepairOrReplace {
    fn from(weighing: Weighing) -> Self {
        Self {
            sentences: weighing.sentences(),
            age_years: weighing.age.map(|age| age.years),
            age_basis: weighing.age.map(|age| age.basis.into()),
            expected_life_years: weighing.expected_life.as_ref().map(|life| life.years),
            expected_life_source: weighing.expected_life.map(|life| life.source),
            life_used_percent: weighing.life_used_percent,
            replacement_price: weighing.replacement_price.map(Money),
            shares: weighing
                .shares
                .into_iter()
                .map(|share| ReplacementShare {
                    option: share.option,
                    percent: share.percent,
                })
                .collect(),
        }
    }
}

/// Which machines of a type a usual life is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::LifeFuel")]
pub enum LifeFuel {
    /// All of them.
    Any,
    /// Those that heat with electricity.
    Electric,
    /// Those that burn gas.
    Gas,
}

/// How long a type of machine usually lasts.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct ExpectedLife {
    /// Which machines of the type.
    fuel: LifeFuel,
    /// Years.
    years: i32,
    /// Where the figure comes from, with its year.
    source: String,
    /// What to know before using it.
    caution: Option<String>,
    #[graphql(skip)]
    appliance_type_id: i64,
}

impl From<expected_life::Model> for ExpectedLife {
    fn from(row: expected_life::Model) -> Self {
        Self {
            fuel: row.fuel.into(),
            years: row.years,
            source: row.source,
            caution: row.caution,
            appliance_type_id: row.appliance_type_id,
        }
    }
}

#[ComplexObject]
impl ExpectedLife {
    /// The type of machine.
    async fn appliance_type(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<ApplianceType>> {
        ApplianceType::of(ctx, self.appliance_type_id).await
    }
}

/// How long machines last.
#[derive(Default)]
pub struct FiguresQuery;

#[Object]
impl FiguresQuery {
    /// How long types of machine usually last, as this shop shows it; a row or two a type.
    #[graphql(complexity = "20 * child_complexity")]
    async fn expected_lives(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ExpectedLife>> {
        let rows = weighing::expected_lives(reader(ctx)?).await.map_err(edge)?;
        Ok(rows.into_iter().map(ExpectedLife::from).collect())
    }
}

/// How long a type of machine usually lasts.
#[derive(InputObject)]
pub struct ChangeExpectedLifeInput {
    /// The type of machine.
    appliance_type_id: ID,
    /// Which of its machines.
    #[graphql(default_with = "LifeFuel::Any")]
    fuel: LifeFuel,
    /// Years.
    years: i32,
    /// Where the figure comes from, with its year; it is shown to the customer.
    source: String,
    /// What to know before using it; shown too.
    caution: Option<String>,
}

impl ChangeExpectedLifeInput {
    fn command(self) -> Result<weighing::ChangeExpectedLife> {
        Ok(weighing::ChangeExpectedLife {
            appliance_type_id: Kind::ApplianceType
                .row("applianceTypeId", &self.appliance_type_id)?,
            fuel: self.fuel.into(),
            years: self.years,
            source: self.source,
            caution: self.caution,
        })
    }
}

payload! {
    /// What writing a usual life gave.
    ChangeExpectedLifePayload {
        /// The usual life as it is now.
        expected_life: ExpectedLife
    }
}

/// Changing how long machines last.
#[derive(Default)]
pub struct FiguresMutation;

#[Object]
impl FiguresMutation {
    /// Writes how long a type of machine usually lasts, in place of what there was. Sent estimates keep their figures.
    async fn change_expected_life(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which, how long, and who says so.")] input: ChangeExpectedLifeInput,
    ) -> async_graphql::Result<ChangeExpectedLifePayload> {
        let act = act(ctx)?;
        let outcome = async { weighing::change_expected_life(act, input.command()?).await }.await;
        ChangeExpectedLifePayload::of(outcome.map(ExpectedLife::from))
    }
}
