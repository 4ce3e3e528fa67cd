//! Damage to what warranty payers owe is found.

use super::*;
use crate::remittances::record_payment;

const UNGUARDED: &str = "DROP TRIGGER IF EXISTS keep_invoice_update; DROP TRIGGER IF EXISTS keep_posting_update; \
     DROP TRIGGER IF EXISTS keep_allocation_update; ";

#[tokio::test]
async fn damage_to_claims_and_their_rests_is_found() {
    for (harm, named) in [
        (
            "UPDATE receivable SET open_cents = open_cents - 1 WHERE invoice_id = 1",
            "cents of claims receivable in the books",
        ),
        (
            "UPDATE receivable SET open_cents = open_cents - 1 WHERE invoice_id = 2",
            "cents receivable in the books",
        ),
        (
            "UPDATE receivable SET next_reminder_on = due_on WHERE invoice_id = 1",
            "reminders sent or to come",
        ),
        (
            "UPDATE invoice SET warranty_payer_id = NULL WHERE id = 1",
            "the warranty payer it is on",
        ),
        (
            "UPDATE invoice SET payer = 'customer', warranty_payer_id = NULL WHERE id = 1",
            "on the control account of another debtor",
        ),
        (
            "UPDATE posting SET account_id = (SELECT id FROM account WHERE role = 'receivable') \
             WHERE account_id = (SELECT id FROM account WHERE role = 'claims_receivable')",
            "cents of claims that its entry takes over",
        ),
        (
            "UPDATE allocation SET amount_cents = amount_cents + 1 WHERE moved_to_invoice_id IS NOT NULL",
            "cents moved to it from a warranty payer's invoice",
        ),
        (
            "UPDATE invoice SET customer_id = customer_id + 1 WHERE id = 2",
            "the customer of a moved rest",
        ),
        (
            "UPDATE invoice SET moved_from_invoice_id = NULL WHERE id = 2",
            "the invoice that a rest was moved to",
        ),
        (
            "UPDATE write_off SET kind = 'bad_debt'",
            "cents of loss in its entries on the account of its kind",
        ),
        (
            "UPDATE write_off SET invoice_id = 2",
            "the invoice of a shortfall",
        ),
    ] {
        let shop = TestShop::open().await;
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        let moved = hand_on(&shop.owner, &claim, 9_000).await.unwrap();
        assert_eq!((claim.id, moved.id), (1, 2));
        bear(&shop.owner, &claim, 700).await.unwrap();
        let order = shop.remitted(&maker, 1_000, &[(claim.id, 1_000)]);
        record_payment(&shop.owner, order).await.unwrap();
        shop.is_in_order().await;
        let findings = shop.spoil(&format!("{UNGUARDED}{harm}")).await;
        assert!(
            findings.iter().any(|finding| finding.contains(named)),
            "{named}: {findings:#?}"
        );
    }
}
