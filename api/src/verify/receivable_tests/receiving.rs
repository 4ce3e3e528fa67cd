//! Payments, deposits, credit, refunds, and payments undone.

use super::*;

#[tokio::test]
async fn credit_is_laid_against_the_next_invoice_by_itself_unless_the_shop_says_otherwise() {
    for shop in TestShop::everywhere().await {
        let first = shop.receive(3_000).await;
        let second = shop.receive(50_000).await;
        let bill = shop.bill(5_000).await;
        assert_eq!(shop.open_cents(bill.id).await, 0);
        let db = shop.bench.app.db.read();
        let left = async |id| {
            let row = payment::Entity::find_by_id(id).one(db).await;
            row.unwrap().unwrap().unallocated_cents
        };
        assert_eq!(left(first.id).await, 0, "the older credit goes first");
        assert_eq!(left(second.id).await, 53_000 - bill.total_cents);
        shop.credit_stays().await;
        let other = shop.bill(7_000).await;
        assert_eq!(shop.open_cents(other.id).await, other.total_cents);
        assert!(shop.print(&bill).await.contains("0.00"));
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn credit_is_laid_or_paid_back_as_told_and_never_falls_below_zero() {
    for shop in TestShop::everywhere().await {
        shop.credit_stays().await;
        shop.receive(10_000).await;
        let bill = shop.bill(5_000).await;
        let applied = apply_credit(&shop.owner, shop.apply(bill.id, 4_000)).await;
        assert_eq!(applied.unwrap().id, bill.id);
        assert_eq!(shop.owes().await, (bill.total_cents - 4_000, 6_000));
        at(
            TooMuch,
            "amount",
            apply_credit(&shop.owner, shop.apply(bill.id, 6_001)).await,
        );
        at(
            NegativeMoney,
            "amount",
            apply_credit(&shop.owner, shop.apply(bill.id, -1)).await,
        );
        at(
            NotFound,
            "invoiceId",
            apply_credit(&shop.owner, shop.apply(99, 1)).await,
        );

        let order = shop.refund(5_000);
        let refund = refund_credit(&shop.owner, order.clone()).await.unwrap();
        let again = refund_credit(&shop.owner, order).await.unwrap();
        assert_eq!((refund.number.as_str(), again.id), ("R-000001", refund.id));
        assert_eq!(shop.owes().await, (bill.total_cents - 4_000, 1_000));
        at(
            TooMuch,
            "amount",
            refund_credit(&shop.owner, shop.refund(1_001)).await,
        );
        let mut early = shop.refund(1_000);
        early.refunded_on = today() - Days::new(1);
        at(
            ImpossibleDate,
            "refundedOn",
            refund_credit(&shop.owner, early).await,
        );
        let mut late = shop.refund(1_000);
        late.refunded_on = today() + Days::new(1);
        at(
            ImpossibleDate,
            "refundedOn",
            refund_credit(&shop.owner, late).await,
        );
        refund_credit(&shop.owner, shop.refund(1_000))
            .await
            .unwrap();
        assert_eq!(shop.owes().await.1, 0);
        shop.is_in_order().await;
    }
}

/// EN 16931-1 rule BR-CO-16: what was paid before is taken off the amount due, and is no line.
#[tokio::test]
async fn a_deposit_goes_to_the_invoice_of_its_call_and_is_printed_as_paid() {
    for shop in TestShop::everywhere().await {
        let call = shop.accepted_call(Cents(5_000), None).await;
        let deposit = |amount: i64| RecordDeposit {
            idempotency_key: shop.key(),
            call_id: call.id,
            customer_id: None,
            method: PaymentMethod::Card,
            reference: None,
            received_on: today(),
            amount: Cents(amount),
        };
        let taken = record_deposit(&shop.owner, deposit(8_000)).await.unwrap();
        assert_eq!(taken.deposit_call_id, Some(call.id));
        at(
            TooMuch,
            "amount",
            record_deposit(&shop.owner, deposit(90_000)).await,
        );
        let other = shop.bill(7_000).await;
        assert_eq!(
            shop.open_cents(other.id).await,
            other.total_cents,
            "it is for another call"
        );
        let bill = issue_invoice(&shop.owner, shop.order(call.id))
            .await
            .unwrap()
            .remove(0);
        assert_eq!(shop.open_cents(bill.id).await, bill.total_cents - 8_000);
        assert_eq!(
            bill.net_cents,
            5_000 + 14_400 + 4_500,
            "the deposit is no line"
        );
        let text = shop.print(&bill).await;
        assert!(text.contains("80.00"), "{text}");
        at(
            WrongState,
            "callId",
            record_deposit(&shop.owner, deposit(1)).await,
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_check_that_bounced_opens_its_invoices_again_and_a_fee_is_charged() {
    for shop in TestShop::everywhere().await {
        shop.credit_stays().await;
        let bill = shop.bill(5_000).await;
        let paid = shop.receive(bill.total_cents + 2_000).await;
        let later = shop.bill(7_000).await;
        apply_credit(&shop.owner, shop.apply(later.id, 2_000))
            .await
            .unwrap();
        let mut order = shop.reverse(paid.id);
        order.charge_fee = true;
        at(
            SettingMissing,
            "chargeFee",
            reverse_payment(&shop.owner, order.clone()).await,
        );
        shop.terms(ChangeReceivableTerms {
            returned_payment_fee: Some(Cents(2_500)),
            ..ChangeReceivableTerms::default()
        })
        .await;
        let mut early = shop.reverse(paid.id);
        early.reversed_on = today() - Days::new(1);
        at(
            ImpossibleDate,
            "reversedOn",
            reverse_payment(&shop.owner, early).await,
        );
        let undone = reverse_payment(&shop.owner, order.clone()).await.unwrap();
        assert_eq!(
            (undone.unallocated_cents, undone.reversed_on),
            (0, Some(today()))
        );
        reverse_payment(&shop.owner, order).await.unwrap();
        assert_eq!(shop.open_cents(bill.id).await, bill.total_cents);
        assert_eq!(shop.open_cents(later.id).await, later.total_cents);
        let owed = bill.total_cents + later.total_cents + 2_500;
        assert_eq!(
            shop.owes().await,
            (owed, 0),
            "the fee is an invoice of its own"
        );
        at(
            WrongState,
            "paymentId",
            reverse_payment(&shop.owner, shop.reverse(paid.id)).await,
        );
        shop.is_in_order().await;
    }
}

/// A check over more than the bill, of which the rest is paid back before it bounces.
#[tokio::test]
async fn what_was_refunded_out_of_a_check_that_bounced_is_owed_again_and_is_no_sale() {
    for shop in TestShop::everywhere().await {
        shop.credit_stays().await;
        let bill = shop.bill(5_000).await;
        let paid = shop.receive(bill.total_cents + 20_000).await;
        let refund = refund_credit(&shop.owner, shop.refund(15_000)).await;
        let refund = refund.unwrap();
        reverse_payment(&shop.owner, shop.reverse(paid.id))
            .await
            .unwrap();
        assert_eq!(shop.owes().await, (bill.total_cents + 15_000, 0));
        let db = shop.bench.app.db.read();
        let claim = invoice::Entity::find()
            .filter(invoice::Column::ReturnedPaymentId.eq(paid.id))
            .one(db)
            .await
            .unwrap()
            .unwrap();
        assert_eq!((claim.total_cents, claim.tax_cents), (15_000, 0));
        let said = &claim.content_json;
        assert!(said.contains(&refund.number), "{said}");
        let account = invoices::account(db, shop.customer_id, (today(), today())).await;
        assert_eq!(
            account.unwrap().closing,
            Cents(bill.total_cents + 15_000),
            "nothing is counted twice"
        );
        at(
            WrongState,
            "invoiceId",
            credit_invoice(&shop.owner, shop.credit(claim.id)).await,
        );
        shop.is_in_order().await;
        let order = WriteOffInvoice {
            idempotency_key: shop.key(),
            invoice_id: claim.id,
            reason: "The account was closed".to_owned(),
        };
        write_off_invoice(&shop.owner, order).await.unwrap();
        assert_eq!(shop.owes().await, (bill.total_cents, 0));
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_check_bounces_whose_invoice_was_credited_and_refunded_and_the_invoice_is_owed() {
    for shop in TestShop::everywhere().await {
        shop.credit_stays().await;
        let bill = shop.bill(5_000).await;
        let paid = shop.receive(bill.total_cents).await;
        credit_invoice(&shop.owner, shop.credit(bill.id))
            .await
            .unwrap();
        refund_credit(&shop.owner, shop.refund(10_000))
            .await
            .unwrap();
        reverse_payment(&shop.owner, shop.reverse(paid.id))
            .await
            .unwrap();
        assert_eq!(shop.owes().await, (10_000, 0));
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_payment_whose_money_settles_others_by_a_credit_note_cannot_be_undone() {
    let shop = TestShop::open().await;
    shop.credit_stays().await;
    shop.receive(2_000).await;
    let bill = shop.bill(5_000).await;
    let paid = record_payment(&shop.owner, {
        let mut payment = shop.payment(bill.total_cents, Excess::Refused);
        payment.parts = Some(vec![PaymentPart {
            invoice_id: bill.id,
            amount: Cents(bill.total_cents),
        }]);
        payment
    });
    let paid = paid.await.unwrap();
    let credit = credit_invoice(&shop.owner, shop.credit(bill.id))
        .await
        .unwrap();
    assert_eq!(shop.owes().await, (0, bill.total_cents + 2_000));
    let other = shop.bill(9_000).await;
    let used = apply_credit(&shop.owner, shop.apply(other.id, bill.total_cents + 2_000)).await;
    used.unwrap();
    let refused = problems(reverse_payment(&shop.owner, shop.reverse(paid.id)).await);
    assert_eq!(refused[0].code, WrongState);
    assert!(
        refused[0].message.contains(&other.number),
        "{refused:?} {}",
        credit.number
    );
    shop.is_in_order().await;
}

#[tokio::test]
async fn a_credit_note_takes_the_place_of_a_payment_that_bounced() {
    let shop = TestShop::open().await;
    shop.credit_stays().await;
    let bill = shop.bill(5_000).await;
    let paid = shop.receive(bill.total_cents).await;
    credit_invoice(&shop.owner, shop.credit(bill.id))
        .await
        .unwrap();
    assert_eq!(shop.owes().await, (0, bill.total_cents));
    reverse_payment(&shop.owner, shop.reverse(paid.id))
        .await
        .unwrap();
    assert_eq!(shop.owes().await, (0, 0));
    shop.is_in_order().await;
}

#[tokio::test]
async fn a_payment_dated_before_its_invoice_is_credit_until_that_is_there() {
    for shop in TestShop::everywhere().await {
        let early = today() - Days::new(3);
        let bill = shop.bill(5_000).await;
        let mut payment = shop.payment(bill.total_cents, Excess::Refused);
        payment.received_on = early;
        record_payment(&shop.owner, payment).await.unwrap();
        assert_eq!(shop.open_cents(bill.id).await, 0);
        let db = shop.bench.app.db.read();
        for day in [early, today()] {
            let rows = open_on(db, (Debtor::Customer, day)).await.unwrap();
            assert!(rows.is_empty(), "{day} {rows:?}");
        }
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn what_is_left_of_a_payment_is_laid_against_invoices_later() {
    for shop in TestShop::everywhere().await {
        shop.credit_stays().await;
        let paid = shop.receive(10_000).await;
        let (first, second) = (shop.bill(5_000).await, shop.bill(7_000).await);
        let order = |parts: &[(i64, i64)]| AllocatePayment {
            idempotency_key: shop.key(),
            payment_id: paid.id,
            parts: parts
                .iter()
                .map(|(invoice_id, amount)| PaymentPart {
                    invoice_id: *invoice_id,
                    amount: Cents(*amount),
                })
                .collect(),
        };
        let allocate =
            async |parts: &[(i64, i64)]| allocate_payment(&shop.owner, order(parts)).await;
        at(Missing, "allocations", allocate(&[]).await);
        at(
            TooMuch,
            "allocations",
            allocate(&[(first.id, 6_000), (second.id, 4_001)]).await,
        );
        at(
            NotFound,
            "allocations.0.invoiceId",
            allocate(&[(99, 1)]).await,
        );
        at(
            Malformed,
            "allocations.1.invoiceId",
            allocate(&[(first.id, 1), (first.id, 1)]).await,
        );
        assert_eq!(shop.owes().await.1, 10_000, "nothing was written");
        let row = allocate(&[(first.id, 6_000), (second.id, 4_000)])
            .await
            .unwrap();
        assert_eq!(row.unallocated_cents, 0);
        assert_eq!(shop.open_cents(second.id).await, second.total_cents - 4_000);
        at(WrongState, "paymentId", allocate(&[(first.id, 1)]).await);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_closed_period_takes_no_refund_and_no_payment_undone() {
    let shop = TestShop::open().await;
    let paid = shop.receive(1_000).await;
    let later = shop.after(10);
    shop.bench.app.clock.set(later.at);
    books::close_books(&later, today() + Days::new(5))
        .await
        .unwrap();
    at(
        PeriodClosed,
        "refundedOn",
        refund_credit(&later, shop.refund(1_000)).await,
    );
    at(
        PeriodClosed,
        "reversedOn",
        reverse_payment(&later, shop.reverse(paid.id)).await,
    );
    assert_eq!(shop.owes().await, (0, 1_000));
    shop.is_in_order().await;
}
