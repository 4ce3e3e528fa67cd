//! The same figures, asked through the graph.

use async_graphql::Request;
use nameplate_rules::money::Cents;
use serde_json::Value;

use super::testing::TestShop;
use crate::base::{Act, Role};
use crate::graphql::{loaders, schema};
use crate::invoices::Excess;
use crate::remittances::record_payment;

/// The answer to a request of this caller.
pub async fn ask(act: &Act, query: &str) -> Value {
    let app = &act.app;
    let request = Request::new(query)
        .data(act.clone())
        .data(loaders::row_loader(app.db.read().clone()));
    let answer = schema::build(app).execute(request).await;
    serde_json::to_value(answer).unwrap()
}

#[tokio::test]
async fn reports_and_receivables_tie_to_what_was_billed_and_paid() {
    for shop in TestShop::everywhere().await {
        let bill = shop.bill(5_000).await;
        let payment = shop.payment(2_000, Excess::Refused);
        record_payment(&shop.owner, payment).await.unwrap();
        let answer = ask(
            &shop.owner,
            "{ invoices(first: 5, openOnly: true) { edges { node {
                 id kind number issuedOn dueOn net discount tax total open contentHash
                 customer { name } call { number } estimateRevision { id }
                 issuedBy { name } credits { id } creditedBy { id }
                 lines { kind quantity unitPrice net discount taxable tax taxReason cost }
                 taxes { taxLevelId name ratePercent taxable tax }
                 allocations { amount allocatedAt payment { number method amount unallocated } }
               } } }
               payments { edges { node { id receivedOn reference recordedBy { name } } } }
               trialBalance(on: \"2026-06-01\") { debits credits rows { account { code role } debit credit } }
               incomeStatement(from: \"2026-06-01\", to: \"2026-06-01\") { revenue expenses net
                 revenueRows { account { name } amount } expenseRows { amount } }
               balanceSheet(on: \"2026-06-01\") { assets liabilities equity netIncome
                 assetRows { amount } liabilityRows { amount } equityRows { amount } }
               salesTaxOwed(on: \"2026-06-01\") { name jurisdiction amount }
               receivablesAgeing(on: \"2026-06-01\") { brackets { notYetDue days1To30 total }
                 customers { customer { name } brackets { total } } }
               journalEntries(first: 2) { edges { node { number memo documentKind documentId total
                 postings { account { code } debit credit taxLevelId } } } } }",
        )
        .await;
        assert_eq!(answer["errors"], Value::Null, "{answer:#}");
        let data = &answer["data"];
        let open = Cents(bill.total_cents - 2_000).to_string();
        let node = &data["invoices"]["edges"][0]["node"];
        assert_eq!(node["open"], open);
        assert_eq!(node["total"], Cents(bill.total_cents).to_string());
        assert_eq!(data["receivablesAgeing"]["brackets"]["notYetDue"], open);
        assert_eq!(
            data["trialBalance"]["debits"],
            data["trialBalance"]["credits"]
        );
        let revenue = Cents(bill.net_cents).to_string();
        assert_eq!(data["incomeStatement"]["net"], revenue);
        assert_eq!(data["balanceSheet"]["equity"], revenue);
        let owed = |at: usize| {
            data["salesTaxOwed"][at]["amount"]
                .as_str()
                .unwrap()
                .to_owned()
        };
        assert_eq!((owed(0), owed(1)), ("3.13".to_owned(), "0.87".to_owned()));
        let entries = &data["journalEntries"]["edges"];
        assert_eq!(entries[0]["node"]["documentKind"], "payment");
        assert_eq!(entries[1]["node"]["documentKind"], "invoice");
    }
}

#[tokio::test]
async fn the_office_sees_what_is_owed_and_not_the_books_and_a_technician_neither() {
    let shop = TestShop::open().await;
    let bill = shop.bill(5_000).await;
    let office = shop.bench.act_as(Role::Office).await;
    let technician = shop.bench.act_as(Role::Technician).await;
    let receivables = "{ invoices { edges { node { id } } } }";
    let books = "{ journalEntries { edges { node { id } } } }";
    let report = "{ trialBalance(on: \"2026-06-01\") { debits } }";
    assert_eq!(ask(&office, receivables).await["errors"], Value::Null);
    for (act, query) in [
        (&office, books),
        (&office, report),
        (&technician, receivables),
        (&technician, books),
        (&technician, report),
    ] {
        let answer = ask(act, query).await;
        assert_eq!(
            answer["errors"][0]["extensions"]["code"], "FORBIDDEN",
            "{query}"
        );
    }
    let id = crate::graphql::ids::Kind::Invoice.id(bill.id);
    let by_node = format!("{{ node(id: \"{}\") {{ __typename }} }}", id.as_str());
    let answer = ask(&technician, &by_node).await;
    assert_eq!(answer["data"]["node"], Value::Null);
    let answer = ask(&office, &by_node).await;
    assert_eq!(answer["data"]["node"]["__typename"], "Invoice");
}
