//! A month at two banks, over HTTP: receipts taken there, statements in two layouts, proposals, and reconciliation.

use serde_json::{Value, json};

use crate::receivables::{neighbour, sale};
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

async fn pay(
    shop: &mut Shop,
    customer_id: &str,
    (method, amount, on): (&str, &str, &str),
) -> Value {
    let payment = json!({
        "idempotencyKey": shop.key(), "customerId": customer_id, "method": method, "receivedOn": on,
        "amount": amount, "allocations": [], "allowCredit": true
    });
    let paid = shop
        .done(&shop.office, "recordPayment", payment, "payment { id }")
        .await;
    paid["payment"]["id"].clone()
}

/// The bank of the default chart.
async fn bank(shop: &Shop) -> String {
    let banks = shop
        .ask(
            &shop.office,
            "{ bankAccounts { accountId isUsual } }",
            json!({}),
        )
        .await;
    text(&banks, "data.bankAccounts.0.accountId").to_owned()
}

/// Sends a file of a bank.
async fn send(shop: &Shop, token: Option<&str>, (path, file): (&str, &[u8])) -> (u16, Value) {
    let url = format!("{}/bank-accounts/{path}", shop.server.base_url());
    let mut request = shop.server.http().post(url);
    if let Some(token) = token {
        request = request.bearer_auth(token);
    }
    let request = request
        .header("Content-Type", "text/csv")
        .body(file.to_vec());
    let answer = request.send().await.expect("an answer");
    let status = answer.status().as_u16();
    (status, answer.json().await.unwrap_or_default())
}

async fn csv(shop: &Shop, token: &str, path: &str) -> (u16, String) {
    let url = format!("{}/reports/{path}", shop.server.base_url());
    let answer = shop.server.http().get(url).bearer_auth(token).send().await;
    let answer = answer.expect("an answer");
    (
        answer.status().as_u16(),
        answer.text().await.expect("a body"),
    )
}

fn layout(bank: &str) -> Value {
    json!({
        "bankAccountId": bank, "delimiter": "COMMA", "hasHeader": true, "encoding": "UTF8",
        "dateOrder": "MONTH_DAY_YEAR", "decimalSign": "POINT",
        "columns": { "day": "Date", "amount": "Amount", "text": "Description", "balance": "Balance" }
    })
}

const MARCH: &str = "Date,Description,Amount,Balance\r\n\
    03/06/2025,CARD PAYOUT,\"97.00\",97.00\r\n\
    03/07/2025,DEPOSIT,120.00,217.00\r\n\
    03/10/2025,CHECK 001042 MARROW RENT,-42.00,175.00\r\n\
    03/31/2025,SERVICE FEE,-15.00,160.00\r\n";

/// Confirms the proposals that are clear; gives their reasons.
async fn confirm_clear(shop: &Shop, bank: &str) -> Vec<String> {
    let query = "query($id: ID!) { bankProposals(bankAccountId: $id) { reason isAmbiguous lines { lineId } \
         postings { postingId memo } } }";
    let found = shop.ask(&shop.office, query, json!({ "id": bank })).await;
    let mut reasons = Vec::new();
    for one in list(&found, "data.bankProposals") {
        if one["isAmbiguous"] == true {
            continue;
        }
        let ids = |list: &str, id: &str| {
            let all = one[list].as_array().expect("a list").iter();
            all.map(|item| item[id].clone()).collect::<Vec<_>>()
        };
        let order = json!({
            "lineIds": ids("lines", "lineId"), "postingIds": ids("postings", "postingId"), "reason": one["reason"]
        });
        shop.done(
            &shop.office,
            "confirmMatch",
            order,
            "matched { matchId reason }",
        )
        .await;
        reasons.push(text(one, "reason").to_owned());
    }
    reasons
}

/// A card and a check taken to the bank, the rent by check, and tools that the bank does not know yet.
async fn banked_month(shop: &mut Shop) {
    let (customer_id, _) = neighbour(shop).await;
    let card = pay(shop, &customer_id, ("CARD", "100.00", "2025-03-04")).await;
    let check = pay(shop, &customer_id, ("CHECK", "120.00", "2025-03-05")).await;
    let waiting = "{ receiptsToBank(method: CARD) { nodes { id } } }";
    let waiting = shop.ask(&shop.office, waiting, json!({})).await;
    assert_eq!(list(&waiting, "data.receiptsToBank.nodes").len(), 1);
    for (payment, fee, on) in [
        (&card, json!("3.00"), "2025-03-05"),
        (&check, json!(null), "2025-03-06"),
    ] {
        let slip = json!({
            "idempotencyKey": shop.key(), "depositedOn": on,
            "payments": [{ "paymentId": payment, "cardFee": fee }]
        });
        shop.done(
            &shop.office,
            "bankReceipts",
            slip,
            "deposit { number arrives }",
        )
        .await;
    }
    let rent = ("6900", "1010", "42.00");
    post(shop, "2025-03-08", "Rent, check 1042", rent).await;
    let tools = ("6900", "1010", "9.00");
    post(shop, "2025-03-29", "Tools not yet paid by the bank", tools).await;
}

