//! Estimates as the office works with them: on paper, by telephone, in sections, with a deposit, again and from templates.

use reqwest::StatusCode;
use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{list, text};
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::{Job, Shop};
use crate::support::wait::{PATIENCE, eventually};

async fn shop_with_a_job(db: &TestDatabase) -> (Shop, Job) {
    let mut shop = Shop::open(db, ServerOptions::default()).await;
    let machine = shop
        .machine("Odalys Fenwick", "odalys@fenwick.test", "7Q04-118823")
        .await;
    let job = shop.find(&machine).await;
    (shop, job)
}

/// A repair in two sections, with half of it wanted before.
fn options(shop: &Shop, minutes: i32) -> Value {
    json!([{
        "title": "Repair", "notes": "We bring our own vacuum.", "depositPercent": "50",
        "lines": [
            { "kind": "LABOUR", "minutes": minutes, "section": "At your home" },
            { "kind": "PART", "partId": shop.part_id, "section": "Parts" },
            { "kind": "TRIP", "section": "At your home" },
        ],
    }])
}

const SHOWN: &str =
    "revision { id revision state pdfPath estimate { id } answeredBy answeredPhone answerNote
    answerReceivedBy { name } options { id total depositWanted notes lines { section } } }";

async fn draft(shop: &mut Shop, job: &Job, options: Value) -> Value {
    let input = json!({ "idempotencyKey": shop.key(), "callId": job.call_id, "options": options });
    shop.done(&shop.office, "draftEstimate", input, SHOWN).await
}

/// Sends a revision and returns its link on this server, from the mail with `words` in its text.
async fn mailed(shop: &mut Shop, revision: &str, words: &str) -> String {
    let input = json!({ "idempotencyKey": shop.key(), "revisionId": revision });
    shop.done(&shop.office, "sendEstimate", input, SHOWN).await;
    let mail = eventually(&format!("a mail with {words}"), PATIENCE, async || {
        let mails = shop.server.mail_folder();
        mails.into_iter().find(|mail| mail.text.contains(words))
    })
    .await;
    let link = mail
        .text
        .split_whitespace()
        .find(|word| word.contains("/e/"));
    shop.server.local(link.expect("the mail holds the link"))
}

async fn get(shop: &Shop, path: &str, token: Option<&str>) -> (StatusCode, Vec<u8>) {
    let url = if path.starts_with('/') {
        format!("{}{path}", shop.server.base_url())
    } else {
        path.to_owned()
    };
    let mut request = shop.server.http().get(url);
    if let Some(token) = token {
        request = request.bearer_auth(token);
    }
    let answer = request.send().await.expect("an answer");
    let status = answer.status();
    (status, answer.bytes().await.expect("a body").to_vec())
}

