//! Money and credit taken off an invoice that they were not meant for.

use nameplate_entities::invoice;
use nameplate_entities::kinds::{ClaimState, ClaimStep};

use super::*;
use crate::claims::{Happened, OfClaim, void_claim};
use crate::closeout::credit_invoice;
use crate::invoices::{AllocatePayment, ApplyCredit, PaymentPart, WriteOffInvoice};
use crate::remittances::{
    FiguresAsked, TakeOffInvoice, allocate_payment, apply_credit, payer_figures, record_payment,
    take_off_invoice, write_off_invoice,
};

impl Desk {
    fn off(&self, invoice_id: i64, payment_id: Option<i64>) -> TakeOffInvoice {
        TakeOffInvoice {
            idempotency_key: self.key(),
            invoice_id,
            payment_id,
            credit_note_id: None,
            reason: "It was for another machine".to_owned(),
        }
    }

    async fn void(&self, claim_id: i64) {
        let db = self.bench.app.db.read();
        let claim = claims::get_claim(db, "", claim_id).await.unwrap();
        let taken_back = Happened {
            of: OfClaim {
                claim_id,
                version: claim.version,
            },
            on: today(),
            note: Some("Drafted wrongly".to_owned()),
        };
        void_claim(&self.owner, taken_back).await.unwrap();
    }

    async fn balance_of(&self, claim: &claim::Model) -> (i64, i64) {
        let balance = claims::balance(self.bench.app.db.read(), claim).await;
        let balance = balance.unwrap();
        (balance.paid.0, balance.written_down.0)
    }
}

#[tokio::test]
async fn a_check_recorded_on_the_wrong_claim_is_taken_off_and_settles_the_right_one() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let wrong = shop.claim(&payer, 10_000).await;
        let right = shop.claim(&payer, 10_000).await;
        let check = shop.check_of(&payer, 20_000, Some(wrong.invoice_id));
        let paid = record_payment(&shop.owner, check).await.unwrap();
        assert_eq!(shop.claim_now(wrong.id).await, (ClaimState::Paid, 9_700));
        let order = shop.off(wrong.invoice_id, Some(paid.id));
        take_off_invoice(&shop.owner, order.clone()).await.unwrap();
        take_off_invoice(&shop.owner, order).await.unwrap();
        let as_before = (ClaimState::Submitted, 29_700);
        assert_eq!(shop.claim_now(wrong.id).await, as_before);
        let last = shop.steps(wrong.id).await.pop();
        assert_eq!(last, Some((ClaimStep::Unsay, Some(-20_000), None)));
        assert_eq!(shop.balance("2300").await, -20_000);
        assert_eq!(shop.broken().await, Vec::<String>::new());
        let again = take_off_invoice(&shop.owner, shop.off(wrong.invoice_id, Some(paid.id))).await;
        at(ProblemCode::WrongState, "paymentId", again);
        let neither = take_off_invoice(&shop.owner, shop.off(wrong.invoice_id, None)).await;
        at(ProblemCode::Missing, "paymentId", neither);

        let order = AllocatePayment {
            idempotency_key: shop.key(),
            payment_id: paid.id,
            parts: vec![PaymentPart {
                invoice_id: right.invoice_id,
                amount: Cents(20_000),
            }],
        };
        allocate_payment(&shop.owner, order).await.unwrap();
        assert_eq!(shop.claim_now(right.id).await, (ClaimState::Paid, 9_700));
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn what_an_advice_paid_is_taken_off_by_its_row_alone() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let rows = format!("{},297.00,,,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        let posted = shop.post(advice_id).await;
        let order = shop.off(claim.invoice_id, posted.payment_id);
        let by_row = take_off_invoice(&shop.owner, order).await;
        at(ProblemCode::WrongState, "paymentId", by_row);
    }
}

#[tokio::test]
async fn a_void_claim_keeps_no_money_off_its_invoice() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        shop.void(claim.id).await;
        let check = shop.check_of(&payer, 20_000, Some(claim.invoice_id));
        record_payment(&shop.owner, check).await.unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Closed, 9_700));
        let order = WriteOffInvoice {
            idempotency_key: shop.key(),
            invoice_id: claim.invoice_id,
            reason: "Settled by telephone".to_owned(),
        };
        write_off_invoice(&shop.owner, order).await.unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Closed, 0));
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn credit_that_a_payer_had_from_another_invoice_is_money_and_comes_off_again() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let wrong = shop.claim(&payer, 10_000).await;
        let check = shop.check_of(&payer, 29_700, Some(wrong.invoice_id));
        record_payment(&shop.owner, check).await.unwrap();
        shop.void(wrong.id).await;
        let credit = shop.credit(wrong.invoice_id);
        let note = credit_invoice(&shop.owner, credit).await.unwrap();
        let claim = shop.claim(&payer, 10_000).await;
        let apply = ApplyCredit {
            idempotency_key: shop.key(),
            customer_id: payer.row.customer_id,
            invoice_id: claim.invoice_id,
            amount: Cents(29_700),
        };
        apply_credit(&shop.owner, apply).await.unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 0));
        assert_eq!(shop.balance_of(&claim).await, (29_700, 0));
        let asked = FiguresAsked {
            payer_id: None,
            from: today(),
            through: today(),
            today: today(),
        };
        let figures = payer_figures(shop.bench.app.db.read(), asked).await;
        let figures = &figures.unwrap()[0].figures;
        assert_eq!(
            (figures.claimed, figures.paid),
            (Cents(29_700), Cents(29_700))
        );

        let order = TakeOffInvoice {
            credit_note_id: Some(note.id),
            ..shop.off(claim.invoice_id, None)
        };
        take_off_invoice(&shop.owner, order.clone()).await.unwrap();
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 29_700));
        assert_eq!(shop.balance_of(&claim).await, (0, 0));
        let own = TakeOffInvoice {
            invoice_id: wrong.invoice_id,
            idempotency_key: shop.key(),
            ..order
        };
        at(
            ProblemCode::WrongState,
            "creditNoteId",
            take_off_invoice(&shop.owner, own).await,
        );
        let rows = invoice::Entity::find().all(shop.bench.app.db.read()).await;
        assert_eq!(rows.unwrap().len(), 3, "two invoices and a note");
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}
