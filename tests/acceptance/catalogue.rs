//! Price books copied, changed, looked at and adopted; suppliers' price lists sent, looked through and taken over.

use std::fmt::Write;
use std::time::Duration;

use serde_json::{Value, json};
use tokio::io::AsyncWriteExt;
use tokio::net::TcpStream;

use crate::support::database::TestDatabase;
use crate::support::graphql::{at, data, int, list, text};
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::{Shop, today};
use crate::support::wait::{PATIENCE, eventually};

const EMAIL: &str = "odalys@mail.example";
const LIST: &str = "query($id: ID!) { priceList(id: $id) { state rowCount badRowCount newCount changedCount sameCount \
    soldBelowCost { count } largestRises { number oldCost cost } } }";

/// A list that was begun: its id and where its rows go.
async fn begun(shop: &mut Shop) -> (String, String) {
    let name = format!("Quarry Parts {}", shop.key());
    let supplier = json!({ "name": name });
    let supplier = shop
        .done(&shop.office, "addSupplier", supplier, "supplier { id }")
        .await;
    let order = json!({
        "idempotencyKey": shop.key(), "supplierId": text(&supplier, "supplier.id"), "name": "Spring",
        "columns": { "number": "Part", "description": "Text", "cost": "Net", "listPrice": "List" }
    });
    let begun = shop
        .done(
            &shop.office,
            "beginPriceList",
            order,
            "priceList { id uploadPath }",
        )
        .await;
    (
        text(&begun, "priceList.id").to_owned(),
        text(&begun, "priceList.uploadPath").to_owned(),
    )
}

async fn upload(shop: &Shop, token: &str, path: &str, body: String) -> (u16, Value) {
    let url = format!("{}{path}", shop.server.base_url());
    let asked = shop
        .server
        .http()
        .post(url)
        .bearer_auth(token)
        .header("Content-Type", "text/csv; charset=utf-8");
    let answer = asked.body(body).send().await.expect("an answer");
    (answer.status().as_u16(), answer.json().await.expect("JSON"))
}

async fn progress(shop: &Shop, id: &str) -> Value {
    let answer = shop.ask(&shop.office, LIST, json!({ "id": id })).await;
    data(&answer)["priceList"].clone()
}

async fn part(shop: &Shop, number: &str) -> Value {
    let query = "query($number: String!) { part(number: $number) { cost listPrice costHistory { cost priceList { id } } } }";
    let answer = shop
        .ask(&shop.office, query, json!({ "number": number }))
        .await;
    data(&answer)["part"].clone()
}

fn rows(count: usize) -> String {
    let mut body = "Part,Text,Net,List\r\n".to_owned();
    for number in 0..count {
        let cents = number % 90_000 + 100;
        writeln!(
            body,
            "N-{number:06},Part number {number},{}.{:02},\r",
            cents / 100,
            cents % 100
        )
        .expect("text takes any line");
    }
    body
}

