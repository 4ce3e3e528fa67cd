//! Refunds that are undone, also after the payment they came out of.

use super::*;
use crate::banking::{ReverseRefund, reverse_refund};

/// Our own check for a refund was never cashed, and the customer's check it came out of bounced.
#[tokio::test]
async fn a_refund_that_is_asked_for_again_is_undone_and_nothing_is_owed_for_it() {
    for shop in TestShop::everywhere().await {
        for is_written_off in [false, true] {
            let paid = shop.receive(10_000).await;
            let refund = refund_credit(&shop.owner, shop.refund(4_000))
                .await
                .unwrap();
            reverse_payment(&shop.owner, shop.reverse(paid.id))
                .await
                .unwrap();
            assert_eq!(shop.owes().await, (4_000, 0));
            let claim = invoice::Entity::find()
                .filter(invoice::Column::ReturnedPaymentId.eq(paid.id))
                .one(shop.bench.app.db.read())
                .await
                .unwrap()
                .unwrap();
            if is_written_off {
                shop.write_off(claim.id).await;
            }
            let order = ReverseRefund {
                idempotency_key: shop.key(),
                refund_id: refund.id,
                reason: "The check was never cashed".to_owned(),
                reversed_on: today(),
            };
            reverse_refund(&shop.owner, order).await.unwrap();
            assert_eq!(shop.owes().await, (0, 0));
            shop.is_in_order().await;
        }
    }
}

/// What was credited has given its tax back, so there is none to give back once more.
#[tokio::test]
async fn what_is_owed_of_an_invoice_that_was_credited_and_refunded_is_written_off_without_tax() {
    for shop in TestShop::everywhere().await {
        shop.credit_stays().await;
        shop.terms(ChangeReceivableTerms {
            write_off_tax_relief: Some(true),
            ..ChangeReceivableTerms::default()
        })
        .await;
        let bill = shop.bill(5_000).await;
        let paid = shop.receive(bill.total_cents).await;
        credit_invoice(&shop.owner, shop.credit(bill.id))
            .await
            .unwrap();
        refund_credit(&shop.owner, shop.refund(bill.total_cents))
            .await
            .unwrap();
        reverse_payment(&shop.owner, shop.reverse(paid.id))
            .await
            .unwrap();
        shop.write_off(bill.id).await;
        let row = write_off::Entity::find()
            .one(shop.bench.app.db.read())
            .await
            .unwrap()
            .unwrap();
        assert_eq!(row.bad_debt_cents, row.amount_cents);
        assert_eq!(shop.owes().await, (0, 0));
        shop.is_in_order().await;
    }
}
