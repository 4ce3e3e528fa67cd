//! What the desk needs day by day: bills that say what is true, customers who are told, refunds undone, records found.

use nameplate_entities::kinds::CustomerKind;
use nameplate_entities::{estimate_option, outbox_mail, search_entry, service_call};

use super::*;
use crate::banking::{ReverseRefund, reverse_refund};
use crate::base::outbox::Payload;
use crate::base::{Change, search};
use crate::calls;
use crate::customers::{
    self, AddContact, AddCustomer, Address, ChangeCustomer, ChangeServiceAddress,
};
use crate::estimates::{self, ReviseEstimate, SendEstimate, WorkDone};
use crate::invoices::{SendReceipt, send_receipt};
use crate::shop::{self, ChangeShop};
use crate::verify::testing::offer;

impl TestShop {
    fn undo(&self, refund_id: i64) -> ReverseRefund {
        ReverseRefund {
            idempotency_key: self.key(),
            refund_id,
            reason: "The check was never cashed".to_owned(),
            reversed_on: today(),
        }
    }

    async fn mails(&self) -> Vec<Payload> {
        let rows = outbox_mail::Entity::find()
            .order_by_asc(outbox_mail::Column::Id)
            .all(self.bench.app.db.read())
            .await
            .unwrap();
        let payloads = rows.iter().map(|row| &row.payload_json);
        payloads
            .map(|text| serde_json::from_str(text).unwrap())
            .collect()
    }

    async fn found(&self, text: &str, kind: Option<&str>) -> Vec<search_entry::Model> {
        let db = self.bench.app.db.read();
        search::find(db, (text, kind), 20).await.unwrap()
    }

    pub async fn write_off(&self, invoice_id: i64) {
        let order = WriteOffInvoice {
            idempotency_key: self.key(),
            invoice_id,
            reason: "Moved away".to_owned(),
        };
        write_off_invoice(&self.owner, order).await.unwrap();
    }
}