on_both_databases! {
    async fn a_book_is_copied_changed_looked_at_and_adopted(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let machine = shop.machine("Odalys Fenwick", EMAIL, "N14-104211").await;
        let job = shop.find(&machine).await;
        let revision = shop.draft(&job).await;
        shop.send(&revision).await;
        shop.accept_from_folder(1, "Odalys Fenwick").await;
        let books = shop.ask(&shop.owner, "{ priceBookInForce { id zones { name } } }", json!({})).await;
        let book = text(&books, "data.priceBookInForce.id").to_owned();
        let copy = json!({ "priceBookId": book, "name": "Next", "effectiveFrom": today() });
        let copy = shop.done(&shop.owner, "clonePriceBook", copy, "priceBook { id version brackets { multiplier } }").await;
        assert_eq!(list(&copy, "priceBook.brackets").len(), 2, "brackets are copied");
        let draft = text(&copy, "priceBook.id").to_owned();
        let preview = "query($book: ID!) { previewPriceBook(priceBookId: $book) { estimateCount \
            total { lineCount charged wouldCharge difference } kinds { kind charged wouldCharge } } }";
        let same = shop.ask(&shop.office, preview, json!({ "book": draft })).await;
        assert_eq!(int(&same, "data.previewPriceBook.estimateCount"), 1);
        assert_eq!(text(&same, "data.previewPriceBook.total.difference"), "0.00");
        let change = json!({
            "priceBookId": draft, "version": 1, "hourlyRate": "177.00",
            "zones": [{ "name": "Marrow", "charge": "55.00", "postalCodes": ["004*"] }],
            "tasks": [{ "key": "block", "name": "Terminal block", "hours": "0.5", "applianceTypeId": machine.type_id }]
        });
        let changed = shop.done(&shop.owner, "changePriceBook", change.clone(), "priceBook { version hourlyRate }").await;
        assert_eq!(text(&changed, "priceBook.hourlyRate"), "177.00");
        let late = shop.refused(&shop.owner, "changePriceBook", change.clone()).await;
        assert_eq!(late, [("CONFLICT".to_owned(), "input.version".to_owned())]);
        let seen = shop.ask(&shop.office, preview, json!({ "book": draft })).await;
        let labour = list(&seen, "data.previewPriceBook.kinds")
            .iter()
            .find(|sums| sums["kind"] == "LABOUR")
            .expect("labour in the preview");
        assert_ne!(text(labour, "charged"), text(labour, "wouldCharge"));
        let forbidden = shop.ask(&shop.technician, preview, json!({ "book": draft })).await;
        assert!(forbidden["data"]["previewPriceBook"].is_null());
        shop.done(&shop.owner, "adoptPriceBook", json!({ "priceBookId": draft }), "priceBook { id }").await;
        let mut again = change;
        again["version"] = json!(3);
        let adopted = shop.refused(&shop.owner, "changePriceBook", again).await;
        assert_eq!(adopted, [("WRONG_STATE".to_owned(), "input.priceBookId".to_owned())]);
        // The next offer goes by the new book: a task at half an hour, a trip into the zone.
        let tasks = "query($book: ID!) { flatRateTasks(priceBookId: $book) { edges { node { id key } } } }";
        let tasks = shop.ask(&shop.office, tasks, json!({ "book": draft })).await;
        let task = text(&tasks, "data.flatRateTasks.edges.0.node.id").to_owned();
        let job = shop.find(&machine).await;
        let offer = json!({
            "idempotencyKey": shop.key(), "callId": job.call_id,
            "options": [{ "title": "Repair", "lines": [{ "kind": "LABOUR", "taskId": task }, { "kind": "TRIP" }] }]
        });
        let lines = "revision { options { lines { net tripZone pricedBy task { key } } } }";
        let offered = shop.done(&shop.office, "draftEstimate", offer, lines).await;
        let lines = list(&offered, "revision.options.0.lines");
        assert_eq!((text(&lines[0], "net"), text(&lines[0], "task.key")), ("88.50", "block"));
        assert_eq!((text(&lines[1], "net"), text(&lines[1], "tripZone")), ("55.00", "Marrow"));
        db.verify_is_clean();
    }

    async fn a_price_list_is_sent_looked_through_and_taken_over_and_no_sent_offer_changes(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let machine = shop.machine("Odalys Fenwick", EMAIL, "N14-104211").await;
        let job = shop.find(&machine).await;
        let revision = shop.draft(&job).await;
        shop.send(&revision).await;
        let frozen = "{ estimates(first: 1) { edges { node { latest { contentHash options { total lines { cost } } } } } } }";
        let before = shop.ask(&shop.office, frozen, json!({})).await;
        let (id, path) = begun(&mut shop).await;
        let body = "Part,Text,Net,List\nTB-210,Block,12.90,39.90\nNEW-1,Pump,\"8,50\",\nNEW-2,Fan,20.00,19.00\n";
        let (status, problem) = upload(&shop, &shop.technician, &path, body.to_owned()).await;
        assert_eq!((status, problem["status"].as_i64()), (403, Some(403)));
        assert_eq!(upload(&shop, "no-token", &path, body.to_owned()).await.0, 401);
        let (status, answer) = upload(&shop, &shop.office, &path, body.to_owned()).await;
        assert_eq!(status, 200, "{answer}");
        let seen = progress(&shop, &id).await;
        assert_eq!(text(&seen, "state"), "STAGED");
        let counts = ["rowCount", "badRowCount", "newCount", "changedCount"].map(|name| int(&seen, name));
        assert_eq!(counts, [3, 1, 1, 1]);
        assert_eq!(int(&seen, "soldBelowCost.count"), 1);
        assert_eq!(text(&seen, "largestRises.0.oldCost"), "11.40");
        let faults = "query($id: ID!) { priceListFaults(priceListId: $id) { edges { node { line column reason } } } }";
        let faults = shop.ask(&shop.office, faults, json!({ "id": id })).await;
        let fault = at(&faults, "data.priceListFaults.edges.0.node");
        assert_eq!(*fault, json!({ "line": 3, "column": "Net", "reason": "DECIMAL_COMMA" }));
        let mut order = json!({ "idempotencyKey": shop.key(), "priceListId": id, "take": "ALL_OR_NOTHING" });
        let whole = shop.refused(&shop.office, "takeOverPriceList", order.clone()).await;
        assert_eq!(whole, [("WRONG_STATE".to_owned(), "input.priceListId".to_owned())]);
        order["take"] = json!("KEEP_GOOD");
        let first = shop.done(&shop.office, "takeOverPriceList", order.clone(), "priceList { state newCount }").await;
        let second = shop.done(&shop.office, "takeOverPriceList", order, "priceList { state newCount }").await;
        assert_eq!(first, second);
        let block = part(&shop, "TB-210").await;
        assert_eq!((text(&block, "cost"), text(&block, "listPrice")), ("12.90", "39.90"));
        assert_eq!(text(&block, "costHistory.1.priceList.id"), id);
        assert!(part(&shop, "NEW-1").await.is_null());
        let after = shop.ask(&shop.office, frozen, json!({})).await;
        assert_eq!(before, after, "a new cost never changes an offer");
        db.verify_is_clean();
    }

    async fn killed_while_a_list_arrives_or_is_taken_over_the_catalogue_is_whole(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let (id, path) = begun(&mut shop).await;
        let body = rows(6_000);
        // Half of it arrives, some rows are staged, and the server dies.
        let address = shop.server.base_url().trim_start_matches("http://").to_owned();
        let mut wire = TcpStream::connect(&address).await.expect("a connection");
        let head = format!(
            "POST {path} HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {}\r\nContent-Type: text/csv\r\n\
             Content-Length: {}\r\n\r\n",
            shop.office,
            body.len()
        );
        wire.write_all(head.as_bytes()).await.expect("bytes are taken");
        wire.write_all(&body.as_bytes()[..body.len() / 2]).await.expect("bytes are taken");
        eventually("rows to be staged", PATIENCE, async || (int(&progress(&shop, &id).await, "rowCount") > 0).then_some(())).await;
        assert_eq!(text(&progress(&shop, &id).await, "state"), "RECEIVING");
        shop.server.kill_9();
        drop(wire);
        shop.server.restart().await;
        assert!(part(&shop, "N-000001").await.is_null(), "nothing is taken over by itself");
        // Sent again it is read from the start.
        let (status, answer) = upload(&shop, &shop.office, &path, body.clone()).await;
        assert_eq!((status, answer["rowCount"].as_i64()), (200, Some(6_000)));
        // Killed while it is taken over, at several moments: all of it is there or nothing.
        let order = json!({ "idempotencyKey": "the one list", "priceListId": id, "take": "ALL_OR_NOTHING" });
        for delay_ms in [0, 10, 40, 120] {
            let taking = shop.mutate(&shop.office, "takeOverPriceList", order.clone(), "priceList { state }");
            let _ = tokio::time::timeout(Duration::from_millis(delay_ms), taking).await;
            shop.server.kill_9();
            shop.server.restart().await;
            let state = progress(&shop, &id).await;
            let is_over = text(&state, "state") == "TAKEN_OVER";
            for number in ["N-000000", "N-005999"] {
                assert_eq!(!part(&shop, number).await.is_null(), is_over, "after {delay_ms} ms");
            }
        }
        let taken = shop.done(&shop.office, "takeOverPriceList", order, "priceList { state newCount }").await;
        assert_eq!(int(&taken, "priceList.newCount"), 6_000);
        let history = part(&shop, "N-005999").await;
        assert_eq!(list(&history, "costHistory").len(), 1, "nothing is there twice");
        db.verify_is_clean();
    }

    async fn an_upload_that_is_broken_off_by_its_sender_is_marked(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let (id, path) = begun(&mut shop).await;
        let address = shop.server.base_url().trim_start_matches("http://").to_owned();
        let mut wire = TcpStream::connect(&address).await.expect("a connection");
        let head = format!(
            "POST {path} HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {}\r\nContent-Type: text/csv\r\n\
             Content-Length: 100000\r\n\r\nPart,Text,Net,List\nA-1,Pump,1.00,\n",
            shop.office
        );
        wire.write_all(head.as_bytes()).await.expect("bytes are taken");
        eventually("the list to arrive", PATIENCE, async || (text(&progress(&shop, &id).await, "state") == "RECEIVING").then_some(())).await;
        drop(wire);
        eventually("the list to be marked", PATIENCE, async || (text(&progress(&shop, &id).await, "state") == "BROKEN_OFF").then_some(())).await;
        let (status, _) = upload(&shop, &shop.office, &path, rows(3)).await;
        assert_eq!(status, 200);
        db.verify_is_clean();
    }
    async fn what_is_wrong_in_a_list_is_read_line_by_line_and_page_by_page(db: TestDatabase) {
        let mut shop = Shop::open(&db, ServerOptions::default()).await;
        let (id, path) = begun(&mut shop).await;
        // The comma is found while the list arrives, the number that stands twice only once all of it is there.
        let body = "Part,Text,Net,List\nA-1,Block,1.00,\nA-1,Pump,2.00,\nA-3,Fan,\"8,50\",\nA-4,Belt,0.00,\n";
        assert_eq!(upload(&shop, &shop.office, &path, body.to_owned()).await.0, 200);
        let page = async |page: &str| {
            let query = format!(
                "query($id: ID!) {{ priceListFaults(priceListId: $id, {page}) {{ edges {{ cursor node {{ line reason }} }} \
                 pageInfo {{ hasNextPage hasPreviousPage }} }} }}"
            );
            let answer = shop.ask(&shop.office, &query, json!({ "id": id })).await;
            data(&answer)["priceListFaults"].clone()
        };
        let lines = |page: &Value| list(page, "edges").iter().map(|edge| int(edge, "node.line")).collect::<Vec<_>>();
        let first = page("first: 3").await;
        assert_eq!(lines(&first), [2, 3, 4]);
        assert_eq!(first["pageInfo"], json!({ "hasNextPage": true, "hasPreviousPage": false }));
        let rest = page(&format!("first: 3, after: \"{}\"", text(&first, "edges.2.cursor"))).await;
        assert_eq!((lines(&rest), text(&rest, "edges.0.node.reason")), (vec![5], "NO_COST"));
        assert_eq!(rest["pageInfo"], json!({ "hasNextPage": false, "hasPreviousPage": true }));
        let back = page(&format!("last: 1, before: \"{}\"", text(&rest, "edges.0.cursor"))).await;
        assert_eq!((lines(&back), text(&back, "edges.0.node.reason")), (vec![4], "DECIMAL_COMMA"));
    }
}
