//! Keeping price books.

use async_graphql::{Context, Object};

use crate::graphql::context::act;
use crate::graphql::ids::Kind;
use crate::invoices;

use super::super::operations;
use super::PriceBook;
use super::book_inputs::*;

/// Keeping price books.
#[derive(Default)]
pub struct PriceBooksMutation;

#[Object]
impl PriceBooksMutation {
    /// Begins a price book: all rates and the whole markup schedule at once.
    async fn draft_price_book(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The price book.")] input: DraftPriceBookInput,
    ) -> async_graphql::Result<DraftPriceBookPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::draft_price_book(act, input.command()?).await }.await;
        DraftPriceBookPayload::of(outcome.map(PriceBook::from))
    }

    /// Puts a drafted price book to use from its day on; it is never edited afterwards.
    async fn adopt_price_book(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which draft.")] input: AdoptPriceBookInput,
    ) -> async_graphql::Result<AdoptPriceBookPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let book = Kind::PriceBook.row("priceBookId", &input.price_book_id)?;
            operations::adopt_price_book(act, book).await
        }
        .await;
        AdoptPriceBookPayload::of(outcome.map(PriceBook::from))
    }

    /// Makes a draft again of a price book that was adopted by mistake, as long as no estimate was priced by it.
    async fn withdraw_price_book(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which book.")] input: WithdrawPriceBookInput,
    ) -> async_graphql::Result<WithdrawPriceBookPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let book = Kind::PriceBook.row("priceBookId", &input.price_book_id)?;
            invoices::withdraw_price_book(act, book).await
        }
        .await;
        WithdrawPriceBookPayload::of(outcome.map(PriceBook::from))
    }

    /// Begins a draft as a copy of another book: rates, brackets, zones and tasks.
    async fn clone_price_book(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Which book, and for when.")] input: ClonePriceBookInput,
    ) -> async_graphql::Result<ClonePriceBookPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::clone_price_book(act, input.command()?).await }.await;
        ClonePriceBookPayload::of(outcome.map(PriceBook::from))
    }

    /// Changes a price book that is a draft; an adopted one is cloned instead.
    async fn change_price_book(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What to change.")] input: ChangePriceBookInput,
    ) -> async_graphql::Result<ChangePriceBookPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::change_price_book(act, input.command()?).await }.await;
        ChangePriceBookPayload::of(outcome.map(PriceBook::from))
    }
}
