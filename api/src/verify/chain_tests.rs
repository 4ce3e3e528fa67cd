use nameplate_entities::journal_seal;
use sea_orm::{ConnectionTrait, DatabaseBackend, EntityTrait, QueryOrder};

use super::testing::TestShop;
use super::{Finding, chain, run};
use crate::base::Act;
use crate::books::{self, JournalLine, PostJournal};
use nameplate_rules::money::Cents;

/// What lets every row be changed: the tables of the journal without their guards.
fn unguarded(backend: DatabaseBackend) -> Vec<String> {
    let sqlite = ["journal_entry", "posting", "journal_seal"]
        .iter()
        .flat_map(|table| {
            ["update", "delete"].map(|act| format!("DROP TRIGGER keep_{table}_{act}"))
        });
    let postgres = [
        "DROP TRIGGER keep_journal_entry ON journal_entry",
        "DROP TRIGGER keep_posting ON posting",
        "DROP TRIGGER keep_journal_seal ON journal_seal",
        "DROP TRIGGER keep_journal_seal_rows ON journal_seal",
    ];
    match backend {
        DatabaseBackend::Sqlite => sqlite.collect(),
        _ => postgres.map(str::to_owned).to_vec(),
    }
}

async fn post(act: &Act, key: &str) {
    let line = |account: &str, debit, credit| JournalLine {
        account: account.to_owned(),
        debit,
        credit,
        tax_level_id: None,
    };
    let new = PostJournal {
        idempotency_key: key.to_owned(),
        on: crate::base::testing::noon().date_naive(),
        memo: format!("Capital {key}"),
        lines: vec![
            line("1010", Some(Cents(500)), None),
            line("3010", None, Some(Cents(300))),
            line("3900", None, Some(Cents(200))),
        ],
    };
    books::post_journal(act, new).await.unwrap();
}

/// Entries 1 to 5 and no guards.
async fn journal(shop: &TestShop) {
    for number in 1..=5 {
        post(&shop.owner, &format!("entry {number}")).await;
    }
    let tx = shop.bench.app.db.write().await.unwrap();
    for sql in unguarded(tx.get_database_backend()) {
        tx.execute_unprepared(&sql).await.unwrap();
    }
    tx.commit().await.unwrap();
}

/// Carries these out, gives what the chain finds, and takes them back.
async fn found(shop: &TestShop, damage: &[&str]) -> Vec<Finding> {
    let tx = shop.bench.app.db.write().await.unwrap();
    for sql in damage {
        tx.execute_unprepared(sql).await.unwrap();
    }
    let findings = chain::check(&tx).await.unwrap();
    tx.rollback().await.unwrap();
    findings
}

#[tokio::test]
async fn each_column_of_the_journal_changed_behind_the_guards_is_found_at_its_entry() {
    for shop in TestShop::everywhere().await {
        journal(&shop).await;
        assert_eq!(found(&shop, &[]).await, []);
        let damages = [
            "UPDATE journal_entry SET number = 'J-000033' WHERE id = 3",
            "UPDATE journal_entry SET entry_on = '2026-05-31' WHERE id = 3",
            "UPDATE journal_entry SET posted_at = '2026-05-31 12:00:00+00:00' WHERE id = 3",
            "UPDATE journal_entry SET posted_by = NULL WHERE id = 3",
            "UPDATE journal_entry SET memo = 'Capital' WHERE id = 3",
            "UPDATE journal_entry SET document_kind = 'payment' WHERE id = 3",
            "UPDATE journal_entry SET document_id = 1 WHERE id = 3",
            "UPDATE journal_entry SET reverses_entry_id = 1 WHERE id = 3",
            "UPDATE journal_entry SET closes_year = 2025 WHERE id = 3",
            "UPDATE posting SET debit_cents = 501 WHERE entry_id = 3 AND position = 1",
            "UPDATE posting SET credit_cents = 301 WHERE entry_id = 3 AND position = 2",
            "UPDATE posting SET account_id = account_id + 1 WHERE entry_id = 3 AND position = 2",
            "UPDATE posting SET tax_level_id = 1 WHERE entry_id = 3 AND position = 2",
            "UPDATE posting SET position = 4 WHERE entry_id = 3 AND position = 2",
            "UPDATE posting SET entry_id = 4, position = 9 WHERE entry_id = 3 AND position = 2",
            "DELETE FROM posting WHERE entry_id = 3 AND position = 3",
            "UPDATE journal_seal SET hash = 'ab' WHERE entry_id = 3",
            "UPDATE journal_seal SET hash = '' WHERE entry_id = 3",
            "DELETE FROM journal_seal WHERE entry_id = 3",
        ];
        for sql in damages {
            let findings = found(&shop, &[sql]).await;
            assert_eq!(findings.len(), 1, "{sql}");
            assert_eq!(
                (findings[0].table, findings[0].row.as_str()),
                ("journal_entry", "3"),
                "{sql}"
            );
        }
    }
}

