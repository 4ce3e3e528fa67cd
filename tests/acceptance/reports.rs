//! The ledger and the reports as they come over HTTP, and who gets them.

use serde_json::json;

use crate::support::database::TestDatabase;
use crate::support::graphql::{at, data, list, text};
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::Shop;

/// Posts an amount from one account to another.
async fn post(shop: &mut Shop, on: &str, memo: &str, (debit, credit, amount): (&str, &str, &str)) {
    let entry = json!({
        "idempotencyKey": shop.key(), "on": on, "memo": memo,
        "lines": [{ "account": debit, "debit": amount }, { "account": credit, "credit": amount }]
    });
    shop.done(&shop.owner, "postJournal", entry, "journalEntry { number }")
        .await;
}

/// A month at the bank: 100.00 before it, then five lines.
async fn month(shop: &mut Shop) {
    post(shop, "2025-02-28", "Capital", ("1010", "3010", "100.00")).await;
    post(shop, "2025-03-20", "Rent", ("6900", "1010", "30.00")).await;
    post(
        shop,
        "2025-03-01",
        "=HYPERLINK(\"x\")",
        ("1010", "4090", "7.50"),
    )
    .await;
    post(
        shop,
        "2025-03-20",
        "Tools, two \"new\"",
        ("6900", "1010", "12.25"),
    )
    .await;
    post(shop, "2025-03-31", "Capital", ("1010", "3010", "50.00")).await;
    post(shop, "2025-04-01", "Later", ("1010", "3010", "1.00")).await;
}

async fn account_id(shop: &Shop, code: &str) -> String {
    let chart = shop
        .ask(&shop.owner, "{ accounts { id code } }", json!({}))
        .await;
    let account = list(&chart, "data.accounts")
        .iter()
        .find(|account| account["code"] == code)
        .expect("the account is in the chart");
    text(account, "id").to_owned()
}

/// Status and text of a report.
async fn csv(shop: &Shop, token: Option<&str>, path: &str) -> (u16, String) {
    let url = format!("{}/reports/{path}", shop.server.base_url());
    let mut request = shop.server.http().get(url);
    if let Some(token) = token {
        request = request.bearer_auth(token);
    }
    let answer = request.send().await.expect("an answer");
    let status = answer.status().as_u16();
    (status, answer.text().await.expect("a text"))
}