#[tokio::test]
async fn a_completed_call_is_billed_by_what_was_done_in_place_of_what_was_accepted() {
    for shop in TestShop::everywhere().await {
        let call = shop.accepted_call(Cents(10_000), None).await;
        let db = shop.bench.app.db.read();
        let accepted = estimates::accepted_for_call(db, call.id).await.unwrap();
        let estimate_id = accepted.unwrap().estimate.id;
        let tx = shop.bench.app.db.write().await.unwrap();
        calls::mark_completed(&tx, &shop.owner, &call, today())
            .await
            .unwrap();
        tx.commit().await.unwrap();
        let change = ReviseEstimate {
            idempotency_key: shop.key(),
            estimate_id,
            offer: offer(Cents(6_000), None),
        };
        let done = estimates::revise_estimate(&shop.owner, change)
            .await
            .unwrap();
        let sending = SendEstimate {
            idempotency_key: shop.key(),
            revision_id: done.id,
            to: None,
            valid_until: None,
        };
        let sent = estimates::send_estimate(&shop.owner, sending).await;
        at(WrongState, "revisionId", sent);
        let option = estimate_option::Entity::find()
            .filter(estimate_option::Column::RevisionId.eq(done.id))
            .one(db)
            .await
            .unwrap()
            .unwrap();
        let order = IssueInvoice {
            work_done: Some(WorkDone {
                revision_id: done.id,
                option_id: option.id,
            }),
            ..shop.order(call.id)
        };
        let bill = issue_invoice(&shop.owner, order).await.unwrap().remove(0);
        // 60.00 of part with 8 % of tax, 144.00 of labour, 45.00 of trip.
        assert_eq!(bill.total_cents, 25_380);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_draft_is_put_away_and_what_was_sent_is_not() {
    for shop in TestShop::everywhere().await {
        let call = shop.opened_call().await;
        let sent = shop.send(call.id, Cents(5_000), None).await;
        let put_away = estimates::discard_estimate(&shop.owner, sent.id).await;
        at(WrongState, "revisionId", put_away);
        let change = ReviseEstimate {
            idempotency_key: shop.key(),
            estimate_id: sent.estimate_id,
            offer: offer(Cents(6_000), None),
        };
        let draft = estimates::revise_estimate(&shop.owner, change)
            .await
            .unwrap();
        let away = estimates::discard_estimate(&shop.owner, draft.id).await;
        assert_eq!(away.unwrap().state, EstimateState::Superseded);
        let twice = estimates::discard_estimate(&shop.owner, draft.id).await;
        at(WrongState, "revisionId", twice);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn nothing_is_offered_for_a_completed_call_without_an_accepted_estimate() {
    let shop = TestShop::open().await;
    let call = shop.opened_call().await;
    let another = shop.send(call.id, Cents(5_000), None).await;
    let tx = shop.bench.app.db.write().await.unwrap();
    calls::mark_completed(&tx, &shop.owner, &call, today())
        .await
        .unwrap();
    tx.commit().await.unwrap();
    let change = ReviseEstimate {
        idempotency_key: shop.key(),
        estimate_id: another.estimate_id,
        offer: offer(Cents(6_000), None),
    };
    let outcome = estimates::revise_estimate(&shop.owner, change).await;
    at(WrongState, "estimateId", outcome);
}

#[tokio::test]
async fn what_was_written_off_or_credited_is_not_printed_as_paid() {
    for shop in TestShop::everywhere().await {
        let (lost, credited) = (shop.bill(10_000).await, shop.bill(10_000).await);
        assert!(shop.print(&lost).await.contains("How to pay"));
        shop.write_off(lost.id).await;
        let text = shop.print(&lost).await;
        assert!(text.contains("Paid: USD 0.00"), "{text}");
        assert!(text.contains("Written off: USD 297.00"), "{text}");
        assert!(!text.contains("How to pay"), "{text}");
        assert!(!text.contains("Due:"), "{text}");
        credit_invoice(&shop.owner, shop.part(credited.id, vec![whole(1)]))
            .await
            .unwrap();
        let text = shop.print(&credited).await;
        assert!(text.contains("Paid: USD 0.00"), "{text}");
        assert!(text.contains("Credited: USD 108.00"), "{text}");
        assert!(text.contains("To pay: USD 189.00"), "{text}");
    }
}

#[tokio::test]
async fn bills_say_how_to_pay_in_the_shops_own_words() {
    let shop = TestShop::open().await;
    let bill = shop.bill(10_000).await;
    let change = ChangeShop {
        payment_instructions: Some("By transfer to Sample Bank, account 42.".to_owned()),
        ..ChangeShop::default()
    };
    shop::change_shop(&shop.owner, change).await.unwrap();
    let text = shop.print(&bill).await;
    let expected = format!(
        "By transfer to Sample Bank, account 42. Please name invoice {}.",
        bill.number
    );
    assert!(text.contains(&expected), "{text}");
}

#[tokio::test]
async fn a_customer_is_told_that_a_payment_came_back_and_which_bill_is_open_again() {
    for shop in TestShop::everywhere().await {
        let bill = shop.bill(10_000).await;
        let payment = shop.receive(bill.total_cents).await;
        shop.terms(ChangeReceivableTerms {
            returned_payment_fee: Some(Cents(2_500)),
            ..ChangeReceivableTerms::default()
        })
        .await;
        let order = ReversePayment {
            charge_fee: true,
            ..shop.reverse(payment.id)
        };
        reverse_payment(&shop.owner, order).await.unwrap();
        let told = shop.mails().await;
        let is_it = |mail: &&Payload| matches!(mail, Payload::PaymentReturned { payment_id } if *payment_id == payment.id);
        assert_eq!(told.iter().filter(is_it).count(), 1);
        let db = shop.bench.app.db.read();
        let settings = shop::settings(db).await.unwrap();
        let letter = invoices::returned_letter(db, &settings, payment.id).await;
        let text = letter.unwrap().rendered.text;
        let expected = format!("So USD 297.00 of invoice {}", bill.number);
        assert!(text.contains(&expected), "{text}");
        let fee = invoice::Entity::find()
            .filter(invoice::Column::ChargeForInvoiceId.eq(bill.id))
            .one(db)
            .await
            .unwrap()
            .unwrap();
        assert!(fee.reason.as_ref().unwrap().contains("was returned on"));
        let text = shop.print(&fee).await;
        assert!(!text.contains("Halvorsen"), "no machine: {text}");
        assert!(text.contains(&bill.number), "{text}");
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_refund_that_was_never_cashed_is_undone_and_the_credit_is_there_again() {
    for shop in TestShop::everywhere().await {
        let payment = shop.receive(10_000).await;
        let refund = refund_credit(&shop.owner, shop.refund(4_000))
            .await
            .unwrap();
        assert_eq!(shop.owes().await, (0, 6_000));
        let order = shop.undo(refund.id);
        let early = ReverseRefund {
            idempotency_key: shop.key(),
            reversed_on: today() - Days::new(1),
            ..order.clone()
        };
        at(
            ImpossibleDate,
            "reversedOn",
            reverse_refund(&shop.owner, early).await,
        );
        let undone = reverse_refund(&shop.owner, order.clone()).await.unwrap();
        assert_eq!(undone.reversed_on, Some(today()));
        let again = reverse_refund(&shop.owner, order).await.unwrap();
        assert_eq!(again.id, undone.id);
        assert_eq!(shop.owes().await, (0, 10_000));
        shop.is_in_order().await;
        let twice = reverse_refund(&shop.owner, shop.undo(refund.id)).await;
        at(WrongState, "refundId", twice);
        reverse_payment(&shop.owner, shop.reverse(payment.id))
            .await
            .unwrap();
        assert_eq!(shop.owes().await, (0, 0));
        shop.is_in_order().await;
        let found = shop.spoil("UPDATE refund SET reversed_on = NULL").await;
        assert!(
            found.iter().any(|line| line.contains("refund")),
            "{found:?}"
        );
    }
}

#[tokio::test]
async fn the_shop_is_told_of_what_is_overdue_where_the_customer_has_no_address() {
    for shop in TestShop::everywhere().await {
        let bill = shop.bill(10_000).await;
        let tx = shop.bench.app.db.write().await.unwrap();
        sea_orm::ConnectionTrait::execute_unprepared(&tx, "UPDATE customer SET email = NULL")
            .await
            .unwrap();
        tx.commit().await.unwrap();
        let due_in = (bill.due_on - today()).num_days().unsigned_abs();
        let mut program = shop.bench.program();
        program.at = noon() + Days::new(due_in + 7);
        shop.bench.app.clock.set(program.at);
        assert_eq!(remind_overdue(&program).await.unwrap(), 0);
        assert_eq!(remind_overdue(&program).await.unwrap(), 0);
        let mails = shop.mails().await;
        let told = mails.iter().filter(|mail| {
            matches!(mail, Payload::Notice { headline, .. } if headline.contains(&bill.number))
        });
        assert_eq!(told.count(), 1, "once");
    }
}

#[tokio::test]
async fn calls_are_found_by_whether_a_bill_of_them_stands() {
    for shop in TestShop::everywhere().await {
        let bill = shop.bill(10_000).await;
        let waiting = shop.accepted_call(Cents(5_000), None).await;
        let db = shop.bench.app.db.read();
        let ids = async |billed: bool| {
            use sea_orm::sea_query::ExprTrait;
            let is_billed = invoices::has_standing_invoice();
            let rows = service_call::Entity::find()
                .filter(if billed { is_billed } else { is_billed.not() })
                .all(db)
                .await
                .unwrap();
            rows.iter().map(|row| row.id).collect::<Vec<_>>()
        };
        let call_id = bill.call_id.unwrap();
        assert_eq!(ids(true).await, [call_id]);
        assert_eq!(ids(false).await, [waiting.id]);
        credit_invoice(&shop.owner, shop.credit(bill.id))
            .await
            .unwrap();
        assert_eq!(ids(false).await, [call_id, waiting.id]);
    }
}

#[tokio::test]
async fn a_customer_is_found_before_papers_without_accents_and_by_a_short_number() {
    for shop in TestShop::everywhere().await {
        let new = AddCustomer {
            kind: CustomerKind::Household,
            name: "Jörg Müller".to_owned(),
            email: None,
            phone: None,
            billing: None,
            terms_days: None,
            notes: None,
        };
        customers::add_customer(&shop.owner, new).await.unwrap();
        for _ in 0..2 {
            shop.bill(5_000).await;
        }
        shop.receive(50_000).await;
        let refund = refund_credit(&shop.owner, shop.refund(1_000))
            .await
            .unwrap();
        let hits = shop.found("ana example", None).await;
        assert_eq!(hits[0].subject_kind, "customer");
        assert!(hits.len() > 3, "papers come after her");
        let bills = shop.found("ana", Some("invoice")).await;
        assert_eq!(bills.len(), 2);
        assert!(bills[0].id > bills[1].id, "the newest first");
        assert_eq!(shop.found("Jorg Muller", None).await.len(), 1);
        assert_eq!(shop.found("jörg müller", None).await.len(), 1);
        let by_number = shop.found(&refund.number, None).await;
        assert_eq!(by_number[0].subject_kind, "refund");
        let machine = shop.found("HW-1", None).await;
        assert_eq!(machine[0].subject_kind, "appliance");
    }
}

fn sample_row() -> Address {
    Address {
        line1: "1 Sample Row".to_owned(),
        line2: None,
        city: "Brightwater".to_owned(),
        region: "OH".to_owned(),
        postal_code: "43999".to_owned(),
        country: None,
    }
}

#[tokio::test]
async fn where_a_customers_bills_go_and_their_terms_are_corrected() {
    for shop in TestShop::everywhere().await {
        let place = sample_row();
        let change = ChangeCustomer {
            customer_id: shop.customer_id,
            version: 1,
            kind: Some(CustomerKind::Organisation),
            name: None,
            email: None,
            phone: None,
            billing: Change::To(place.clone()),
            terms_days: Change::To(45),
            notes: None,
        };
        let changed = customers::change_customer(&shop.owner, change.clone())
            .await
            .unwrap();
        assert_eq!(changed.billing_line1.as_deref(), Some("1 Sample Row"));
        assert_eq!(
            (changed.terms_days, changed.kind),
            (Some(45), CustomerKind::Organisation)
        );
        let back = ChangeCustomer {
            version: 2,
            billing: Change::Clear,
            terms_days: Change::Clear,
            ..change
        };
        let back = customers::change_customer(&shop.owner, back).await.unwrap();
        assert_eq!((back.billing_line1, back.terms_days), (None, None));
    }
}

#[tokio::test]
async fn an_address_is_corrected_and_where_it_is_taxed_is_asked_anew_once_it_moves() {
    for shop in TestShop::everywhere().await {
        let place = sample_row();
        let db = shop.bench.app.db.read();
        let address = service_address::Entity::find()
            .one(db)
            .await
            .unwrap()
            .unwrap();
        let same_place = ChangeServiceAddress {
            service_address_id: address.id,
            version: address.version,
            address: Some(place.clone()),
            access_notes: Change::Keep,
        };
        let same = customers::change_service_address(&shop.owner, same_place)
            .await
            .unwrap();
        assert_eq!(same.line1, "1 Sample Row");
        assert_eq!(same.tax_jurisdiction_id, address.tax_jurisdiction_id);
        let elsewhere = ChangeServiceAddress {
            service_address_id: address.id,
            version: same.version,
            address: Some(Address {
                postal_code: "43998".to_owned(),
                ..place
            }),
            access_notes: Change::Keep,
        };
        let moved = customers::change_service_address(&shop.owner, elsewhere)
            .await
            .unwrap();
        assert_eq!(
            (moved.tax_jurisdiction_id, moved.jurisdiction_confirmed_at),
            (None, None)
        );
    }
}

#[tokio::test]
async fn the_same_contact_is_not_kept_twice() {
    let shop = TestShop::open().await;
    let contact = || AddContact {
        customer_id: shop.customer_id,
        name: "The caretaker".to_owned(),
        role: None,
        phone: None,
        email: Some("care@household.example".to_owned()),
    };
    customers::add_contact(&shop.owner, contact())
        .await
        .unwrap();
    let twice = customers::add_contact(&shop.owner, contact()).await;
    at(ProblemCode::Taken, "name", twice);
}

#[tokio::test]
async fn a_receipt_says_what_a_payment_paid_and_is_mailed_once() {
    for shop in TestShop::everywhere().await {
        let bill = shop.bill(10_000).await;
        let payment = shop.receive(bill.total_cents + 1_000).await;
        let order = SendReceipt {
            idempotency_key: shop.key(),
            payment_id: payment.id,
            to: None,
        };
        let mail = send_receipt(&shop.owner, order.clone()).await.unwrap();
        let again = send_receipt(&shop.owner, order.clone()).await.unwrap();
        assert_eq!(mail.id, again.id);
        let db = shop.bench.app.db.read();
        let settings = shop::settings(db).await.unwrap();
        let letter = invoices::receipt_letter(db, &settings, payment.id)
            .await
            .unwrap();
        assert!(letter.rendered.text.contains("USD 307.00"));
        assert!(letter.attachments[0].bytes.starts_with(b"%PDF-"));
        reverse_payment(&shop.owner, shop.reverse(payment.id))
            .await
            .unwrap();
        let order = SendReceipt {
            idempotency_key: shop.key(),
            ..order
        };
        at(
            WrongState,
            "paymentId",
            send_receipt(&shop.owner, order).await,
        );
    }
}
