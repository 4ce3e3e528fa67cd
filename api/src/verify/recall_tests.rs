//! Recalls are taken in as published, and each machine they may mean is told of. All notices here are invented.

use nameplate_entities::{recall, recall_check, recall_product};
use nameplate_rules::recall::{CAUTION, Meant};
use sea_orm::{ActiveValue::Set, ConnectionTrait, EntityTrait, QueryOrder};
use serde_json::{Value, json};

use super::graph_tests::ask;
use super::testing::TestShop;
use crate::base::testing::{noon, refusals};
use crate::base::{Error, ProblemCode, Role};
use crate::recalls::{
    self, CheckRecall, Imported, Matched, NewProduct, Purpose, SetRecallProducts, Taken,
    WithdrawRecall,
};

mod odd;

/// A notice in the layout of the retrieval service, of one product.
fn notice(number: &str, hazard: &str, product: &Value) -> Value {
    json!({
        "RecallID": 1,
        "RecallNumber": number,
        "RecallDate": "2026-03-25T00:00:00",
        "Title": "Halvorsen recalls washers; the drive belt can overheat",
        "Description": "Washers sold since 2024",
        "URL": "https://recalls.example/26-101",
        "Products": [product],
        "Manufacturers": [{"Name": "Halvorsen, of Brightwater"}],
        "Hazards": [{"Name": hazard}],
        "Remedies": [{"Name": "Stop using it; a technician replaces the belt free of charge."}],
        "ManufacturerCountries": [{"Country": "United States"}],
    })
}

/// The washers from the first through the last serial number.
fn washers(from: &str, through: &str) -> Value {
    json!({"Name": "Washers", "ModelPattern": "HW-*", "SerialFrom": from, "SerialThrough": through})
}

fn file(notices: &[Value]) -> Vec<u8> {
    serde_json::to_vec(notices).unwrap()
}

impl TestShop {
    async fn import_notices(&self, notices: &[Value]) -> Taken {
        match recalls::import_recalls(&self.owner, &file(notices), Purpose::TakeIn).await {
            Ok(Imported::Taken(taken)) => taken,
            Ok(Imported::Refused(faults)) => panic!("refused: {faults:?}"),
            Err(error) => panic!("{error:?}"),
        }
    }

    /// Record, path and code of each fault.
    async fn recall_import_refused(&self, bytes: &[u8]) -> Vec<(usize, String, ProblemCode)> {
        match recalls::import_recalls(&self.owner, bytes, Purpose::TakeIn).await {
            Ok(Imported::Refused(faults)) => (faults.into_iter())
                .map(|fault| (fault.record, fault.path, fault.code))
                .collect(),
            _ => panic!("taken"),
        }
    }

    async fn last_recall(&self) -> recall::Model {
        let found = recall::Entity::find()
            .order_by_desc(recall::Column::Id)
            .one(self.bench.app.db.read())
            .await;
        found.unwrap().unwrap()
    }

    async fn recalled_products(&self) -> Vec<recall_product::Model> {
        let found = recall_product::Entity::find()
            .order_by_asc(recall_product::Column::Id)
            .all(self.bench.app.db.read())
            .await;
        found.unwrap()
    }

    /// What is told of the shop's machine, which bears the serial Q7-118823, and by how many statements.
    async fn told_of_recalls(&self) -> (Vec<Matched>, u64) {
        let db = &self.bench.app.db;
        let machine = crate::appliances::get_appliance(db.read(), "", self.machine_id()).await;
        let machine = machine.unwrap();
        let before = db.statements();
        let told = recalls::about(db.read(), &machine).await.unwrap();
        (told, db.statements() - before)
    }

    fn recall_check(&self, recall_id: i64, is_meant: bool) -> CheckRecall {
        CheckRecall {
            recall_id,
            appliance_id: self.machine_id(),
            is_meant,
            told_on: Some(noon().date_naive()),
            done_on: None,
            note: Some("read at the door".to_owned()),
        }
    }
}