on_both_databases! {
    async fn the_general_ledger_comes_page_by_page_with_the_balance_after_each_line(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        month(&mut shop).await;
        let bank = account_id(&shop, "1010").await;
        let page = async |page: &str| {
            let query = format!("query($id: ID!) {{ generalLedger(accountId: $id, from: \"2025-03-01\", to: \"2025-03-31\") {{
                opening closing lines({page}) {{ edges {{ cursor node {{ debit credit balance entry {{ on memo }} }} }}
                pageInfo {{ hasNextPage hasPreviousPage }} }} }} }}");
            let answer = shop.ask(&shop.owner, &query, json!({ "id": bank })).await;
            data(&answer)["generalLedger"].clone()
        };
        let balances = |ledger: &serde_json::Value| -> Vec<String> {
            let lines = list(ledger, "lines.edges").iter();
            lines.map(|line| text(line, "node.balance").to_owned()).collect()
        };
        let all = page("first: 10").await;
        assert_eq!((text(&all, "opening"), text(&all, "closing")), ("100.00", "115.25"));
        assert_eq!(balances(&all), ["107.50", "77.50", "65.25", "115.25"]);
        let first = page("first: 2").await;
        assert_eq!(balances(&first), ["107.50", "77.50"]);
        assert_eq!(at(&first, "lines.pageInfo.hasNextPage"), true);
        let cursor = text(&first, "lines.edges.1.cursor");
        let second = page(&format!("first: 2, after: \"{cursor}\"")).await;
        assert_eq!(balances(&second), ["65.25", "115.25"]);
        assert_eq!(at(&second, "lines.pageInfo.hasNextPage"), false);
        assert_eq!(balances(&page("last: 3").await), ["77.50", "65.25", "115.25"]);
        assert_eq!(balances(&page(&format!("last: 5, before: \"{cursor}\"")).await), ["107.50"]);
        let equity = account_id(&shop, "3010").await;
        let query = "query($id: ID!) { generalLedger(accountId: $id, from: \"2025-03-01\", to: \"2025-03-31\") { opening closing } }";
        let ledger = shop.ask(&shop.owner, query, json!({ "id": equity })).await;
        assert_eq!(data(&ledger)["generalLedger"], json!({ "opening": "100.00", "closing": "150.00" }));
        let office = shop.ask(&shop.office, query, json!({ "id": equity })).await;
        assert_eq!(text(&office, "errors.0.extensions.code"), "FORBIDDEN");
    }

    async fn reports_come_as_csv_to_whoever_may_read_them(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        month(&mut shop).await;
        let owner = Some(shop.owner.as_str());
        let (status, balances) = csv(&shop, owner, "trial-balance.csv?through=2025-03-31").await;
        let expected = "account,name,kind,debit,credit\r\n1010,Bank,asset,115.25,0.00\r\n\
             3010,Owner's equity,equity,0.00,150.00\r\n4090,Other revenue,revenue,0.00,7.50\r\n\
             6900,Other expense,expense,42.25,0.00\r\n";
        assert_eq!((status, balances.as_str()), (200, expected));
        let (_, income) = csv(&shop, owner, "income-statement.csv?from=2025-03-01&through=2025-03-31&basis=cash").await;
        let expected = "kind,account,name,amount\r\nrevenue,4090,Other revenue,7.50\r\nexpense,6900,Other expense,42.25\r\n\
             total,,Total revenue,7.50\r\ntotal,,Total expense,42.25\r\ntotal,,Net income,-34.75\r\n";
        assert_eq!(income, expected);
        let (_, sheet) = csv(&shop, owner, "balance-sheet.csv?through=2025-03-31").await;
        let end = "equity,,Result not yet closed,-34.75\r\ntotal,,Total assets,115.25\r\n\
             total,,Total liabilities,0.00\r\ntotal,,Total equity,115.25\r\n";
        assert!(sheet.ends_with(end), "{sheet}");
        let (_, journal) = csv(&shop, owner, "journal.csv?from=2025-03-01&through=2025-03-31").await;
        let lines: Vec<&str> = journal.lines().collect();
        assert_eq!(lines.len(), 9);
        assert!(lines[0].starts_with("entry,day,posted_at,memo,"), "{journal}");
        assert!(lines[1].starts_with("J-000003,2025-03-01,"), "{journal}");
        assert!(journal.contains(",\"'=HYPERLINK(\"\"x\"\")\",manual,,1010,Bank,7.50,0.00,,,1,"), "{journal}");
        assert!(journal.contains(",\"Tools, two \"\"new\"\"\",manual,"), "{journal}");
        let (_, ledger) = csv(&shop, owner, "general-ledger.csv?account=1010&from=2025-03-20&through=2025-03-31").await;
        let expected = "day,entry,memo,debit,credit,balance\r\n2025-03-20,,Opening balance,,,107.50\r\n\
             2025-03-20,J-000002,Rent,0.00,30.00,77.50\r\n\
             2025-03-20,J-000004,\"Tools, two \"\"new\"\"\",0.00,12.25,65.25\r\n\
             2025-03-31,J-000005,Capital,50.00,0.00,115.25\r\n2025-03-31,,Closing balance,,,115.25\r\n";
        assert_eq!(ledger, expected);
        for (token, path, expected) in [
            (owner, "general-ledger.csv?account=9&from=2025-03-20&through=2025-03-31", 400),
            (Some(&*shop.office), "receivables-ageing.csv?through=2025-03-31", 200),
            (Some(&*shop.office), "claims-ageing.csv?through=2025-03-31", 200),
            (Some(&*shop.office), "margin-by-call.csv?from=2025-03-01&through=2025-03-31", 404),
            (owner, "margin-by-call.csv?from=2025-03-01&through=2025-03-31", 200),
            (owner, "margin-by-charge.csv?from=2025-03-01&through=2025-03-31", 200),
            (owner, "margin-by-technician.csv?from=2025-03-01&through=2025-03-31", 200),
            (None, "trial-balance.csv?through=2025-03-31", 401),
            (Some(&*shop.office), "trial-balance.csv?through=2025-03-31", 404),
            (Some(&*shop.technician), "takings.csv?from=2025-03-01&through=2025-03-31", 404),
            (Some(&*shop.office), "takings.csv?from=2025-03-01&through=2025-03-31", 200),
            (owner, "takings.csv?from=2020-03-01&through=2025-03-31", 400),
            (owner, "sales-tax.csv?from=2025-03-01&through=2025-03-31&basis=cash", 200),
            (owner, "sales-tax-sales.csv?from=2025-03-01&through=2025-03-31", 200),
            (owner, "sales-tax.csv?from=2025-03-01&through=2025-03-31&basis=other", 400),
            (owner, "journal.csv?from=2025-04-01&through=2025-03-31", 400),
            (owner, "trial-balance.csv?through=%2B99999-01-01", 400),
            (owner, "journal.csv?from=yesterday&through=2025-03-31", 400),
            (owner, "trial-balance.csv", 400),
            (owner, "nothing.csv?through=2025-03-31", 404),
        ] {
            let (status, answer) = csv(&shop, token, path).await;
            assert_eq!(status, expected, "{path}: {answer}");
        }
    }

    async fn only_the_owner_opens_closed_days_again_and_the_list_says_why(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        month(&mut shop).await;
        shop.done(&shop.owner, "closeBooks", json!({ "through": "2025-03-31" }), "closedThrough").await;
        let reopen = json!({ "idempotencyKey": shop.key(), "closedThrough": "2025-02-28", "reason": "A bill was forgotten" });
        let office = shop.mutate(&shop.office, "reopenBooks", reopen.clone(), "").await;
        assert_eq!(text(&office, "errors.0.extensions.code"), "FORBIDDEN");
        let opened = shop.done(&shop.owner, "reopenBooks", reopen, "shop { booksClosedThrough }").await;
        assert_eq!(text(&opened, "shop.booksClosedThrough"), "2025-02-28");
        post(&mut shop, "2025-03-30", "The bill", ("6900", "1010", "5.00")).await;
        let query = "{ periodEvents(first: 5) { nodes { kind closedBefore closedThrough reason by { role } } } }";
        let events = shop.ask(&shop.owner, query, json!({})).await;
        let by = json!({ "role": "OWNER" });
        assert_eq!(data(&events)["periodEvents"]["nodes"], json!([
            { "kind": "BOOKS_REOPENED", "closedBefore": "2025-03-31", "closedThrough": "2025-02-28",
              "reason": "A bill was forgotten", "by": by },
            { "kind": "BOOKS_CLOSED", "closedBefore": null, "closedThrough": "2025-03-31", "reason": null, "by": by },
        ]));
        db.verify_is_clean();
    }
}