#[tokio::test]
async fn an_entry_taken_out_put_in_or_moved_does_not_fit() {
    for shop in TestShop::everywhere().await {
        journal(&shop).await;
        let gone = [
            "DELETE FROM journal_seal WHERE entry_id = 3",
            "DELETE FROM posting WHERE entry_id = 3",
            "DELETE FROM journal_entry WHERE id = 3",
        ];
        assert_eq!(found(&shop, &gone).await[0].row, "4");
        let put_in = [
            "INSERT INTO journal_entry (id, number, entry_on, posted_at, memo, document_kind, debit_cents, credit_cents) \
             SELECT 77, 'J-000077', entry_on, posted_at, memo, document_kind, debit_cents, credit_cents \
             FROM journal_entry WHERE id = 3",
            "INSERT INTO posting (entry_id, position, account_id, debit_cents, credit_cents, entry_on) \
             SELECT 77, position, account_id, debit_cents, credit_cents, entry_on FROM posting WHERE entry_id = 3",
            "INSERT INTO journal_seal (entry_id, hash) SELECT 77, hash FROM journal_seal WHERE entry_id = 3",
        ];
        assert_eq!(found(&shop, &put_in).await[0].row, "77");
        let moved = [
            "UPDATE posting SET position = position + 10 WHERE entry_id = 3",
            "UPDATE posting SET entry_id = 3 WHERE entry_id = 4",
            "UPDATE posting SET entry_id = 4, position = position - 10 WHERE entry_id = 3 AND position > 10",
            "UPDATE journal_entry SET number = 'J-000099', memo = 'Capital entry 4' WHERE id = 3",
            "UPDATE journal_entry SET number = 'J-000003', memo = 'Capital entry 3' WHERE id = 4",
            "UPDATE journal_entry SET number = 'J-000004' WHERE id = 3",
        ];
        assert_eq!(found(&shop, &moved).await[0].row, "3");
    }
}

#[tokio::test]
async fn a_journal_older_than_the_chain_is_chained_once_when_the_program_opens() {
    for shop in TestShop::everywhere().await {
        journal(&shop).await;
        let seals = async || {
            journal_seal::Entity::find()
                .order_by_asc(journal_seal::Column::EntryId)
                .all(shop.bench.app.db.read())
                .await
                .unwrap()
        };
        let as_posted = seals().await;
        let tx = shop.bench.app.db.write().await.unwrap();
        tx.execute_unprepared("UPDATE journal_seal SET hash = ''")
            .await
            .unwrap();
        tx.commit().await.unwrap();
        let findings = run(&shop.bench.app.db).await.unwrap();
        assert!(
            findings[0].what.contains("J-000001 has no hash"),
            "{findings:?}"
        );
        books::open(&shop.bench.program()).await.unwrap();
        assert_eq!(seals().await, as_posted);
        assert_eq!(run(&shop.bench.app.db).await.unwrap(), []);
        // An entry without a seal is no older one, so it is not sealed afterwards.
        let tx = shop.bench.app.db.write().await.unwrap();
        tx.execute_unprepared("DELETE FROM journal_seal WHERE entry_id = 5")
            .await
            .unwrap();
        tx.commit().await.unwrap();
        books::open(&shop.bench.program()).await.unwrap();
        assert_eq!(seals().await.len(), 4);
    }
}

#[tokio::test]
async fn a_retired_account_with_money_and_a_closed_year_with_income_are_found() {
    for shop in TestShop::everywhere().await {
        let line = |account: &str, debit, credit| JournalLine {
            account: account.to_owned(),
            debit,
            credit,
            tax_level_id: None,
        };
        let sale = PostJournal {
            idempotency_key: shop.key(),
            on: "2025-05-05".parse().unwrap(),
            memo: "A sale".to_owned(),
            lines: vec![
                line("1010", Some(Cents(700)), None),
                line("4090", None, Some(Cents(700))),
            ],
        };
        books::post_journal(&shop.owner, sale).await.unwrap();
        let year = books::CloseYear {
            idempotency_key: shop.key(),
            year: 2025,
        };
        books::close_year(&shop.owner, year).await.unwrap();
        assert_eq!(run(&shop.bench.app.db).await.unwrap(), []);
        let spoil = async |sql: &str| {
            let tx = shop.bench.app.db.write().await.unwrap();
            tx.execute_unprepared(sql).await.unwrap();
            let findings = super::books::check(&tx).await.unwrap();
            tx.rollback().await.unwrap();
            findings.iter().map(ToString::to_string).collect::<Vec<_>>()
        };
        let findings = spoil(
            "UPDATE account SET retired_at = '2026-01-01 00:00:00+00:00' WHERE code = '1010'",
        );
        let findings = findings.await;
        assert!(
            findings[0].contains("left on a retired account: 700 found"),
            "{findings:?}"
        );
        let findings = spoil(
            "INSERT INTO posting (entry_id, position, account_id, debit_cents, credit_cents, entry_on) \
             SELECT 1, 3, id, 5, 0, '2025-05-05' FROM account WHERE code = '4090'",
        );
        let findings = findings.await;
        assert!(
            findings
                .iter()
                .any(|found| found.contains("through a closed year: 5 found")),
            "{findings:?}"
        );
    }
}
