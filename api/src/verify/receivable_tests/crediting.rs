//! Credit notes in part, billing anew, invoices without a call, and what is sent.

use super::*;

#[tokio::test]
async fn credit_notes_in_part_give_back_the_tax_of_each_level_and_never_more_than_was_billed() {
    for shop in TestShop::everywhere().await {
        let bill = shop.bill(10_333).await;
        let billed = shop.levels(bill.id).await;
        assert_eq!(billed, [646, 181]);
        let credit = async |lines| credit_invoice(&shop.owner, shop.part(bill.id, lines)).await;
        // A third of the part's price off: 8.27 x 34.44 / 103.33 = 2.756.
        let lower = credit(vec![off(1, 3_444)]).await.unwrap();
        assert_eq!(
            (lower.net_cents, lower.tax_cents, lower.total_cents),
            (-3_444, -276, -3_720)
        );
        // A third of the labour, which is not taxed.
        let hours = credit(vec![some(2, Decimal::new(5, 1))]).await.unwrap();
        assert_eq!((hours.total_cents, hours.tax_cents), (-4_800, 0));
        assert_eq!(
            shop.open_cents(bill.id).await,
            bill.total_cents - 3_720 - 4_800
        );
        at(
            TooMuch,
            "lines.0.amountOff",
            credit(vec![off(1, 6_890)]).await,
        );
        at(
            TooMuch,
            "lines.0.quantity",
            credit(vec![some(2, Decimal::new(11, 1))]).await,
        );
        at(NotFound, "lines.0.position", credit(vec![whole(9)]).await);
        at(Missing, "lines", credit(Vec::new()).await);
        let mut both = off(1, 1);
        both.quantity = Some(Decimal::ONE);
        at(Malformed, "lines.0.amountOff", credit(vec![both]).await);
        let part = credit(vec![whole(1)]).await.unwrap();
        assert_eq!((part.net_cents, part.tax_cents), (-6_889, -551));
        let rest = credit_invoice(&shop.owner, shop.credit(bill.id))
            .await
            .unwrap();
        assert_eq!(rest.net_cents, -(9_600 + 4_500));
        let mut back = [0, 0];
        for note in [&lower, &hours, &part, &rest] {
            for (sum, tax) in back.iter_mut().zip(shop.levels(note.id).await) {
                *sum -= tax;
            }
            assert!(shop.print(note).await.contains(&note.number));
        }
        assert_eq!(back.to_vec(), billed);
        assert_eq!(shop.owes().await, (0, 0));
        at(
            WrongState,
            "invoiceId",
            credit_invoice(&shop.owner, shop.credit(bill.id)).await,
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn after_a_whole_credit_another_estimate_is_accepted_and_billed() {
    for shop in TestShop::everywhere().await {
        let call = shop.accepted_call(Cents(5_000), None).await;
        let bill = issue_invoice(&shop.owner, shop.order(call.id))
            .await
            .unwrap()
            .remove(0);
        credit_invoice(&shop.owner, shop.part(bill.id, vec![whole(1)]))
            .await
            .unwrap();
        at(
            WrongState,
            "callId",
            issue_invoice(&shop.owner, shop.order(call.id)).await,
        );
        credit_invoice(&shop.owner, shop.credit(bill.id))
            .await
            .unwrap();
        shop.offer_and_accept(call.id, Cents(6_000), None).await;
        let db = shop.bench.app.db.read();
        let before = estimate_revision::Entity::find_by_id(bill.estimate_revision_id.unwrap());
        let before = before.one(db).await.unwrap().unwrap();
        assert_eq!(
            (before.state, before.accepted_call_id),
            (EstimateState::Superseded, None)
        );
        let second = issue_invoice(&shop.owner, shop.order(call.id))
            .await
            .unwrap()
            .remove(0);
        assert_eq!(second.net_cents, bill.net_cents + 1_000);
        at(
            WrongState,
            "callId",
            issue_invoice(&shop.owner, shop.order(call.id)).await,
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn an_invoice_without_a_call_is_taxed_by_the_same_rules_and_credited_by_quantity() {
    for shop in TestShop::everywhere().await {
        let db = shop.bench.app.db.read();
        let address = service_address::Entity::find()
            .one(db)
            .await
            .unwrap()
            .unwrap();
        let bill = issue_free_invoice(&shop.owner, free(&shop, address.id))
            .await
            .unwrap();
        assert_eq!(
            (bill.net_cents, bill.tax_cents, bill.call_id),
            (5_000, 400, None)
        );
        assert!(shop.print(&bill).await.contains("54.00"));
        let one = credit_invoice(&shop.owner, shop.part(bill.id, vec![some(1, Decimal::ONE)]));
        assert_eq!(one.await.unwrap().total_cents, -2_700);
        let mut nothing = free(&shop, address.id);
        nothing.option.lines.clear();
        nothing.about = " ".to_owned();
        at(
            Missing,
            "about",
            issue_free_invoice(&shop.owner, nothing).await,
        );
        let mut strange = free(&shop, 99);
        strange.customer_id = shop.customer_id;
        at(
            NotFound,
            "serviceAddressId",
            issue_free_invoice(&shop.owner, strange).await,
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn an_issued_document_is_mailed_once_more_when_asked_for() {
    let shop = TestShop::open().await;
    let bill = shop.bill(5_000).await;
    let order = |to: Option<&str>| ResendDocument {
        idempotency_key: shop.key(),
        invoice_id: bill.id,
        to: to.map(str::to_owned),
    };
    let mail = resend_document(&shop.owner, order(None)).await.unwrap();
    assert_eq!(mail.to_email, "ana@household.example");
    let mail = resend_document(&shop.owner, order(Some("books@household.example"))).await;
    assert_eq!(mail.unwrap().to_email, "books@household.example");
    at(
        Malformed,
        "to",
        resend_document(&shop.owner, order(Some("nowhere"))).await,
    );
    shop.is_in_order().await;
}

#[tokio::test]
async fn a_statement_ties_to_what_is_owed_and_is_mailed_with_its_pdf() {
    for shop in TestShop::everywhere().await {
        shop.credit_stays().await;
        let bill = shop.bill(10_000).await;
        let paid = shop.receive(10_000).await;
        let later = shop.after(3);
        shop.bench.app.clock.set(later.at);
        let day = today() + Days::new(3);
        let mut order = shop.reverse(paid.id);
        order.reversed_on = day;
        reverse_payment(&later, order).await.unwrap();
        let other = shop.payment(40_000, Excess::BecomesCredit);
        record_payment(&later, other).await.unwrap();
        credit_invoice(&later, shop.part(bill.id, vec![off(1, 1_000)]))
            .await
            .unwrap();
        refund_credit(
            &later,
            RefundCredit {
                refunded_on: day,
                ..shop.refund(500)
            },
        )
        .await
        .unwrap();
        let db = shop.bench.app.db.read();
        let account =
            async |from, until| invoices::account(db, shop.customer_id, (from, until)).await;
        let whole = account(today(), day).await.unwrap();
        let (owed, credit) = shop.owes().await;
        assert_eq!(whole.opening, Cents(0));
        assert_eq!(whole.closing, Cents(owed - credit));
        assert_eq!(whole.lines.len(), 6);
        let second = account(day, day).await.unwrap();
        assert_eq!(
            second.opening.0 + second.lines.iter().map(|line| line.amount.0).sum::<i64>(),
            owed - credit
        );
        at(ImpossibleDate, "until", account(day, today()).await);
        at(
            OutOfRange,
            "until",
            account(today(), today() + Days::new(366)).await,
        );
        let order = SendStatement {
            idempotency_key: shop.key(),
            customer_id: shop.customer_id,
            from: today(),
            until: day,
            to: None,
        };
        let mail = send_statement(&later, order).await.unwrap();
        assert_eq!(mail.to_email, "ana@household.example");
        let settings = crate::shop::settings(db).await.unwrap();
        let letter = invoices::statement_letter(db, &settings, shop.customer_id, (today(), day))
            .await
            .unwrap();
        let shown = Cents(credit - owed).to_string();
        assert!(
            letter
                .rendered
                .text
                .contains(&format!("credit of USD {shown}")),
            "{}",
            letter.rendered.text
        );
        assert!(letter.attachments[0].bytes.starts_with(b"%PDF-"));
        shop.is_in_order().await;
    }
}
