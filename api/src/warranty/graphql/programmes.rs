//! Programmes and their terms in the graph.

use async_graphql::{ComplexObject, Context, Enum, ID, SimpleObject};
use chrono::{DateTime, NaiveDate, Utc};
use nameplate_entities::{programme_terms, warranty_programme};
use nameplate_rules::coverage::{Pays, Programme, Segment};
use nameplate_rules::dates::Term;

use crate::appliances::graphql::ApplianceType;
use crate::base::Error;
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::shop::graphql::Staff;

use super::WarrantyPayer;

/// Who is asked before whom; the shop's own work comes before all of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::ProgrammeRank")]
pub enum ProgrammeRank {
    /// The maker of a part that was fitted.
    PartMaker,
    /// The maker of the machine.
    ApplianceMaker,
    /// Whoever sold a service contract.
    ServiceContract,
}

/// What a charge is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::coverage::Covers")]
pub enum CoveredCharge {
    /// Parts, with what their delivery costs.
    Parts,
    /// Labor, diagnosis included.
    Labour,
    /// The trip.
    Trip,
}

/// The event from which a segment is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::coverage::StartEvent")]
pub enum CoverStart {
    /// The machine was made.
    Manufacture,
    /// It was bought.
    Purchase,
    /// It was delivered.
    Delivery,
    /// It was installed.
    Installation,
    /// A part was fitted.
    Repair,
    /// The service contract began.
    Contract,
}

/// What a programme does not pay for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::coverage::Exclusion")]
pub enum CoverExclusion {
    /// The machine was misused.
    Misuse,
    /// It is used in a business.
    CommercialUse,
    /// No fault was found.
    NoFaultFound,
    /// The installation is at fault.
    FaultyInstallation,
    /// The supply of the house is at fault.
    HouseSupply,
    /// Cleaning or care was neglected.
    LackOfCare,
    /// An accident did the damage.
    Accident,
    /// Somebody else worked on the machine.
    WorkByOthers,
}

/// What a payer wants to see.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::coverage::Evidence")]
pub enum CoverEvidence {
    /// A paper that shows when the machine was bought.
    ProofOfPurchase,
    /// A picture of the rating plate.
    PlatePicture,
    /// A picture of the fault.
    FaultPicture,
    /// The part taken out, kept under a tag.
    OldPart,
    /// The customer's signature.
    CustomerSignature,
    /// The number of the service contract.
    ContractNumber,
}

/// How the days a machine is out of use for a covered repair are counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::dates::OutOfUseCount")]
pub enum OutOfUseDays {
    /// The first and the last day both.
    BothEndDays,
    /// The difference of the two days.
    Elapsed,
    /// Only whole days in between.
    WholeDaysOnly,
}

/// Who bears what a programme covers and its rates, its flat labor or its caps leave.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::coverage::RestBearer")]
pub enum UnpaidRestBearer {
    /// The customer of the call.
    Customer,
    /// The shop: it is billed to nobody.
    Shop,
}

/// The unit of a length of cover.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum TermUnit {
    /// Days of the calendar.
    Days,
    /// Calendar months; the 31st ends on the last day of a shorter month.
    Months,
    /// Years of twelve calendar months.
    Years,
}

/// A length of cover.
#[derive(Clone, Copy, SimpleObject)]
pub struct CoverTerm {
    /// How many.
    count: i32,
    /// Of what.
    unit: TermUnit,
}

impl From<Term> for CoverTerm {
    fn from(term: Term) -> Self {
        let (count, unit) = match term {
            Term::Days(count) => (count, TermUnit::Days),
            Term::Months(count) => (count, TermUnit::Months),
            Term::Years(count) => (count, TermUnit::Years),
        };
        Self {
            count: i32::try_from(count).unwrap_or(i32::MAX),
            unit,
        }
    }
}

/// A stretch of cover.
#[derive(SimpleObject)]
pub struct CoverSegment {
    /// What it pays.
    covers: Vec<CoveredCharge>,
    /// The class of component it is for; null for all.
    component_class: Option<String>,
    /// The event it is counted from.
    start: CoverStart,
    /// It begins on the day after this; null: with the event.
    after: Option<CoverTerm>,
    /// It ends with this, counted from the event; the last day is inside.
    through: CoverTerm,
    /// What of a hundred it pays.
    percent: ExactDecimal,
    /// At most this on one call.
    at_most: Option<Money>,
    /// For all labor of one call, never more than the labor.
    flat_labour: Option<Money>,
}

impl From<Segment> for CoverSegment {
    fn from(segment: Segment) -> Self {
        let Pays {
            percent,
            at_most,
            flat_labour,
        } = segment.pays;
        Self {
            covers: segment.covers.into_iter().map(Into::into).collect(),
            component_class: segment.component_class,
            start: segment.start.into(),
            after: segment.after.map(Into::into),
            through: segment.through.into(),
            percent: ExactDecimal(percent.per_hundred()),
            at_most: at_most.map(Money),
            flat_labour: flat_labour.map(Money),
        }
    }
}

