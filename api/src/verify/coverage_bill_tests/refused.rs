//! Calls that are not billed by their decision.

use super::*;
use crate::closeout::credit_invoice;
use crate::invoices::{RebillInvoice, rebill_invoice};

#[tokio::test]
async fn what_does_not_fit_its_decision_is_refused_and_nothing_is_billed() {
    for shop in TestShop::everywhere().await {
        let payer = shop.claims_desk("Maker").await;
        let pays = Pays {
            rank: ProgrammeRank::ApplianceMaker,
            covers: ALL,
            percent: "100",
            deductible: 0,
        };
        shop.covers(&payer, "First year", &pays).await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        let other = shop.accepted_call(Cents(10_000), None).await;
        let first = shop.decided(call.id, Said::default()).await;
        let unsure = shop.decided(call.id, Said::default()).await;
        let of_other = shop.decided(other.id, Said::default()).await;
        let at = |code, path: &str| [(code, path.to_owned())];
        let wrong = at(ProblemCode::WrongState, "coverage.decisionId");
        let replaced = issue_invoice(&shop.owner, shop.by(&first)).await;
        assert_eq!(refusals(replaced), wrong);
        let elsewhere = IssueInvoice {
            call_id: call.id,
            ..shop.by(&of_other)
        };
        assert_eq!(refusals(issue_invoice(&shop.owner, elsewhere).await), wrong);
        let both = IssueInvoice {
            divide: vec![invoices::Share {
                customer_id: payer.customer_id,
                percent: Some(Decimal::TEN),
                lines: Vec::new(),
            }],
            ..shop.by(&unsure)
        };
        let both = refusals(issue_invoice(&shop.owner, both).await);
        assert_eq!(both, at(ProblemCode::Malformed, "coverage"));
        let waits = problems(issue_invoice(&shop.owner, shop.by(&unsure)).await);
        assert_eq!(
            (waits[0].code, waits[0].path.as_str()),
            (ProblemCode::Missing, "coverage.split")
        );
        assert!(waits[0].message.contains("First year: "), "{waits:#?}");
        assert_eq!(invoices_in(&shop).await, 0);

        shop.run_sql("UPDATE coverage_decision SET estimate_option_id = NULL")
            .await;
        let option = issue_invoice(&shop.owner, shop.by(&unsure)).await;
        assert_eq!(refusals(option), wrong);
        shop.run_sql(
            "UPDATE coverage_decision SET estimate_option_id = (SELECT r.accepted_option_id FROM estimate_revision r \
             JOIN estimate e ON e.id = r.estimate_id WHERE e.call_id = coverage_decision.call_id), \
             lines_json = REPLACE(lines_json, '10000', '10001')",
        )
        .await;
        let changed = issue_invoice(&shop.owner, shop.by(&unsure)).await;
        assert_eq!(refusals(changed), wrong);
        assert_eq!(invoices_in(&shop).await, 0);
    }
}

async fn invoices_in(shop: &TestShop) -> u64 {
    let rows = invoice::Entity::find();
    rows.count(shop.bench.app.db.read()).await.unwrap()
}

#[tokio::test]
async fn a_call_that_is_all_the_shops_has_no_bill_and_waits_for_none() {
    for shop in TestShop::everywhere().await {
        let call = shop.came_back(Cents(10_000)).await;
        let decision = shop.decided(call.id, Said::default()).await;
        assert_eq!(decision.customer_cents, 0);
        let refused = problems(issue_invoice(&shop.owner, shop.by(&decision)).await);
        assert_eq!(
            (refused[0].code, refused[0].path.as_str()),
            (ProblemCode::WrongState, "coverage.decisionId")
        );
        assert!(
            refused[0].message.contains("nothing to bill"),
            "{refused:#?}"
        );
        let waiting = service_call::Entity::find()
            .filter(has_standing_invoice().not())
            .filter(coverage::shop_bears_all().not())
            .all(shop.bench.app.db.read())
            .await
            .unwrap();
        assert!(waiting.iter().all(|row| row.id != call.id));
        assert_eq!(waiting.len(), 1, "the first call, which nobody decided on");
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_deposit_of_a_customer_who_owes_nothing_stands_in_the_way() {
    let shop = TestShop::open().await;
    let payer = shop.claims_desk("Maker").await;
    let pays = Pays {
        rank: ProgrammeRank::ApplianceMaker,
        covers: ALL,
        percent: "100",
        deductible: 0,
    };
    shop.covers(&payer, "First year", &pays).await;
    shop.is_new().await;
    let call = shop.accepted_call(Cents(10_000), None).await;
    let deposit = RecordDeposit {
        idempotency_key: shop.key(),
        call_id: call.id,
        customer_id: None,
        method: PaymentMethod::Transfer,
        reference: None,
        received_on: today(),
        amount: Cents(1_000),
    };
    record_deposit(&shop.owner, deposit).await.unwrap();
    let decision = shop.decided(call.id, Said::default()).await;
    let refused = issue_invoice(&shop.owner, shop.by(&decision)).await;
    assert_eq!(
        refusals(refused),
        [(ProblemCode::WrongState, "coverage".to_owned())]
    );
}

#[tokio::test]
async fn a_makers_share_goes_to_no_other_payer_and_to_no_customer_where_its_rest_may_not_be_billed()
{
    for shop in TestShop::everywhere().await {
        let payer = shop.claims_desk("Maker").await;
        let half = Pays {
            rank: ProgrammeRank::ApplianceMaker,
            covers: ALL,
            percent: "50",
            deductible: 0,
        };
        shop.covers(&payer, "First year", &half).await;
        shop.is_new().await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        let decision = shop.decided(call.id, Said::default()).await;
        let bills = issue_invoice(&shop.owner, shop.by(&decision))
            .await
            .unwrap();
        let makers = bills.iter().find(|bill| bill.warranty_payer_id.is_some());
        let makers = makers.unwrap();
        credit_invoice(&shop.owner, shop.credit(makers.id))
            .await
            .unwrap();
        for (customer_id, path) in [
            (call.customer_id, "invoiceId"),
            (payer.customer_id, "customerId"),
        ] {
            let order = RebillInvoice {
                idempotency_key: shop.key(),
                invoice_id: makers.id,
                customer_id,
            };
            let refused = refusals(rebill_invoice(&shop.owner, order).await);
            assert_eq!(refused, [(ProblemCode::WrongState, path.to_owned())]);
        }
        shop.is_in_order().await;
    }
}
