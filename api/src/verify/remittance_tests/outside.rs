//! Money of claims that comes without an advice, and what is not written off past a claim.

use nameplate_entities::kinds::{ClaimState, ClaimStep};
use nameplate_rules::claims::ClaimStep as Step;

use super::*;
use crate::invoices::{Excess, PaymentPart, RecordPayment, WriteOffInvoice};
use crate::remittances::{ClaimRest, bear_claim_rest, record_payment, write_off_invoice};

impl Desk {
    pub(super) fn check_of(
        &self,
        payer: &Payer,
        amount: i64,
        invoice_id: Option<i64>,
    ) -> RecordPayment {
        let part = |invoice_id| {
            vec![PaymentPart {
                invoice_id,
                amount: Cents(amount),
            }]
        };
        RecordPayment {
            customer_id: payer.row.customer_id,
            parts: invoice_id.map(part),
            ..self.0.payment(amount, Excess::Refused)
        }
    }
}

#[tokio::test]
async fn a_check_without_an_advice_moves_the_claim_that_it_names_on() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let unnamed = record_payment(&shop.owner, shop.check_of(&payer, 100, None)).await;
        at(ProblemCode::TooMuch, "amount", unnamed);
        let first = shop.check_of(&payer, 20_000, Some(claim.invoice_id));
        record_payment(&shop.owner, first).await.unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 9_700));
        let rest = shop.check_of(&payer, 9_700, Some(claim.invoice_id));
        record_payment(&shop.owner, rest).await.unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 0));
        assert_eq!(
            shop.steps(claim.id).await,
            [
                (ClaimStep::ApprovePart, Some(20_000), None),
                (ClaimStep::Pay, Some(20_000), None),
                (ClaimStep::Pay, Some(9_700), None),
            ]
        );
        assert_eq!(shop.broken().await, Vec::<String>::new());
        let closed = shop.claim(&payer, 10_000).await;
        shop.step(closed.id, Step::Close).await;
        let late = shop.check_of(&payer, 100, Some(closed.invoice_id));
        let late = record_payment(&shop.owner, late).await;
        at(ProblemCode::WrongState, "allocations.0.invoiceId", late);
    }
}

#[tokio::test]
async fn what_is_claimed_is_borne_on_the_claim_and_comes_back_when_the_payer_pays_after_all() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let order = WriteOffInvoice {
            idempotency_key: shop.key(),
            invoice_id: claim.invoice_id,
            reason: "They never pay".to_owned(),
        };
        let past = write_off_invoice(&shop.owner, order).await;
        at(ProblemCode::WrongState, "invoiceId", past);
        let rows = format!("{},200.00,97.00,ELR,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        shop.post(advice_id).await;
        let rest = ClaimRest {
            idempotency_key: shop.key(),
            claim_id: claim.id,
            reason: "Their labor rate".to_owned(),
            amount: None,
        };
        bear_claim_rest(&shop.owner, rest).await.unwrap();
        assert_eq!(shop.balance("5300").await, 9_700);
        let rows = format!("{},50.00,,,EFT-2\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        let posted = shop.post(advice_id).await;
        let payment = shop.payment_of(&posted).await;
        assert_eq!(payment.unallocated_cents, 0, "laid against the claim");
        assert_eq!(shop.balance("5300").await, 4_700);
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 0));
        let rows = format!("{},100.00,,,EFT-3\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        let posted = shop.post(advice_id).await;
        let payment = shop.payment_of(&posted).await;
        assert_eq!(payment.unallocated_cents, 5_300, "more than was claimed");
        assert_eq!(shop.balance("5300").await, 0);
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}
