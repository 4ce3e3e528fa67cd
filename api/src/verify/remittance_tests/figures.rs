//! Figures of payers: by their last answers, and without what was taken back.

use nameplate_rules::claims::ClaimStep as Step;

use super::*;
use crate::closeout::credit_invoice;
use crate::remittances::{FiguresAsked, payer_figures};

#[tokio::test]
async fn a_claim_closed_unanswered_is_not_denied_and_one_taken_back_does_not_count() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let gone = shop.claim(&payer, 10_000).await;
        let closed = shop.claim(&payer, 20_000).await;
        let denied = shop.claim(&payer, 30_000).await;
        for (claim, step) in [
            (&gone, Step::Deny),
            (&gone, Step::Void),
            (&closed, Step::Close),
            (&denied, Step::Approve),
            (&denied, Step::Deny),
            (&denied, Step::Close),
        ] {
            shop.step(claim.id, step).await;
        }
        credit_invoice(&shop.owner, shop.credit(gone.invoice_id))
            .await
            .unwrap();
        let asked = FiguresAsked {
            payer_id: None,
            from: today(),
            through: today(),
            today: today(),
        };
        let db = shop.bench.app.db.read();
        let figures = payer_figures(db, asked).await.unwrap();
        let figures = &figures[0].figures;
        assert_eq!((figures.filed, figures.answered), (2, 1));
        assert_eq!((figures.in_full, figures.denied), (0, 1));
        let claimed = closed.claimed_cents + denied.claimed_cents;
        assert_eq!(figures.claimed, Cents(claimed));
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}
