//! Pictures and papers: sent in by staff, kept without what is hidden in them, seen by who may see their record.

use reqwest::StatusCode;
use serde_json::json;

use crate::support::database::TestDatabase;
use crate::support::graphql::{list, text};
use crate::support::on_both_databases;
use crate::support::papers::jpeg;
use crate::support::server::{Role, ServerOptions};
use crate::support::shop::Shop;

async fn shop(db: &TestDatabase) -> Shop {
    Shop::open(db, ServerOptions::default()).await
}

on_both_databases! {
    async fn a_picture_is_seen_by_who_visits_the_call_and_by_no_other_technician(db: TestDatabase) {
        let mut shop = shop(&db).await;
        let machine = shop.machine("Odalys Fenwick", "odalys@mail.example", "N14-104211").await;
        let job = shop.find(&machine).await;
        for on in [&machine.appliance_id, &job.call_id, &job.finding_id] {
            shop.picture(on, "DAMAGE", 10).await;
        }
        let query = "query($id: ID!) { serviceCall(id: $id) { attachments { path smallPath mediaType width }
            appliance { attachments { kind } } findings { attachments { id } } } }";
        let answer = shop.ask(&shop.technician, query, json!({ "id": job.call_id })).await;
        let call = &answer["data"]["serviceCall"];
        assert_eq!(list(call, "attachments").len(), 1);
        assert_eq!(list(call, "appliance.attachments").len(), 1);
        assert_eq!(list(call, "findings.0.attachments").len(), 1);
        assert_eq!(text(call, "attachments.0.mediaType"), "image/jpeg");

        let stranger = shop.server.token(Role::Technician).await;
        for path in ["path", "smallPath"].map(|field| text(call, &format!("attachments.0.{field}"))) {
            let url = format!("{}{path}", shop.server.base_url());
            let get = async |token: Option<&str>| {
                let request = shop.server.http().get(&url);
                let request = match token {
                    Some(token) => request.bearer_auth(token),
                    None => request,
                };
                request.send().await.expect("an answer")
            };
            let seen = get(Some(&shop.technician)).await;
            assert_eq!(seen.status(), StatusCode::OK);
            let header = |name: &str| seen.headers()[name].to_str().expect("a text").to_owned();
            assert_eq!(header("content-type"), "image/jpeg");
            assert_eq!(header("x-content-type-options"), "nosniff");
            assert!(header("content-disposition").starts_with("attachment;"));
            assert!(header("content-security-policy").contains("sandbox"));
            assert_eq!(get(Some(&stranger)).await.status(), StatusCode::NOT_FOUND);
            assert_eq!(get(None).await.status(), StatusCode::UNAUTHORIZED);
        }
        let (status, _) = shop.upload(&stranger, (&job.call_id, "DAMAGE"), jpeg(20)).await;
        assert_eq!(status, StatusCode::NOT_FOUND);
    }

    async fn only_pictures_and_pdfs_of_a_fair_size_are_taken_whatever_they_are_called(db: TestDatabase) {
        let mut shop = shop(&db).await;
        let machine = shop.machine("Odalys Fenwick", "odalys@mail.example", "N14-104211").await;
        let on = machine.appliance_id.clone();
        let cases = [
            (b"<svg xmlns='http://www.w3.org/2000/svg'/>".to_vec(), StatusCode::UNPROCESSABLE_ENTITY),
            (jpeg(1)[..40].to_vec(), StatusCode::UNPROCESSABLE_ENTITY),
            (vec![0xFF; 8 * 1024 * 1024 + 1], StatusCode::PAYLOAD_TOO_LARGE),
            (b"%PDF-1.7 a receipt".to_vec(), StatusCode::CREATED),
            (jpeg(1), StatusCode::CREATED),
        ];
        for (bytes, wanted) in cases {
            let (status, answer) = shop.upload(&shop.office, (&on, "PROOF_OF_PURCHASE"), bytes).await;
            assert_eq!(status, wanted, "{answer}");
        }
        let (status, _) = shop.upload(&shop.office, (&on, "SELFIE"), jpeg(1)).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
        let (status, _) = shop.upload(&shop.office, (&machine.customer_id, "PLATE"), jpeg(1)).await;
        assert_eq!(status, StatusCode::NOT_FOUND);
    }

    async fn a_file_sent_again_is_there_once_and_one_taken_away_is_gone(db: TestDatabase) {
        let mut shop = shop(&db).await;
        let machine = shop.machine("Odalys Fenwick", "odalys@mail.example", "N14-104211").await;
        let first = shop.upload(&shop.office, (&machine.appliance_id, "PLATE"), jpeg(7)).await;
        let again = shop.upload(&shop.office, (&machine.appliance_id, "PLATE"), jpeg(7)).await;
        assert_eq!(first, again);
        let id = text(&first.1, "id");
        let unfounded = json!({ "attachmentId": id, "reason": " " });
        shop.refused_as(&shop.office, "removeAttachment", unfounded, "MISSING").await;
        let remove = json!({ "attachmentId": id, "reason": "Shows a neighbour." });
        shop.done(&shop.office, "removeAttachment", remove.clone(), "attachment { id }").await;
        shop.refused_as(&shop.office, "removeAttachment", remove, "NOT_FOUND").await;
        let url = format!("{}/attachments/{id}", shop.server.base_url());
        let gone = shop.server.http().get(url).bearer_auth(&shop.owner).send().await.expect("an answer");
        assert_eq!(gone.status(), StatusCode::NOT_FOUND);
    }
}
