//! What a payer leaves unpaid: borne by the shop, or moved to the customer of the call, and taken back again.

use nameplate_entities::kinds::{PaymentMethod, WriteOffKind};
use nameplate_entities::{write_off_return, write_off_tax};

use super::*;
use crate::base::ProblemCode::{self, ImpossibleDate, NegativeMoney, TooMuch, WrongState};
use crate::base::testing::refusals;
use crate::closeout::credit_invoice;
use crate::invoices::{
    ChangeReceivableTerms, RefundCredit, ReversePayment, UndoWriteOff, change_receivable_terms,
    refund_credit, reverse_payment, undo_write_off,
};
use crate::remittances::record_payment;
use crate::reports::{Basis, Span, margins};

fn at<T>(code: ProblemCode, path: &str, outcome: Result<T>) {
    assert_eq!(refusals(outcome), [(code, path.to_owned())]);
}

#[tokio::test]
async fn what_the_shop_bears_is_a_shortfall_until_money_comes_or_it_is_taken_back() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(false).await;
        let claim = shop.claimed(&maker).await;
        let order = shop.remitted(&maker, 20_000, &[(claim.id, 20_000)]);
        record_payment(&shop.owner, order).await.unwrap();
        let borne = bear(&shop.owner, &claim, 4_700).await.unwrap();
        assert_eq!(borne.kind, WriteOffKind::ClaimShortfall);
        assert_eq!((borne.amount_cents, borne.bad_debt_cents), (4_700, 4_700));
        bear(&shop.owner, &claim, 5_000).await.unwrap();
        assert_eq!(shop.control().await, [0, 0, 0]);
        let undo = UndoWriteOff {
            idempotency_key: shop.key(),
            invoice_id: claim.id,
            reason: "Not here".to_owned(),
        };
        let refused = undo_write_off(&shop.owner, undo).await;
        at(WrongState, "invoiceId", refused);
        assert_eq!(shop.balance("5300").await, 9_700);
        assert_eq!(shop.balance("6100").await, 0);
        shop.is_in_order().await;

        let order = shop.remitted(&maker, 1_000, &[(claim.id, 1_000)]);
        record_payment(&shop.owner, order).await.unwrap();
        assert_eq!(shop.balance("5300").await, 8_700, "it paid after all");
        shop.is_in_order().await;

        take_back(&shop.owner, &claim).await.unwrap();
        assert_eq!(shop.balance("5300").await, 0);
        assert_eq!(shop.open_cents(claim.id).await, 8_700);
        at(WrongState, "", take_back(&shop.owner, &claim).await);
        let order = shop.remitted(&maker, 8_700, &[(claim.id, 8_700)]);
        record_payment(&shop.owner, order).await.unwrap();
        assert_eq!(shop.control().await, [0, 0, 0]);
        shop.is_in_order().await;
    }
}

/// Streamlined Sales and Use Tax Agreement section 320, in a place that gives relief: 297.00 with 8.00 of tax.
#[tokio::test]
async fn where_there_is_relief_the_parts_borne_give_back_the_tax_in_them_and_never_more() {
    for shop in TestShop::everywhere().await {
        let terms = ChangeReceivableTerms {
            write_off_tax_relief: Some(true),
            ..ChangeReceivableTerms::default()
        };
        change_receivable_terms(&shop.owner, terms).await.unwrap();
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        let parts = [9_900, 9_900];
        let mut borne = Vec::new();
        for amount in parts {
            borne.push(bear(&shop.owner, &claim, amount).await.unwrap());
        }
        // 2.67, then 5.33 less that.
        let losses: Vec<i64> = borne.iter().map(|row| row.bad_debt_cents).collect();
        assert_eq!(losses, [9_900 - 267, 9_900 - 266]);
        let moved = hand_on(&shop.owner, &claim, 9_900).await.unwrap();
        assert_eq!((moved.tax_cents, moved.total_cents), (0, 9_900));
        let order = invoices::WriteOffInvoice {
            idempotency_key: shop.key(),
            invoice_id: moved.id,
            reason: "Moved away".to_owned(),
        };
        crate::remittances::write_off_invoice(&shop.owner, order)
            .await
            .unwrap();
        let db = shop.bench.app.db.read();
        let taxes = write_off_tax::Entity::find().all(db).await.unwrap();
        let given: i64 = taxes.iter().map(|row| row.amount_cents).sum();
        assert_eq!(given, 800, "all of the tax of the sale, over both debtors");
        assert_eq!(shop.balance("2200").await, 0);
        assert_eq!(shop.balance("6100").await, 9_900 - 267);
        shop.is_in_order().await;

        take_back_borne(&shop, &claim).await;
    }
}

