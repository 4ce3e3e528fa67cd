//! Payments, credit, credit notes and write-offs of what warranty payers owe.

use nameplate_entities::kinds::ReversalKind;
use nameplate_entities::{invoice, payment, warranty_payer};

use super::*;
use crate::base::testing::refusals;
use crate::base::{ProblemCode, Result};
use crate::closeout::credit_invoice;
use crate::invoices::{
    AllocatePayment, ApplyCredit, CreditInvoice, CreditedLine, ReversePayment, UndoWriteOff,
    WriteOffInvoice, reverse_payment, undo_write_off,
};
use crate::remittances::{allocate_payment, apply_credit, record_payment, write_off_invoice};

async fn bounce(shop: &TestShop, paid: &payment::Model) -> Result<payment::Model> {
    let order = ReversePayment {
        idempotency_key: shop.key(),
        payment_id: paid.id,
        kind: ReversalKind::Bounced,
        reason: "The bank did not honour it".to_owned(),
        reversed_on: today(),
        charge_fee: false,
        bank_fee: None,
    };
    reverse_payment(&shop.owner, order).await
}

#[tokio::test]
async fn money_of_a_payer_settles_claims_and_other_bills_each_on_its_own_account() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        assert_eq!(claim.total_cents, WHOLE);
        let sold = shop.sold_to(&maker).await;
        assert_eq!(shop.control().await, [WHOLE, sold.total_cents, 0]);
        let parts = [(claim.id, 14_000), (sold.id, sold.total_cents)];
        let amount = 14_600 + sold.total_cents;
        let order = shop.remitted(&maker, amount, &parts);
        let paid = record_payment(&shop.owner, order).await.unwrap();
        assert_eq!(shop.control().await, [15_700, 0, -600]);
        shop.is_in_order().await;

        let apply = ApplyCredit {
            idempotency_key: shop.key(),
            customer_id: maker.customer_id,
            invoice_id: claim.id,
            amount: Cents(600),
        };
        apply_credit(&shop.owner, apply).await.unwrap();
        assert_eq!(shop.control().await, [15_100, 0, 0]);
        shop.is_in_order().await;

        bounce(&shop, &paid).await.unwrap();
        assert_eq!(shop.control().await, [WHOLE, sold.total_cents, 0]);
        assert_eq!(shop.open_cents(claim.id).await, WHOLE);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn money_that_came_before_the_claims_settles_them_from_their_day_on() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        let sold = shop.sold_to(&maker).await;
        let mut order = shop.remitted(&maker, 9_000, &[(claim.id, 5_000), (sold.id, 4_000)]);
        order.received_on = today() - Days::new(3);
        let paid = record_payment(&shop.owner, order).await.unwrap();
        let left = [WHOLE - 5_000, sold.total_cents - 4_000, 0];
        assert_eq!(shop.control().await, left);
        shop.is_in_order().await;
        bounce(&shop, &paid).await.unwrap();
        assert_eq!(shop.control().await, [WHOLE, sold.total_cents, 0]);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn what_is_left_of_a_payers_money_is_laid_against_a_later_claim() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(true).await;
        let order = RecordPayment {
            parts: None,
            ..shop.remitted(&maker, 2_500, &[])
        };
        let paid = record_payment(&shop.owner, order).await.unwrap();
        let claim = shop.claimed(&maker).await;
        let lay = AllocatePayment {
            idempotency_key: shop.key(),
            payment_id: paid.id,
            parts: vec![PaymentPart {
                invoice_id: claim.id,
                amount: Cents(2_000),
            }],
        };
        allocate_payment(&shop.owner, lay).await.unwrap();
        assert_eq!(shop.control().await, [WHOLE - 2_000, 0, -500]);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn credit_notes_of_a_claim_lower_it_and_leave_what_was_paid_as_the_payers_credit() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        let labour = CreditedLine {
            position: 2,
            quantity: None,
            amount_off: None,
        };
        let part = CreditInvoice {
            lines: Some(vec![labour]),
            ..shop.credit(claim.id)
        };
        let note = credit_invoice(&shop.owner, part).await.unwrap();
        assert_eq!(note.total_cents, -14_400);
        assert_eq!(note.warranty_payer_id, Some(maker.id));
        assert_eq!(shop.control().await, [15_300, 0, 0]);
        shop.is_in_order().await;

        let order = shop.remitted(&maker, 10_000, &[(claim.id, 10_000)]);
        record_payment(&shop.owner, order).await.unwrap();
        let rest = shop.credit(claim.id);
        credit_invoice(&shop.owner, rest).await.unwrap();
        assert_eq!(shop.control().await, [0, 0, -10_000]);
        assert_eq!(shop.balance("4020").await, 0, "no labour is sold any more");
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_claim_that_will_never_be_paid_is_a_bad_debt_until_that_is_undone() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        gone(&shop, &claim).await;
        assert_eq!(shop.control().await, [0, 0, 0]);
        assert_eq!(shop.balance("6100").await, WHOLE);
        shop.is_in_order().await;
        let undo = UndoWriteOff {
            idempotency_key: shop.key(),
            invoice_id: claim.id,
            reason: "They trade on".to_owned(),
        };
        undo_write_off(&shop.owner, undo).await.unwrap();
        assert_eq!(shop.control().await, [WHOLE, 0, 0]);
        assert_eq!(shop.balance("6100").await, 0);
        shop.is_in_order().await;
        gone(&shop, &claim).await;
        comes_in(&shop, &maker, &claim).await;
    }
}

async fn gone(shop: &TestShop, claim: &invoice::Model) {
    let order = WriteOffInvoice {
        idempotency_key: shop.key(),
        invoice_id: claim.id,
        reason: "The maker is bankrupt".to_owned(),
    };
    write_off_invoice(&shop.owner, order).await.unwrap();
}

/// Money on what was written off, as far as it goes; and of a customer of another name it is refused.
async fn comes_in(shop: &TestShop, maker: &warranty_payer::Model, claim: &invoice::Model) {
    let order = shop.remitted(maker, 700, &[(claim.id, 700)]);
    let wrong = RecordPayment {
        idempotency_key: shop.key(),
        customer_id: shop.customer_id,
        ..order.clone()
    };
    let path = "allocations.0.invoiceId".to_owned();
    assert_eq!(
        refusals(record_payment(&shop.owner, wrong).await),
        [(ProblemCode::NotFound, path)]
    );
    record_payment(&shop.owner, order).await.unwrap();
    assert_eq!(shop.control().await, [0, 0, 0]);
    assert_eq!(shop.balance("6100").await, WHOLE - 700);
    shop.is_in_order().await;
}