on_both_databases! {
    async fn a_customer_without_mail_reads_paper_and_accepts_by_telephone(db: TestDatabase) {
        let (mut shop, job) = shop_with_a_job(&db).await;
        let offered = options(&shop, 60);
        let drafted = draft(&mut shop, &job, offered).await;
        let revision = text(&drafted, "revision.id").to_owned();
        assert!(drafted["revision"]["pdfPath"].is_null());
        let input = json!({ "idempotencyKey": shop.key(), "revisionId": revision });
        let shown = shop.done(&shop.office, "presentEstimate", input, SHOWN).await;
        let path = text(&shown, "revision.pdfPath").to_owned();
        let (status, pdf) = get(&shop, &path, Some(&shop.office)).await;
        assert_eq!(status, StatusCode::OK);
        assert!(pdf.starts_with(b"%PDF-"));
        assert_eq!(get(&shop, &path, Some(&shop.technician)).await.0, StatusCode::NOT_FOUND);
        assert_eq!(get(&shop, &path, None).await.0, StatusCode::UNAUTHORIZED);
        let input = json!({
            "idempotencyKey": shop.key(), "revisionId": revision, "by": "TELEPHONE",
            "optionId": text(&shown, "revision.options.0.id"), "name": "Odalys Fenwick",
            "phone": "(415) 555-0142", "note": "Wants it done on a Monday.",
        });
        let accepted = shop.done(&shop.office, "recordAcceptance", input, SHOWN).await;
        assert_eq!(text(&accepted, "revision.state"), "ACCEPTED");
        assert_eq!(text(&accepted, "revision.answeredPhone"), "+14155550142");
        assert!(!text(&accepted, "revision.answerReceivedBy.name").is_empty());
        let mail = eventually("the confirmation", PATIENCE, async || {
            let mails = shop.server.mail_folder();
            mails.into_iter().find(|mail| mail.subject.starts_with("Your acceptance of"))
        })
        .await;
        assert!(mail.text.contains("Accepted by Odalys Fenwick by telephone on"), "{}", mail.text);
        assert!(mail.attachments[0].content.starts_with(b"%PDF-"));
        drop(shop);
        db.verify_is_clean();
    }

    async fn a_later_revision_says_by_mail_and_on_the_page_what_changed(db: TestDatabase) {
        let (mut shop, job) = shop_with_a_job(&db).await;
        let offered = options(&shop, 60);
        let drafted = draft(&mut shop, &job, offered).await;
        let sections = list(&drafted, "revision.options.0.lines");
        let sections = sections.iter().map(|line| text(line, "section")).collect::<Vec<_>>();
        assert_eq!(sections, ["At your home", "At your home", "Parts"]);
        // 118.00 + 45.00 + 34.20, tax of 7.25 % on the part; half of 199.68.
        assert_eq!(text(&drafted, "revision.options.0.total"), "199.68");
        assert_eq!(text(&drafted, "revision.options.0.depositWanted"), "99.84");
        let first = mailed(&mut shop, text(&drafted, "revision.id"), "Here is our estimate").await;
        let (_, page) = get(&shop, &first, None).await;
        let page = String::from_utf8(page).expect("a page");
        for words in ["At your home", "Deposit wanted before the work begins", "99.84", "own vacuum"] {
            assert!(page.contains(words), "{words}: {page}");
        }
        assert!(!page.contains("What changed"), "{page}");
        let input = json!({
            "idempotencyKey": shop.key(), "estimateId": text(&drafted, "revision.estimate.id"),
            "options": options(&shop, 120),
        });
        let revised = shop.done(&shop.office, "reviseEstimate", input, SHOWN).await;
        let id = text(&revised, "revision.id").to_owned();
        let asked = "query($id: ID!) { node(id: $id) { ... on EstimateRevision {
            changesSince(revision: 1) { sentences totals { from to } changes { kind line from to } } } } }";
        let told = shop.ask(&shop.office, asked, json!({ "id": id })).await;
        let told = list(&told, "data.node.changesSince.sentences");
        let last = told.last().and_then(Value::as_str).expect("a sentence");
        assert_eq!(last, "The total of \"Repair\" rises from 199.68 to 317.68.");
        let second = mailed(&mut shop, &id, "What changed since revision 1").await;
        let (_, page) = get(&shop, &second, None).await;
        let page = String::from_utf8(page).expect("a page");
        assert!(page.contains("What changed since revision 1"), "{page}");
        assert!(page.contains("rises from 199.68 to 317.68"), "{page}");
    }

    async fn a_customer_stops_reminders_by_a_form_and_looking_stops_nothing(db: TestDatabase) {
        let (mut shop, job) = shop_with_a_job(&db).await;
        let offered = options(&shop, 60);
        let drafted = draft(&mut shop, &job, offered).await;
        let link = mailed(&mut shop, text(&drafted, "revision.id"), "Here is our estimate").await;
        let asked = "query($id: ID!) { estimate(id: $id) { remindersStoppedAt latest { nextReminderOn } } }";
        let of = json!({ "id": text(&drafted, "revision.estimate.id") });
        let reminders = format!("{link}/reminders");
        let (status, page) = get(&shop, &reminders, None).await;
        assert_eq!(status, StatusCode::OK);
        assert!(String::from_utf8_lossy(&page).contains("Send me no more reminders"));
        let before = shop.ask(&shop.office, asked, of.clone()).await;
        assert!(before["data"]["estimate"]["remindersStoppedAt"].is_null());
        assert!(before["data"]["estimate"]["latest"]["nextReminderOn"].is_string());
        for _ in 0..2 {
            let answer = shop.server.http().post(&reminders).send().await.expect("an answer");
            assert_eq!(answer.status(), StatusCode::OK);
            assert!(answer.text().await.expect("a page").contains("No more reminders"));
        }
        let after = shop.ask(&shop.office, asked, of).await;
        assert!(after["data"]["estimate"]["remindersStoppedAt"].is_string());
        let wrong = format!("{}/e/nothing/reminders", shop.server.base_url());
        assert_eq!(get(&shop, &wrong, None).await.0, StatusCode::NOT_FOUND);
    }

    async fn a_common_repair_is_offered_from_its_template_and_again(db: TestDatabase) {
        let (mut shop, job) = shop_with_a_job(&db).await;
        let asked = "query($id: ID!) { node(id: $id) { ... on ServiceCall { appliance { applianceType { id } } } } }";
        let call = shop.ask(&shop.office, asked, json!({ "id": job.call_id })).await;
        let of_type = text(&call, "data.node.appliance.applianceType.id");
        let template = json!({
            "name": "Terminal block burnt", "applianceTypeId": of_type, "title": "New terminal block",
            "lines": [
                { "kind": "LABOUR", "minutes": 45 },
                { "kind": "PART", "partId": shop.part_id },
            ],
        });
        let shown = "template { id version lines { kind minutes part { number } } }";
        let added = shop.done(&shop.office, "addRepairTemplate", template, shown).await;
        let listed = "query($type: ID!) { repairTemplates(applianceTypeId: $type, first: 5) { nodes { name } } }";
        let listed = shop.ask(&shop.office, listed, json!({ "type": of_type })).await;
        assert_eq!(list(&listed, "data.repairTemplates.nodes").len(), 1);
        let input = json!({
            "idempotencyKey": shop.key(), "callId": job.call_id,
            "templateIds": [text(&added, "template.id")],
        });
        let drafted = format!("remarks {SHOWN}");
        let first = shop.done(&shop.office, "draftEstimateFromTemplate", input, &drafted).await;
        assert_eq!(text(&first, "revision.options.0.total"), "154.68");
        let input = json!({
            "idempotencyKey": shop.key(), "callId": job.call_id,
            "estimateId": text(&first, "revision.estimate.id"),
        });
        let again = shop.done(&shop.office, "duplicateEstimate", input, &drafted).await;
        assert_eq!(text(&again, "revision.options.0.total"), "154.68");
        assert!(list(&again, "remarks").is_empty(), "{again}");
    }
}
