//! Keeping parts, suppliers, grades and books, on both databases.

use chrono::{Days, NaiveDate};
use nameplate_entities::kinds::{BookState, DistanceUnit, MarkupKind, PriceEnding, Role};
use nameplate_entities::part;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;

use super::operations::{AddSupplier, ChangeSupplier, add_supplier, change_supplier};
use super::*;
use crate::base::ProblemCode::{
    Conflict, ImpossibleDate, Malformed, Missing, OutOfRange, Taken, WrongState,
};
use crate::base::testing::{Bench, refusals};
use crate::base::{Act, Change, Error};
use crate::shop;

async fn part(act: &Act, number: &str) -> part::Model {
    let new = AddPart {
        number: number.to_owned(),
        description: "Pump".to_owned(),
        supplier: Some("Quarry Parts".to_owned()),
        cost: Cents(1_000),
        fixed_price: None,
        list_price: None,
        maker_warranty_months: None,
        ..AddPart::default()
    };
    add_part(act, new).await.unwrap()
}

fn changed(row: &part::Model, change: PartChange) -> ChangePart {
    ChangePart {
        part_id: row.id,
        version: row.version,
        change,
    }
}

fn superseded(row: &part::Model, by: &part::Model) -> ChangePart {
    let change = PartChange {
        superseded_by: Change::To(by.id),
        ..PartChange::default()
    };
    changed(row, change)
}

#[tokio::test]
async fn a_part_that_would_take_its_own_place_by_whatever_way_is_refused() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Office).await;
        let first = part(&act, "A").await;
        let second = part(&act, "B").await;
        let third = part(&act, "C").await;
        let path = || "supersededByPartId".to_owned();
        let itself = change_part(&act, superseded(&first, &first)).await;
        assert_eq!(refusals(itself), [(OutOfRange, path())]);
        let first = change_part(&act, superseded(&first, &second))
            .await
            .unwrap();
        change_part(&act, superseded(&second, &third))
            .await
            .unwrap();
        let round = change_part(&act, superseded(&third, &first)).await;
        assert_eq!(refusals(round), [(OutOfRange, path())]);
        assert_eq!(first.superseded_by_id, Some(second.id));
    }
}

#[tokio::test]
async fn a_part_is_changed_beside_its_cost_and_nothing_of_it_when_anything_is_wrong() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Office).await;
        let row = part(&act, "A").await;
        let change = PartChange {
            core_deposit: Change::To(Cents(1_500)),
            list_price: Change::To(Cents(3_000)),
            supplier: Change::Clear,
            component_class: Change::To("drain_pump".to_owned()),
            ..PartChange::default()
        };
        let after = change_part(&act, changed(&row, change)).await.unwrap();
        assert_eq!(
            (after.core_deposit_cents, after.list_price_cents),
            (Some(1_500), Some(3_000))
        );
        assert_eq!((after.supplier_id, after.cost_cents), (None, 1_000));
        let wrong = PartChange {
            freight: Change::To(Cents(-1)),
            maker_warranty_months: Change::To(-1),
            supplier: Change::To("New Supplier".to_owned()),
            ..PartChange::default()
        };
        let refused = change_part(&act, changed(&row, wrong)).await;
        let found = refusals(refused);
        let paths = found
            .iter()
            .map(|(_, path)| path.as_str())
            .collect::<Vec<_>>();
        assert_eq!(paths, ["version", "freight", "makerWarrantyMonths"]);
        assert_eq!(found[0].0, Conflict);
        let none = store::supplier_by_name(act.app.db.read(), "New Supplier").await;
        assert!(none.unwrap().is_none(), "nothing is half written");
    }
}

