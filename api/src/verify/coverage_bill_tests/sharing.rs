//! Payers, customer and shop share a call.

use nameplate_entities::estimate_option;

use super::super::testing::offer;
use super::*;
use crate::estimates::{self, DraftEstimate};

#[tokio::test]
async fn three_payers_the_customer_and_the_shop_share_a_call_to_the_cent() {
    for shop in TestShop::everywhere().await {
        // The shop stands behind its labor alone.
        shop.run_sql("UPDATE shop SET parts_warranty_months = 0")
            .await;
        shop.three_payers(ALL).await;
        let whole = shop.bill(10_001).await;
        let call = shop.came_back(Cents(10_001)).await;
        shop.an_hour_costs(8_002).await;
        let decision = shop.decided(call.id, Said::default()).await;
        assert!(decision.is_sure, "{decision:#?}");
        let order = shop.by(&decision);
        let receivable_before = shop.booked(Role::Receivable).await;
        let tax_before = shop.booked(Role::SalesTaxPayable).await;
        let bills = issue_invoice(&shop.owner, order.clone()).await.unwrap();
        let again = issue_invoice(&shop.owner, order).await.unwrap();
        assert_eq!(bills, again, "one key bills once");
        // Parts of 100.01: 33.33 % are 33.33; half of the rest 33.34; of the rest all less 10.00.
        assert_eq!(nets(&bills), [1_000, 3_333, 3_334, 2_334]);
        let division = shop.division_of(&bills[0]).await;
        // Labor 144.00 and trip 45.00 are the shop's.
        assert_eq!((division.shop_cents, division.shop_tax_cents), (18_900, 0));
        assert_eq!(division.coverage_decision_id, Some(decision.id));
        assert_eq!(division.coverage_split, Some(CoverageSplit::Settled));
        assert_eq!(division.total_cents, whole.total_cents);
        let total = sum(&bills, |bill| bill.total_cents);
        assert_eq!(total + division.shop_cents, whole.total_cents);
        assert_eq!(sum(&bills, |bill| bill.tax_cents), whole.tax_cents);
        let (own, claims) = bills.split_first().unwrap();
        assert_eq!((own.payer, own.warranty_payer_id), (Payer::Customer, None));
        says_whose((own, claims), &call.number);
        for claim in claims {
            assert_eq!(claim.payer, Payer::WarrantyPayer);
            assert!(claim.programme_terms_id.is_some());
            assert_eq!(claim.due_on, today() + Days::new(45));
            let owed = receivable::Entity::find_by_id(claim.id);
            let owed = owed.one(shop.bench.app.db.read()).await.unwrap().unwrap();
            assert_eq!(owed.next_reminder_on, None);
        }
        let mails = outbox_mail::Entity::find()
            .filter(outbox_mail::Column::SubjectKind.eq("invoice"))
            .filter(outbox_mail::Column::SubjectId.is_in(bills.iter().map(|bill| bill.id)))
            .all(shop.bench.app.db.read())
            .await
            .unwrap();
        assert_eq!(mails.len(), 1, "the customer's alone");
        let claimed = sum(claims, |bill| bill.total_cents);
        assert_eq!(shop.booked(Role::ClaimsReceivable).await, claimed);
        let receivable = shop.booked(Role::Receivable).await - receivable_before;
        assert_eq!(receivable, own.total_cents);
        let tax = tax_before - shop.booked(Role::SalesTaxPayable).await;
        assert_eq!(tax, whole.tax_cents);
        shop.is_in_order().await;

        shop.complete_as_found(call.id).await;
        assert_eq!(shop.booked(Role::LabourApplied).await, -4_001);
        assert_eq!(shop.booked(Role::CallbackCost).await, 4_001);
        assert_eq!(shop.booked(Role::PartsCostOfSales).await, 5_000);
        let span = Span {
            from: today(),
            to: today(),
        };
        let db = shop.bench.app.db.read();
        let margins = margins::by_call(db, span, (true, 10)).await.unwrap();
        let of_call = margins.iter().find(|row| row.call_id == call.id).unwrap();
        assert_eq!(of_call.sale_cents, 10_001);
        assert_eq!(of_call.cost_cents, 2_500 + 4_001);
        shop.is_in_order().await;
    }
}

/// What the shop bears is told by its name on every share, and whose call it is on those of others than the customer.
fn says_whose((own, claims): (&invoice::Model, &[invoice::Model]), call: &str) {
    let of_another = format!("your share of call {call} of Ana Example");
    let borne = "bears USD 189.00 and bills it to nobody";
    assert!(own.content_json.contains(borne), "{own:#?}");
    assert!(!own.content_json.contains(&of_another), "{own:#?}");
    for claim in claims {
        assert!(claim.content_json.contains(borne), "{claim:#?}");
        assert!(claim.content_json.contains(&of_another), "{claim:#?}");
    }
}

