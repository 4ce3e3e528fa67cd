//! One job under the rules of different places, as the office and the customer see it.

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{list, text};
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::{Machine, Shop};
use crate::support::taxes;

/// The job: a part of 80.00, labour of 120.00 and a trip of 25.00.
fn job(trip_serves: Option<&str>) -> Value {
    json!([{ "title": "Repair", "lines": [
        { "kind": "PART", "description": "Terminal block", "unitPrice": "80.00" },
        { "kind": "LABOUR", "minutes": 60, "unitPrice": "120.00" },
        { "kind": "TRIP", "unitPrice": "25.00", "tripServes": trip_serves }
    ] }])
}

async fn tax_at(shop: &mut Shop, machine: &Machine, place: &str, options: Value) -> Value {
    let confirm = json!({ "serviceAddressId": machine.address_id, "taxJurisdictionId": place });
    let shown = "serviceAddress { jurisdictionsProposed }";
    shop.done(&shop.office, "confirmJurisdiction", confirm, shown)
        .await;
    let call_id = shop.find(machine).await.call_id;
    let draft = json!({ "idempotencyKey": shop.key(), "callId": call_id, "options": options });
    let shown = "revision { options { tax lines { taxable taxReason } } }";
    shop.mutate(&shop.office, "draftEstimate", draft, shown)
        .await
}

on_both_databases! {
    async fn one_job_is_taxed_by_the_rules_of_its_place_and_each_line_says_why(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let machine = shop.machine("Odalys Fenwick", "odalys@mail.example", "N14-104211").await;
        let all = ["PART", "LABOUR", "TRIP", "DIAGNOSTIC", "FREIGHT", "FEE"];
        let whole = taxes::place(&shop, "Whole", taxes::rules(&[], &all)).await;
        let serves = |serves: &str, treatment: &str| json!({
            "chargeKind": "TRIP", "treatment": treatment, "when": { "tripServes": serves },
            "reason": "a trip is taxed as what it serves"
        });
        let first = [serves("PARTS", "TAXED"), serves("BOTH", "PRORATED_BY_PARTS")];
        let apart = taxes::place(&shop, "Apart", taxes::rules(&first, &["PART"])).await;

        let taxed = tax_at(&mut shop, &machine, &whole, job(None)).await;
        let option = &taxed["data"]["draftEstimate"]["revision"]["options"][0];
        assert_eq!(text(option, "tax"), "16.31", "{taxed}");
        assert_eq!(text(option, "lines.1.taxReason"), "Taxed at 7.25 % in Whole: a repair is taxed whole.");

        // 25.00 x 80/200 is 10.00; 7.25 % of 90.00 is 6.525, which goes up.
        let taxed = tax_at(&mut shop, &machine, &apart, job(Some("BOTH"))).await;
        let option = &taxed["data"]["draftEstimate"]["revision"]["options"][0];
        assert_eq!(text(option, "tax"), "6.53", "{taxed}");
        let reasons: Vec<&str> = list(option, "lines").iter().map(|line| text(line, "taxReason")).collect();
        assert_eq!(reasons, [
            "Taxed at 7.25 % in Apart: a repair is taxed whole.",
            "Not taxed in Apart: stated apart from parts.",
            "Taxed at 7.25 % on 10.00 of 25.00 in Apart: a trip is taxed as what it serves.",
        ]);

        let asked = tax_at(&mut shop, &machine, &apart, job(None)).await;
        let problem = &asked["data"]["draftEstimate"]["problems"][0];
        assert_eq!(text(problem, "code"), "MISSING", "{asked}");
        assert_eq!(problem["path"], json!(["input", "options", "0", "lines", "2", "tripServes"]), "{asked}");
    }

    async fn a_postal_code_proposes_a_place_and_a_person_confirms_it(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let machine = shop.machine("Odalys Fenwick", "odalys@mail.example", "N14-104211").await;
        taxes::every_kind_of_rule(&shop).await;
        let asked = shop
            .ask(
                &shop.office,
                "query($id: ID!) { proposedJurisdictions(place: { serviceAddressId: $id }) { id name } }",
                json!({ "id": machine.address_id }),
            )
            .await;
        assert_eq!(text(&asked, "data.proposedJurisdictions.0.name"), "Quill", "{asked}");
        let confirm = json!({
            "serviceAddressId": machine.address_id,
            "taxJurisdictionId": text(&asked, "data.proposedJurisdictions.0.id")
        });
        let shown = "serviceAddress { jurisdictionsProposed jurisdictionConfirmedAt jurisdictionConfirmedBy { name } }";
        let confirmed = shop.done(&shop.office, "confirmJurisdiction", confirm, shown).await;
        let me = shop.ask(&shop.office, "{ me { name } }", json!({})).await;
        assert_eq!(
            text(&confirmed, "serviceAddress.jurisdictionConfirmedBy.name"),
            text(&me, "data.me.name"),
            "{me}"
        );
        assert_eq!(confirmed["serviceAddress"]["jurisdictionsProposed"], json!(["Quill"]));
    }
    async fn rules_recorded_by_mistake_are_put_right_until_an_estimate_stands_on_them(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let machine = shop.machine("Odalys Fenwick", "odalys@mail.example", "N14-104211").await;
        let place = taxes::place(&shop, "Quill", taxes::rules(&[], &["PART"])).await;
        let right = json!({
            "taxJurisdictionId": place, "name": "Quill", "basis": "ITEM", "effectiveFrom": "2020-01-01",
            "taxability": taxes::rules(&[], &["PART", "LABOUR"]),
            "levels": [{ "name": "State", "kind": "STATE", "ratePercent": "6.25" }]
        });
        let mut wrong = right.clone();
        wrong["levels"][0]["ratePercent"] = json!("625");
        let wrong = shop.refused(&shop.owner, "replaceTaxJurisdiction", wrong).await;
        assert_eq!(wrong, [("OUT_OF_RANGE".to_owned(), "input.levels.0.ratePercent".to_owned())]);
        let shown = "taxJurisdiction { id basis totalRatePercent }";
        let now = shop.done(&shop.owner, "replaceTaxJurisdiction", right.clone(), shown).await;
        assert_eq!(now["taxJurisdiction"], json!({ "id": place, "basis": "ITEM", "totalRatePercent": "6.25" }));
        let taxed = tax_at(&mut shop, &machine, &place, job(None)).await;
        let option = &taxed["data"]["draftEstimate"]["revision"]["options"][0];
        assert_eq!(text(option, "tax"), "12.50", "{taxed}");
        let late = shop.refused(&shop.owner, "replaceTaxJurisdiction", right).await;
        assert_eq!(late, [("WRONG_STATE".to_owned(), "input.taxJurisdictionId".to_owned())]);

        let asked = json!({
            "country": "US", "region": "NL", "name": "Repairs Act", "effectiveFrom": "2020-01-01",
            "estimateElements": [], "billElements": []
        });
        let rules = shop.done(&shop.owner, "addLocalRules", asked.clone(), "rules { id }").await;
        let withdraw = json!({ "localRulesId": text(&rules, "rules.id") });
        let gone = shop.done(&shop.owner, "withdrawLocalRules", withdraw.clone(), "rules { name }").await;
        assert_eq!(text(&gone, "rules.name"), "Repairs Act");
        let twice = shop.refused(&shop.owner, "withdrawLocalRules", withdraw).await;
        assert_eq!(twice, [("NOT_FOUND".to_owned(), "input.localRulesId".to_owned())]);
        shop.done(&shop.owner, "addLocalRules", asked, "rules { id }").await;
        db.verify_is_clean();
    }
}
