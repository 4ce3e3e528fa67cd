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
        payment.received_on = today() + Days::new(20);
        record_payment(&later, payment).await.unwrap();
        assert_eq!(shop.owes().await, (0, 0), "the rest stays written off");
        // 50.00 of 148.50, of which 144.50 was borne: 48.653.
        let back = write_off_return::Entity::find().one(db).await.unwrap();
        let back = back.unwrap();
        assert_eq!((back.amount_cents, back.bad_debt_cents), (5_000, 4_865));
        shop.is_in_order().await;
        let tx = shop.bench.app.db.write().await.unwrap();
        let spoil = "UPDATE write_off SET reversed_on = written_off_on";
        tx.execute_unprepared(spoil).await.unwrap();
        let findings = crate::verify::invoices::check(&tx).await.unwrap();
        tx.rollback().await.unwrap();
        let tables: Vec<_> = findings.iter().map(|finding| finding.table).collect();
        assert_eq!(tables, ["write_off"], "{findings:?}");
        the_rest_comes_in(&shop, &bill).await;
    }
}

/// What is left of the write-off comes in, too: noted late, with a day before it was written off.
async fn the_rest_comes_in(shop: &TestShop, bill: &invoice::Model) {
    let db = shop.bench.app.db.read();
    let later = shop.after(20);
    let mut rest = shop.payment(9_850, Excess::Refused);
    at(
        TooMuch,
        "amount",
        record_payment(&later, rest.clone()).await,
    );
    let said = problems(record_payment(&later, rest.clone()).await);
    assert!(said[0].message.contains(&bill.number), "{said:?}");
    rest.parts = Some(vec![PaymentPart {
        invoice_id: bill.id,
        amount: Cents(9_850),
    }]);
    rest.received_on = today();
    record_payment(&later, rest).await.unwrap();
    assert_eq!(shop.owes().await, (0, 0));
    let row = write_off::Entity::find().one(db).await.unwrap().unwrap();
    assert_eq!(row.reversed_on, Some(today() + Days::new(20)));
    let backs = write_off_return::Entity::find().all(db).await.unwrap();
    let borne = backs.iter().map(|back| back.bad_debt_cents).sum::<i64>();
    assert_eq!(borne, row.bad_debt_cents, "all of it and its tax");
    shop.is_in_order().await;
}

#[tokio::test]
async fn the_write_off_of_the_wrong_invoice_is_undone_with_a_reason() {
    for shop in TestShop::everywhere().await {
        let bill = shop.bill(10_000).await;
        let order = WriteOffInvoice {
            idempotency_key: shop.key(),
            invoice_id: bill.id,
            reason: "Moved away".to_owned(),
        };
        let undo = || UndoWriteOff {
            idempotency_key: shop.key(),
            invoice_id: bill.id,
            reason: "It was the neighbour's".to_owned(),
        };
        at(
            WrongState,
            "invoiceId",
            undo_write_off(&shop.owner, undo()).await,
        );
        write_off_invoice(&shop.owner, order).await.unwrap();
        undo_write_off(&shop.owner, undo()).await.unwrap();
        assert_eq!(shop.owes().await, (bill.total_cents, 0));
        at(
            WrongState,
            "invoiceId",
            undo_write_off(&shop.owner, undo()).await,
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn documents_of_a_month_that_is_being_closed_are_dated_into_it() {
    for shop in TestShop::everywhere().await {
        shop.credit_stays().await;
        let (first, second) = (shop.bill(10_000).await, shop.bill(5_000).await);
        let later = shop.after(12);
        shop.bench.app.clock.set(later.at);
        let on = today() + Days::new(2);
        let dated = |order, day| Dated {
            order,
            on: Some(day),
        };
        let credit = |day| dated(shop.credit(first.id), day);
        at(
            ImpossibleDate,
            "issuedOn",
            credit_invoice(&later, credit(today() - Days::new(1))).await,
        );
        at(
            ImpossibleDate,
            "issuedOn",
            credit_invoice(&later, credit(today() + Days::new(13))).await,
        );
        let note = credit_invoice(&later, credit(on)).await.unwrap();
        assert_eq!(note.issued_on, on);
        let order = WriteOffInvoice {
            idempotency_key: shop.key(),
            invoice_id: second.id,
            reason: "Moved away".to_owned(),
        };
        let off = Dated {
            order,
            on: Some(on),
        };
        write_off_invoice(&later, off).await.unwrap();
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn an_invoice_dated_back_is_settled_by_later_credit_from_its_own_day_on() {
    for shop in TestShop::everywhere().await {
        let call = shop.accepted_call(Cents(5_000), None).await;
        let later = shop.after(12);
        shop.bench.app.clock.set(later.at);
        let on = today() + Days::new(2);
        let mut ahead = shop.payment(4_000, Excess::BecomesCredit);
        ahead.received_on = today() + Days::new(7);
        record_payment(&later, ahead).await.unwrap();
        let bill = |day| Dated {
            order: shop.order(call.id),
            on: Some(day),
        };
        at(
            ImpossibleDate,
            "issuedOn",
            issue_invoice(&later, bill(today() - Days::new(1))).await,
        );
        let bill = issue_invoice(&later, bill(on)).await.unwrap().remove(0);
        assert_eq!(bill.issued_on, on);
        assert_eq!(shop.owes().await, (bill.total_cents - 4_000, 0));
        let db = shop.bench.app.db.read();
        let then: i64 = open_on(db, (Debtor::Customer, on))
            .await
            .unwrap()
            .iter()
            .map(|row| row.open_cents)
            .sum();
        assert_eq!(then, bill.total_cents, "the money came later");
        shop.is_in_order().await;
        books::close_books(&later, on).await.unwrap();
        let order = WriteOffInvoice {
            idempotency_key: shop.key(),
            invoice_id: bill.id,
            reason: "Moved away".to_owned(),
        };
        let off = Dated {
            order,
            on: Some(on),
        };
        at(
            PeriodClosed,
            "writtenOffOn",
            write_off_invoice(&later, off).await,
        );
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
    assert_eq!(shop.owes().await, (0, 0), "the rest stays written off");
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
