//! Figures of payers in the graph.

use async_graphql::{ComplexObject, Context, SimpleObject};
use nameplate_entities::warranty_payer;
use nameplate_rules::claims::{PayerFigures, ReasonFigure, outcome_codes};

use crate::graphql::scalars::{ExactDecimal, Money};
use crate::invoices::graphql::receivables::AgeBrackets;
use crate::warranty::graphql::WarrantyPayer;

use super::super::figures::OfPayer;

/// How a payer treated claims.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct FiguresOfPayer {
    /// How many claims were submitted.
    filed: usize,
    /// How many of them the payer answered, by word or by money.
    answered: usize,
    /// How many it approved or paid in full.
    in_full: usize,
    /// How many it approved or paid in part.
    in_part: usize,
    /// How many it denied.
    denied: usize,
    /// Percent of the answered that were approved, in full or in part; null where none is.
    approved_share: Option<ExactDecimal>,
    /// What was claimed, with tax.
    claimed: Money,
    /// What came in.
    paid: Money,
    /// What was given up, or billed to somebody else.
    written_down: Money,
    /// What is still open.
    open: Money,
    /// Percent of what was claimed that came in; null of nothing.
    recovered_share: Option<ExactDecimal>,
    /// What was claimed before tax.
    claimed_before_tax: Money,
    /// The shop's own price before tax of the lines that the payer pays anything of, less what others pay of them.
    normal_price: Money,
    /// Percent of that price that was claimed: what the payer's rates and shares leave of it; null of nothing.
    claimed_of_normal: Option<ExactDecimal>,
    /// How many claims came in to the last cent.
    paid_in_full: usize,
    /// Days from submission until all had come in: as many claims took longer as took less.
    days_to_pay_median: Option<ExactDecimal>,
    /// The same on average.
    days_to_pay_mean: Option<ExactDecimal>,
    /// Claims denied or paid in part by the payer's reason, the dearest first.
    reasons: Vec<UnpaidReason>,
    /// What is open by how late it is today.
    open_by_age: AgeBrackets,
    #[graphql(skip)]
    payer: warranty_payer::Model,
}

impl From<OfPayer> for FiguresOfPayer {
    fn from(of: OfPayer) -> Self {
        let PayerFigures {
            filed,
            answered,
            in_full,
            in_part,
            denied,
            approved_share,
            claimed,
            paid,
            written_down,
            open,
            recovered_share,
            claimed_net,
            normal,
            claimed_of_normal,
            paid_in_full,
            days_median,
            days_mean,
            reasons,
            open_by_age,
        } = of.figures;
        Self {
            filed,
            answered,
            in_full,
            in_part,
            denied,
            approved_share: approved_share.map(ExactDecimal),
            claimed: claimed.into(),
            paid: paid.into(),
            written_down: written_down.into(),
            open: open.into(),
            recovered_share: recovered_share.map(ExactDecimal),
            claimed_before_tax: claimed_net.into(),
            normal_price: normal.into(),
            claimed_of_normal: claimed_of_normal.map(ExactDecimal),
            paid_in_full,
            days_to_pay_median: days_median.map(ExactDecimal),
            days_to_pay_mean: days_mean.map(ExactDecimal),
            reasons: reasons.into_iter().map(UnpaidReason::from).collect(),
            open_by_age: open_by_age.into(),
            payer: of.payer,
        }
    }
}

#[ComplexObject]
impl FiguresOfPayer {
    /// The payer.
    async fn payer(&self, _ctx: &Context<'_>) -> WarrantyPayer {
        WarrantyPayer::from(self.payer.clone())
    }
}

/// What was denied or paid in part for one reason.
#[derive(SimpleObject)]
pub struct UnpaidReason {
    /// The payer's code; null where it gave none.
    code: Option<String>,
    /// What it means, where it is of the open list that is known here.
    meaning: Option<&'static str>,
    /// How many claims.
    count: usize,
    /// What was not paid of them.
    unpaid: Money,
}

impl From<ReasonFigure> for UnpaidReason {
    fn from(figure: ReasonFigure) -> Self {
        let code = figure.reason.as_deref();
        let known = outcome_codes()
            .iter()
            .find(|known| Some(known.code) == code);
        Self {
            meaning: known.map(|known| known.meaning),
            count: figure.count,
            unpaid: figure.unpaid.into(),
            code: figure.reason,
        }
    }
}
