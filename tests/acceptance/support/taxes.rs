//! Places with different tax rules.

use serde_json::{Value, json};

use super::graphql::text;
use super::shop::Shop;

/// Rules for every kind of charge: these first, then taxed or not as the list says.
pub fn rules(first: &[Value], taxed: &[&str]) -> Vec<Value> {
    let kinds = ["PART", "LABOUR", "TRIP", "DIAGNOSTIC", "FREIGHT", "FEE"];
    let last = kinds.map(|kind| {
        let taxable = taxed.contains(&kind);
        let reason = if taxable {
            "a repair is taxed whole"
        } else {
            "stated apart from parts"
        };
        json!({ "chargeKind": kind, "taxable": taxable, "reason": reason })
    });
    first.iter().cloned().chain(last).collect()
}

/// Records a place with one level and these rules.
pub async fn place(shop: &Shop, name: &str, taxability: Vec<Value>) -> String {
    let place = json!({
        "name": name, "basis": "INVOICE", "effectiveFrom": "2020-01-01", "taxability": taxability,
        "levels": [{ "name": "State", "kind": "STATE", "ratePercent": "7.25" }]
    });
    let place = shop
        .done(
            &shop.owner,
            "addTaxJurisdiction",
            place,
            "taxJurisdiction { id }",
        )
        .await;
    text(&place, "taxJurisdiction.id").to_owned()
}

/// Records a place that follows a rate table it differs from, with a bracket table and a rule with a condition, and
/// proposes it for a postal code.
pub async fn every_kind_of_rule(shop: &Shop) {
    let table = json!({ "content": "99,45,99,0.06,0.06,0,0,20200101,29991231\n" });
    shop.done(
        &shop.owner,
        "importTaxRates",
        table,
        "added changed unchanged",
    )
    .await;
    let built_in = json!({
        "chargeKind": "LABOUR", "taxable": false, "when": { "builtIn": true }, "reason": "work on a house"
    });
    let step = json!([{ "upTo": "0.20", "tax": "0.01" }]);
    let brackets =
        json!({ "wholeDollarTax": "0.06", "underADollar": step, "overWholeDollars": step });
    let place = json!({
        "name": "Quill", "basis": "INVOICE", "effectiveFrom": "2020-01-01",
        "taxability": rules(&[built_in], &["PART", "LABOUR"]),
        "levels": [{ "name": "State", "kind": "STATE", "ratePercent": "5", "rateCode": "99:45:99" }],
        "methods": [{ "fromOn": "2008-01-03", "brackets": brackets }]
    });
    let place = shop
        .done(
            &shop.owner,
            "addTaxJurisdiction",
            place,
            "taxJurisdiction { id }",
        )
        .await;
    let codes = json!({
        "taxJurisdictionId": text(&place, "taxJurisdiction.id"), "postalCodes": ["00412"]
    });
    shop.done(
        &shop.office,
        "assignPostalCodes",
        codes,
        "taxJurisdiction { id }",
    )
    .await;
}
