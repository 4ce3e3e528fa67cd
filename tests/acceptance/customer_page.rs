//! What a customer does on the page behind a link, and what the place and the shop make of it.

use reqwest::StatusCode;
use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{self, list, text};
use crate::support::mail::Mail;
use crate::support::on_both_databases;
use crate::support::server::ServerOptions;
use crate::support::shop::{Job, Machine, Shop, moment};
use crate::support::wait::{PATIENCE, eventually};

async fn opened(db: &TestDatabase) -> (Shop, Machine, Job) {
    let mut shop = Shop::open(db, ServerOptions::default()).await;
    let machine = shop
        .machine("Odalys Fenwick", "odalys@mail.example", "N14-104211")
        .await;
    let job = shop.find(&machine).await;
    (shop, machine, job)
}

async fn mail(shop: &Shop, holds: &str) -> Mail {
    eventually(&format!("a mail with {holds}"), PATIENCE, async || {
        let mails = shop.server.mail_folder();
        mails.into_iter().find(|mail| mail.text.contains(holds))
    })
    .await
}

/// Sends a drafted revision; the address of its link on this server.
async fn link(shop: &mut Shop, revision: &str) -> String {
    shop.send(revision).await;
    let mail = mail(shop, "/e/").await;
    let link = mail
        .text
        .split_whitespace()
        .find(|word| word.contains("/e/"));
    shop.server.local(link.expect("the mail holds the link"))
}

async fn get(shop: &Shop, url: &str) -> (StatusCode, String) {
    let answer = shop.server.http().get(url).send().await.expect("an answer");
    let status = answer.status();
    (
        status,
        String::from_utf8_lossy(&answer.bytes().await.expect("a body")).into_owned(),
    )
}

async fn post(shop: &Shop, url: &str, form: &[(&str, &str)]) -> (StatusCode, String) {
    let answer = shop
        .server
        .http()
        .post(url)
        .form(form)
        .send()
        .await
        .expect("an answer");
    (answer.status(), answer.text().await.expect("a text"))
}

/// What a place asks for that no other test knows of: a registration number, which this shop has not.
fn rules(change: &[(&str, Value)]) -> Value {
    let mut rules = json!({
        "country": "US", "region": "nl", "name": "Rules of Newland", "effectiveFrom": "2026-01-01",
        "estimateElements": ["REGISTRATION_NUMBER", "LINES_ITEMISED", "TAX_APART", "PROMISED_ON", "PREPARED_BY"],
        "billElements": ["REGISTRATION_NUMBER", "PART_CLASS", "PREPARED_BY"],
        "offerRemovedParts": true,
        "wording": "Where local law gives you more than this paper, the law prevails."
    });
    for (field, value) in change {
        rules[*field] = value.clone();
    }
    rules
}