#[tokio::test]
async fn parts_that_are_the_shops_leave_labor_and_trip_to_the_payers_and_their_tax_unbilled() {
    for shop in TestShop::everywhere().await {
        shop.run_sql("UPDATE shop SET labour_warranty_days = 0")
            .await;
        shop.three_payers(&[Covers::Labour, Covers::Trip]).await;
        let call = shop.came_back(Cents(10_001)).await;
        let decision = shop.decided(call.id, Said::default()).await;
        let bills = issue_invoice(&shop.owner, shop.by(&decision))
            .await
            .unwrap();
        // Labor 144.00: 48.00, 48.00, 48.00. Trip 45.00: 15.00, 15.00, 15.00. The contract keeps back 10.00.
        assert_eq!(nets(&bills), [1_000, 6_300, 6_300, 5_300]);
        let division = shop.division_of(&bills[0]).await;
        assert_eq!(
            (
                division.shop_net_cents,
                division.shop_tax_cents,
                division.shop_cents
            ),
            (10_001, 800, 10_801)
        );
        assert_eq!(sum(&bills, |bill| bill.tax_cents), 0);
        assert_eq!(shop.booked(Role::SalesTaxPayable).await, 0);
        assert_eq!(shop.booked(Role::PartsRevenue).await, 0);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn one_payer_with_two_programmes_gets_an_invoice_for_each() {
    for shop in TestShop::everywhere().await {
        let payer = shop.claims_desk("Maker").await;
        let parts = Pays {
            rank: ProgrammeRank::ApplianceMaker,
            covers: &[Covers::Parts],
            percent: "100",
            deductible: 0,
        };
        shop.covers(&payer, "Parts, first year", &parts).await;
        let time = Pays {
            covers: &[Covers::Labour, Covers::Trip],
            ..parts
        };
        shop.covers(&payer, "Labor, first year", &time).await;
        shop.is_new().await;
        let call = shop.accepted_call(Cents(10_001), Some(Cents(333))).await;
        let decision = shop.decided(call.id, Said::default()).await;
        let bills = issue_invoice(&shop.owner, shop.by(&decision))
            .await
            .unwrap();
        assert_eq!(bills.len(), 2, "nothing is left to the customer");
        assert!(
            bills
                .iter()
                .all(|bill| bill.warranty_payer_id == Some(payer.id))
        );
        assert_ne!(bills[0].programme_terms_id, bills[1].programme_terms_id);
        let division = shop.division_of(&bills[0]).await;
        assert_eq!(sum(&bills, |bill| bill.total_cents), division.total_cents);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn either_split_of_an_unsure_decision_is_billed_as_asked() {
    for shop in TestShop::everywhere().await {
        let payer = shop.claims_desk("Maker").await;
        let pays = Pays {
            rank: ProgrammeRank::ApplianceMaker,
            covers: ALL,
            percent: "100",
            deductible: 0,
        };
        shop.covers(&payer, "First year", &pays).await;
        for (split, owed_by) in [
            (CoverageSplit::Sure, Payer::Customer),
            (CoverageSplit::Settled, Payer::WarrantyPayer),
        ] {
            let call = shop.accepted_call(Cents(10_000), None).await;
            let unsure = shop.decided(call.id, Said::default()).await;
            let order = IssueInvoice {
                coverage: Some(ByCoverage {
                    decision_id: unsure.id,
                    split: Some(split),
                }),
                ..shop.by(&unsure)
            };
            let bills = issue_invoice(&shop.owner, order).await.unwrap();
            let payers: Vec<Payer> = bills.iter().map(|bill| bill.payer).collect();
            assert_eq!(payers, [owed_by]);
        }
        shop.is_in_order().await;
    }
}

/// A maker pays all, so nobody asked the customer to accept anything: what was drafted and decided on is billed as done.
#[tokio::test]
async fn what_was_decided_on_and_never_accepted_is_billed_once_its_call_is_completed() {
    for shop in TestShop::everywhere().await {
        let payer = shop.claims_desk("Maker").await;
        let all = Pays {
            rank: ProgrammeRank::ApplianceMaker,
            covers: ALL,
            percent: "100",
            deductible: 0,
        };
        shop.covers(&payer, "First year", &all).await;
        shop.is_new().await;
        let call = shop.opened_call().await;
        let draft = DraftEstimate {
            idempotency_key: shop.key(),
            call_id: call.id,
            offer: offer(Cents(10_000), None),
        };
        let drafted = estimates::draft_estimate(&shop.owner, draft).await.unwrap();
        let option = estimate_option::Entity::find()
            .filter(estimate_option::Column::RevisionId.eq(drafted.id))
            .one(shop.bench.app.db.read())
            .await;
        let order = DecideCoverage {
            idempotency_key: shop.key(),
            call_id: call.id,
            option_id: Some(option.unwrap().unwrap().id),
            hours: Vec::new(),
            failed_on: None,
            finding_id: None,
            distance: None,
            said: Said::default(),
        };
        let decision = decide_coverage(&shop.owner, order).await.unwrap();
        assert_eq!(decision.customer_cents, 0);
        shop.adjusted(&call).await;
        let bare = issue_invoice(&shop.owner, shop.by(&decision)).await;
        let refused = [(ProblemCode::WrongState, "callId".to_owned())];
        assert_eq!(refusals(bare), refused);
        let of = |part_price| IssueInvoice {
            option: offer(part_price, None).options.pop(),
            ..shop.by(&decision)
        };
        let other = issue_invoice(&shop.owner, of(Cents(9_900))).await;
        let refused = [(ProblemCode::WrongState, "coverage.decisionId".to_owned())];
        assert_eq!(refusals(other), refused);
        let bills = issue_invoice(&shop.owner, of(Cents(10_000))).await.unwrap();
        assert_eq!(nets(&bills), [28_900]);
        assert_eq!(bills[0].warranty_payer_id, Some(payer.id));
        shop.is_in_order().await;
    }
}
