//! Write-offs, late charges and reminders.

use super::*;

/// Streamlined Sales and Use Tax Agreement section 320, in a place that gives relief.
#[tokio::test]
async fn a_write_off_gives_back_the_tax_in_it_and_money_that_comes_after_all_undoes_it() {
    for shop in TestShop::everywhere().await {
        shop.terms(ChangeReceivableTerms {
            write_off_tax_relief: Some(true),
            ..ChangeReceivableTerms::default()
        })
        .await;
        let bill = shop.bill(10_000).await;
        let half = bill.total_cents / 2;
        shop.receive(half).await;
        let order = || WriteOffInvoice {
            idempotency_key: shop.key(),
            invoice_id: bill.id,
            reason: "Moved away".to_owned(),
        };
        write_off_invoice(&shop.owner, order()).await.unwrap();
        at(
            WrongState,
            "invoiceId",
            write_off_invoice(&shop.owner, order()).await,
        );
        let db = shop.bench.app.db.read();
        let row = write_off::Entity::find().one(db).await.unwrap().unwrap();
        // 297.00 with 8.00 of tax, half of it paid.
        assert_eq!((row.amount_cents, row.bad_debt_cents), (14_850, 14_450));
        assert_eq!(shop.owes().await, (0, 0));
        shop.is_in_order().await;

        let later = shop.after(20);
        shop.bench.app.clock.set(later.at);
        let mut payment = shop.payment(5_000, Excess::Refused);
        payment.parts = Some(vec![PaymentPart {
            invoice_id: bill.id,
            amount: Cents(5_000),
        }]);
        let mut early = payment.clone();
        early.received_on = today() - Days::new(1);
        at(
            ImpossibleDate,
            "receivedOn",
            record_payment(&later, early).await,
        );
        payment.received_on = today() + Days::new(20);
        record_payment(&later, payment).await.unwrap();
        assert_eq!(shop.owes().await, (9_850, 0));
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn without_relief_a_write_off_is_all_bad_debt() {
    let shop = TestShop::open().await;
    let bill = shop.bill(10_000).await;
    let order = WriteOffInvoice {
        idempotency_key: shop.key(),
        invoice_id: bill.id,
        reason: "Moved away".to_owned(),
    };
    write_off_invoice(&shop.owner, order).await.unwrap();
    let row = write_off::Entity::find()
        .one(shop.bench.app.db.read())
        .await;
    let row = row.unwrap().unwrap();
    assert_eq!((row.amount_cents, row.bad_debt_cents), (29_700, 29_700));
    shop.is_in_order().await;
}

#[tokio::test]
async fn what_was_written_off_and_is_credited_then_is_no_credit_of_the_customer() {
    let shop = TestShop::open().await;
    let bill = shop.bill(10_000).await;
    let order = WriteOffInvoice {
        idempotency_key: shop.key(),
        invoice_id: bill.id,
        reason: "Moved away".to_owned(),
    };
    write_off_invoice(&shop.owner, order).await.unwrap();
    credit_invoice(&shop.owner, shop.part(bill.id, vec![whole(1)]))
        .await
        .unwrap();
    assert_eq!(shop.owes().await, (bill.total_cents - 10_800, 0));
    shop.is_in_order().await;
}

#[tokio::test]
async fn what_is_late_is_charged_once_a_month_and_never_what_is_disputed() {
    for shop in TestShop::everywhere().await {
        let (late, disputed) = (shop.bill(10_000).await, shop.bill(5_000).await);
        let charge = async |act: &Act| {
            let order = ChargeLateInvoices {
                idempotency_key: shop.key(),
                customer_id: None,
            };
            charge_late_invoices(act, order).await
        };
        at(SettingMissing, "", charge(&shop.owner).await);
        shop.terms(ChangeReceivableTerms {
            late_charge_percent: Some(Decimal::new(15, 1)),
            late_charge_grace_days: Some(5),
            ..ChangeReceivableTerms::default()
        })
        .await;
        let order = DisputeInvoice {
            invoice_id: disputed.id,
            because: "The part was returned".to_owned(),
        };
        dispute_invoice(&shop.owner, order).await.unwrap();
        let due_in = (late.due_on - today()).num_days().unsigned_abs();
        assert!(
            charge(&shop.after(due_in + 5)).await.unwrap().is_empty(),
            "grace"
        );
        let after = shop.after(due_in + 6);
        shop.bench.app.clock.set(after.at);
        let charged = charge(&after).await.unwrap();
        // 1.5 % of 297.00 is 4.455.
        assert_eq!(
            charged
                .iter()
                .map(|row| row.total_cents)
                .collect::<Vec<_>>(),
            [446]
        );
        assert_eq!(charged[0].charge_for_invoice_id, Some(late.id));
        assert!(
            charge(&after).await.unwrap().is_empty(),
            "once for the month"
        );
        let next = shop.after(due_in + 40);
        shop.bench.app.clock.set(next.at);
        assert_eq!(
            charge(&next).await.unwrap().len(),
            1,
            "not on the charge itself"
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn what_is_overdue_is_reminded_of_once_each_and_not_once_it_is_paid_or_disputed() {
    for shop in TestShop::everywhere().await {
        let (open, paid) = (shop.bill(10_000).await, shop.bill(5_000).await);
        let due_in = (open.due_on - today()).num_days().unsigned_abs();
        let mut program = shop.bench.program();
        let mut remind = async |days: u64| {
            program.at = noon() + Days::new(days);
            shop.bench.app.clock.set(program.at);
            remind_overdue(&program).await.unwrap()
        };
        assert_eq!(remind(due_in + 6).await, 0);
        let mut payment = shop.payment(paid.total_cents, Excess::Refused);
        payment.parts = Some(vec![PaymentPart {
            invoice_id: paid.id,
            amount: Cents(paid.total_cents),
        }]);
        record_payment(&shop.owner, payment).await.unwrap();
        assert_eq!(remind(due_in + 7).await, 1);
        assert_eq!(remind(due_in + 8).await, 0, "once");
        let letter = invoices::overdue_letter(shop.bench.app.db.read(), open.id, 1)
            .await
            .unwrap();
        assert!(
            letter.rendered.subject.starts_with("Reminder of invoice"),
            "{}",
            letter.rendered.subject
        );
        assert!(letter.rendered.text.contains("still open"));
        let order = DisputeInvoice {
            invoice_id: open.id,
            because: "It was never done".to_owned(),
        };
        dispute_invoice(&shop.owner, order).await.unwrap();
        assert!(
            invoices::moot(&shop.owner, open.id)
                .await
                .unwrap()
                .is_some()
        );
        assert_eq!(remind(due_in + 21).await, 0, "disputed");
        settle_dispute(&shop.owner, open.id).await.unwrap();
        assert_eq!(remind(due_in + 45).await, 1);
        shop.is_in_order().await;
    }
}
