//! What the shop bears, and what a claim would have cost without its payer, follow the split that was billed.

use super::*;
use crate::claims::{self, DraftClaim};
use crate::closeout::credit_invoice;
use crate::invoices::{CreditInvoice, Dated};
use crate::remittances::{FiguresAsked, payer_figures};

impl TestShop {
    async fn borne(&self) -> Borne {
        let db = self.bench.app.db.read();
        borne_between(db, today(), today()).await.unwrap()
    }

    /// A decision that waits for whether the machine was misused, which the shop does not stand behind.
    async fn decided_but_for_misuse(&self, call_id: i64) -> coverage_decision::Model {
        let said = Said {
            unsettled: vec![Exclusion::Misuse],
            ..Said::default()
        };
        let unsure = self.decided(call_id, said).await;
        assert!(!unsure.is_sure, "{unsure:#?}");
        unsure
    }

    async fn bill_by(
        &self,
        decision: &coverage_decision::Model,
        split: CoverageSplit,
    ) -> Vec<invoice::Model> {
        let order = IssueInvoice {
            coverage: Some(ByCoverage {
                decision_id: decision.id,
                split: Some(split),
            }),
            ..self.by(decision)
        };
        issue_invoice(&self.owner, order).await.unwrap()
    }

    async fn take_all_back(&self, bills: &[invoice::Model]) {
        for bill in bills {
            let order = CreditInvoice {
                idempotency_key: self.key(),
                invoice_id: bill.id,
                reason: "Decided otherwise".to_owned(),
                lines: None,
            };
            credit_invoice(&self.owner, Dated::from(order))
                .await
                .unwrap();
        }
    }

    /// A maker of the part who pays a third, unless the machine was misused.
    async fn third_unless_misused(&self) {
        let payer = self.claims_desk("Pump maker").await;
        let new = AddProgramme {
            payer_id: payer.id,
            name: "Pump".to_owned(),
            rank: ProgrammeRank::PartMaker,
            make: Some("halvorsen".to_owned()),
            appliance_type_id: None,
            model_pattern: None,
            terms: NewTerms {
                exclusions: vec![Exclusion::Misuse],
                ..pays_of(Covers::Parts, "33.33")
            },
        };
        warranty::add_programme(&self.owner, new).await.unwrap();
    }
}

/// Terms that pay so much of a hundred of one charge in the first year.
fn pays_of(covers: Covers, of_a_hundred: &str) -> NewTerms {
    NewTerms {
        applies_from: "2020-01-01".parse().unwrap(),
        stays_with_machine: true,
        days_to_file: None,
        segments: vec![NewSegment {
            covers: vec![covers],
            component_class: None,
            start: StartEvent::Purchase,
            after: None,
            through: Term::Months(12),
            percent: percent(of_a_hundred),
            at_most: None,
            flat_labour: None,
        }],
        exclusions: Vec::new(),
        evidence: Vec::new(),
        deductible: Cents::ZERO,
        labour_rate: None,
        distance_rate: None,
        out_of_use: None,
        failed_repair_days: None,
        rest_borne_by: None,
    }
}

const ALL_OF_IT: Borne = at_cost(2_500, 4_001);
const NOTHING: Borne = at_cost(0, 0);

/// All of the call is expected to be the shop's, and none of it is sure.
#[tokio::test]
async fn a_completed_call_billed_to_the_customer_as_sure_is_borne_no_more_until_that_is_taken_back()
{
    for shop in TestShop::everywhere().await {
        let call = shop.came_back(Cents(10_000)).await;
        shop.an_hour_costs(8_002).await;
        let unsure = shop.decided_but_for_misuse(call.id).await;
        shop.complete_as_found(call.id).await;
        assert_eq!(shop.borne().await, ALL_OF_IT, "as it is expected");
        let bills = shop.bill_by(&unsure, CoverageSplit::Sure).await;
        assert_eq!(bills.len(), 1);
        assert_eq!(bills[0].division_id, None, "all of it is the customer's");
        assert_eq!(shop.borne().await, NOTHING);
        assert_eq!(shop.booked(Role::CallbackCost).await, 0);
        assert_eq!(shop.booked(Role::PartsCostOfSales).await, 5_000);
        shop.is_in_order().await;
        shop.take_all_back(&bills).await;
        assert_eq!(shop.borne().await, ALL_OF_IT, "nothing is billed any more");
        shop.is_in_order().await;
    }
}

