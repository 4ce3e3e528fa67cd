//! What a payer's flat labor leaves: the shop's or the customer's, as its terms say.

use nameplate_entities::kinds::Method;
use nameplate_rules::coverage::RestBearer;

use super::*;

impl TestShop {
    /// A maker who pays trips, and 100.00 for all labor.
    async fn flat_labour(&self, rest_borne_by: Option<RestBearer>) {
        let may_bill = rest_borne_by == Some(RestBearer::Customer);
        let payer = self.claims_desk_that("Maker", may_bill).await;
        let new = AddProgramme {
            payer_id: payer.id,
            name: "First year".to_owned(),
            rank: ProgrammeRank::ApplianceMaker,
            make: Some("halvorsen".to_owned()),
            appliance_type_id: None,
            model_pattern: None,
            terms: NewTerms {
                applies_from: "2020-01-01".parse().unwrap(),
                stays_with_machine: true,
                days_to_file: Some(30),
                segments: vec![NewSegment {
                    covers: vec![Covers::Labour, Covers::Trip],
                    component_class: None,
                    start: StartEvent::Purchase,
                    after: None,
                    through: Term::Months(12),
                    percent: Decimal::ONE_HUNDRED,
                    at_most: None,
                    flat_labour: Some(Cents(10_000)),
                }],
                exclusions: Vec::new(),
                evidence: Vec::new(),
                deductible: Cents::ZERO,
                labour_rate: None,
                distance_rate: None,
                out_of_use: None,
                failed_repair_days: None,
                rest_borne_by,
            },
        };
        warranty::add_programme(&self.owner, new).await.unwrap();
        self.is_new().await;
    }
}

/// Parts of 100.00 are the customer's; of labor of 144.00 the maker pays 100.00, and the trip of 45.00.
#[tokio::test]
async fn what_flat_labor_leaves_is_billed_to_nobody_and_moves_no_cost_where_the_rest_may_not_be_billed()
 {
    for shop in TestShop::everywhere().await {
        shop.flat_labour(None).await;
        shop.an_hour_costs(8_002).await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        let decision = shop.decided(call.id, Said::default()).await;
        assert_eq!(decision.customer_cents, 10_000);
        let bills = issue_invoice(&shop.owner, shop.by(&decision))
            .await
            .unwrap();
        assert_eq!(nets(&bills), [10_000, 14_500]);
        let division = shop.division_of(&bills[0]).await;
        assert_eq!((division.shop_cents, division.shop_tax_cents), (4_400, 0));
        shop.mended(&call, 0, Method::Adjusted).await;
        shop.complete_as_found(call.id).await;
        let borne = borne_between(shop.bench.app.db.read(), today(), today()).await;
        assert_eq!(borne.unwrap(), Borne::default());
        assert_eq!(shop.booked(Role::CallbackCost).await, 0);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn what_flat_labor_leaves_is_the_customers_where_the_terms_say_so() {
    for shop in TestShop::everywhere().await {
        shop.flat_labour(Some(RestBearer::Customer)).await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        let decision = shop.decided(call.id, Said::default()).await;
        assert_eq!(decision.customer_cents, 14_400);
        let bills = issue_invoice(&shop.owner, shop.by(&decision))
            .await
            .unwrap();
        assert_eq!(nets(&bills), [14_400, 14_500]);
        shop.is_in_order().await;
    }
}
