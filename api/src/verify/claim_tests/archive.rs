//! What goes to the payer: the archive, its schema, the mail, and being late.

use std::io::{Cursor, Read};

use nameplate_entities::outbox_mail;
use sea_orm::QueryOrder;
use serde_json::Value;
use zip::ZipArchive;

use super::*;
use crate::base::ProblemCode::{IdempotencyMismatch, Missing};
use crate::base::Role;
use crate::base::digest::sha256;
use crate::base::outbox::Payload;
use crate::base::testing::refusals;
use crate::{base, shop};

/// The files of an archive.
fn files(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut archive = ZipArchive::new(Cursor::new(bytes.to_vec())).unwrap();
    (0..archive.len())
        .map(|at| {
            let mut file = archive.by_index(at).unwrap();
            let mut content = Vec::new();
            file.read_to_end(&mut content).unwrap();
            (file.name().unwrap().into_owned(), content)
        })
        .collect()
}

fn file(files: &[(String, Vec<u8>)], name: &str) -> Vec<u8> {
    let found = files.iter().find(|(known, _)| known == name);
    found
        .unwrap_or_else(|| panic!("{name} is not in it"))
        .1
        .clone()
}

/// Where a value is not as the schema says: types, constants, closed lists, fields that must or may be there.
fn misfits(value: &Value, schema: &Value, path: &str) -> Vec<String> {
    let mut wrong = Vec::new();
    let is = |word: &str| match word {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "integer" => value.is_i64() || value.is_u64(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        other => panic!("the test knows no type {other}"),
    };
    let fits = match &schema["type"] {
        Value::String(word) => is(word),
        Value::Array(words) => words.iter().any(|word| is(word.as_str().unwrap())),
        _ => true,
    };
    if !fits {
        wrong.push(format!("{path} is {value}"));
    }
    if let Some(only) = schema.get("const").filter(|only| *only != value) {
        wrong.push(format!("{path} is {value}, not {only}"));
    }
    if let Some(Value::Array(known)) = schema.get("enum").filter(|_| !value.is_null())
        && !known.contains(value)
    {
        wrong.push(format!("{path} is {value}, which is not in its list"));
    }
    for item in value.as_array().into_iter().flatten() {
        wrong.extend(misfits(item, &schema["items"], &format!("{path}[]")));
    }
    let Some(fields) = value.as_object() else {
        return wrong;
    };
    for name in schema["required"].as_array().into_iter().flatten() {
        if !fields.contains_key(name.as_str().unwrap()) {
            wrong.push(format!("{path} has no {name}"));
        }
    }
    for (name, field) in fields {
        let known = schema["properties"].get(name);
        match known.or_else(|| schema.get("additionalProperties")) {
            Some(Value::Bool(false)) | None => wrong.push(format!("{path} has {name}")),
            Some(schema) => wrong.extend(misfits(field, schema, &format!("{path}.{name}"))),
        }
    }
    wrong
}

#[tokio::test]
async fn an_archive_holds_everything_fits_its_schema_and_is_known_by_its_hash() {
    for shop in TestShop::everywhere().await {
        let claimed = shop
            .claimable(vec![Evidence::OldPart, Evidence::FaultPicture], None)
            .await;
        shop.kept(claimed.call.id).await;
        let scan = shop
            .scan(On::Call(claimed.call.id), AttachmentKind::Damage)
            .await;
        let claim = shop.drafted(&claimed).await;
        let ahead = claims::claim_archive(&shop.owner, claim.id).await.unwrap();
        assert_eq!(ahead.file_name, "claim-CL-000001.zip");
        let claim = shop.ready(&claim).await;
        let order = shop.submission(&claim, SentBy::Hand);
        let done = claims::submit_claim(&shop.owner, order.clone())
            .await
            .unwrap();
        let again = claims::submit_claim(&shop.owner, order.clone())
            .await
            .unwrap();
        assert_eq!(done.sending, again.sending, "one key sends once");
        let other = SubmitClaim {
            note: Some("Other.".to_owned()),
            ..order
        };
        let other = claims::submit_claim(&shop.owner, other).await;
        assert_eq!(refusals(other)[0].0, IdempotencyMismatch);

        let archive = claims::claim_archive(&shop.owner, claim.id)
            .await
            .unwrap()
            .bytes;
        assert_eq!(sha256(&archive), done.sending.sha256);
        let files = files(&archive);
        let names: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(
            names,
            [
                "claim.json",
                "claim.csv",
                "claim.pdf",
                "claim.schema.json",
                "attachments/01-fault_picture.pdf",
            ]
        );
        assert!(file(&files, "claim.pdf").starts_with(b"%PDF-"));
        assert_eq!(
            sha256(&file(&files, "attachments/01-fault_picture.pdf")),
            scan.sha256
        );
        let json: Value = serde_json::from_slice(&file(&files, "claim.json")).unwrap();
        let schema: Value = serde_json::from_str(claims::SCHEMA).unwrap();
        assert_eq!(misfits(&json, &schema, "claim"), Vec::<String>::new());
        assert_eq!(json["amounts"]["total_cents"], claim.claimed_cents);
        assert_eq!(json["appliance"]["serial"], "Q7-118823");
        assert_eq!(json["submission"]["count"], 1);
        assert_eq!(json["papers"][1]["tag"], "KP-000001");
        let text = json.to_string();
        assert!(!text.contains("cost") && !text.contains("margin"), "{text}");
        let csv = String::from_utf8(file(&files, "claim.csv")).unwrap();
        assert_eq!(csv.lines().count(), 1 + 3, "a row for each line: {csv}");
        assert!(
            csv.lines().all(|line| line.split(',').count() == 22),
            "{csv}"
        );
        let technician = shop.bench.act_as(Role::Technician).await;
        let refused = claims::claim_archive(&technician, claim.id).await;
        assert!(matches!(refused, Err(base::Error::Forbidden)));
    }
}

#[tokio::test]
async fn what_was_sent_stays_as_it_went_whatever_changes_later() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let claim = shop.drafted(&claimed).await;
        let claim = shop.ready(&claim).await;
        let claim = shop.submitted(&claim).await;
        let before_it = claims::claim_archive(&shop.owner, claim.id).await.unwrap();
        shop.bought_on(before(50)).await;
        let after_it = claims::claim_archive(&shop.owner, claim.id).await.unwrap();
        assert!(before_it.bytes == after_it.bytes);
    }
}