/// A payer's programme: on which machines, and in which order it is asked.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct WarrantyProgramme {
    /// What it is called.
    name: String,
    /// Where it stands in the order.
    rank: ProgrammeRank,
    /// The make it comes with, in capitals without spaces; null for one that is registered machine by machine.
    make_key: Option<String>,
    /// The models it comes with; `*` stands for any letters, `?` for one.
    model_pattern: Option<String>,
    /// Since when it is registered on no further machine.
    retired_at: Option<DateTime<Utc>>,
    /// For changing it.
    version: i32,
    #[graphql(skip)]
    row: warranty_programme::Model,
}

impl From<warranty_programme::Model> for WarrantyProgramme {
    fn from(row: warranty_programme::Model) -> Self {
        Self {
            name: row.name.clone(),
            rank: row.rank.into(),
            make_key: row.make_key.clone(),
            model_pattern: row.model_pattern.clone(),
            retired_at: row.retired_at,
            version: row.version,
            row,
        }
    }
}

impl WarrantyProgramme {
    /// The programme behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = loaders::row::<warranty_programme::Entity>(ctx, id).await?;
        Ok(row.map(Self::from))
    }
}

#[ComplexObject]
impl WarrantyProgramme {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::WarrantyProgramme.id(self.row.id)
    }

    /// Whose it is.
    async fn payer(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<WarrantyPayer>> {
        WarrantyPayer::of(ctx, self.row.payer_id).await
    }

    /// The type of machine it comes with; null for all.
    async fn appliance_type(
        &self,
        ctx: &Context<'_>,
    ) -> async_graphql::Result<Option<ApplianceType>> {
        match self.row.appliance_type_id {
            Some(id) => ApplianceType::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// Its terms, oldest first.
    async fn terms(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<ProgrammeTerms>> {
        let column = programme_terms::Column::ProgrammeId;
        let rows = loaders::children::<programme_terms::Entity>(ctx, column, self.row.id).await?;
        rows.into_iter()
            .map(|row| ProgrammeTerms::try_from(row).map_err(edge))
            .collect()
    }
}

/// What a programme pays for cover that begins on a day or later; never changed.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct ProgrammeTerms {
    /// For cover that begins on this day or later.
    applies_from: NaiveDate,
    /// Whether cover goes with the machine when it changes hands; else it lapses.
    stays_with_machine: bool,
    /// Within how many days after completion a claim is filed.
    days_to_file: Option<i32>,
    /// What it pays, and when.
    segments: Vec<CoverSegment>,
    /// What it does not pay for.
    exclusions: Vec<CoverExclusion>,
    /// What its payer wants to see.
    evidence: Vec<CoverEvidence>,
    /// What the customer bears on one call.
    deductible: Money,
    /// What an hour of labor is paid at most.
    labour_rate: Option<Money>,
    /// What a mile or kilometre of a trip is paid at most.
    distance_rate: Option<Money>,
    /// Whether days out of use for a covered repair lengthen it, and how they are counted.
    out_of_use: Option<OutOfUseDays>,
    /// So many days after a covered repair the same failure is covered still.
    failed_repair_days: Option<i32>,
    /// Who bears what the rates, the flat labor and the caps leave of what is covered.
    rest_borne_by: UnpaidRestBearer,
    /// When they were written down.
    written_at: DateTime<Utc>,
    #[graphql(skip)]
    row: programme_terms::Model,
}

impl TryFrom<programme_terms::Model> for ProgrammeTerms {
    type Error = Error;

    fn try_from(row: programme_terms::Model) -> Result<Self, Error> {
        let terms: Programme = serde_json::from_str(&row.terms_json)
            .map_err(|error| Error::caused("terms of a programme", error))?;
        let failed = terms.failed_repair_days.map(i32::try_from);
        Ok(Self {
            applies_from: row.applies_from,
            stays_with_machine: row.stays_with_machine,
            days_to_file: row.days_to_file,
            segments: terms.segments.into_iter().map(Into::into).collect(),
            exclusions: terms.exclusions.into_iter().map(Into::into).collect(),
            evidence: terms.evidence.into_iter().map(Into::into).collect(),
            deductible: Money(terms.deductible),
            labour_rate: terms.labour_rate.map(Money),
            distance_rate: terms.distance_rate.map(Money),
            out_of_use: terms.out_of_use.map(Into::into),
            failed_repair_days: failed.and_then(Result::ok),
            rest_borne_by: terms.rest_borne_by.into(),
            written_at: row.written_at,
            row,
        })
    }
}

#[ComplexObject]
impl ProgrammeTerms {
    /// Who wrote them down.
    async fn written_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.written_by).await
    }
}
