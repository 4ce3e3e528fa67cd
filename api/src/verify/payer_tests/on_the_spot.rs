//! Calls billed without an estimate.

use super::*;

#[tokio::test]
async fn a_small_job_is_billed_on_the_spot_by_the_book_and_the_rules_of_its_place() {
    for shop in TestShop::everywhere().await {
        let call = shop.completed_call().await;
        let bill = issue_invoice(&shop.owner, shop.on_the_spot(call.id, work())).await;
        let bill = bill.unwrap().remove(0);
        // 40.00 + 96.00 for the first hour + 45.00, and 8 % on the part.
        assert_eq!((bill.net_cents, bill.tax_cents), (18_100, 320));
        assert_eq!(
            (bill.call_id, bill.estimate_revision_id),
            (Some(call.id), None)
        );
        let text = &bill.content_json;
        assert!(
            text.contains(&call.number) && text.contains("labor 90 days"),
            "{text}"
        );
        let twice = issue_invoice(&shop.owner, shop.on_the_spot(call.id, work())).await;
        assert_eq!(refusals(twice), [(WrongState, "callId".to_owned())]);
        credit_invoice(&shop.owner, shop.credit(bill.id))
            .await
            .unwrap();
        let landlord = shop.payer("Landlord", None).await;
        let order = IssueInvoice {
            divide: vec![percent(&landlord, 50)],
            ..shop.on_the_spot(call.id, work())
        };
        let bills = issue_invoice(&shop.owner, order).await.unwrap();
        assert_eq!(sum(&bills, |bill| bill.total_cents), bill.total_cents);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_call_with_an_accepted_estimate_is_billed_by_it_and_not_around_it() {
    let shop = TestShop::open().await;
    let call = shop.accepted_call(Cents(5_000), None).await;
    let around = issue_invoice(&shop.owner, shop.on_the_spot(call.id, work())).await;
    assert_eq!(refusals(around), [(WrongState, "option".to_owned())]);
    let done = shop.completed_call().await;
    let nothing = issue_invoice(&shop.owner, shop.divided(done.id, Vec::new())).await;
    assert_eq!(refusals(nothing), [(WrongState, "callId".to_owned())]);
    shop.is_in_order().await;
}

#[tokio::test]
async fn a_certificate_for_one_purchase_is_used_up_by_work_without_an_estimate_too() {
    for shop in TestShop::everywhere().await {
        shop.certificate(Purchases::Single).await;
        let (first, second) = (shop.completed_call().await, shop.completed_call().await);
        let bill = async |call_id: i64| {
            let order = shop.on_the_spot(call_id, work());
            issue_invoice(&shop.owner, order).await.unwrap().remove(0)
        };
        let landlord = shop.payer("Landlord", None).await;
        let order = IssueInvoice {
            divide: vec![percent(&landlord, 50)],
            ..shop.on_the_spot(first.id, work())
        };
        let free = issue_invoice(&shop.owner, order).await.unwrap();
        assert_eq!(sum(&free, |bill| bill.tax_cents), 0);
        assert!(free.iter().all(|bill| bill.tax_exemption_id.is_some()));
        assert_eq!(
            bill(second.id).await.tax_cents,
            320,
            "the certificate is used up"
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn where_bills_are_limited_by_an_estimate_work_without_one_needs_a_consent_on_record() {
    for shop in TestShop::everywhere().await {
        shop.limits_bills().await;
        let call = shop.completed_call().await;
        let refused = issue_invoice(&shop.owner, shop.on_the_spot(call.id, work())).await;
        assert_eq!(refusals(refused), [(TooMuch, "callId".to_owned())]);
        let consent = shop.consent(call.id, ConsentHow::InPerson, 18_100);
        record_consent(&shop.owner, consent).await.unwrap();
        let bill = issue_invoice(&shop.owner, shop.on_the_spot(call.id, work())).await;
        let bill = bill.unwrap().remove(0);
        assert!(
            bill.content_json
                .contains("agreed in person to this work: New latch")
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_place_without_confirmed_taxes_bills_nothing() {
    let shop = TestShop::open().await;
    let call = shop.completed_call().await;
    shop.unconfirm().await;
    let refused = issue_invoice(&shop.owner, shop.on_the_spot(call.id, work())).await;
    assert_eq!(refusals(refused), [(SettingMissing, "callId".to_owned())]);
}
