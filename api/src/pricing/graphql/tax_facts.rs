//! The facts that tax rules turn on, and what the rules do, in the graph.

use async_graphql::{Enum, InputObject, SimpleObject};
use nameplate_rules::tax::When;
use rust_decimal::Decimal;

use crate::graphql::scalars::ExactDecimal;

/// Whether the customer's document states its charges one by one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(name = "StatedAs", remote = "nameplate_rules::tax::StatedAs")]
pub enum StatedAsWord {
    /// Each charge on its own line.
    Separately,
    /// One amount for all of them.
    LumpSum,
}

/// Whether anything was built into the machine, however small.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(name = "MaterialUsed", remote = "nameplate_rules::tax::Material")]
pub enum MaterialWord {
    /// A part was furnished; a wire terminal is one.
    Furnished,
    /// None, and the shop's records prove it.
    NoneProven,
    /// None, but nothing proves it.
    NoneUnproven,
}

/// What came of the work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(name = "WorkOutcome", remote = "nameplate_rules::tax::Outcome")]
pub enum OutcomeWord {
    /// The machine is repaired.
    Repaired,
    /// It was only found out what is wrong.
    OnlyDiagnosed,
}

/// What a trip was for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(name = "TripServes", remote = "nameplate_rules::tax::Serves")]
pub enum ServesWord {
    /// Bringing parts only.
    Parts,
    /// Bringing someone to work only.
    Labour,
    /// Both, such as keeping a stocked van.
    Both,
}

/// Who carries goods to the customer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(name = "DeliveredBy", remote = "nameplate_rules::tax::Carrier")]
pub enum CarrierWord {
    /// The shop, in its own vehicle.
    Shop,
    /// The post or a carrier of its own.
    Independent,
}

/// What a tax rule does with a charge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(name = "TaxTreatment", remote = "nameplate_rules::tax::Treatment")]
pub enum TreatmentWord {
    /// All of it is taxed.
    Taxed,
    /// None of it is.
    NotTaxed,
    /// It is taxed in the share that parts have in parts and labour. Not for parts and labour themselves.
    ProratedByParts,
    /// What it is above the actual cost is taxed. For freight.
    OverActualCost,
    /// It is taxed whole if any of the goods is. For freight and trips.
    FollowsGoods,
    /// It is taxed in the share of the goods that is. For freight and trips.
    FollowsGoodsByShare,
}

/// Whether prices hold the tax.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(name = "TaxPrices", remote = "nameplate_rules::tax::Prices")]
pub enum PricesWord {
    /// Tax is added to the price.
    BeforeTax,
    /// The price holds the tax, which is worked out backwards.
    WithTax,
}

/// Which purchases a certificate is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(
    name = "CertificatePurchases",
    remote = "nameplate_rules::tax::Purchases"
)]
pub enum PurchasesWord {
    /// One.
    Single,
    /// All, as long as no twelve months pass between two.
    Blanket,
}

/// Conditions of a tax rule; all that are given must hold.
#[derive(InputObject)]
pub struct TaxConditionsInput {
    /// The charges are stated so.
    stated_as: Option<StatedAsWord>,
    /// The material is so.
    material: Option<MaterialWord>,
    /// The work ended so.
    outcome: Option<OutcomeWord>,
    /// The machine is, or is not, built in.
    built_in: Option<bool>,
    /// It is, or is not, damage of a declared disaster.
    disaster_area: Option<bool>,
    /// Parts are at most this much of parts and labour, per hundred; the limit itself is inside.
    parts_share_at_most: Option<ExactDecimal>,
    /// For a trip: it serves this.
    trip_serves: Option<ServesWord>,
    /// For freight: carried by.
    delivered_by: Option<CarrierWord>,
    /// For freight: divided on the document between taxed and untaxed goods, or not.
    delivery_divided: Option<bool>,
    /// For a part: it replaces another under warranty, or does not.
    replaced_under_warranty: Option<bool>,
}

impl TaxConditionsInput {
    /// The conditions, and the share of parts apart: its range is checked by the operation.
    pub(super) fn command(self) -> (When, Option<Decimal>) {
        let when = When {
            stated: self.stated_as.map(Into::into),
            material: self.material.map(Into::into),
            outcome: self.outcome.map(Into::into),
            built_in: self.built_in,
            disaster: self.disaster_area,
            parts_share_at_most: None,
            trip_serves: self.trip_serves.map(Into::into),
            delivered_by: self.delivered_by.map(Into::into),
            delivery_divided: self.delivery_divided,
            under_warranty: self.replaced_under_warranty,
        };
        (when, self.parts_share_at_most.map(|share| share.0))
    }
}

/// Conditions of a tax rule; all that are not null must hold.
#[derive(SimpleObject)]
pub struct TaxConditions {
    /// The charges are stated so.
    stated_as: Option<StatedAsWord>,
    /// The material is so.
    material: Option<MaterialWord>,
    /// The work ended so.
    outcome: Option<OutcomeWord>,
    /// The machine is, or is not, built in.
    built_in: Option<bool>,
    /// It is, or is not, damage of a declared disaster.
    disaster_area: Option<bool>,
    /// Parts are at most this much of parts and labour, per hundred; the limit itself is inside.
    parts_share_at_most: Option<ExactDecimal>,
    /// For a trip: it serves this.
    trip_serves: Option<ServesWord>,
    /// For freight: carried by.
    delivered_by: Option<CarrierWord>,
    /// For freight: divided on the document between taxed and untaxed goods, or not.
    delivery_divided: Option<bool>,
    /// For a part: it replaces another under warranty, or does not.
    replaced_under_warranty: Option<bool>,
}

impl From<When> for TaxConditions {
    fn from(when: When) -> Self {
        let share = when.parts_share_at_most;
        Self {
            stated_as: when.stated.map(Into::into),
            material: when.material.map(Into::into),
            outcome: when.outcome.map(Into::into),
            built_in: when.built_in,
            disaster_area: when.disaster,
            parts_share_at_most: share.map(|share| ExactDecimal(share.per_hundred())),
            trip_serves: when.trip_serves.map(Into::into),
            delivered_by: when.delivered_by.map(Into::into),
            delivery_divided: when.delivery_divided,
            replaced_under_warranty: when.under_warranty,
        }
    }
}
