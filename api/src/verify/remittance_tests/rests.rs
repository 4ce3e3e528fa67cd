//! What a payer left unpaid: borne, billed, taken back, and paid after an appeal.

use nameplate_entities::invoice;
use nameplate_entities::kinds::ClaimState;
use nameplate_rules::claims::ClaimStep as Step;

use super::*;
use crate::base::{Error, Role};
use crate::remittances::{
    ClaimRest, UndoClaimRest, bear_claim_rest, bill_claim_rest, undo_claim_rest,
};
use crate::warranty::{ChangeWarrantyPayer, PayerWays, change_warranty_payer};

impl Desk {
    fn rest(&self, claim_id: i64, amount: Option<i64>) -> ClaimRest {
        ClaimRest {
            idempotency_key: self.key(),
            claim_id,
            reason: "The labor rate is above what the maker allows".to_owned(),
            amount: amount.map(Cents),
        }
    }

    fn undo(&self, claim_id: i64) -> UndoClaimRest {
        UndoClaimRest {
            idempotency_key: self.key(),
            claim_id,
            reason: "The payer takes the claim up again".to_owned(),
        }
    }

    async fn let_rests_be_billed(&self, payer: &Payer) {
        let change = ChangeWarrantyPayer {
            payer_id: payer.row.id,
            version: payer.row.version,
            ways: PayerWays {
                claim_mail: None,
                claim_days_move_on: true,
                may_bill_rest: true,
                days_to_pay: Some(45),
            },
            retired: false,
        };
        change_warranty_payer(&self.owner, change).await.unwrap();
    }
}

