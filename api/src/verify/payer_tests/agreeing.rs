//! What a place wants agreed to or said, on bills without an estimate and without a call.

use nameplate_entities::service_address;
use nameplate_rules::local_rules::Element;

use super::*;
use crate::invoices::{IssueFreeInvoice, issue_free_invoice};

impl TestShop {
    /// A sale to the customer without a call.
    async fn free(&self, lines: Vec<NewLine>) -> crate::base::Result<invoice::Model> {
        let address = service_address::Entity::find()
            .one(self.bench.app.db.read())
            .await
            .unwrap()
            .unwrap();
        let order = IssueFreeInvoice {
            idempotency_key: self.key(),
            customer_id: self.customer_id,
            service_address_id: address.id,
            about: "Two filters".to_owned(),
            option: NewOption {
                title: "Sale".to_owned(),
                lines,
                ..NewOption::default()
            },
        };
        issue_free_invoice(&self.owner, order).await
    }
}

fn goods() -> Vec<NewLine> {
    work()
        .into_iter()
        .filter(|line| line.kind == ChargeKind::Part)
        .collect()
}

#[tokio::test]
async fn work_above_the_amount_of_its_place_is_agreed_to_in_writing() {
    for shop in TestShop::everywhere().await {
        shop.asks(AddLocalRules {
            written_over: Some(Cents(10_000)),
            ..rules()
        })
        .await;
        let call = shop.completed_call().await;
        let bill = async || {
            let order = shop.on_the_spot(call.id, work());
            issue_invoice(&shop.owner, order).await
        };
        let consent = async |how, added| {
            let consent = shop.consent(call.id, how, added);
            record_consent(&shop.owner, consent).await.unwrap();
        };
        consent(ConsentHow::ByTelephone, 18_100).await;
        let refused = problems(bill().await).remove(0);
        assert_eq!((refused.code, refused.path.as_str()), (TooMuch, "callId"));
        assert!(
            refused.message.contains("in writing: USD 181.00"),
            "{}",
            refused.message
        );
        consent(ConsentHow::InWriting, 18_000).await;
        assert!(
            problems(bill().await)
                .remove(0)
                .message
                .contains("USD 1.00")
        );
        consent(ConsentHow::InWriting, 100).await;
        bill().await.unwrap();
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn work_without_a_call_walks_around_no_consent_that_its_place_asks_for() {
    for shop in TestShop::everywhere().await {
        shop.limits_bills().await;
        for kind in [ChargeKind::Labour, ChargeKind::Trip, ChargeKind::Diagnostic] {
            let mut lines = goods();
            lines.push(NewLine {
                minutes: (kind == ChargeKind::Labour).then_some(30),
                ..NewLine::of(kind)
            });
            let refused = shop.free(lines).await;
            assert_eq!(
                refusals(refused),
                [(TooMuch, "option".to_owned())],
                "{kind:?}"
            );
        }
        shop.free(goods()).await.unwrap();
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn what_a_place_wants_said_of_a_repair_is_wanted_of_work_without_a_call_too() {
    let shop = TestShop::open().await;
    shop.asks(AddLocalRules {
        bill: vec![Element::Make],
        ..rules()
    })
    .await;
    let refused = shop.free(work()).await;
    assert_eq!(
        refusals(refused),
        [(SettingMissing, "serviceAddressId".to_owned())]
    );
    shop.free(goods()).await.unwrap();
    shop.is_in_order().await;
}

#[tokio::test]
async fn a_certificate_for_one_purchase_is_used_up_by_a_sale_without_a_call() {
    let shop = TestShop::open().await;
    shop.certificate(Purchases::Single).await;
    assert_eq!(shop.free(goods()).await.unwrap().tax_cents, 0);
    assert_eq!(shop.free(goods()).await.unwrap().tax_cents, 320);
    shop.is_in_order().await;
}
