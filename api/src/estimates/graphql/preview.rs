//! What a price book would have charged for work that was accepted.

use async_graphql::{Context, ID, Object, SimpleObject};
use chrono::NaiveDate;
use nameplate_entities::kinds;
use nameplate_rules::money::Cents;

use crate::estimates::preview::{self, Preview, Sums};
use crate::graphql::context::act;
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::{ExactDecimal, Money};
use crate::pricing::graphql::{ChargeKind, margin_percent};

/// Sums over the lines of one kind of charge, before discounts and without tax; where prices hold the tax, it is taken
/// out of them. Parts under warranty and parts with a fixed price count as they were charged.
#[derive(SimpleObject)]
pub struct PreviewSums {
    /// The kind; null for the sum over all.
    kind: Option<ChargeKind>,
    /// Lines priced again.
    line_count: i64,
    /// What they were charged.
    charged: Money,
    /// What they would be charged.
    would_charge: Money,
    /// The second less the first.
    difference: Money,
    /// Margin then, per hundred, of what has a cost in the catalogue; null where nothing has.
    margin_percent: Option<ExactDecimal>,
    /// The same under the book looked at.
    would_be_margin_percent: Option<ExactDecimal>,
    /// Lines whose price somebody set, or of which it was not written down; kept as they were.
    by_hand_count: i64,
    /// What those were charged.
    by_hand: Money,
    /// Lines for which the book has no price, such as a task it does not list, or parts of which it was not written down
    /// whether a list price held them; kept as they were.
    unpriced_count: i64,
    /// What those were charged.
    unpriced: Money,
}

impl PreviewSums {
    fn of(kind: Option<kinds::ChargeKind>, sums: Sums) -> Self {
        let difference = sums.would_charge.checked_sub(sums.charged);
        let margin = |price| {
            (sums.charged_with_cost > Cents::ZERO)
                .then(|| margin_percent(sums.known_cost, price))
                .flatten()
        };
        Self {
            kind: kind.map(Into::into),
            line_count: sums.line_count,
            charged: sums.charged.into(),
            would_charge: sums.would_charge.into(),
            difference: difference.unwrap_or_default().into(),
            margin_percent: margin(sums.charged_with_cost),
            would_be_margin_percent: margin(sums.would_charge_with_cost),
            by_hand_count: sums.by_hand_count,
            by_hand: sums.by_hand.into(),
            unpriced_count: sums.unpriced_count,
            unpriced: sums.unpriced.into(),
        }
    }
}

/// What a price book would have charged for the work accepted in a period.
#[derive(SimpleObject)]
pub struct PriceBookPreview {
    /// First day of the period.
    from: NaiveDate,
    /// Last day of it.
    until: NaiveDate,
    /// Accepted estimates looked at.
    estimate_count: usize,
    /// Sums by kind of charge; kinds without lines are left out.
    kinds: Vec<PreviewSums>,
    /// Sums over all.
    total: PreviewSums,
}

impl From<Preview> for PriceBookPreview {
    fn from(found: Preview) -> Self {
        let kinds = found.kinds.into_iter();
        Self {
            from: found.from,
            until: found.until,
            estimate_count: found.estimate_count,
            kinds: kinds
                .map(|(kind, sums)| PreviewSums::of(Some(kind), sums))
                .collect(),
            total: PreviewSums::of(None, found.total),
        }
    }
}

/// Looking at a price book before it is adopted.
#[derive(Default)]
pub struct PreviewQuery;

#[Object]
impl PreviewQuery {
    /// Prices the work accepted in a period again under a price book, drafted or adopted: what would it have earned?
    /// Parts at what they cost then; discounts and tax left out; a year at most.
    #[graphql(complexity = "500 + child_complexity")]
    async fn preview_price_book(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The book, such as a draft.")] price_book_id: ID,
        #[graphql(
            desc = "First day on which the work was accepted; three months before the last when left out."
        )]
        from: Option<NaiveDate>,
        #[graphql(desc = "Last such day; today when left out.")] until: Option<NaiveDate>,
    ) -> async_graphql::Result<PriceBookPreview> {
        let asked = preview::PreviewPriceBook {
            price_book_id: Kind::PriceBook
                .row("priceBookId", &price_book_id)
                .map_err(edge)?,
            from,
            until,
        };
        let found = preview::preview_price_book(act(ctx)?, asked).await;
        Ok(found.map_err(edge)?.into())
    }
}
