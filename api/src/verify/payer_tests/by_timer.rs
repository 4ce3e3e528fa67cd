//! What is sent again, and what is charged by itself.

use super::*;
use crate::base::outbox::Payload;

#[tokio::test]
async fn an_estimate_is_sent_again_with_another_link_and_the_first_one_ends() {
    for shop in TestShop::everywhere().await {
        let answered = shop.accepted_call(Cents(5_000), None).await;
        let call = shop.open_call().await;
        let db = shop.bench.app.db.read();
        let mails = async || {
            let rows = outbox_mail::Entity::find()
                .filter(outbox_mail::Column::SubjectKind.eq("estimate"))
                .order_by_asc(outbox_mail::Column::Id);
            rows.all(db).await.unwrap()
        };
        let answered = estimates::accepted_for_call(db, answered.id).await.unwrap();
        let again = |revision_id: i64| ResendEstimate {
            idempotency_key: shop.key(),
            revision_id,
            to: None,
        };
        let revision_id = answered.unwrap().revision.id;
        let refused = resend_estimate(&shop.owner, again(revision_id)).await;
        assert_eq!(refusals(refused), [(WrongState, "revisionId".to_owned())]);
        let sent = shop.send(call.id, Cents(6_000), None).await;
        let before = mails().await;
        let order = again(sent.id);
        let first = resend_estimate(&shop.owner, order.clone()).await.unwrap();
        let twice = resend_estimate(&shop.owner, order).await.unwrap();
        assert_eq!(first.id, twice.id, "one key sends once");
        let after = mails().await;
        assert_eq!(after.len(), before.len() + 1);
        let links = estimate_link::Entity::find()
            .filter(estimate_link::Column::RevisionId.eq(sent.id))
            .order_by_asc(estimate_link::Column::Id)
            .all(db)
            .await
            .unwrap();
        let ended: Vec<bool> = links.iter().map(|link| link.revoked_at.is_some()).collect();
        assert_eq!(ended, [true, false]);
        let moot = async |mail: &outbox_mail::Model| {
            let payload = serde_json::from_str(&mail.payload_json).unwrap();
            let Payload::Estimate {
                revision_id,
                link_token,
            } = payload
            else {
                panic!("no mail of an estimate");
            };
            let about = (revision_id, link_token.as_str());
            estimates::moot(&shop.owner, about, false).await.unwrap()
        };
        let [.., earlier, later] = after.as_slice() else {
            panic!("both mails are there");
        };
        assert!(moot(earlier).await.unwrap().contains("another link"));
        assert_eq!(moot(later).await, None);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn late_charges_are_made_by_themselves_only_where_the_shop_says_so_and_once_a_month() {
    for shop in TestShop::everywhere().await {
        let bill = shop.bill(10_000).await;
        let later = |days: u64| {
            let mut program = shop.bench.program();
            program.at = noon() + chrono::Days::new(days);
            shop.bench.app.clock.set(program.at);
            program
        };
        assert_eq!(charge_what_is_late(&later(90)).await.unwrap(), 0);
        let terms = ChangeReceivableTerms {
            late_charge_amount: Some(Cents(1_500)),
            late_charges_by_themselves: Some(true),
            ..ChangeReceivableTerms::default()
        };
        change_receivable_terms(&shop.owner, terms).await.unwrap();
        assert_eq!(charge_what_is_late(&later(0)).await.unwrap(), 0);
        assert_eq!(charge_what_is_late(&later(40)).await.unwrap(), 1);
        assert_eq!(charge_what_is_late(&later(40)).await.unwrap(), 0);
        assert_eq!(charge_what_is_late(&later(75)).await.unwrap(), 1);
        let db = shop.bench.app.db.read();
        let charges = invoice::Entity::find()
            .filter(invoice::Column::ChargeForInvoiceId.eq(bill.id))
            .all(db)
            .await
            .unwrap();
        assert_eq!(charges.len(), 2);
        let written = audit_entry::Entity::find()
            .filter(audit_entry::Column::SubjectKind.eq("invoice"))
            .filter(audit_entry::Column::SubjectId.is_in(charges.iter().map(|row| row.id)))
            .all(db)
            .await
            .unwrap();
        assert!(written.iter().all(|entry| entry.actor == "program"));
        shop.is_in_order().await;
    }
}
