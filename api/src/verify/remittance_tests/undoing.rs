//! Advices dropped before and undone after they are posted.

use nameplate_entities::kinds::{ClaimState, ReversalKind};

use super::*;
use crate::invoices::{ReversePayment, reverse_payment};
use crate::remittances::{UndoAdvice, drop_advice, undo_advice};

#[tokio::test]
async fn a_dropped_advice_counts_no_more_and_its_file_may_come_again() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let rows = format!("{},297.00,,,EFT-1\n", claim.number);
        let first = shop.take_in(&payer, &rows).await;
        drop_advice(&shop.owner, first).await.unwrap();
        let twice = drop_advice(&shop.owner, first).await;
        at(ProblemCode::WrongState, "adviceId", twice);
        let posted = post_advice(&shop.owner, shop.posting(first)).await;
        at(ProblemCode::WrongState, "adviceId", posted);
        let row = shop.advice_rows(first).await[0].clone();
        let matched = match_advice_row(&shop.owner, shop.matching(row.id, claim.id)).await;
        at(ProblemCode::WrongState, "rowId", matched);
        let second = shop.take_in(&payer, &rows).await;
        shop.post(second).await;
        let dropped = drop_advice(&shop.owner, second).await;
        at(ProblemCode::WrongState, "adviceId", dropped);
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 0));
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn an_advice_whose_payment_bounced_is_undone_and_the_next_one_pays_what_is_open_again() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let rows = format!("{},297.00,,,EFT-1\nX-1,2.00,,,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        let undo = UndoAdvice {
            advice_id,
            reason: "The check bounced".to_owned(),
        };
        let early = undo_advice(&shop.owner, undo.clone()).await;
        at(ProblemCode::WrongState, "adviceId", early);
        let posted = shop.post(advice_id).await;
        let standing = undo_advice(&shop.owner, undo.clone()).await;
        at(ProblemCode::WrongState, "adviceId", standing);
        let reverse = ReversePayment {
            idempotency_key: shop.key(),
            payment_id: posted.payment_id.unwrap(),
            kind: ReversalKind::Bounced,
            reason: "Not honoured".to_owned(),
            reversed_on: today(),
            charge_fee: false,
            bank_fee: None,
        };
        reverse_payment(&shop.owner, reverse).await.unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 29_700));
        let row = shop.advice_rows(advice_id).await[1].clone();
        let matched = match_advice_row(&shop.owner, shop.matching(row.id, claim.id)).await;
        at(ProblemCode::WrongState, "rowId", matched);
        let undone = undo_advice(&shop.owner, undo).await.unwrap();
        assert!(undone.undone_at.is_some());
        assert_eq!(shop.broken().await, Vec::<String>::new());
        let again = shop.take_in(&payer, &rows).await;
        shop.post(again).await;
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 0));
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}
