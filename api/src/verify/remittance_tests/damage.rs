//! What is damaged about advices is found.

use sea_orm::ConnectionTrait;

use super::*;

#[tokio::test]
async fn every_promise_of_an_advice_is_missed_when_it_is_broken() {
    let damages = [
        (
            "UPDATE payer_advice SET total_cents = total_cents + 1",
            "payer_advice 1: cents of its rows",
        ),
        (
            "UPDATE payer_advice SET rows = 9",
            "payer_advice 1: rows against",
        ),
        (
            "UPDATE payer_advice SET payment_id = NULL",
            "payer_advice 1: cents of its payment",
        ),
        (
            "UPDATE payer_advice SET standing_sha256 = NULL",
            "payer_advice 1: its file",
        ),
        (
            "UPDATE payer_advice SET undone_at = posted_at, standing_sha256 = NULL",
            "payer_advice 1: its file",
        ),
        (
            "UPDATE payment SET held_cents = 1",
            "payment 1: cents held back",
        ),
        (
            "UPDATE advice_row SET laid_cents = paid_cents + 1",
            "advice_row 1: cents laid of it",
        ),
        (
            "UPDATE advice_row SET claim_id = NULL",
            "advice_row 1: cents laid of it",
        ),
        (
            "UPDATE advice_row SET settled_at = NULL",
            "advice_row 1: cents laid of it",
        ),
        (
            "UPDATE advice_row SET paid_cents = paid_cents + 1, laid_cents = laid_cents + 1",
            "claim 1: cents that payments of advices",
        ),
        (
            "DELETE FROM claim_step WHERE step = 'pay'",
            "claim 1: steps by which it was paid",
        ),
    ];
    for (damage, expected) in damages {
        let shop = Desk::open().await;
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let rows = format!("{},180.00,,,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        shop.post(advice_id).await;
        assert_eq!(shop.broken().await, Vec::<String>::new());
        let tx = shop.bench.app.db.write().await.unwrap();
        tx.execute_unprepared(damage).await.unwrap();
        tx.commit().await.unwrap();
        let broken = shop.broken().await;
        assert!(
            broken.iter().any(|finding| finding.starts_with(expected)),
            "{damage}: {broken:?}"
        );
    }
}
