//! What is known about an offer that tax rules turn on, in the graph.

use async_graphql::{InputObject, SimpleObject};
use nameplate_rules::money::Cents;

use crate::estimates::writing::tax_facts::{Delivered, LineFacts, OptionFacts};
use crate::graphql::scalars::Money;
use crate::pricing;
use crate::pricing::graphql::tax_facts::{CarrierWord, OutcomeWord, ServesWord, StatedAsWord};

/// How goods reach the customer.
#[derive(InputObject)]
pub struct DeliveryInput {
    /// Who carries them.
    by: CarrierWord,
    /// What the carrier takes from the shop; left out when nothing shows it.
    actual_cost: Option<Money>,
    /// Whether the charge is divided on the document between taxed and untaxed goods.
    #[graphql(default)]
    divided: bool,
}

/// The facts of a line from its input fields.
pub(super) fn line_facts(
    trip_serves: Option<ServesWord>,
    delivery: Option<DeliveryInput>,
    replaced_under_warranty: bool,
) -> LineFacts {
    LineFacts {
        trip_serves: trip_serves.map(|word| pricing::serves_for_row(word.into())),
        delivery: delivery.map(|delivery| Delivered {
            by: pricing::carrier_for_row(delivery.by.into()),
            actual_cost: delivery.actual_cost.map(|cost| cost.0),
            divided: delivery.divided,
        }),
        replaced_under_warranty,
    }
}

/// The facts of an option from its input fields.
pub(super) fn option_facts(
    stated_as: StatedAsWord,
    outcome: OutcomeWord,
    material_evidence: Option<String>,
    disaster_area: Option<String>,
) -> OptionFacts {
    OptionFacts {
        stated_as: pricing::stated_for_row(stated_as.into()),
        outcome: pricing::outcome_for_row(outcome.into()),
        material_evidence,
        disaster_area,
    }
}

/// Facts of an option that tax rules turn on.
#[derive(SimpleObject)]
pub struct OptionTaxFacts {
    /// Whether the charges are stated one by one, as asked for.
    stated_as: StatedAsWord,
    /// Whether the tax rules want parts stated apart though one amount was asked for; the document then states them.
    parts_to_be_stated: bool,
    /// What comes of the work.
    outcome: OutcomeWord,
    /// What proves that no part is used.
    material_evidence: Option<String>,
    /// Which declared disaster did the damage, and how that is known.
    disaster_area: Option<String>,
    /// Whether the price the customer is shown holds the tax.
    tax_in_price: bool,
}

impl OptionTaxFacts {
    pub(super) fn of(row: &nameplate_entities::estimate_option::Model) -> Self {
        let facts = OptionFacts::of_row(row);
        Self {
            stated_as: pricing::stated_of_row(facts.stated_as).into(),
            parts_to_be_stated: row.parts_to_be_stated,
            outcome: pricing::outcome_of_row(facts.outcome).into(),
            material_evidence: facts.material_evidence,
            disaster_area: facts.disaster_area,
            tax_in_price: row.prices == nameplate_entities::kinds::TaxPrices::WithTax,
        }
    }
}

/// Facts of a line that tax rules turn on.
#[derive(SimpleObject)]
pub struct LineTaxFacts {
    /// For a trip: what it serves.
    trip_serves: Option<ServesWord>,
    /// For freight: who carries.
    delivered_by: Option<CarrierWord>,
    /// For freight: what the carrier takes from the shop.
    delivery_cost: Option<Money>,
    /// For freight: whether it is divided between taxed and untaxed goods.
    delivery_divided: bool,
    /// For a part: whether it replaces another under warranty.
    replaced_under_warranty: bool,
    /// Price of the line with the tax it holds, where prices hold the tax.
    shown_net: Option<Money>,
    /// Its share of discounts with the tax it holds, where prices hold the tax.
    shown_discount: Option<Money>,
}

impl LineTaxFacts {
    pub(super) fn of(row: &nameplate_entities::estimate_line::Model) -> Self {
        let facts = LineFacts::of_row(row);
        let delivery = facts.delivery;
        Self {
            trip_serves: facts
                .trip_serves
                .map(|word| pricing::serves_of_row(word).into()),
            delivered_by: delivery.map(|by| pricing::carrier_of_row(by.by).into()),
            delivery_cost: delivery
                .and_then(|delivery| delivery.actual_cost)
                .map(Money::from),
            delivery_divided: delivery.is_some_and(|delivery| delivery.divided),
            replaced_under_warranty: facts.replaced_under_warranty,
            shown_net: row.shown_net_cents.map(|net| Cents(net).into()),
            shown_discount: row.shown_discount_cents.map(|off| Cents(off).into()),
        }
    }
}
