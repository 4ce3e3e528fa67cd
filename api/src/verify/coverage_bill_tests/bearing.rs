//! What the shop bears of a call, in the books; and damage that is found.

use super::*;

#[tokio::test]
async fn what_the_shop_bears_is_settled_at_completion_and_again_with_each_decision() {
    for shop in TestShop::everywhere().await {
        let call = shop.came_back(Cents(10_000)).await;
        shop.an_hour_costs(8_002).await;
        shop.complete_as_found(call.id).await;
        let borne = async || {
            let db = shop.bench.app.db.read();
            borne_between(db, today(), today()).await.unwrap()
        };
        let costs = async || {
            (
                shop.booked(Role::CallbackCost).await,
                shop.booked(Role::PartsCostOfSales).await,
                shop.booked(Role::LabourApplied).await,
            )
        };
        assert_eq!(borne().await, Borne::default());
        assert_eq!(costs().await, (0, 5_000, 0));
        // All of it is the shop's: its part at 25.00 and the labor at 40.01.
        shop.decided(call.id, Said::default()).await;
        assert_eq!(borne().await, at_cost(2_500, 4_001));
        assert_eq!(costs().await, (6_501, 2_500, -4_001));
        shop.decided(call.id, Said::default()).await;
        assert_eq!(costs().await, (6_501, 2_500, -4_001), "nothing changed");
        shop.is_in_order().await;
        let misused = Said {
            circumstances: vec![Exclusion::Misuse],
            ..Said::default()
        };
        shop.decided(call.id, misused).await;
        assert_eq!(borne().await, Borne::default());
        assert_eq!(costs().await, (0, 5_000, 0));
        let rows = call_borne::Entity::find()
            .order_by_asc(call_borne::Column::Id)
            .all(shop.bench.app.db.read())
            .await
            .unwrap();
        let cents: Vec<(i64, i64)> = (rows.iter())
            .map(|row| (row.parts_cents, row.labour_cents))
            .collect();
        assert_eq!(cents, [(2_500, 4_001), (-2_500, -4_001)]);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_decision_before_completion_decides_where_the_parts_go() {
    for shop in TestShop::everywhere().await {
        let call = shop.came_back(Cents(10_000)).await;
        shop.decided(call.id, Said::default()).await;
        shop.complete_as_found(call.id).await;
        assert_eq!(shop.booked(Role::CallbackCost).await, 2_500);
        assert_eq!(shop.booked(Role::PartsCostOfSales).await, 2_500);
        let db = shop.bench.app.db.read();
        let borne = borne_between(db, today(), today()).await.unwrap();
        assert_eq!(borne, at_cost(2_500, 0));
        // A piece that comes back goes where it came from, and the shop bears it no more.
        let left = shop.last_move().await;
        shop.take_piece_back(left.id, 1).await;
        assert_eq!(shop.booked(Role::CallbackCost).await, 0);
        let borne = borne_between(db, today(), today()).await.unwrap();
        assert_eq!(borne, Borne::default());
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn damage_to_decisions_their_bills_and_what_was_borne_is_found() {
    let damaged: &[(&str, &str)] = &[
        (
            "UPDATE coverage_decision SET standing_call_id = NULL",
            "service_call",
        ),
        (
            "UPDATE coverage_decision SET standing_call_id = (SELECT MIN(id) FROM service_call)",
            "coverage_decision",
        ),
        (
            "UPDATE coverage_portion SET cents = cents + 1",
            "coverage_decision",
        ),
        (
            "UPDATE coverage_decision SET lines_json = REPLACE(lines_json, '10001', '10000')",
            "coverage_decision",
        ),
        (
            "UPDATE coverage_decision SET customer_cents = 1",
            "coverage_decision",
        ),
        (
            "DROP TRIGGER keep_invoice_division_update; UPDATE invoice_division SET shop_cents = shop_cents + 1",
            "invoice_division",
        ),
        (
            "DROP TRIGGER keep_invoice_division_update; UPDATE invoice_division SET coverage_split = NULL",
            "invoice_division",
        ),
        (
            "DROP TRIGGER keep_invoice_update; UPDATE invoice SET warranty_payer_id = NULL",
            "invoice",
        ),
        (
            "DROP TRIGGER keep_call_borne_update; UPDATE call_borne SET parts_cents = parts_cents + 1",
            "call_borne",
        ),
        (
            "DROP TRIGGER keep_call_borne_delete; DELETE FROM call_borne",
            "service_call",
        ),
    ];
    for (sql, table) in damaged {
        let shop = TestShop::open().await;
        shop.run_sql("UPDATE shop SET labour_warranty_days = 0")
            .await;
        shop.three_payers(&[Covers::Labour, Covers::Trip]).await;
        let call = shop.came_back(Cents(10_001)).await;
        let decision = shop.decided(call.id, Said::default()).await;
        issue_invoice(&shop.owner, shop.by(&decision))
            .await
            .unwrap();
        shop.complete_as_found(call.id).await;
        shop.is_in_order().await;
        let findings = shop.spoil(sql).await;
        let begins = format!("{table} ");
        assert!(
            findings.iter().any(|finding| finding.starts_with(&begins)),
            "{sql}: {findings:#?}"
        );
    }
}
