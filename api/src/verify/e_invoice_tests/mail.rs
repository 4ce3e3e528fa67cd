//! E-invoices that go with a mail, and mails that leave without.

use nameplate_entities::kinds::MailKind;
use nameplate_entities::outbox_mail;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use super::*;
use crate::base::ProblemCode::Conflict;
use crate::invoices::letter;
use crate::jobs::send_next;
use crate::mail::Transport;

#[tokio::test]
async fn the_desk_is_told_of_a_mail_that_leaves_without_its_file() {
    let shop = TestShop::open().await;
    let landlord = shop.registered().await;
    let wants = ChangeEInvoicing {
        customer_id: landlord.id,
        wanted: true,
        buyer_reference: None,
        registration: None,
        version: None,
    };
    change_e_invoicing(&shop.owner, wants).await.unwrap();
    let none = ChangeShop {
        tax_registration: Some(String::new()),
        ..ChangeShop::default()
    };
    change_shop(&shop.owner, none).await.unwrap();
    let call = shop.accepted_call(Cents(5_000), None).await;
    let order = shop.divided(call.id, all_to(&landlord));
    issue_invoice(&shop.owner, order).await.unwrap();
    let folder = tempfile::tempdir().unwrap();
    let mut config = shop.bench.app.config.clone();
    config.mail.folder = folder.path().to_owned();
    let transport = Transport::of(&config).unwrap();
    let worker = shop.bench.program();
    while send_next(&worker, &transport).await.unwrap() {}
    let notices = outbox_mail::Entity::find()
        .filter(outbox_mail::Column::Kind.eq(MailKind::Notice))
        .all(shop.bench.app.db.read())
        .await
        .unwrap();
    let said: Vec<&str> = notices
        .iter()
        .map(|row| row.payload_json.as_str())
        .filter(|said| said.contains("left without a file"))
        .collect();
    assert_eq!(said.len(), 1, "one to the owner: {notices:?}");
    assert!(said[0].contains("pays over tax"), "{said:?}");
    shop.is_in_order().await;
}

#[tokio::test]
async fn the_file_comes_with_the_mail_of_who_wants_it() {
    let shop = TestShop::open().await;
    let landlord = shop.registered().await;
    let call = shop.accepted_call(Cents(5_000), None).await;
    let order = shop.divided(call.id, all_to(&landlord));
    let bill = issue_invoice(&shop.owner, order).await.unwrap().remove(0);
    let db = shop.bench.app.db.read();
    let files = async || letter(db, bill.id).await.unwrap().attachments.len();
    assert_eq!(files().await, 1);
    let wants = ChangeEInvoicing {
        customer_id: landlord.id,
        wanted: true,
        buyer_reference: Some("Cost centre 12".to_owned()),
        registration: None,
        version: None,
    };
    change_e_invoicing(&shop.owner, wants.clone())
        .await
        .unwrap();
    assert_eq!(files().await, 2);
    let unread = change_e_invoicing(&shop.owner, wants.clone()).await;
    assert_eq!(refusals(unread), [(Conflict, "version".to_owned())]);
    assert!(
        shop.told(&bill)
            .await
            .contains("<cbc:BuyerReference>Cost centre 12<")
    );
    let household = ChangeEInvoicing {
        customer_id: shop.customer_id,
        ..wants
    };
    let refused = change_e_invoicing(&shop.owner, household).await;
    assert_eq!(refusals(refused), [(WrongState, "customerId".to_owned())]);
}