/// The payer owes all of it again: what the shop bore and what the customer was let off are expected again, with the tax.
async fn take_back_borne(shop: &TestShop, claim: &invoice::Model) {
    take_back(&shop.owner, claim).await.unwrap();
    let db = shop.bench.app.db.read();
    let backs = write_off_return::Entity::find().all(db).await.unwrap();
    assert_eq!(backs.len(), 3, "two borne, one written off");
    assert_eq!(shop.control().await, [WHOLE, 0, 0]);
    assert_eq!(shop.balance("5300").await, 0);
    assert_eq!(shop.balance("6100").await, 0);
    shop.is_in_order().await;
}

#[tokio::test]
async fn what_the_customer_is_asked_for_is_no_sale_and_pays_the_payers_on_the_cash_basis() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        let order = shop.remitted(&maker, 14_850, &[(claim.id, 14_850)]);
        record_payment(&shop.owner, order).await.unwrap();
        let sales = shop.revenue(Basis::Accrual).await;
        let moved = hand_on(&shop.owner, &claim, 14_850).await.unwrap();
        assert_eq!(moved.moved_from_invoice_id, Some(claim.id));
        assert_eq!(moved.customer_id, shop.customer_id);
        assert_eq!(shop.control().await, [0, 14_850, 0]);
        assert_eq!(shop.revenue(Basis::Accrual).await, sales);
        let place = |found: &crate::reports::TaxLiability| {
            let row = &found.places[0];
            (row.gross.0, row.taxable.0, found.levels[0].tax.0)
        };
        assert_eq!(
            place(&shop.taxes(Basis::Accrual).await),
            (28_900, 10_000, 625)
        );
        let half: i64 = sum(&shop.revenue(Basis::Cash).await);
        assert_eq!(half, 14_450, "half of 289.00 is paid");
        shop.is_in_order().await;
        let db = shop.bench.app.db.read();
        let day = Span::new(today(), today()).unwrap();
        let of_calls = margins::by_call(db, day, (true, 10)).await.unwrap();
        assert_eq!(of_calls[0].sale_cents, 28_900);

        let paid = shop.payment(14_850, Excess::Refused);
        record_payment(&shop.owner, paid).await.unwrap();
        assert_eq!(shop.revenue(Basis::Cash).await, sales, "now all of it is");
        assert_eq!(place(&shop.taxes(Basis::Cash).await), (28_900, 10_000, 625));
        assert_eq!(shop.owes().await, (0, 0));
        shop.is_in_order().await;
    }
}

fn sum(rows: &[(String, i64)]) -> i64 {
    rows.iter().map(|(_, cents)| cents).sum()
}

#[tokio::test]
async fn the_customer_reads_why_the_payer_did_not_pay() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        let moved = hand_on(&shop.owner, &claim, 5_000).await.unwrap();
        let db = shop.bench.app.db.read();
        let letter = invoices::letter(db, moved.id).await.unwrap();
        let text = letter.rendered.text;
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let why = format!(
            "(invoice {}). Of that it did not pay USD 50.00: Damage by lime is not covered. What it does not pay is yours \
             to pay.",
            claim.number
        );
        assert!(
            flat.contains("We asked Halvorsen Claims to pay for call"),
            "{text}"
        );
        assert!(flat.contains(&why), "{text}");
        assert_eq!(letter.attachments.len(), 1);
        let claimed = invoices::pdf(db, claim.id).await;
        assert!(claimed.is_ok());
    }
}

