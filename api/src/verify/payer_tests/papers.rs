//! What the papers of several payers say, and an estimate that is mailed after it was handed over.

use nameplate_entities::kinds::EstimateDelivery;
use nameplate_entities::{estimate_revision, invoice_line};
use nameplate_rules::local_rules::Element;

use super::*;
use crate::estimates::{DraftEstimate, Offer, PresentEstimate, present_estimate};
use crate::shop::{self, ChangeShop};

impl TestShop {
    async fn lines_of(&self, bill: &invoice::Model) -> Vec<invoice_line::Model> {
        invoice_line::Entity::find()
            .filter(invoice_line::Column::InvoiceId.eq(bill.id))
            .order_by_asc(invoice_line::Column::Position)
            .all(self.bench.app.db.read())
            .await
            .unwrap()
    }

    async fn take_back(&self, bill: &invoice::Model) {
        credit_invoice(&self.owner, self.credit(bill.id))
            .await
            .unwrap();
    }

    fn rebill(&self, bill: &invoice::Model, to: &customer::Model) -> RebillInvoice {
        RebillInvoice {
            idempotency_key: self.key(),
            invoice_id: bill.id,
            customer_id: to.id,
        }
    }

    async fn paper(&self, bill: &invoice::Model) -> String {
        let letter = invoices::letter(self.bench.app.db.read(), bill.id).await;
        letter.unwrap().rendered.text
    }
}

