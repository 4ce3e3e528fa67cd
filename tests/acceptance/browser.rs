//! The customer's page in a real browser: on a phone, at a desk, by keyboard, without scripts, for who cannot see.
//!
//! `tests/browser/drive.mjs` does what a customer does; here is the shop it does it in. A failure leaves a
//! screenshot in `target/browser`.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::server::ServerOptions;
use crate::support::shop::Shop;

/// What npm has put down for these tests; `tests/run` has it done.
fn packages(target: &Path) -> PathBuf {
    let packages = target.join("browser-packages");
    assert!(
        packages.join("node_modules/playwright-core").exists(),
        "no {} holds playwright-core: run this by tests/run, which installs it",
        packages.display()
    );
    packages
}

/// An estimate with a picture, as a link that nobody answered yet.
async fn link(shop: &mut Shop, number: usize, (call, picture): (&str, &str)) -> (String, String) {
    let draft = json!({
        "idempotencyKey": shop.key(), "callId": call, "found": "Bake element terminal: burnt.",
        "pictures": [{ "attachmentId": picture }],
        "options": [
            { "title": "New terminal block", "summary": "The burnt block goes, a ceramic one comes.", "lines": [
                { "kind": "TRIP" }, { "kind": "LABOUR", "minutes": 60 }, { "kind": "PART", "partId": shop.part_id } ] },
            { "title": "New terminal block and a longer lead", "lines": [{ "kind": "LABOUR", "minutes": 95 }] }
        ]
    });
    let drafted = shop
        .done(&shop.office, "draftEstimate", draft, "revision { id }")
        .await;
    let revision = drafted["revision"]["id"]
        .as_str()
        .expect("an id")
        .to_owned();
    shop.send(&revision).await;
    (revision, shop.link_from_folder(number).await)
}

async fn plan(shop: &mut Shop, db: &TestDatabase, target: &Path) -> Value {
    let rules = json!({
        "country": "US", "region": "NL", "name": "Rules of Newland", "effectiveFrom": "2026-01-01",
        "estimateElements": ["TAX_APART", "PROMISED_ON", "PART_CLASS"], "billElements": [], "offerRemovedParts": true
    });
    shop.done(&shop.owner, "addLocalRules", rules, "rules { id }")
        .await;
    let machine = shop
        .machine("Odalys Fenwick", "odalys@mail.example", "N14-104211")
        .await;
    let mut links = serde_json::Map::new();
    let mut number = 0;
    for name in [
        "read",
        "accept",
        "accept_plain",
        "twice",
        "decline",
        "ask",
        "replaced",
        "expired",
    ] {
        let job = shop.find(&machine).await;
        let picture = shop.picture(&job.finding_id, "DAMAGE", 40).await;
        number += 1;
        let about = (job.call_id.as_str(), picture.as_str());
        let (revision, link) = link(shop, number, about).await;
        if name == "replaced" {
            let next = shop.revise(&revision).await;
            shop.send(&next).await;
            number += 1;
            shop.link_from_folder(number).await;
        }
        links.insert(name.to_owned(), json!(link));
    }
    // The clock cannot be turned over HTTP, so this link's last day is moved.
    db.execute("UPDATE estimate_link SET expires_at = '2020-01-01 00:00:00+00:00' WHERE id = (SELECT max(id) FROM estimate_link)")
        .await;
    let mut dead = serde_json::Map::new();
    for name in ["replaced", "expired"] {
        dead.extend(links.remove(name).map(|link| (name.to_owned(), link)));
    }
    let unknown = format!("{}/e/{}", shop.server.base_url(), "A".repeat(43));
    dead.insert("unknown".to_owned(), json!(unknown));
    json!({
        "browser": std::env::var("NAMEPLATE_TEST_BROWSER").unwrap_or_else(|_| "/usr/bin/chromium".to_owned()),
        "packages": packages(target), "screenshots": target.join("browser"), "links": links, "dead": dead
    })
}

#[tokio::test]
async fn customers_read_ask_accept_and_decline_in_a_browser() {
    let db = TestDatabase::sqlite().await;
    let root = Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("the workspace");
    let target =
        std::env::var("CARGO_TARGET_DIR").map_or_else(|_| root.join("target"), PathBuf::from);
    let mut shop = Shop::open(&db, ServerOptions::default()).await;
    let plan = plan(&mut shop, &db, &target).await;
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("plan.json");
    std::fs::write(&file, plan.to_string()).expect("the plan is written");
    let driven = Command::new("node")
        .arg(root.join("tests/browser/drive.mjs"))
        .arg(&file)
        .output()
        .expect("node runs");
    assert!(
        driven.status.success(),
        "{}",
        String::from_utf8_lossy(&driven.stderr)
    );
}
