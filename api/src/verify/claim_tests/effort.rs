//! What is asked of the database for a decision, a claim and the lists about them does not grow with what was before.

use async_graphql::Request;
use serde_json::Value;

use super::*;
use crate::coverage::{Outlook, OutlookLine, outlook};
use crate::graphql::{loaders, schema};
use crate::remittances::{FiguresAsked, payer_figures};

/// How many statements each takes.
#[derive(Debug, PartialEq, Eq)]
struct Effort {
    decide: u64,
    draft: u64,
    outlook: u64,
    due: u64,
    figures: u64,
}

/// Most statements of a list in the graph: what each row asks for is fetched a level at a time, though fields of one level that
/// come at different moments may be fetched in two parts.
const OF_A_LIST_MAX: u64 = 16;

/// What lists of claims ask for in the graph, row by row.
const AGEING: &str = "{ claimsAgeing(through: \"2026-12-31\") { brackets { total } payers { payer { customer { name } } \
     brackets { total } } } }";
const DUE: &str = "{ claimsDue(withinDays: 366) { claim { number payer { customer { name } } call { number } } \
     invoice { number } } }";

impl TestShop {
    fn statements(&self) -> u64 {
        self.bench.app.db.statements()
    }

    async fn asked_in_the_graph(&self, query: &str) -> u64 {
        let before = self.statements();
        let request = Request::new(query)
            .data(loaders::row_loader(self.bench.app.db.read().clone()))
            .data(self.owner.clone());
        let answer = schema::build(&self.bench.app).execute(request).await;
        let answer = serde_json::to_value(answer).unwrap();
        assert_eq!(answer["errors"], Value::Null, "{answer:#}");
        self.statements() - before
    }

    /// One more call that is decided on and claimed, and what that and the lists about it took.
    async fn effort(&self, payer: &warranty_payer::Model) -> (Effort, claim::Model) {
        let call = self.accepted_call(Cents(10_000), None).await;
        self.repair(call.id).await;
        let call = self.done_on(&call, today()).await;
        let start = self.statements();
        self.decided_as_found(call.id).await;
        let decide = self.statements() - start;
        let bill = self.billed_to(&call, payer).await;
        let start = self.statements();
        let drafted = claims::draft_claim(&self.owner, self.draft(&bill)).await;
        let draft = self.statements() - start;
        let drafted = drafted.unwrap();
        let ask = Outlook {
            appliance_id: self.machine_id(),
            failed_on: None,
            component_id: None,
            failure_mode_id: None,
            said: Said::default(),
            lines: vec![OutlookLine {
                covers: Covers::Labour,
                amount: Cents(9_000),
                hours: None,
                distance: None,
            }],
        };
        let start = self.statements();
        outlook(&self.owner, &ask).await.unwrap();
        let outlook = self.statements() - start;
        let db = self.bench.app.db.read();
        let start = self.statements();
        claims::due(db, (today(), 366)).await.unwrap();
        let due = self.statements() - start;
        let start = self.statements();
        let asked = FiguresAsked {
            payer_id: Some(payer.id),
            from: before(300),
            through: today(),
            today: today(),
        };
        payer_figures(db, asked).await.unwrap();
        let figures = self.statements() - start;
        let effort = Effort {
            decide,
            draft,
            outlook,
            due,
            figures,
        };
        for list in [AGEING, DUE] {
            let taken = self.asked_in_the_graph(list).await;
            assert!(taken <= OF_A_LIST_MAX, "{taken} for {list}");
        }
        (effort, drafted)
    }
}

#[tokio::test]
async fn deciding_claiming_and_listing_take_as_many_statements_after_few_repairs_as_after_many() {
    for shop in TestShop::everywhere().await {
        let (payer, _) = shop.claim_payer(Vec::new(), None).await;
        shop.bought_on(before(60)).await;
        // Of a few claims one is submitted, one is ready and the others are drafts; of many likewise.
        for submits in [true, false] {
            let (_, claim) = shop.effort(&payer).await;
            let claim = shop.ready(&claim).await;
            if submits {
                shop.submitted(&claim).await;
            }
        }
        let (few, _) = shop.effort(&payer).await;
        for submits in [true, true, true, false, false, false] {
            let (_, claim) = shop.effort(&payer).await;
            let claim = shop.ready(&claim).await;
            if submits {
                shop.submitted(&claim).await;
            }
        }
        let (many, _) = shop.effort(&payer).await;
        assert_eq!(few, many);
        let most = [
            (few.decide, 40),
            (few.draft, 40),
            (few.outlook, 20),
            (few.due, 8),
            (few.figures, 8),
        ];
        for (taken, at_most) in most {
            assert!(taken <= at_most, "{taken} of {at_most}: {few:?}");
        }
    }
}