#[tokio::test]
async fn a_claim_goes_by_mail_with_its_archive_where_the_payer_has_an_address() {
    for shop in TestShop::everywhere().await {
        let mail = Some("filing@halvorsen.example");
        let claimed = shop.claimable(Vec::new(), mail).await;
        let claim = shop.drafted(&claimed).await;
        let claim = shop.ready(&claim).await;
        let order = shop.submission(&claim, SentBy::Mail);
        let done = claims::submit_claim(&shop.owner, order).await.unwrap();
        assert_eq!(done.sending.mailed_to.as_deref(), mail);
        assert_eq!(done.days_late, None);
        let db = shop.bench.app.db.read();
        let queued = outbox_mail::Entity::find()
            .order_by_desc(outbox_mail::Column::Id)
            .one(db)
            .await
            .unwrap()
            .unwrap();
        assert_eq!(
            (queued.to_email.as_str(), queued.subject_kind.as_str()),
            ("filing@halvorsen.example", "claim")
        );
        let Payload::Claim { sending_id } = serde_json::from_str(&queued.payload_json).unwrap()
        else {
            panic!("the last mail is no claim");
        };
        let settings = shop::settings(db).await.unwrap();
        let letter = claims::claim_letter(db, &settings, sending_id)
            .await
            .unwrap();
        assert!(
            letter.rendered.subject.contains("CL-000001"),
            "{}",
            letter.rendered.subject
        );
        let total = Cents(claim.claimed_cents).to_string();
        assert!(
            letter.rendered.text.contains(&total),
            "{}",
            letter.rendered.text
        );
        let archive = letter.attachments.first().unwrap();
        assert_eq!(sha256(&archive.bytes), done.sending.sha256);
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn a_payer_without_an_address_gets_no_mail_and_a_late_claim_says_by_how_much() {
    for shop in TestShop::everywhere().await {
        let (payer, programme) = shop.claim_payer(Vec::new(), None).await;
        shop.bought_on(before(60)).await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        shop.repair(call.id).await;
        let call = shop.done_on(&call, today()).await;
        shop.decided_as_found(call.id).await;
        let bill = shop.billed_to(&call, &payer).await;
        let claimed = Claimed {
            call,
            payer,
            programme,
            bill,
        };
        let claim = shop.drafted(&claimed).await;
        let claim = shop.ready(&claim).await;
        // As if the call had been completed 23 days ago.
        let sql = format!(
            "UPDATE claim SET file_by = '{}' WHERE id = {}",
            before(13),
            claim.id
        );
        shop.by_hand(&sql).await;
        let by_mail =
            claims::submit_claim(&shop.owner, shop.submission(&claim, SentBy::Mail)).await;
        assert_eq!(refusals(by_mail), [(Missing, "by".to_owned())]);
        let order = shop.submission(&claim, SentBy::Hand);
        let late = claims::submit_claim(&shop.owner, order.clone())
            .await
            .unwrap();
        assert_eq!(late.days_late, Some(13));
        let again = claims::submit_claim(&shop.owner, order).await.unwrap();
        assert_eq!(again.days_late, Some(13));
        let archive = claims::claim_archive(&shop.owner, claim.id).await.unwrap();
        let json = file(&files(&archive.bytes), "claim.json");
        let json: Value = serde_json::from_slice(&json).unwrap();
        let note = json["submission"]["note"].as_str().unwrap();
        assert!(
            note.contains("13 days after the last day to file"),
            "{note}"
        );
    }
}