#[tokio::test]
async fn a_rest_is_borne_or_billed_and_taken_back_until_an_appeal_has_it_paid() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let early = bear_claim_rest(&shop.owner, shop.rest(claim.id, None)).await;
        at(ProblemCode::WrongState, "claimId", early);
        let rows = format!("{},180.00,117.00,ELR,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        shop.post(advice_id).await;

        let kept_from = bill_claim_rest(&shop.owner, shop.rest(claim.id, None)).await;
        at(ProblemCode::WrongState, "claimId", kept_from);
        let order = shop.rest(claim.id, Some(1_700));
        bear_claim_rest(&shop.owner, order.clone()).await.unwrap();
        bear_claim_rest(&shop.owner, order).await.unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 10_000));
        let too_much = bear_claim_rest(&shop.owner, shop.rest(claim.id, Some(10_001))).await;
        at(ProblemCode::TooMuch, "amount", too_much);
        assert_eq!(shop.broken().await, Vec::<String>::new());
        undo_claim_rest(&shop.owner, shop.undo(claim.id))
            .await
            .unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 11_700));

        shop.let_rests_be_billed(&payer).await;
        bill_claim_rest(&shop.owner, shop.rest(claim.id, None))
            .await
            .unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 0));
        let db = shop.bench.app.db.read();
        let last = invoice::Entity::find()
            .order_by_desc(invoice::Column::Id)
            .one(db)
            .await
            .unwrap()
            .unwrap();
        assert_eq!(
            (last.customer_id, last.total_cents),
            (shop.customer_id, 11_700)
        );
        let nothing = bill_claim_rest(&shop.owner, shop.rest(claim.id, None)).await;
        at(ProblemCode::WrongState, "claimId", nothing);
        assert_eq!(shop.broken().await, Vec::<String>::new());
        undo_claim_rest(&shop.owner, shop.undo(claim.id))
            .await
            .unwrap();

        shop.step(claim.id, Step::Appeal).await;
        let appealed = bear_claim_rest(&shop.owner, shop.rest(claim.id, None)).await;
        at(ProblemCode::WrongState, "claimId", appealed);
        let rows = format!("{},117.00,,,EFT-2\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        shop.post(advice_id).await;
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 0));
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn a_closed_claim_goes_on_where_it_was_once_its_rest_is_the_payers_again() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let rows = format!("{},180.00,117.00,ELR,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        shop.post(advice_id).await;
        bear_claim_rest(&shop.owner, shop.rest(claim.id, None))
            .await
            .unwrap();
        shop.step(claim.id, Step::Close).await;
        let order = shop.undo(claim.id);
        let after = undo_claim_rest(&shop.owner, order.clone()).await.unwrap();
        assert_eq!(after.state, ClaimState::Paid);
        undo_claim_rest(&shop.owner, order).await.unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 11_700));
        let steps = shop.steps(claim.id).await;
        assert_eq!(steps.last().unwrap().0, kinds::ClaimStep::Resume);
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn what_was_approved_and_is_refused_then_is_denied_and_its_rest_can_be_borne() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        shop.step(claim.id, Step::Approve).await;
        let waiting = bear_claim_rest(&shop.owner, shop.rest(claim.id, None)).await;
        at(ProblemCode::WrongState, "claimId", waiting);
        let rows = format!("{},0.00,297.00,EW,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        shop.post(advice_id).await;
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Denied, 29_700));
        bear_claim_rest(&shop.owner, shop.rest(claim.id, None))
            .await
            .unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Denied, 0));
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn what_the_payer_said_it_pays_is_asked_of_nobody_else_until_it_says_otherwise() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        shop.let_rests_be_billed(&payer).await;
        let claim = shop.claim(&payer, 10_000).await;
        shop.step_of(claim.id, Step::ApprovePart, Some(Cents(20_000)))
            .await;
        let more = bill_claim_rest(&shop.owner, shop.rest(claim.id, Some(9_701))).await;
        at(ProblemCode::TooMuch, "amount", more);
        bill_claim_rest(&shop.owner, shop.rest(claim.id, None))
            .await
            .unwrap();
        let part = (ClaimState::PartApproved, 20_000);
        assert_eq!(shop.claim_now(claim.id).await, part);
        let theirs = bear_claim_rest(&shop.owner, shop.rest(claim.id, None)).await;
        at(ProblemCode::WrongState, "claimId", theirs);
        shop.step_of(claim.id, Step::Deny, None).await;
        bear_claim_rest(&shop.owner, shop.rest(claim.id, None))
            .await
            .unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Denied, 0));
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn the_customer_is_not_asked_for_a_payers_check_that_bounced() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        shop.let_rests_be_billed(&payer).await;
        let claim = shop.claim(&payer, 10_000).await;
        let rows = format!("{},297.00,,,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        let posted = shop.post(advice_id).await;
        super::unmatching::it_bounces(&shop, &posted).await;
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 29_700));
        let theirs = bill_claim_rest(&shop.owner, shop.rest(claim.id, None)).await;
        at(ProblemCode::WrongState, "claimId", theirs);
        shop.step(claim.id, Step::Close).await;
        let theirs = bill_claim_rest(&shop.owner, shop.rest(claim.id, None)).await;
        at(ProblemCode::WrongState, "claimId", theirs);
        bear_claim_rest(&shop.owner, shop.rest(claim.id, None))
            .await
            .unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Closed, 0));
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn a_claim_closed_before_its_payer_answered_is_borne_and_billed_to_nobody() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        shop.let_rests_be_billed(&payer).await;
        let claim = shop.claim(&payer, 10_000).await;
        shop.step(claim.id, Step::Close).await;
        let unanswered = bill_claim_rest(&shop.owner, shop.rest(claim.id, None)).await;
        at(ProblemCode::WrongState, "claimId", unanswered);
        bear_claim_rest(&shop.owner, shop.rest(claim.id, None))
            .await
            .unwrap();
        let office = shop.bench.act_as(Role::Office).await;
        let owners = undo_claim_rest(&office, shop.undo(claim.id)).await;
        assert!(matches!(owners, Err(Error::Forbidden)), "{owners:?}");
        let after = undo_claim_rest(&shop.owner, shop.undo(claim.id)).await;
        assert_eq!(after.unwrap().state, ClaimState::Submitted);
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}