#[tokio::test]
async fn one_name_is_one_supplier_whatever_its_case() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Office).await;
        let row = part(&act, "A").await;
        let new = |name: &str| AddSupplier {
            name: name.to_owned(),
            email: Some("orders@quarry.example".to_owned()),
            terms_days: None,
        };
        let twice = add_supplier(&act, new("QUARRY parts")).await;
        assert_eq!(refusals(twice), [(Taken, "name".to_owned())]);
        let change = ChangeSupplier {
            supplier_id: row.supplier_id.unwrap(),
            version: 1,
            name: None,
            email: Change::To("no address".to_owned()),
            terms_days: Change::Keep,
        };
        let refused = change_supplier(&act, change).await;
        assert_eq!(refusals(refused), [(Malformed, "email".to_owned())]);
    }
}

fn book() -> DraftPriceBook {
    DraftPriceBook {
        name: "2026".to_owned(),
        effective_from: "2026-01-01".parse().unwrap(),
        hourly_rate: Cents(10_800),
        first_hour_minimum: true,
        minimum_minutes: 45,
        increment_minutes: 15,
        after_hours_multiplier: Decimal::TWO,
        second_technician_share: Decimal::ONE,
        trip: Cents(3_500),
        distance_unit: Some(DistanceUnit::Mile),
        diagnostic: Cents(8_900),
        diagnostic_credited: true,
        markup_kind: MarkupKind::Graduated,
        minimum_markup: Cents(100),
        maximum_markup: Some(Cents(20_000)),
        price_ending: PriceEnding::Up99,
        brackets: vec![NewBracket {
            up_to: None,
            multiplier: Decimal::TWO,
        }],
        rates: vec![NewRate {
            name: "Senior".to_owned(),
            hourly_rate: Cents(13_000),
        }],
        zones: vec![NewZone {
            name: "Near".to_owned(),
            charge: Cents(2_000),
            postal_codes: Vec::new(),
            up_to_distance: Some(Decimal::TEN),
        }],
        tasks: vec![NewTask {
            key: "pump".to_owned(),
            name: "Pump".to_owned(),
            description: None,
            appliance_type_id: None,
            component_id: None,
            hours: Decimal::new(13, 1),
        }],
    }
}

#[tokio::test]
async fn a_copy_holds_everything_of_its_book_and_an_adopted_book_is_never_edited() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Owner).await;
        shop::open(&bench.program()).await.unwrap();
        let first = draft_price_book(&act, book()).await.unwrap();
        let first = adopt_price_book(&act, first.id).await.unwrap();
        let copy = ClonePriceBook {
            price_book_id: first.id,
            name: "2027".to_owned(),
            effective_from: "2027-01-01".parse().unwrap(),
        };
        let copy = clone_price_book(&act, copy).await.unwrap();
        assert_eq!(copy.state, BookState::Draft);
        let db = act.app.db.read();
        let one = any_book(db, "", first.id).await.unwrap();
        let other = any_book(db, "", copy.id).await.unwrap();
        assert_eq!(
            (&one.schedule, &one.labour, &one.zones),
            (&other.schedule, &other.labour, &other.zones)
        );
        assert_eq!(one.labour.minimum_minutes, 45);
        assert_eq!(other.rates[0].name, "Senior");
        let tasks = store::tasks_of(db, copy.id).await.unwrap();
        assert_eq!(
            (tasks[0].task_key.as_str(), tasks[0].hours.0),
            ("pump", Decimal::new(13, 1))
        );
        let edit = ChangePriceBook {
            price_book_id: first.id,
            version: first.version,
            change: BookChange::default(),
        };
        let refused = change_price_book(&act, edit).await;
        assert_eq!(refusals(refused), [(WrongState, "priceBookId".to_owned())]);
        let desk = bench.act_as(Role::Office).await;
        assert!(matches!(
            draft_price_book(&desk, book()).await,
            Err(Error::Forbidden)
        ));
    }
}

