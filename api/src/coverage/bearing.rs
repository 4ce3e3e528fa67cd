//! What a decision makes the shop bear itself, and what it leaves to be billed.

use std::collections::BTreeMap;

use nameplate_entities::kinds::CoverageSplit;
use nameplate_entities::{coverage_decision, coverage_portion, estimate_line, service_call};
use nameplate_rules::coverage::{BorneLine, ShopShare, ShopShares, borne};
use nameplate_rules::money::Cents;
use sea_orm::sea_query::{Expr, ExprTrait, Query};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder};

use super::kept::kept;
use super::kinds;
use crate::base::{Error, Result};

/// Whether a call is billed, and by which split of the decision that stands on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Billed {
    /// Not yet, or taken back in whole.
    NotYet,
    By(CoverageSplit),
    /// All of it to customers: nobody else pays by the split billed, or payers were named.
    ToCustomers,
}

impl Billed {
    /// The split that counts; none where the shop has no part in what was billed.
    const fn split(self) -> Option<CoverageSplit> {
        match self {
            // Once all that is missing is there; what was expected wrongly is mended by the bill or a later decision.
            Self::NotYet => Some(CoverageSplit::Settled),
            Self::By(split) => Some(split),
            Self::ToCustomers => None,
        }
    }
}

/// The shop's shares of the parts, the labor and the trip of a call, by a decision on it: by the split that was billed, else by
/// the settled one.
///
/// # Errors
/// Internal only.
pub async fn shop_bears(
    db: &impl ConnectionTrait,
    (decision, billed): (&coverage_decision::Model, Billed),
) -> Result<ShopShares> {
    let nothing = ShopShares::of_all(ShopShare::NOTHING);
    let (Some(option_id), Some(split)) = (decision.estimate_option_id, billed.split()) else {
        return Ok(nothing);
    };
    let mut shop: BTreeMap<i32, i64> = BTreeMap::new();
    for portion in kept(decision)?.portions(split) {
        // What the shop bears of the price in place of a programme costs it no more than the repair did.
        if portion.payer_id.is_none() && portion.terms_id.is_none() {
            let sum = shop.entry(portion.position).or_default();
            *sum = sum.saturating_add(portion.amount.0);
        }
    }
    if shop.is_empty() {
        return Ok(nothing);
    }
    let rows = estimate_line::Entity::find()
        .filter(estimate_line::Column::OptionId.eq(option_id))
        .order_by_asc(estimate_line::Column::Position)
        .all(db)
        .await?;
    let lines: Vec<BorneLine> = (rows.iter())
        .map(|row| BorneLine {
            covers: kinds::costs(row.kind),
            price: Cents(row.net_cents.saturating_sub(row.discount_cents)),
            shop: Cents(shop.get(&row.position).copied().unwrap_or_default()),
        })
        .collect();
    borne(&lines).map_err(|refusal| Error::caused("what the shop bears of a call", refusal))
}

/// Whether the decision that stands on a call leaves nothing to bill, as the shop bears all of it: a condition on rows of
/// `service_call`.
pub fn shop_bears_all() -> Expr {
    let decision = |column| Expr::col((coverage_decision::Entity, column));
    let portion = |column| Expr::col((coverage_portion::Entity, column));
    let mut others = Query::select();
    others
        .expr(Expr::val(1))
        .from(coverage_portion::Entity)
        .and_where(
            portion(coverage_portion::Column::DecisionId)
                .equals((coverage_decision::Entity, coverage_decision::Column::Id)),
        )
        .and_where(portion(coverage_portion::Column::PayerId).is_not_null());
    let mut standing = Query::select();
    standing
        .expr(Expr::val(1))
        .from(coverage_decision::Entity)
        .and_where(
            decision(coverage_decision::Column::StandingCallId)
                .equals((service_call::Entity, service_call::Column::Id)),
        )
        .and_where(decision(coverage_decision::Column::IsSure).eq(true))
        .and_where(decision(coverage_decision::Column::TotalCents).gt(0))
        .and_where(decision(coverage_decision::Column::CustomerCents).eq(0))
        .and_where(Expr::exists(others).not());
    Expr::exists(standing)
}

/// The same of one call.
///
/// # Errors
/// Internal only.
pub async fn is_all_the_shops(db: &impl ConnectionTrait, call_id: i64) -> Result<bool> {
    let calls = service_call::Entity::find_by_id(call_id).filter(shop_bears_all());
    Ok(calls.count(db).await? > 0)
}