#[tokio::test]
async fn a_file_is_taken_in_once_however_often_it_is_sent_and_changed_words_are_taken_over() {
    for shop in TestShop::everywhere().await {
        let first = notice(
            "26-101",
            "It can catch fire.",
            &washers("Q7-100000", "Q7-120000"),
        );
        let bytes = file(std::slice::from_ref(&first));
        // A look does not wait for whoever writes.
        let writer = shop.bench.app.db.write().await.unwrap();
        let looked = recalls::import_recalls(&shop.owner, &bytes, Purpose::LookAt);
        assert!(matches!(
            looked.await.unwrap(),
            Imported::Taken(Taken { new_count: 1, .. })
        ));
        drop(writer);
        assert!(shop.recalled_products().await.is_empty(), "only looked at");
        let taken = shop.import_notices(std::slice::from_ref(&first)).await;
        assert_eq!((taken.new_count, taken.without_model_count), (1, 0));
        let taken = shop.import_notices(std::slice::from_ref(&first)).await;
        assert_eq!((taken.new_count, taken.same_count), (0, 1));

        let changed = notice(
            "26-101",
            "It has caught fire.",
            &washers("Q7-100000", "Q7-120000"),
        );
        let taken = shop.import_notices(&[changed]).await;
        assert_eq!((taken.changed_count, taken.same_count), (1, 0));
        let row = shop.last_recall().await;
        assert_eq!(
            (row.version, row.hazard.as_str()),
            (2, "It has caught fire.")
        );
        assert_eq!(shop.recalled_products().await.len(), 1);
    }
}

/// What the desk made of a notice stays, and what its publisher adds is added: a recall that grew is not passed over.
#[tokio::test]
async fn a_recall_that_grew_adds_its_machines_and_keeps_what_the_desk_said() {
    for shop in TestShop::everywhere().await {
        let first = notice("26-101", "Fire.", &washers("Q7-100000", "Q7-110000"));
        shop.import_notices(std::slice::from_ref(&first)).await;
        assert!(shop.told_of_recalls().await.0.is_empty());
        let row = shop.last_recall().await;
        let set = SetRecallProducts {
            recall_id: row.id,
            version: row.version,
            products: vec![NewProduct {
                make: "Halvorsen".to_owned(),
                model_pattern: Some("HW-2*".to_owned()),
                serial_from: None,
                serial_through: None,
                description: None,
            }],
        };
        recalls::set_recall_products(&shop.owner, set)
            .await
            .unwrap();
        let taken = shop.import_notices(&[first]).await;
        assert_eq!(taken.same_count, 1, "the publisher says what it said");
        assert_eq!(shop.recalled_products().await.len(), 1);

        let grown = notice("26-101", "Fire.", &washers("Q7-100000", "Q7-120000"));
        let taken = shop.import_notices(&[grown]).await;
        assert_eq!(taken.changed_count, 1);
        let patterns: Vec<_> = (shop.recalled_products().await.into_iter())
            .map(|row| row.model_pattern)
            .collect();
        assert_eq!(patterns, [Some("HW2*".to_owned()), Some("HW*".to_owned())]);
        let (told, _) = shop.told_of_recalls().await;
        assert_eq!(told.len(), 1);
        assert_eq!(told[0].meant, Meant::Yes);
    }
}

#[tokio::test]
async fn a_file_that_is_no_list_or_is_too_large_is_refused_and_nothing_is_written() {
    for shop in TestShop::everywhere().await {
        let whole = |code| vec![(0, String::new(), code)];
        for bytes in [&b"{"[..], b"", b"{}", b"\xff\xfe"] {
            assert_eq!(
                shop.recall_import_refused(bytes).await,
                whole(ProblemCode::Malformed)
            );
        }
        assert_eq!(
            shop.recall_import_refused(b"[]").await,
            whole(ProblemCode::OutOfRange)
        );
        let many = vec![notice("26-1", "Fire.", &washers("1", "2")); 2_001];
        assert_eq!(
            shop.recall_import_refused(&file(&many)).await,
            whole(ProblemCode::OutOfRange)
        );
        assert!(shop.recalled_products().await.is_empty());
        let technician = shop.bench.act_as(Role::Technician).await;
        let outcome = recalls::import_recalls(&technician, b"[]", Purpose::LookAt).await;
        assert!(matches!(outcome, Err(Error::Forbidden)));
    }
}