on_both_databases! {
    async fn pictures_of_a_finding_are_on_the_page_and_stay_as_they_were_shown(db: TestDatabase) {
        let (mut shop, machine, job) = opened(&db).await;
        let picture = shop.picture(&job.finding_id, "DAMAGE", 10).await;
        let other = shop.machine("Cosmo Hexley", "cosmo@mail.example", "N14-900001").await;
        let foreign = shop.picture_by_the_office(&other.appliance_id, 30).await;
        let draft = |pictures: Value, key: String| json!({
            "idempotencyKey": key, "callId": job.call_id, "pictures": pictures,
            "options": [{ "title": "Repair", "lines": [{ "kind": "LABOUR", "minutes": 60 }] }]
        });
        let wrong = draft(json!([{ "attachmentId": foreign }]), shop.key());
        shop.refused_as(&shop.office, "draftEstimate", wrong, "NOT_FOUND").await;
        let right = draft(json!([{ "attachmentId": picture }]), shop.key());
        let drafted = shop.done(&shop.office, "draftEstimate", right, "revision { id pictures { words } }").await;
        let words = text(&drafted, "revision.pictures.0.words").to_owned();
        assert_eq!(words, "Bake element terminal, L1 side: burnt");
        let link = link(&mut shop, text(&drafted, "revision.id")).await;
        let (_, page) = get(&shop, &link).await;
        assert!(page.contains(&format!("alt=\"{words}\"")), "{page}");
        // Heat was found on this machine, so the page warns of it.
        assert!(page.contains("Parts of this appliance have overheated."), "{page}");
        let (status, shown) = get(&shop, &format!("{link}/pictures/1")).await;
        assert_eq!(status, StatusCode::OK);
        assert!(shown.contains("JFIF"));
        for nowhere in ["/pictures/0", "/pictures/2", "/pictures/99"] {
            assert_eq!(get(&shop, &format!("{link}{nowhere}")).await.0, StatusCode::NOT_FOUND);
        }
        let (status, _) = get(&shop, &format!("{link}/estimate.pdf")).await;
        assert_eq!(status, StatusCode::OK);
        let remove = json!({ "attachmentId": picture, "reason": "Not wanted." });
        shop.refused_as(&shop.office, "removeAttachment", remove, "WRONG_STATE").await;
        assert_ne!(machine.appliance_id, other.appliance_id);
    }

    async fn a_refused_form_read_again_leads_back_to_the_page(db: TestDatabase) {
        let (mut shop, _, job) = opened(&db).await;
        let revision = shop.draft(&job).await;
        let link = link(&mut shop, &revision).await;
        for form in ["/accept", "/decline", "/ask", "/"] {
            let answer = shop.server.http().get(format!("{link}{form}")).send().await;
            let answer = answer.expect("an answer");
            assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{form}");
            let there = answer.headers()["location"].to_str().expect("a text");
            assert!(link.ends_with(there), "{form} leads to {there}");
        }
        for wrong in ["/pictures/-1", "/pictures/..%2f1", "/pictures/first"] {
            let (status, page) = get(&shop, &format!("{link}{wrong}")).await;
            assert_eq!(status, StatusCode::NOT_FOUND, "{wrong}");
            assert!(page.contains("This link does not open"), "{wrong}: {page}");
        }
    }

    async fn who_guesses_links_is_told_to_wait_and_who_has_one_never_is(db: TestDatabase) {
        let (mut shop, _, job) = opened(&db).await;
        let revision = shop.draft(&job).await;
        let link = link(&mut shop, &revision).await;
        let mut guesses = Vec::new();
        for number in 0..90 {
            let guess = format!("{}/e/{number:043}", shop.server.base_url());
            guesses.push(get(&shop, &guess).await.0);
        }
        assert_eq!(guesses.first(), Some(&StatusCode::NOT_FOUND));
        assert_eq!(guesses.last(), Some(&StatusCode::TOO_MANY_REQUESTS));
        for _ in 0..40 {
            assert_eq!(get(&shop, &link).await.0, StatusCode::OK);
        }
        // Typesetting takes a while, so even who has the link is held to so many a minute.
        let mut files = Vec::new();
        for _ in 0..18 {
            files.push(get(&shop, &format!("{link}/estimate.pdf")).await.0);
        }
        assert_eq!(files.first(), Some(&StatusCode::OK));
        assert_eq!(files.last(), Some(&StatusCode::TOO_MANY_REQUESTS));
    }

    async fn a_question_reaches_the_desk_and_its_answer_the_customer(db: TestDatabase) {
        let (mut shop, _, job) = opened(&db).await;
        let revision = shop.draft(&job).await;
        let link = link(&mut shop, &revision).await;
        let ask = format!("{link}/ask");
        let (status, again) = post(&shop, &ask, &[("question", "  ")]).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(again.contains("Type your question."), "{again}");
        // Sent twice, it is one question.
        for _ in 0..2 {
            let (status, _) = post(&shop, &ask, &[("question", "Is Friday <possible>?")]).await;
            assert_eq!(status, StatusCode::SEE_OTHER);
            let (_, page) = get(&shop, &link).await;
            assert!(page.contains("Is Friday &#60;possible&#62;?"), "{page}");
        }
        mail(&shop, "asks about estimate").await;
        let waiting = "{ estimateQuestions { nodes { id question estimate { number } } } }";
        let answer = shop.ask(&shop.office, waiting, json!({})).await;
        assert_eq!(list(&answer, "data.estimateQuestions.nodes").len(), 1);
        let id = text(&answer, "data.estimateQuestions.nodes.0.id");
        let reply = json!({ "idempotencyKey": shop.key(), "questionId": id, "answer": "Yes, before noon." });
        shop.done(&shop.office, "answerQuestion", reply, "question { answer }").await;
        let reply = mail(&shop, "Yes, before noon.").await;
        assert_eq!(reply.to, ["odalys@mail.example"]);
        let (_, page) = get(&shop, &link).await;
        assert!(page.contains("Yes, before noon."), "{page}");
        let twice = json!({ "idempotencyKey": shop.key(), "questionId": id, "answer": "No." });
        shop.refused_as(&shop.office, "answerQuestion", twice, "WRONG_STATE").await;
        // A question stops nothing.
        assert_eq!(shop.accept(&link, "Odalys Fenwick").await.0, 200);
    }

    async fn looking_at_a_link_answers_nothing_and_what_was_agreed_is_kept(db: TestDatabase) {
        let (mut shop, _, job) = opened(&db).await;
        let revision = shop.draft(&job).await;
        let link = link(&mut shop, &revision).await;
        let head = shop.server.http().head(&link).send().await.expect("an answer");
        assert_eq!(head.status(), StatusCode::OK);
        let answering = format!("{link}/accept");
        assert!(!get(&shop, &answering).await.0.is_success());
        let state = "query($id: ID!) { node(id: $id) { ... on EstimateRevision { state consentText consentHash } } }";
        let found = shop.ask(&shop.office, state, json!({ "id": revision })).await;
        assert_eq!(text(&found, "data.node.state"), "SENT");
        shop.accept(&link, "Odalys Fenwick").await;
        let found = shop.ask(&shop.office, state, json!({ "id": revision })).await;
        assert!(text(&found, "data.node.consentText").starts_with("By accepting I ask the shop"));
        assert_eq!(text(&found, "data.node.consentHash").len(), 64);
    }

    async fn what_a_place_asks_for_is_on_the_paper_or_named_as_missing(db: TestDatabase) {
        let (mut shop, _, job) = opened(&db).await;
        shop.done(&shop.owner, "addLocalRules", rules(&[]), "rules { id region }").await;
        shop.refused_as(&shop.owner, "addLocalRules", rules(&[]), "TAKEN").await;
        let revision = shop.draft(&job).await;
        let query = "query($id: ID!) { node(id: $id) { ... on EstimateRevision { missing { element words } } } }";
        let answer = shop.ask(&shop.office, query, json!({ "id": revision })).await;
        let missing = list(&answer, "data.node.missing");
        assert_eq!(missing.len(), 1, "{missing:?}");
        assert_eq!(text(&missing[0], "element"), "REGISTRATION_NUMBER");
        let link = link(&mut shop, &revision).await;
        let (_, page) = get(&shop, &link).await;
        for line in ["Sales tax is not part of", "Work planned for", "Parts we take out are yours", "the law prevails"] {
            assert!(page.contains(line), "{line}: {page}");
        }
        shop.accept(&link, "Odalys Fenwick").await;
        let bill = json!({ "idempotencyKey": shop.key(), "callId": job.call_id });
        let bill = shop.done(&shop.office, "issueInvoice", bill, "invoice { missing { element } }").await;
        assert_eq!(text(&bill, "invoice.missing.0.element"), "REGISTRATION_NUMBER");
    }

    async fn a_place_may_keep_back_what_lacks_something(db: TestDatabase) {
        let (mut shop, _, job) = opened(&db).await;
        let strict = rules(&[("whenMissing", json!("REFUSE"))]);
        shop.done(&shop.owner, "addLocalRules", strict, "rules { id }").await;
        let revision = shop.draft(&job).await;
        let send = json!({ "idempotencyKey": shop.key(), "revisionId": revision });
        shop.refused_as(&shop.office, "sendEstimate", send, "SETTING_MISSING").await;
        let own = json!({ "licence": "Registration 41877" });
        shop.done(&shop.owner, "changeShop", own, "shop { licence }").await;
        shop.send(&revision).await;
    }

    /// 16 CCR 2725, Commercial Law 13-307 and 16 DCMR 637: the class of each part stands beside it.
    async fn beside_each_line_stand_its_condition_and_its_own_discount_up_to_the_bill(db: TestDatabase) {
        let (mut shop, _, job) = opened(&db).await;
        let strict = rules(&[
            ("estimateElements", json!(["PART_CLASS"])), ("billElements", json!(["PART_CLASS"])),
            ("whenMissing", json!("REFUSE"))
        ]);
        shop.done(&shop.owner, "addLocalRules", strict, "rules { id }").await;
        let pump = json!({
            "number": "PU-77", "description": "Drain pump", "cost": "40.00", "coreDeposit": "15.00", "freight": "6.00",
            "componentClass": "drive"
        });
        let shown = "part { id version coreDeposit freight componentClass condition }";
        let pump = shop.done(&shop.office, "addPart", pump, shown).await;
        assert_eq!(text(&pump, "part.coreDeposit"), "15.00");
        assert_eq!(text(&pump, "part.componentClass"), "drive");
        let draft = |key: String| json!({
            "idempotencyKey": key, "callId": job.call_id, "options": [{ "title": "New pump", "lines": [
                { "kind": "PART", "partId": text(&pump, "part.id"), "discountPercent": "10" },
                { "kind": "LABOUR", "minutes": 60, "hours": "AFTER_HOURS", "crew": "TWO" }
            ] }]
        });
        let key = shop.key();
        let drafted = shop.done(&shop.office, "draftEstimate", draft(key), "revision { id }").await;
        let send = json!({ "idempotencyKey": shop.key(), "revisionId": text(&drafted, "revision.id") });
        shop.refused_as(&shop.office, "sendEstimate", send, "SETTING_MISSING").await;
        let rebuilt = json!({
            "partId": text(&pump, "part.id"), "version": pump["part"]["version"], "condition": "REBUILT"
        });
        shop.done(&shop.office, "changePart", rebuilt, "part { condition }").await;
        let key = shop.key();
        let lines = "revision { id options { lines { description net discount ownDiscount partCondition priceBasis } } }";
        let drafted = shop.done(&shop.office, "draftEstimate", draft(key), lines).await;
        let part = &drafted["revision"]["options"][0]["lines"][0];
        // 40.00 at three times its cost, less a tenth.
        assert_eq!((text(part, "net"), text(part, "ownDiscount")), ("120.00", "12.00"));
        assert_eq!((text(part, "partCondition"), text(part, "priceBasis")), ("REBUILT", "SCHEDULE"));
        let link = link(&mut shop, text(&drafted, "revision.id")).await;
        let (_, page) = get(&shop, &link).await;
        for words in ["Rebuilt part; discount on this line 12.00", "Labor, after hours, two technicians"] {
            assert!(page.contains(words), "{words}: {page}");
        }
        shop.accept(&link, "Odalys Fenwick").await;
        let bill = json!({ "idempotencyKey": shop.key(), "callId": job.call_id });
        let shown = "invoice { missing { element } lines { description discount ownDiscount partCondition } }";
        let bill = shop.done(&shop.office, "issueInvoice", bill, shown).await;
        assert_eq!(list(&bill, "invoice.missing").len(), 0);
        let part = &bill["invoice"]["lines"][0];
        assert_eq!((text(part, "ownDiscount"), text(part, "partCondition")), ("12.00", "REBUILT"));
        assert_eq!(list(&bill, "invoice.lines").len(), 4);
        db.verify_is_clean();
    }

    /// The boundary table: 240.00 accepted before tax, and bills around 100 and 110 % of it.
    async fn a_bill_beyond_what_was_agreed_needs_a_consent_as_the_place_says(db: TestDatabase) {
        let (mut shop, _, job) = opened(&db).await;
        let draft = json!({
            "idempotencyKey": shop.key(), "callId": job.call_id,
            "options": [{ "title": "Repair", "lines": [
                { "kind": "FEE", "description": "Repair at a flat price", "unitPrice": "240.00" }] }]
        });
        let drafted = shop.done(&shop.office, "draftEstimate", draft, "revision { id }").await;
        let revision = text(&drafted, "revision.id").to_owned();
        let consent = |key: String| json!({
            "idempotencyKey": key, "callId": job.call_id, "addedWork": "A second block", "addedTotal": "24.01",
            "authorisedBy": "Odalys Fenwick", "how": "BY_TELEPHONE", "telephone": "(217) 555-0123",
            "givenAt": moment()
        });
        // Before anything is accepted it is about work billed on the spot, and widens no estimate of later.
        let early = consent(shop.key());
        shop.done(&shop.office, "recordConsent", early, "consent { id }").await;
        let link = link(&mut shop, &revision).await;
        shop.accept(&link, "Odalys Fenwick").await;
        let places = [
            ("2020-01-01", "0", true, [false, true, true, true, true]),
            ("2020-01-02", "10", true, [false, false, false, false, true]),
            ("2020-01-03", "10", false, [false, false, false, true, true]),
        ];
        let bills = ["240.00", "240.01", "263.99", "264.00", "264.01"];
        for (from, percent, inside, needed) in places {
            let place = rules(&[
                ("effectiveFrom", json!(from)), ("consentPercent", json!(percent)), ("consentLimitInside", json!(inside)),
                ("billElements", json!([]))
            ]);
            shop.done(&shop.owner, "addLocalRules", place, "rules { id }").await;
            for (bill, needed) in bills.into_iter().zip(needed) {
                assert_eq!(is_needed(&shop, &revision, bill).await, needed, "{bill} at {percent} % from {from}");
            }
        }
        let given = consent(shop.key());
        shop.done(&shop.office, "recordConsent", given, "consent { id addedTotal recordedBy { id } }").await;
        assert!(!is_needed(&shop, &revision, "264.01").await);
        assert!(is_needed(&shop, &revision, "264.02").await);
        let mute = json!({
            "idempotencyKey": shop.key(), "callId": job.call_id, "addedWork": "More", "addedTotal": "0",
            "authorisedBy": "", "how": "IN_PERSON", "givenAt": "2999-01-01T00:00:00Z"
        });
        let answer = shop.mutate(&shop.office, "recordConsent", mute, "consent { id }").await;
        assert_eq!(graphql::problem_codes(&answer, "recordConsent").len(), 3, "{answer}");
    }
}

async fn is_needed(shop: &Shop, revision: &str, bill: &str) -> bool {
    let query = "query($id: ID!, $bill: Money!) { node(id: $id) { ... on EstimateRevision {
        consentNeeded(beforeTax: $bill, withTax: $bill) { needed beyond } } } }";
    let answer = shop
        .ask(&shop.office, query, json!({ "id": revision, "bill": bill }))
        .await;
    answer["data"]["node"]["consentNeeded"]["needed"]
        .as_bool()
        .unwrap_or_else(|| panic!("no answer: {answer}"))
}