/// Takes the bank's file in, after a look at it, and not by those who may not, nor with a broken line.
async fn taken_in(shop: &Shop, bank: &str) {
    let path = format!("{bank}/statement");
    let office = Some(shop.office.as_str());
    let unsaid = send(shop, office, (&path, MARCH.as_bytes())).await;
    assert_eq!(unsaid.0, 409, "without a layout: {}", unsaid.1);
    let shown = "layout { version columns { day } }";
    shop.done(&shop.office, "saveBankLayout", layout(bank), shown)
        .await;
    let look = format!("{path}?preview=true");
    let (status, seen) = send(shop, office, (&look, MARCH.as_bytes())).await;
    assert_eq!(
        (status, text(&seen, "lines.2.amount")),
        (200, "-42.00"),
        "{seen}"
    );
    assert_eq!(
        (&seen["statementId"], &seen["lineCount"]),
        (&json!(null), &json!(4))
    );
    for (token, expected) in [(None, 401), (Some(&*shop.technician), 403)] {
        let answer = send(shop, token, (&path, MARCH.as_bytes())).await;
        assert_eq!(answer.0, expected);
    }
    let broken = MARCH.replace("-42.00", "-4z2.00");
    let (status, refused) = send(shop, office, (&path, broken.as_bytes())).await;
    assert_eq!(
        (status, &refused["faults"][0]["line"]),
        (422, &json!(4)),
        "{refused}"
    );
    assert_eq!(text(&refused, "faults.0.column"), "Amount");
    let (status, taken) = send(shop, office, (&path, MARCH.as_bytes())).await;
    assert_eq!((status, &taken["lineCount"]), (200, &json!(4)), "{taken}");
    let (_, again) = send(shop, office, (&path, MARCH.as_bytes())).await;
    assert_eq!(
        (&again["lineCount"], &again["knownCount"]),
        (&json!(0), &json!(4))
    );
}

/// The owner, and she alone, books the bank's fee on two accounts.
async fn booked_fee(shop: &mut Shop, bank: &str) {
    let open = "query($id: ID!) { bankLines(bankAccountId: $id, openOnly: true) { nodes { lineId text } } }";
    let open = shop.ask(&shop.office, open, json!({ "id": bank })).await;
    assert_eq!(text(&open, "data.bankLines.nodes.0.text"), "SERVICE FEE");
    let booking = json!({
        "idempotencyKey": shop.key(), "lineId": text(&open, "data.bankLines.nodes.0.lineId"),
        "splits": [{ "account": "6900", "amount": "10.00" }, { "account": "6200", "amount": "5.00" }]
    });
    let shown = "line { matched { reason postings { amount memo } lines { amount } } }";
    let office = shop
        .mutate(&shop.office, "bookBankLine", booking.clone(), shown)
        .await;
    assert_eq!(text(&office, "errors.0.extensions.code"), "FORBIDDEN");
    let booked = shop.done(&shop.owner, "bookBankLine", booking, shown).await;
    assert_eq!(text(&booked, "line.matched.postings.0.amount"), "-15.00");
}

/// Reconciles the month, not with a balance that does not fit; gives its id.
async fn reconciled(shop: &mut Shop, bank: &str) -> String {
    let through = |key: String, closing: &str| {
        json!({
            "idempotencyKey": key, "bankAccountId": bank, "through": "2025-03-31", "closingBalance": closing
        })
    };
    let off = through(shop.key(), "161.00");
    let off = shop.refused(&shop.office, "reconcileBank", off).await;
    assert_eq!(
        off,
        [("UNBALANCED".to_owned(), "input.closingBalance".to_owned())]
    );
    let shown = "reconciliation { id opening moved closing standing { balanceByBank outstandingPayments \
         outstandingDeposits balanceByBooks ties } outstanding { nodes { memo amount } } }";
    let order = through(shop.key(), "160.00");
    let done = shop.done(&shop.office, "reconcileBank", order, shown).await;
    assert_eq!(
        at(&done, "reconciliation.standing"),
        &json!({
            "balanceByBank": "160.00", "outstandingPayments": "-9.00", "outstandingDeposits": "0.00",
            "balanceByBooks": "151.00", "ties": true
        })
    );
    text(&done, "reconciliation.id").to_owned()
}