#[tokio::test]
async fn a_share_says_hours_and_rate_of_all_labor_and_the_sum_in_its_currency() {
    for shop in TestShop::everywhere().await {
        let landlord = shop.payer("Landlord", None).await;
        let call = shop.accepted_call(Cents(10_001), None).await;
        let shares = vec![lines(
            &landlord,
            vec![of_line(1, None, None), of_line(2, Some(60), None)],
        )];
        let bills = issue_invoice(&shop.owner, shop.divided(call.id, shares)).await;
        let bills = bills.unwrap();
        let said = |lines: Vec<invoice_line::Model>| -> Vec<String> {
            lines.into_iter().map(|line| line.description).collect()
        };
        assert_eq!(
            said(shop.lines_of(&bills[0]).await),
            ["Labour, 1.5 h at USD 96.00: 40 % of USD 144.00", "Trip"]
        );
        assert_eq!(
            said(shop.lines_of(&bills[1]).await),
            ["Part", "Labour, 1.5 h at USD 96.00: 60 % of USD 144.00"]
        );
        let share = format!("your share of call {}", call.number);
        for bill in &bills {
            let paper = shop.paper(bill).await;
            let paper = paper.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(
                paper.contains(&share) && paper.contains("comes to USD 297.01 with tax"),
                "{paper}"
            );
        }
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn only_the_calls_customer_reads_the_number_a_consent_was_given_by() {
    let shop = TestShop::open().await;
    let landlord = shop.payer("Landlord", None).await;
    let call = shop.completed_call().await;
    let consent = shop.consent(call.id, ConsentHow::ByTelephone, 18_100);
    record_consent(&shop.owner, consent).await.unwrap();
    let order = IssueInvoice {
        divide: vec![percent(&landlord, 50)],
        ..shop.on_the_spot(call.id, work())
    };
    let bills = issue_invoice(&shop.owner, order).await.unwrap();
    let says = |bill: &invoice::Model| {
        let text = &bill.content_json;
        assert!(text.contains("agreed by telephone"), "{text}");
        text.contains("agreed by telephone (")
    };
    assert!(says(&bills[0]) && !says(&bills[1]));
    // The tenant's share, to the landlord's brother: without the number too.
    shop.take_back(&bills[0]).await;
    let brother = shop.payer("Brother", None).await;
    let again = rebill_invoice(&shop.owner, shop.rebill(&bills[0], &brother)).await;
    assert!(!says(&again.unwrap()));
    shop.is_in_order().await;
}

#[tokio::test]
async fn nobody_gets_a_bill_of_nothing_but_a_line_without_a_price() {
    for shop in TestShop::everywhere().await {
        let landlord = shop.payer("Landlord", None).await;
        let call = shop.completed_call().await;
        let mut free_trip = work();
        free_trip[2].unit_price = Some(Cents::ZERO);
        let all = vec![of_line(1, None, None), of_line(2, None, None)];
        let order = IssueInvoice {
            divide: vec![lines(&landlord, all)],
            ..shop.on_the_spot(call.id, free_trip)
        };
        let bills = issue_invoice(&shop.owner, order).await.unwrap();
        let payers: Vec<i64> = bills.iter().map(|bill| bill.customer_id).collect();
        assert_eq!(payers, [landlord.id]);
        assert_eq!(shop.lines_of(&bills[0]).await.len(), 3);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_share_that_is_billed_again_is_a_paper_of_today_held_against_the_whole() {
    for shop in TestShop::everywhere().await {
        shop.asks(AddLocalRules {
            bill: vec![Element::LabourTime],
            ..rules()
        })
        .await;
        let landlord = shop.payer("Landlord", None).await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        let shares = vec![lines(&landlord, vec![of_line(2, None, None)])];
        let bills = issue_invoice(&shop.owner, shop.divided(call.id, shares)).await;
        let bills = bills.unwrap();
        shop.take_back(&bills[0]).await;
        let renamed = ChangeShop {
            name: Some("Brightwater Repairs".to_owned()),
            ..ChangeShop::default()
        };
        shop::change_shop(&shop.owner, renamed).await.unwrap();
        // No labor is on this share, but it is on the other.
        let insurer = shop.payer("Insurer", None).await;
        let again = rebill_invoice(&shop.owner, shop.rebill(&bills[0], &insurer)).await;
        let again = again.unwrap();
        assert!(again.content_json.contains("Brightwater Repairs"));
        shop.is_in_order().await;
        shop.take_back(&again).await;
        // From tomorrow the place wants what the shop has not given.
        let mut tomorrow = shop.owner.clone();
        tomorrow.at = noon() + chrono::Days::new(1);
        shop.asks(AddLocalRules {
            bill: vec![Element::RegistrationNumber],
            effective_from: tomorrow.at.date_naive(),
            ..rules()
        })
        .await;
        shop.bench.app.clock.set(tomorrow.at);
        let refused = rebill_invoice(&tomorrow, shop.rebill(&again, &landlord)).await;
        assert_eq!(
            refusals(refused),
            [(SettingMissing, "invoiceId".to_owned())]
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn an_estimate_that_was_handed_over_and_is_mailed_later_is_reminded_of() {
    for shop in TestShop::everywhere().await {
        let call = shop.open_call().await;
        let draft = DraftEstimate {
            idempotency_key: shop.key(),
            call_id: call.id,
            offer: Offer {
                options: vec![NewOption {
                    title: "Repair".to_owned(),
                    lines: work(),
                    ..NewOption::default()
                }],
                ..Offer::default()
            },
        };
        let drafted = estimates::draft_estimate(&shop.owner, draft).await.unwrap();
        let present = PresentEstimate {
            idempotency_key: shop.key(),
            revision_id: drafted.id,
            valid_until: None,
        };
        let handed = present_estimate(&shop.owner, present).await.unwrap();
        assert_eq!(
            (handed.delivery, handed.next_reminder_on),
            (Some(EstimateDelivery::Hand), None)
        );
        let again = || ResendEstimate {
            idempotency_key: shop.key(),
            revision_id: handed.id,
            to: None,
        };
        resend_estimate(&shop.owner, again()).await.unwrap();
        let row = estimate_revision::Entity::find_by_id(handed.id)
            .one(shop.bench.app.db.read())
            .await
            .unwrap()
            .unwrap();
        assert_eq!(row.delivery, Some(EstimateDelivery::Mail));
        assert!(
            row.next_reminder_on
                .is_some_and(|day| day > noon().date_naive())
        );
        assert_eq!(row.content_hash, handed.content_hash);
        shop.is_in_order().await;
        shop.complete(&call).await;
        let refused = resend_estimate(&shop.owner, again()).await;
        assert_eq!(refusals(refused), [(WrongState, "revisionId".to_owned())]);
    }
}
