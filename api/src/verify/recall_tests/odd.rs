//! What is odd about published records blocks no file.

use super::*;

/// One record is as it should be; the others are cut, mended or passed over, each with its reason, and block nothing.
#[tokio::test]
async fn odd_records_are_counted_and_named_and_block_no_others() {
    for shop in TestShop::everywhere().await {
        let good = notice("26-101", "Fire.", &washers("Q7-1", "Q7-2"));
        let mut mended = notice("26-102", "Fire.", &washers("--", "Q7-2"));
        mended["URL"] = json!("javascript:alert(1)");
        mended["Title"] = json!("long ".repeat(1_000));
        mended["Products"][0]["Make"] = json!(" ");
        mended["Products"][0]["ModelPattern"] = json!("**");
        let mut many = notice("26-103", "Fire\u{7}.", &washers("Q7-1", "Q7-2"));
        many["Products"] = json!(vec![washers("Q7-1", "Q7-2"); 201]);
        for at in 0..201 {
            many["Products"][at]["SerialThrough"] = json!(format!("Q7-{}", at + 2));
        }
        let mut to_come = notice("26-104", "Fire.", &washers("Q7-1", "Q7-2"));
        to_come["RecallDate"] = json!("2027-01-01");
        let mut no_day = notice("26-105", "Fire.", &washers("Q7-1", "Q7-2"));
        no_day["RecallDate"] = json!("last spring");
        let mut unnumbered = good.clone();
        unnumbered["RecallNumber"] = Value::Null;
        let (twice, number) = (good.clone(), json!(1));
        let file = [
            good, mended, many, to_come, no_day, unnumbered, twice, number,
        ];
        let taken = shop.import_notices(&file).await;
        assert_eq!((taken.new_count, taken.mended_count), (3, 2));
        assert_eq!(taken.passed_over_count, 5);
        let told: Vec<_> = (taken.oddities.iter())
            .map(|fault| (fault.record, fault.path.as_str(), fault.code))
            .collect();
        assert_eq!(
            told,
            [
                (2, "Title", ProblemCode::TooLong),
                (2, "URL", ProblemCode::Malformed),
                (2, "Products.0.SerialFrom", ProblemCode::Malformed),
                (2, "Products.0.ModelPattern", ProblemCode::Malformed),
                (3, "Products", ProblemCode::OutOfRange),
                (4, "RecallDate", ProblemCode::ImpossibleDate),
                (5, "RecallDate", ProblemCode::Malformed),
                (6, "RecallNumber", ProblemCode::Missing),
                (7, "RecallNumber", ProblemCode::Taken),
                (8, "", ProblemCode::Malformed),
            ]
        );
        let products = shop.recalled_products().await;
        assert_eq!(products.len(), 202);
        let of_mended = &products[1];
        assert_eq!(of_mended.make, "Halvorsen", "the company's name");
        assert_eq!(
            (&of_mended.model_pattern, &of_mended.serial_from),
            (&None, &None)
        );
        let row = shop.last_recall().await;
        assert_eq!(
            (row.number.as_str(), row.hazard.as_str()),
            ("26-103", "Fire .")
        );
        let again = shop.import_notices(&file).await;
        assert_eq!((again.new_count, again.same_count), (0, 3));
        shop.is_in_order().await;
    }
}

/// A national file holds records that leave lists null, name an importer only, or nobody at all.
#[tokio::test]
async fn what_a_publisher_leaves_open_blocks_no_file_and_is_counted() {
    for shop in TestShop::everywhere().await {
        let good = notice("26-101", "Fire.", &washers("Q7-1", "Q7-2"));
        let mut foreign = notice("26-102", "", &json!({"Name": "Washers"}));
        foreign["Manufacturers"] = Value::Null;
        foreign["Importers"] = json!([{"Name": "Halvorsen America, Inc., of Ohio"}]);
        foreign["Remedies"] = Value::Null;
        let mut nobody = notice("26-103", "Fire.", &json!({}));
        nobody["Manufacturers"] = json!([{"Name": null}]);
        nobody["Products"] = Value::Null;
        let taken = shop.import_notices(&[good, foreign, nobody]).await;
        assert_eq!(taken.new_count, 3);
        assert_eq!(taken.make_of_company_count, 3, "each names companies only");
        let products = shop.recalled_products().await;
        let makes: Vec<_> = products.iter().map(|row| row.make.as_str()).collect();
        assert_eq!(
            makes,
            [
                "Halvorsen",
                "Halvorsen America",
                "Not stated by the publisher"
            ]
        );
        let all = recall::Entity::find()
            .order_by_asc(recall::Column::Id)
            .all(shop.bench.app.db.read())
            .await
            .unwrap();
        assert_eq!(all[1].hazard, "Not stated by the publisher.");
        assert_eq!(all[1].remedy, "Not stated by the publisher.");
        shop.is_in_order().await;
        let query = format!(
            "{{ machinesOfRecalledMakes(recallId: \"{}\", first: 5) {{ nodes {{ make }} }} }}",
            crate::graphql::ids::Kind::Recall.id(all[1].id).as_str()
        );
        let answer = ask(&shop.owner, &query).await;
        let nodes = &answer["data"]["machinesOfRecalledMakes"]["nodes"];
        assert_eq!(nodes[0]["make"], "Halvorsen", "the name begins with it");
    }
}