/// An entry dated back is outstanding, and moves nothing of what was reconciled.
async fn dated_back(shop: &mut Shop, id: &str) {
    let found = ("6900", "1010", "1.50");
    post(shop, "2025-03-15", "Found in a drawer", found).await;
    let query = "query($id: ID!) { node(id: $id) { ... on BankReconciliation { closing standing { outstandingPayments \
         balanceByBooks ties } outstanding(first: 1) { nodes { memo entryNumber documentKind } pageInfo { hasNextPage } } } } }";
    let later = shop.ask(&shop.office, query, json!({ "id": id })).await;
    assert_eq!(
        data(&later)["node"]["standing"],
        json!({ "outstandingPayments": "-10.50", "balanceByBooks": "149.50", "ties": true })
    );
    let outstanding = &data(&later)["node"]["outstanding"];
    assert_eq!(outstanding["nodes"][0]["memo"], "Found in a drawer");
    assert_eq!(outstanding["nodes"][0]["documentKind"], "manual");
    assert_eq!(outstanding["pageInfo"]["hasNextPage"], true);
    let report = "bank-reconciliation.csv?account=1010&through=2025-03-31";
    let (status, file) = csv(shop, &shop.office, report).await;
    let lines: Vec<&str> = file.lines().collect();
    assert_eq!(status, 200, "{file}");
    assert_eq!(lines[0], "item,day,entry,memo,amount");
    assert_eq!(lines[1], "balance_by_bank,2025-03-31,,,160.00");
    assert!(lines[2].starts_with("outstanding,2025-03-15,J-"), "{file}");
    assert!(lines[2].ends_with(",-1.50"), "{file}");
    let last = lines.last().copied();
    assert_eq!(last, Some("balance_by_books,2025-03-31,,,149.50"));
    let other_day = "bank-reconciliation.csv?account=1010&through=2025-03-30";
    assert_eq!(csv(shop, &shop.office, other_day).await.0, 400);
    assert_eq!(csv(shop, &shop.technician, report).await.0, 404);
}

