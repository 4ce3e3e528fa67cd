//! Who pays for a repair, and which machines are recalled, through GraphQL and HTTP.

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{list, text};
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::{Job, Machine, Shop, today};
use crate::support::warranty::DECISION;

/// A range whose burnt terminal was priced and accepted, bought today.
async fn accepted(shop: &mut Shop, serial: &str) -> (Machine, Job) {
    let machine = shop
        .machine("Odalys Quern", "odalys@household.example", serial)
        .await;
    shop.bought(&machine, &today()).await;
    let job = shop.find(&machine).await;
    let revision = shop.draft(&job).await;
    shop.send(&revision).await;
    shop.accept_from_folder(1, "Odalys Quern").await;
    (machine, job)
}

/// Price of a line, the customer's part, and what each programme pays, in cents.
type Split = (i64, i64, Vec<(String, i64)>);

/// Who pays how much of a decision's lines, line by line.
fn split(decision: &Value) -> Vec<Split> {
    list(decision, "reading.lines")
        .iter()
        .map(|line| {
            let portions = list(line, "portions").iter();
            let portions = portions.map(|of| (text(of, "name").to_owned(), cents(of, "amount")));
            (
                cents(line, "amount"),
                cents(line, "customer"),
                portions.collect(),
            )
        })
        .collect()
}

fn cents(value: &Value, path: &str) -> i64 {
    let amount = text(value, path).replace('.', "");
    amount.parse().expect("an amount")
}

on_both_databases! {
    async fn a_maker_pays_once_the_proof_of_purchase_is_there(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        shop.maker().await;
        let (machine, job) = accepted(&mut shop, "SN-501").await;

        let before = shop.decide(&job).await;
        let decision = &before["decision"];
        assert_eq!(decision["isSure"], json!(false));
        assert_eq!(text(decision, "reading.answers.0.answer"), "PAYS_ONCE_SETTLED");
        assert_eq!(list(decision, "reading.answers.0.missing").len(), 2, "{decision}");
        assert_eq!(text(decision, "reading.customerAtMost"), text(decision, "total"));

        shop.picture(&machine.appliance_id, "PLATE", 10).await;
        shop.picture(&machine.appliance_id, "PROOF_OF_PURCHASE", 20).await;
        let after = shop.decide(&job).await;
        let decision = &after["decision"];
        assert_eq!(decision["isSure"], json!(true), "{decision}");
        // Trip 45.00; an hour at 118.00, of which the maker pays 80.00; a part at three times 11.40.
        let first_year = |amount| vec![("First year".to_owned(), amount)];
        let expected = [
            (4_500, 4_500, vec![]),
            (11_800, 3_800, first_year(8_000)),
            (3_420, 0, first_year(3_420)),
        ];
        assert_eq!(split(decision), expected, "{decision}");
        assert_eq!(cents(decision, "reading.customer"), 8_300);

        // The one before stands no more, and is still there to be read.
        let query = "query($id: ID!) { node(id: $id) { ... on CoverageDecision { stands isSure } } }";
        let id = text(&before, "decision.id");
        let found = shop.ask(&shop.office, query, json!({ "id": id })).await;
        assert_eq!(found["data"]["node"], json!({ "stands": false, "isSure": false }));
        assert_eq!(shop.server.verify().code, Some(0));
    }

    async fn a_contract_pays_half_of_what_the_maker_leaves_above_its_deductible(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        shop.maker().await;
        let contract = shop.contract().await;
        let (machine, job) = accepted(&mut shop, "SN-502").await;
        shop.under_contract(&machine, &contract, &today()).await;
        let papers = json!({
            "idempotencyKey": shop.key(), "callId": job.call_id,
            "facts": { "evidence": ["PROOF_OF_PURCHASE", "PLATE_PICTURE"] }
        });
        let decided = shop.done(&shop.office, "decideCoverage", papers, DECISION).await;
        let decision = &decided["decision"];
        assert_eq!(decision["isSure"], json!(true), "{decision}");
        for (amount, customer, portions) in split(decision) {
            let paid: i64 = portions.iter().map(|(_, cents)| cents).sum();
            assert_eq!(paid + customer, amount, "{decision}");
        }
        // Left by the maker: 45.00 of the trip and 38.00 of the labor. Half of each, less 25.00 once.
        assert_eq!(cents(decision, "reading.customer"), 8_300 - (4_150 - 2_500));

        let out = json!({ "callId": job.call_id, "idempotencyKey": shop.key(), "failedOn": "2999-01-01" });
        let refused = shop.refused(&shop.office, "decideCoverage", out).await;
        assert_eq!(refused, [("IMPOSSIBLE_DATE".to_owned(), "input.failedOn".to_owned())]);
        let hands = json!({ "callId": job.call_id, "idempotencyKey": shop.key() });
        let answer = shop.mutate(&shop.technician, "decideCoverage", hands, DECISION).await;
        assert!(answer.to_string().contains("FORBIDDEN"), "{answer}");
    }

    async fn a_recall_taken_in_is_told_of_for_the_machines_it_means(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let machine = shop.machine("Odalys Quern", "odalys@household.example", "SN-700").await;
        let file = json!([{
            "RecallNumber": "26-041", "RecallDate": "2026-02-03T00:00:00", "Title": "Ranges that may overheat",
            "Description": "The bake element's terminal can overheat.", "URL": "https://recalls.example/26-041",
            "Products": [{ "Name": "Electric range", "Make": "Norvane", "ModelPattern": "NR-4*" }],
            "Hazards": [{ "Name": "Fire and burn hazard" }], "Remedies": [{ "Name": "The maker renews the terminal block." }]
        }]);
        let send = async |token: &str, preview: bool| {
            let url = format!("{}/recalls?preview={preview}", shop.server.base_url());
            let request = shop.server.http().post(url).bearer_auth(token).json(&file);
            let answer = request.send().await.expect("an answer");
            (answer.status().as_u16(), answer.json::<Value>().await.expect("json"))
        };
        assert_eq!(send(&shop.technician, false).await.0, 403);
        let (status, looked) = send(&shop.office, true).await;
        assert_eq!((status, looked["newCount"].as_u64()), (200, Some(1)), "{looked}");
        let (_, taken) = send(&shop.office, false).await;
        assert_eq!(taken["newCount"].as_u64(), Some(1), "a look writes nothing");
        let (_, again) = send(&shop.office, false).await;
        assert_eq!((again["newCount"].as_u64(), again["sameCount"].as_u64()), (Some(0), Some(1)));

        let query = "query($id: ID!) { appliance(by: { id: $id }) { recalls { meant recall { id number hazard remedy } } } }";
        let asked = json!({ "id": machine.appliance_id });
        let found = shop.ask(&shop.technician, query, asked.clone()).await;
        let recalls = &found["data"]["appliance"]["recalls"];
        assert_eq!(text(&recalls[0], "meant"), "YES", "{found}");
        assert_eq!(text(&recalls[0], "recall.hazard"), "Fire and burn hazard");
        let check = json!({
            "recallId": text(&recalls[0], "recall.id"), "applianceId": machine.appliance_id, "isMeant": true,
            "toldOn": today(), "note": "Maker's appointment made."
        });
        shop.done(&shop.office, "checkRecall", check, "check { isMeant toldOn }").await;
        assert_eq!(shop.server.verify().code, Some(0));
    }
}