#[tokio::test]
async fn an_old_recall_is_told_of_however_many_products_of_the_make_came_after_it() {
    for shop in TestShop::everywhere().await {
        let old = notice("26-101", "Fire.", &washers("Q7-100000", "Q7-120000"));
        let other = notice("26-102", "Fire.", &json!({"Model": "ZZ-1"}));
        shop.import_notices(&[old, other]).await;
        let first = shop.recalled_products().await.pop().unwrap();
        let rows: Vec<recall_product::ActiveModel> = (0..2_100)
            .map(|at| recall_product::ActiveModel {
                recall_id: Set(first.recall_id),
                make: Set(first.make.clone()),
                make_key: Set(first.make_key.clone()),
                model_pattern: Set(Some(format!("ZZ{at}"))),
                ..Default::default()
            })
            .collect();
        let tx = shop.bench.app.db.write().await.unwrap();
        for piece in rows.chunks(500) {
            let insert = recall_product::Entity::insert_many(piece.iter().cloned());
            insert.exec_without_returning(&tx).await.unwrap();
        }
        tx.commit().await.unwrap();
        let (told, statements) = shop.told_of_recalls().await;
        let told: Vec<_> = (told.iter())
            .map(|matched| matched.recall.number.as_str())
            .collect();
        assert_eq!((told, statements), (vec!["26-101"], 3));
    }
}

#[tokio::test]
async fn a_machine_is_meant_may_be_or_is_not_and_two_statements_tell() {
    for shop in TestShop::everywhere().await {
        let other = json!({"Name": "Dryers", "Make": "Merrow", "Model": "MD-1"});
        let notices = [
            notice("26-101", "Fire.", &washers("Q7-100000", "Q7-120000")),
            notice("26-102", "Fire.", &washers("Q7-200000", "Q7-300000")),
            notice("26-103", "Shock.", &washers("R9-100000", "R9-120000")),
            notice("26-104", "Flood.", &other),
            notice("26-105", "Flood.", &json!({"Name": "All washers"})),
        ];
        let (none, statements) = shop.told_of_recalls().await;
        assert_eq!((none.len(), statements), (0, 1));
        let taken = shop.import_notices(&notices).await;
        assert_eq!((taken.new_count, taken.without_model_count), (5, 1));
        let (told, statements) = shop.told_of_recalls().await;
        assert_eq!(statements, 2);
        let told: Vec<_> = (told.iter())
            .map(|matched| (matched.recall.number.as_str(), matched.meant))
            .collect();
        assert_eq!(
            told,
            [
                ("26-105", Meant::Yes),
                ("26-103", Meant::LookAtPlate),
                ("26-101", Meant::Yes),
            ]
        );
    }
}

#[tokio::test]
async fn what_was_done_is_kept_and_a_recall_that_was_taken_back_is_told_of_no_more() {
    for shop in TestShop::everywhere().await {
        shop.import_notices(&[notice(
            "26-101",
            "Fire.",
            &washers("Q7-100000", "Q7-120000"),
        )])
        .await;
        let row = shop.last_recall().await;
        let first = shop.recall_check(row.id, true);
        recalls::check_recall(&shop.owner, first.clone())
            .await
            .unwrap();
        let done = CheckRecall {
            done_on: Some(noon().date_naive()),
            ..first.clone()
        };
        let done = recalls::check_recall(&shop.owner, done).await.unwrap();
        assert_eq!(done.version, 2, "one row a recall and machine");
        let (told, _) = shop.told_of_recalls().await;
        assert_eq!(told[0].check.as_ref().map(|check| check.id), Some(done.id));
        let checks = recall_check::Entity::find().all(shop.bench.app.db.read());
        assert_eq!(checks.await.unwrap().len(), 1);

        let impossible = CheckRecall {
            is_meant: false,
            told_on: Some("2026-03-24".parse().unwrap()),
            done_on: Some("2026-06-02".parse().unwrap()),
            ..first
        };
        assert_eq!(
            refusals(recalls::check_recall(&shop.owner, impossible).await),
            [
                (ProblemCode::ImpossibleDate, "toldOn".to_owned()),
                (ProblemCode::ImpossibleDate, "doneOn".to_owned()),
                (ProblemCode::Malformed, "doneOn".to_owned()),
            ]
        );
        let withdraw = |version, day: Option<&str>| WithdrawRecall {
            recall_id: row.id,
            version,
            withdrawn_on: day.map(|day| day.parse().unwrap()),
        };
        let early = recalls::withdraw_recall(&shop.owner, withdraw(1, Some("2026-03-24"))).await;
        let at_day = [(ProblemCode::ImpossibleDate, "withdrawnOn".to_owned())];
        assert_eq!(refusals(early), at_day);
        recalls::withdraw_recall(&shop.owner, withdraw(1, Some("2026-05-30")))
            .await
            .unwrap();
        assert!(shop.told_of_recalls().await.0.is_empty());
        let stale = recalls::withdraw_recall(&shop.owner, withdraw(1, None)).await;
        let at_version = [(ProblemCode::Conflict, "version".to_owned())];
        assert_eq!(refusals(stale), at_version);
        recalls::withdraw_recall(&shop.owner, withdraw(2, None))
            .await
            .unwrap();
        assert_eq!(shop.told_of_recalls().await.0.len(), 1, "it was a mistake");
    }
}