/// The shop stands behind its parts unless the machine was misused; labor and trip are paid by others in any case.
#[tokio::test]
async fn what_the_shop_bears_is_of_the_split_billed_whether_the_call_is_completed_before_or_after()
{
    for shop in TestShop::everywhere().await {
        shop.run_sql("UPDATE shop SET labour_warranty_days = 0")
            .await;
        shop.three_payers(&[Covers::Labour, Covers::Trip]).await;
        for (split, completed_first, in_the_end) in [
            (CoverageSplit::Sure, true, 0),
            (CoverageSplit::Sure, false, 0),
            (CoverageSplit::Settled, true, 2_500),
        ] {
            let call = shop.came_back(Cents(10_001)).await;
            let before = shop.borne().await.parts;
            let unsure = shop.decided_but_for_misuse(call.id).await;
            if completed_first {
                shop.complete_as_found(call.id).await;
                let now = shop.borne().await.parts;
                assert_eq!(now.0 - before.0, 2_500, "as it is expected");
            }
            let bills = shop.bill_by(&unsure, split).await;
            let division = shop.division_of(&bills[0]).await;
            assert_eq!(division.coverage_split, Some(split));
            if !completed_first {
                shop.complete_as_found(call.id).await;
            }
            let now = shop.borne().await;
            assert_eq!(
                now.parts.0 - before.0,
                in_the_end,
                "{split:?} {completed_first}"
            );
            assert_eq!(now.labour, Cents::ZERO);
            shop.is_in_order().await;
        }
    }
}

/// By what is sure, the maker pays half of 100.01 alone; once all is settled, half of what the part's maker leaves of it.
#[tokio::test]
async fn what_a_claim_is_compared_with_is_of_the_split_that_its_invoice_bills() {
    for shop in TestShop::everywhere().await {
        shop.third_unless_misused().await;
        let maker = shop.claims_desk("Maker").await;
        let half = Pays {
            rank: ProgrammeRank::ApplianceMaker,
            covers: &[Covers::Parts],
            percent: "50",
            deductible: 0,
        };
        shop.covers(&maker, "Half", &half).await;
        shop.is_new().await;
        for (split, paid, normal) in [
            (CoverageSplit::Sure, 5_001, 10_001),
            (CoverageSplit::Settled, 3_334, 6_668),
        ] {
            let call = shop.accepted_call(Cents(10_001), None).await;
            let unsure = shop.decided_but_for_misuse(call.id).await;
            let bills = shop.bill_by(&unsure, split).await;
            let of_maker = |bill: &&invoice::Model| bill.warranty_payer_id == Some(maker.id);
            let bill = bills.iter().find(of_maker).unwrap();
            assert_eq!(bill.net_cents - bill.discount_cents, paid);
            let draft = DraftClaim {
                idempotency_key: shop.key(),
                invoice_id: bill.id,
                programme_id: None,
            };
            let drafted = claims::draft_claim(&shop.owner, draft).await.unwrap();
            shop.is_in_order().await;
            let day = today();
            shop.run_sql(&format!(
                "UPDATE claim SET submitted_on = '{day}' WHERE id = {}",
                drafted.id
            ))
            .await;
            let asked = FiguresAsked {
                payer_id: Some(maker.id),
                from: day,
                through: day,
                today: day,
            };
            let db = shop.bench.app.db.read();
            let figures = payer_figures(db, asked).await.unwrap();
            assert_eq!(figures[0].figures.normal, Cents(normal));
            shop.run_sql("UPDATE claim SET submitted_on = NULL").await;
        }
    }
}

#[tokio::test]
async fn an_hour_of_a_call_costs_what_it_did_when_some_of_it_was_first_borne() {
    for shop in TestShop::everywhere().await {
        let call = shop.came_back(Cents(10_000)).await;
        shop.an_hour_costs(8_002).await;
        shop.complete_as_found(call.id).await;
        shop.an_hour_costs(9_000).await;
        shop.decided(call.id, Said::default()).await;
        assert_eq!(shop.borne().await, at_cost(2_500, 4_500));
        shop.an_hour_costs(12_000).await;
        shop.decided(call.id, Said::default()).await;
        assert_eq!(shop.borne().await, at_cost(2_500, 4_500), "not anew");
        let misused = Said {
            circumstances: vec![Exclusion::Misuse],
            ..Said::default()
        };
        shop.decided(call.id, misused).await;
        assert_eq!(shop.borne().await, NOTHING);
        shop.decided(call.id, Said::default()).await;
        assert_eq!(shop.borne().await, at_cost(2_500, 4_500), "as before");
        let rows = call_borne::Entity::find()
            .all(shop.bench.app.db.read())
            .await
            .unwrap();
        let costs: Vec<Option<i64>> = rows.iter().map(|row| row.labour_hour_cents).collect();
        assert_eq!(costs, [Some(9_000); 3]);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn another_cost_of_an_hour_on_the_same_call_is_found() {
    let shop = TestShop::open().await;
    let call = shop.came_back(Cents(10_000)).await;
    shop.an_hour_costs(8_002).await;
    shop.complete_as_found(call.id).await;
    shop.decided(call.id, Said::default()).await;
    let misused = Said {
        circumstances: vec![Exclusion::Misuse],
        ..Said::default()
    };
    shop.decided(call.id, misused).await;
    let sql = "DROP TRIGGER keep_call_borne_update; UPDATE call_borne SET labour_hour_cents = 1 \
         WHERE id = (SELECT MAX(id) FROM call_borne)";
    let findings = shop.spoil(sql).await;
    assert_eq!(findings.len(), 1, "{findings:#?}");
    assert!(
        findings[0].contains("when the shop first bore"),
        "{findings:#?}"
    );
}
