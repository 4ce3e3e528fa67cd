//! What reports say of suppliers: the file that ties with entries by hand, a statement of many lines, and the accounts
//! that bills take.

use nameplate_rules::books::Role;
use sea_orm::ConnectionTrait;
use serde_json::Value;

use super::graph_tests::ask;
use super::payable_tests::{Desk, ON, money_line};
use crate::closeout::testing::Workshop;
use crate::graphql::ids::Kind;
use crate::reports::{self, Pieces, Wanted};

async fn written(shop: &Workshop, statements: &[String]) {
    let tx = shop.app.db.write().await.unwrap();
    for sql in statements {
        tx.execute_unprepared(sql).await.unwrap();
    }
    tx.commit().await.unwrap();
}

/// Each line of the file, as its first and last cell.
async fn ageing_file(shop: &Workshop) -> Vec<(String, String)> {
    let wanted = Wanted {
        report: "payables-ageing".to_owned(),
        through: Some(ON.to_owned()),
        ..Wanted::default()
    };
    let Ok(Pieces::Whole(bytes)) = reports::export(&shop.owner(), &wanted).await else {
        panic!("the ageing comes in one piece");
    };
    let text = String::from_utf8(bytes).unwrap();
    let cells = text.lines().skip(1).map(|line| {
        let (first, rest) = line.split_once(',').unwrap();
        let (_, last) = rest.rsplit_once(',').unwrap();
        (first.to_owned(), last.to_owned())
    });
    cells.collect()
}

#[tokio::test]
async fn the_file_of_what_is_payable_ends_with_entries_by_hand_and_ties_to_the_account() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let bill = desk.bill("1", vec![money_line(Some(Role::OtherExpense), 1_000)]);
        desk.record(bill).await.unwrap();
        let alone = ("Parts Depot".to_owned(), "10.00".to_owned());
        assert_eq!(ageing_file(&shop).await, std::slice::from_ref(&alone));
        // As a shop left it that kept its payables by hand.
        let posting = |position: i32, role: &str, debit: i64, credit: i64| {
            format!(
                "INSERT INTO posting (entry_id, position, account_id, debit_cents, credit_cents, entry_on) \
                 SELECT j.id, {position}, a.id, {debit}, {credit}, '2026-03-01' FROM journal_entry j, account a \
                 WHERE j.number = 'OLD-1' AND a.role = '{role}'"
            )
        };
        let by_hand = [
            "INSERT INTO journal_entry (number, entry_on, posted_at, memo, document_kind, debit_cents, credit_cents) \
             VALUES ('OLD-1', '2026-03-01', '2026-03-01T12:00:00+00:00', 'Rent', 'manual', 700, 700)"
                .to_owned(),
            posting(1, "other_expense", 700, 0),
            posting(2, "payables", 0, 700),
        ];
        written(&shop, &by_hand).await;
        let before = ("entries by hand of before".to_owned(), "7.00".to_owned());
        assert_eq!(ageing_file(&shop).await, [alone, before]);
        assert_eq!(desk.parts.balance(Role::Payables).await, -1_700);
    }
}

#[tokio::test]
async fn a_statement_of_more_lines_than_it_shows_says_so_and_closes_with_all_of_them() {
    for shop in Workshop::everywhere(ON).await {
        let desk = Desk::of(&shop).await;
        let bills = format!(
            "WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 1001) \
             INSERT INTO supplier_bill (kind, number, supplier_id, supplier_number, supplier_number_key, billed_on, \
             due_on, total_cents, recorded_at, recorded_by) SELECT 'bill', 'X' || i, {}, 'N' || i, 'n' || i, \
             '2026-03-01', '2026-03-01', 1, '2026-03-01T12:00:00+00:00', {} FROM n",
            desk.supplier_id, shop.owner_id
        );
        written(&shop, &[bills]).await;
        let query = |until: &str| {
            format!(
                "{{ supplierStatement(supplierId: \"{}\", from: \"2026-02-01\", until: \"{until}\") {{ \
                 hasMore closing lines {{ balance }} }} }}",
                Kind::Supplier.id(desk.supplier_id).as_str()
            )
        };
        let answer = ask(&shop.owner(), &query("2026-03-31")).await;
        assert_eq!(answer["errors"], Value::Null, "{answer:#}");
        let statement = &answer["data"]["supplierStatement"];
        assert_eq!(statement["hasMore"], true);
        assert_eq!(statement["closing"], "10.01");
        let lines = statement["lines"].as_array().unwrap();
        assert_eq!(lines.len(), 1_000);
        assert_eq!(lines[999]["balance"], "10.00");
        let answer = ask(&shop.owner(), &query("2026-02-28")).await;
        let statement = &answer["data"]["supplierStatement"];
        assert_eq!(
            (&statement["hasMore"], &statement["closing"]),
            (&Value::from(false), &Value::from("0.00"))
        );
    }
}

#[tokio::test]
async fn the_accounts_that_bills_take_are_listed_and_no_others() {
    let shop = Workshop::open(ON).await;
    let answer = ask(&shop.owner(), "{ billAccounts { code name isKept } }").await;
    let listed = answer["data"]["billAccounts"].as_array().unwrap();
    let has = |role: Role| listed.iter().any(|row| row["code"] == role.code());
    assert!(has(Role::OtherExpense));
    for role in [
        Role::Bank,
        Role::Payables,
        Role::PartsStock,
        Role::SalesTaxPayable,
        Role::OtherRevenue,
    ] {
        assert!(!has(role), "{role:?}");
    }
    let desk = Desk::of(&shop).await;
    for (at, row) in listed.iter().enumerate() {
        let mut line = money_line(None, 100);
        line.account = row["code"].as_str().map(str::to_owned);
        let bill = desk.bill(&at.to_string(), vec![line]);
        desk.record(bill).await.unwrap();
    }
    desk.parts.is_in_order().await;
}
