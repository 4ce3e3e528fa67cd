//! Rows taken off the wrong claim and matched to the right one.

use nameplate_entities::kinds::{ClaimState, ClaimStep};

use nameplate_rules::claims::ClaimStep as ClaimStepRule;

use super::*;
use crate::invoices::{ReversePayment, reverse_payment};
use crate::remittances::{
    SetAdviceRowAside, UndoAdvice, UnmatchAdviceRow, set_advice_row_aside, undo_advice,
    unmatch_advice_row,
};

impl Desk {
    fn unmatching(&self, row_id: i64) -> UnmatchAdviceRow {
        UnmatchAdviceRow {
            idempotency_key: self.key(),
            row_id,
            reason: "Another machine of the same name".to_owned(),
        }
    }
}

#[tokio::test]
async fn a_row_of_the_wrong_claim_gives_its_money_back_and_pays_the_right_one() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let wrong = shop.claim(&payer, 10_000).await;
        let right = shop.claim(&payer, 10_000).await;
        let rows = format!("{},297.00,,,EFT-1\nX-1,3.00,,,EFT-1\n", wrong.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        let posted = shop.post(advice_id).await;
        let row = shop.advice_rows(advice_id).await[0].clone();
        let order = shop.unmatching(row.id);
        let waits = unmatch_advice_row(&shop.owner, order.clone())
            .await
            .unwrap();
        let same = unmatch_advice_row(&shop.owner, order).await.unwrap();
        assert_eq!(waits, same, "taken off once with one key");
        assert_eq!((waits.claim_id, waits.laid_cents), (None, None));
        let as_before = (ClaimState::Submitted, 29_700);
        assert_eq!(shop.claim_now(wrong.id).await, as_before);
        let last = shop.steps(wrong.id).await.pop();
        assert_eq!(last, Some((ClaimStep::Unsay, Some(-29_700), None)));
        let payment = shop.payment_of(&posted).await;
        assert_eq!(
            (payment.unallocated_cents, payment.held_cents),
            (30_000, 30_000)
        );
        assert_eq!(shop.broken().await, Vec::<String>::new());
        let twice = unmatch_advice_row(&shop.owner, shop.unmatching(row.id)).await;
        at(ProblemCode::WrongState, "rowId", twice);

        let order = shop.matching(row.id, right.id);
        match_advice_row(&shop.owner, order).await.unwrap();
        assert_eq!(shop.claim_now(right.id).await, (ClaimState::Paid, 0));
        assert_eq!(shop.broken().await, Vec::<String>::new());
        it_bounces(&shop, &posted).await;
        assert_eq!(shop.claim_now(right.id).await, (ClaimState::Paid, 29_700));
        assert_eq!(shop.claim_now(wrong.id).await, as_before);
        assert_eq!(shop.broken().await, Vec::<String>::new());
        let late = unmatch_advice_row(&shop.owner, shop.unmatching(row.id)).await;
        at(ProblemCode::WrongState, "rowId", late);
    }
}

pub(super) async fn it_bounces(shop: &Desk, posted: &payer_advice::Model) {
    let reverse = ReversePayment {
        idempotency_key: shop.key(),
        payment_id: posted.payment_id.unwrap(),
        kind: kinds::ReversalKind::Bounced,
        reason: "Not honoured".to_owned(),
        reversed_on: today(),
        charge_fee: false,
        bank_fee: None,
    };
    reverse_payment(&shop.owner, reverse).await.unwrap();
}

#[tokio::test]
async fn a_payment_whose_row_waits_again_bounces_and_leaves_nothing_behind() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let rows = format!("{},297.00,,,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        let posted = shop.post(advice_id).await;
        let row = shop.advice_rows(advice_id).await[0].clone();
        unmatch_advice_row(&shop.owner, shop.unmatching(row.id))
            .await
            .unwrap();
        it_bounces(&shop, &posted).await;
        assert_eq!(shop.balance("2300").await, 0);
        assert_eq!(shop.balance("1250").await, 29_700);
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn one_of_two_rows_of_a_claim_is_taken_off_and_the_other_stays_laid() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let rows = format!(
            "{},200.00,,,EFT-1\nX-1,50.00,,,EFT-1\nX-2,60.00,,,EFT-1\n",
            claim.number
        );
        let advice_id = shop.take_in(&payer, &rows).await;
        shop.post(advice_id).await;
        let rows = shop.advice_rows(advice_id).await;
        let order = shop.matching(rows[1].id, claim.id);
        match_advice_row(&shop.owner, order).await.unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 4_700));
        unmatch_advice_row(&shop.owner, shop.unmatching(rows[0].id))
            .await
            .unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 24_700));
        assert_eq!(shop.broken().await, Vec::<String>::new());
        let nobodys = unmatch_advice_row(&shop.owner, shop.unmatching(rows[2].id)).await;
        at(ProblemCode::WrongState, "rowId", nobodys);
        let aside = SetAdviceRowAside {
            row_id: rows[0].id,
            reason: "Nobody knows it".to_owned(),
        };
        set_advice_row_aside(&shop.owner, aside).await.unwrap();
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn an_advice_that_paid_nothing_is_undone_and_its_file_comes_again() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let rows = format!("{},,,NWR,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        shop.post(advice_id).await;
        let undo = UndoAdvice {
            advice_id,
            reason: "Of another shop".to_owned(),
        };
        let undone = undo_advice(&shop.owner, undo).await.unwrap();
        assert!(undone.undone_at.is_some() && undone.payment_id.is_none());
        let as_before = (ClaimState::Submitted, 29_700);
        assert_eq!(shop.claim_now(claim.id).await, as_before);
        assert_eq!(shop.broken().await, Vec::<String>::new());
        shop.take_in(&payer, &rows).await;
    }
}

#[tokio::test]
async fn a_denial_that_was_of_another_claim_leaves_an_appeal_as_it_was() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        shop.step(claim.id, ClaimStepRule::Deny).await;
        shop.step(claim.id, ClaimStepRule::Appeal).await;
        let rows = format!("{},,297.00,NWR,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        shop.post(advice_id).await;
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Denied, 29_700));
        let row = shop.advice_rows(advice_id).await[0].clone();
        unmatch_advice_row(&shop.owner, shop.unmatching(row.id))
            .await
            .unwrap();
        let as_before = (ClaimState::Appealed, 29_700);
        assert_eq!(shop.claim_now(claim.id).await, as_before);
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}