on_both_databases! {
    async fn a_month_at_the_bank_is_reconciled_and_stays_so(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let bank = bank(&shop).await;
        banked_month(&mut shop).await;
        taken_in(&shop, &bank).await;
        let reasons = confirm_clear(&shop, &bank).await;
        assert_eq!(reasons, [
            "same amount, 2 days apart, reference 1042 in the text, Rent in the text",
            "same amount, 1 day apart",
            "same amount, 1 day apart",
        ]);
        booked_fee(&mut shop, &bank).await;
        let id = reconciled(&mut shop, &bank).await;
        dated_back(&mut shop, &id).await;
        db.verify_is_clean();

        let reopen = json!({ "reconciliationId": id, "reason": "The rent was another" });
        let office = shop.mutate(&shop.office, "reopenReconciliation", reopen.clone(), "reconciliation { id }").await;
        assert_eq!(text(&office, "errors.0.extensions.code"), "FORBIDDEN");
        let shown = "reconciliation { reopenedBecause standing { ties } }";
        let open = shop.done(&shop.owner, "reopenReconciliation", reopen, shown).await;
        assert_eq!(text(&open, "reconciliation.reopenedBecause"), "The rent was another");
        assert_eq!(at(&open, "reconciliation.standing"), &json!(null));
        db.verify_is_clean();
    }

    async fn a_second_bank_has_a_layout_of_its_own_and_two_that_fit_are_left_to_the_clerk(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let account = json!({ "code": "1020", "name": "Savings", "kind": "ASSET", "isBank": true });
        let account = shop.done(&shop.owner, "addAccount", account, "account { id }").await;
        let savings = text(&account, "account.id").to_owned();
        for memo in ["First", "Second"] {
            post(&mut shop, "2025-03-08", memo, ("1020", "3010", "50.00")).await;
        }
        let layout = json!({
            "bankAccountId": savings, "delimiter": "SEMICOLON", "hasHeader": false, "encoding": "WINDOWS1252",
            "dateOrder": "DAY_MONTH_YEAR", "decimalSign": "COMMA", "nearDays": 3,
            "columns": { "day": "1", "moneyIn": "3", "moneyOut": "4", "text": "2", "bankId": "5" }
        });
        shop.done(&shop.office, "saveBankLayout", layout, "layout { nearDays columns { moneyIn } }").await;
        let file = b"09.03.2025;Einzahlung B\xe4r;50,00;;Z1\r\n20.03.2025;Geb\xfchr;;1.002,50;Z2\r\n";
        let path = format!("{savings}/statement");
        let (status, taken) = send(&shop, Some(&shop.office), (&path, file)).await;
        assert_eq!((status, &taken["lineCount"]), (200, &json!(2)), "{taken}");
        let query = "query($id: ID!) { bankProposals(bankAccountId: $id) { isAmbiguous reason } \
             bankLines(bankAccountId: $id) { nodes { on amount text bankId } } \
             bankStatements(bankAccountId: $id) { nodes { lineCount firstOn lastOn } } }";
        let seen = shop.ask(&shop.office, query, json!({ "id": savings })).await;
        assert_eq!(data(&seen)["bankLines"]["nodes"], json!([
            { "on": "2025-03-09", "amount": "50.00", "text": "Einzahlung Bär", "bankId": "Z1" },
            { "on": "2025-03-20", "amount": "-1002.50", "text": "Gebühr", "bankId": "Z2" },
        ]));
        let proposal = json!({ "isAmbiguous": true, "reason": "same amount, 1 day apart; another fits as well" });
        assert_eq!(data(&seen)["bankProposals"], json!([proposal, proposal]));
        assert!(confirm_clear(&shop, &savings).await.is_empty(), "nothing is confirmed by itself");
        let back = json!({ "statementId": taken["statementId"] });
        shop.done(&shop.office, "takeBackBankStatement", back.clone(), "statement { lineCount }").await;
        let twice = shop.refused(&shop.office, "takeBackBankStatement", back).await;
        assert_eq!(twice, [("NOT_FOUND".to_owned(), "input.statementId".to_owned())]);
        let (status, again) = send(&shop, Some(&shop.office), (&path, file)).await;
        assert_eq!((status, &again["lineCount"]), (200, &json!(2)), "{again}");
        let wrong = shop.ask(&shop.technician, "query($id: ID!) { bankLines(bankAccountId: $id) { nodes { on } } }", json!({ "id": savings })).await;
        assert_eq!(text(&wrong, "errors.0.extensions.code"), "FORBIDDEN");
        db.verify_is_clean();
    }

    async fn the_journal_names_the_number_of_every_document_that_moves_money(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let who = neighbour(&shop).await;
        let payment = pay(&mut shop, &who.0, ("CASH", "20.00", "2025-03-04")).await;
        let slip = json!({
            "idempotencyKey": shop.key(), "depositedOn": "2025-03-05", "payments": [{ "paymentId": payment }]
        });
        shop.done(&shop.office, "bankReceipts", slip, "deposit { number }").await;
        let refund = json!({
            "idempotencyKey": shop.key(), "customerId": who.0, "amount": "20.00", "method": "CHECK", "refundedOn": "2025-03-06"
        });
        shop.done(&shop.owner, "refundCredit", refund, "refund { number }").await;
        let query = "{ receiptsBankedByHand payments(first: 1) { nodes { isBankedBefore bankAccount { code } \
             bankDeposit { number } } } refunds(first: 1) { nodes { bankAccount { code } } } }";
        let seen = shop.ask(&shop.office, query, json!({})).await;
        assert_eq!(data(&seen), &json!({
            "receiptsBankedByHand": "0.00",
            "payments": { "nodes": [
                { "isBankedBefore": false, "bankAccount": { "code": "1010" }, "bankDeposit": { "number": "B-000001" } }
            ] },
            "refunds": { "nodes": [{ "bankAccount": { "code": "1010" } }] },
        }));
        let order = sale(&shop.key(), &who, &shop.part_id);
        let bill = shop.done(&shop.office, "issueFreeInvoice", order, "invoice { id }").await;
        let write_off = json!({ "idempotencyKey": shop.key(), "invoiceId": bill["invoice"]["id"], "reason": "Gone" });
        shop.done(&shop.owner, "writeOffInvoice", write_off, "invoice { id }").await;
        let (status, journal) = csv(&shop, &shop.owner, "journal.csv?from=2025-03-01&through=2100-01-01").await;
        assert_eq!(status, 200, "{journal}");
        for named in [",payment,P-000001,", ",bank_deposit,B-000001,", ",refund,R-000001,", ",write_off,W-000001,"] {
            assert!(journal.contains(named), "{named} is missing from {journal}");
        }
        db.verify_is_clean();
    }
}