#[tokio::test]
async fn what_the_customer_paid_of_a_rest_that_goes_back_to_the_payer_is_paid_back() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        let order = shop.remitted(&maker, WHOLE - 9_700, &[(claim.id, WHOLE - 9_700)]);
        record_payment(&shop.owner, order).await.unwrap();
        let moved = hand_on(&shop.owner, &claim, 9_000).await.unwrap();
        bear(&shop.owner, &claim, 700).await.unwrap();
        let paid = shop.payment(9_000, Excess::Refused);
        let paid = record_payment(&shop.owner, paid).await.unwrap();
        let cash = sum(&shop.revenue(Basis::Cash).await);
        take_back(&shop.owner, &claim).await.unwrap();
        assert_eq!(shop.control().await, [9_700, 0, -9_000]);
        assert_eq!(shop.balance("5300").await, 0);
        assert_eq!(shop.owes().await, (0, 9_000));
        assert_eq!(shop.open_cents(moved.id).await, 0);
        let less = sum(&shop.revenue(Basis::Cash).await);
        assert!(less < cash, "what is credit now pays nothing");
        shop.is_in_order().await;

        let back = RefundCredit {
            idempotency_key: shop.key(),
            customer_id: shop.customer_id,
            amount: Cents(9_000),
            method: PaymentMethod::Check,
            reference: None,
            refunded_on: today(),
            bank_account_id: None,
        };
        refund_credit(&shop.owner, back).await.unwrap();
        let order = shop.remitted(&maker, 9_700, &[(claim.id, 9_700)]);
        record_payment(&shop.owner, order).await.unwrap();
        assert_eq!(shop.control().await, [0, 0, 0]);
        assert_eq!(sum(&shop.revenue(Basis::Cash).await), 28_900);
        shop.is_in_order().await;
        assert_eq!(paid.amount_cents, 9_000);
    }
}

#[tokio::test]
async fn a_payment_that_was_taken_off_a_rest_bounces_and_nothing_is_owed_twice() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        hand_on(&shop.owner, &claim, 9_000).await.unwrap();
        let paid = shop.payment(100, Excess::Refused);
        let paid = record_payment(&shop.owner, paid).await.unwrap();
        take_back(&shop.owner, &claim).await.unwrap();
        assert_eq!(shop.owes().await, (0, 100));
        let order = ReversePayment {
            idempotency_key: shop.key(),
            payment_id: paid.id,
            kind: nameplate_entities::kinds::ReversalKind::Bounced,
            reason: "Not honoured".to_owned(),
            reversed_on: today(),
            charge_fee: false,
            bank_fee: None,
        };
        reverse_payment(&shop.owner, order).await.unwrap();
        assert_eq!(shop.control().await, [WHOLE, 0, 0]);
        assert_eq!(shop.owes().await, (0, 0));
        shop.is_in_order().await;
        let again = hand_on(&shop.owner, &claim, 1_000).await.unwrap();
        assert_eq!(shop.owes().await, (1_000, 0));
        let order = shop.remitted(&maker, WHOLE - 1_000, &[(claim.id, WHOLE - 1_000)]);
        record_payment(&shop.owner, order).await.unwrap();
        assert_eq!(shop.control().await, [0, 1_000, 0], "{}", again.number);
        let rest = sum(&shop.revenue(Basis::Cash).await);
        assert!(rest < 28_900, "what the customer owes is not paid");
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn rests_that_cannot_be_are_refused() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(false).await;
        let claim = shop.claimed(&maker).await;
        at(WrongState, "", hand_on(&shop.owner, &claim, 500).await);
        let beyond = WHOLE + 1;
        at(TooMuch, "amount", bear(&shop.owner, &claim, beyond).await);
        at(NegativeMoney, "amount", bear(&shop.owner, &claim, -1).await);
        let mut early = shop.owner.clone();
        early.at = noon() - Days::new(1);
        at(ImpossibleDate, "on", bear(&early, &claim, 1).await);
        let bill = shop.bill(10_000).await;
        at(WrongState, "", bear(&shop.owner, &bill, 500).await);
        at(WrongState, "", take_back(&shop.owner, &claim).await);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn neither_a_moved_rest_nor_the_claim_beyond_it_is_credited() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        let moved = hand_on(&shop.owner, &claim, 9_000).await.unwrap();
        for id in [moved.id, claim.id] {
            let order = shop.credit(id);
            at(
                WrongState,
                "invoiceId",
                credit_invoice(&shop.owner, order).await,
            );
        }
        take_back(&shop.owner, &claim).await.unwrap();
        let order = shop.credit(claim.id);
        credit_invoice(&shop.owner, order).await.unwrap();
        assert_eq!(shop.control().await, [0, 0, 0]);
        shop.is_in_order().await;
    }
}