#[tokio::test]
async fn everything_wrong_with_the_lists_of_a_book_is_named_at_once() {
    let bench = Bench::new().await;
    let act = bench.act_as(Role::Owner).await;
    let mut wrong = book();
    wrong.distance_unit = None;
    wrong.maximum_markup = Some(Cents(99));
    wrong.minimum_minutes = 0;
    wrong.second_technician_share = Decimal::NEGATIVE_ONE;
    wrong.rates.push(wrong.rates[0].clone());
    wrong.zones.push(NewZone {
        postal_codes: vec!["004*".to_owned(), "-".to_owned(), "00 4*".to_owned()],
        ..wrong.zones[0].clone()
    });
    wrong.tasks[0].hours = Decimal::ZERO;
    wrong.tasks[0].component_id = Some(77);
    let mut found = refusals(draft_price_book(&act, wrong).await);
    found.sort_by(|one, other| one.1.cmp(&other.1));
    let paths = found
        .iter()
        .map(|(_, path)| path.as_str())
        .collect::<Vec<_>>();
    assert_eq!(
        paths,
        [
            "distanceUnit",
            "distanceUnit",
            "maximumMarkup",
            "minimumMinutes",
            "rates.1.name",
            "secondTechnicianShare",
            "tasks.0.componentId",
            "tasks.0.hours",
            "zones.1.name",
            "zones.1.postalCodes.1",
            "zones.1.postalCodes.2",
            "zones.1.upToDistance",
            "zones.1.upToDistance",
        ]
    );
    assert_eq!(found[0].0, Missing);
}

#[tokio::test]
async fn only_the_first_book_of_a_shop_may_begin_on_a_day_gone_by() {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Owner).await;
        shop::open(&bench.program()).await.unwrap();
        let first = draft_price_book(&act, book()).await.unwrap();
        assert!(first.effective_from < act.at.date_naive());
        adopt_price_book(&act, first.id).await.unwrap();
        let from = |name: &str, day: NaiveDate| ClonePriceBook {
            price_book_id: first.id,
            name: name.to_owned(),
            effective_from: day,
        };
        let today = act.at.date_naive();
        let late = from("Yesterday", today - Days::new(1));
        let late = clone_price_book(&act, late).await.unwrap();
        let refused = adopt_price_book(&act, late.id).await;
        assert_eq!(
            refusals(refused),
            [(ImpossibleDate, "priceBookId".to_owned())]
        );
        let now = clone_price_book(&act, from("Today", today)).await.unwrap();
        adopt_price_book(&act, now.id).await.unwrap();
    }
}

#[tokio::test]
async fn a_second_draft_of_one_name_and_day_and_a_second_technician_above_the_full_price_are_refused()
 {
    for bench in Bench::everywhere().await {
        let act = bench.act_as(Role::Owner).await;
        shop::open(&bench.program()).await.unwrap();
        let dear = DraftPriceBook {
            second_technician_share: Decimal::new(101, 2),
            ..book()
        };
        let path = "secondTechnicianShare".to_owned();
        let refused = draft_price_book(&act, dear).await;
        assert_eq!(refusals(refused), [(OutOfRange, path)]);
        let first = draft_price_book(&act, book()).await.unwrap();
        let twin = DraftPriceBook {
            name: format!(" {} ", book().name),
            ..book()
        };
        let wanted = [(Taken, "name".to_owned())];
        let refused = draft_price_book(&act, twin).await;
        assert_eq!(refusals(refused), wanted);
        let renamed = DraftPriceBook {
            name: "Another".to_owned(),
            ..book()
        };
        let other = draft_price_book(&act, renamed).await.unwrap();
        let change = |row: &nameplate_entities::price_book::Model| ChangePriceBook {
            price_book_id: row.id,
            version: row.version,
            change: BookChange {
                name: Some(book().name),
                ..BookChange::default()
            },
        };
        let refused = change_price_book(&act, change(&other)).await;
        assert_eq!(refusals(refused), wanted);
        // A draft may keep its own name.
        assert!(change_price_book(&act, change(&first)).await.is_ok());
    }
}