#[tokio::test]
async fn products_that_cannot_be_are_refused_with_every_field() {
    let shop = TestShop::open().await;
    shop.import_notices(&[notice("26-101", "Fire.", &washers("Q7-1", "Q7-2"))])
        .await;
    let row = shop.last_recall().await;
    let bad = NewProduct {
        make: " ".to_owned(),
        model_pattern: Some("**".to_owned()),
        serial_from: Some("--".to_owned()),
        serial_through: Some("9".repeat(200)),
        description: None,
    };
    let set = |products| SetRecallProducts {
        recall_id: row.id,
        version: row.version,
        products,
    };
    let outcome = recalls::set_recall_products(&shop.owner, set(vec![bad])).await;
    let malformed = |path: &str| (ProblemCode::Malformed, format!("products.0.{path}"));
    assert_eq!(
        refusals(outcome),
        [
            (ProblemCode::Missing, "products.0.make".to_owned()),
            malformed("modelPattern"),
            malformed("serialFrom"),
            malformed("serialThrough"),
        ]
    );
    let none = recalls::set_recall_products(&shop.owner, set(Vec::new())).await;
    let at_products = [(ProblemCode::OutOfRange, "products".to_owned())];
    assert_eq!(refusals(none), at_products);
}

/// Service call, machine and brief tell the same, with hazard, remedy, source and the words that defer to the maker.
#[tokio::test]
async fn call_machine_and_brief_tell_of_a_recall_and_defer_to_the_maker() {
    for shop in TestShop::everywhere().await {
        shop.import_notices(&[notice(
            "26-101",
            "Fire.",
            &washers("Q7-100000", "Q7-120000"),
        )])
        .await;
        let call = shop.opened_call().await;
        let id = crate::graphql::ids::Kind::ServiceCall.id(call.id);
        let fields = "{ meant caution recall { number hazard remedy source url } }";
        let query = format!(
            "{{ serviceCall(id: \"{id}\") {{ recalls {fields} appliance {{ recalls {fields} }} }}
             arrivalBrief(callId: \"{id}\") {{ recalls {fields} }} }}",
            id = id.as_str(),
        );
        let answer = ask(&shop.owner, &query).await;
        assert_eq!(answer["errors"], Value::Null, "{answer:#}");
        let data = &answer["data"];
        let told = &data["serviceCall"]["recalls"];
        assert_eq!(told[0]["meant"], "YES");
        assert_eq!(told[0]["caution"], CAUTION);
        assert_eq!(told[0]["recall"]["hazard"], "Fire.");
        assert_eq!(told, &data["serviceCall"]["appliance"]["recalls"]);
        assert_eq!(told, &data["arrivalBrief"]["recalls"]);
    }
}

#[tokio::test]
async fn damage_to_recalls_is_found() {
    for shop in TestShop::everywhere().await {
        let washers = washers("Q7-100000", "Q7-120000");
        shop.import_notices(&[notice("26-101", "Fire.", &washers)])
            .await;
        let row = shop.last_recall().await;
        let done = CheckRecall {
            done_on: Some(noon().date_naive()),
            ..shop.recall_check(row.id, true)
        };
        recalls::check_recall(&shop.owner, done).await.unwrap();
        let db = &shop.bench.app.db;
        assert_eq!(super::run(db).await.unwrap(), []);
        for (harm, table) in [
            ("UPDATE recall_check SET is_meant = FALSE", "recall_check"),
            ("UPDATE recall SET withdrawn_on = '2026-03-24'", "recall"),
            ("DELETE FROM recall_product", "recall"),
        ] {
            let tx = db.write().await.unwrap();
            tx.execute_unprepared(harm).await.unwrap();
            tx.commit().await.unwrap();
            let found = super::run(db).await.unwrap();
            assert!(found.iter().any(|row| row.table == table), "{harm}");
            assert!(found.iter().all(|row| row.table.starts_with("recall")));
        }
    }
}
