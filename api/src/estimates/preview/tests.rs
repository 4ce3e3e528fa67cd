//! What a changed price book would have earned on the work that was accepted.

use nameplate_entities::kinds::ChargeKind;
use nameplate_entities::{estimate_line, part, price_book};
use nameplate_rules::money::Cents;
use nameplate_rules::tax::Prices;
use proptest::prelude::*;
use rust_decimal::Decimal;
use sea_orm::{EntityTrait, QueryOrder};

use super::reprice::own_prices;
use super::{Preview, PreviewPriceBook, preview_price_book};
use crate::base::Change;
use crate::base::ProblemCode::{ImpossibleDate, OutOfRange};
use crate::base::testing::noon;
use crate::base::testing::refusals;
use crate::estimates::answering::link::Shown;
use crate::estimates::tests::tax;
use crate::estimates::tests::testing::World;
use crate::estimates::*;
use crate::pricing::{self, BookChange};

async fn draft_of(world: &World, change: BookChange) -> price_book::Model {
    let act = world.owner();
    let today = noon().date_naive();
    let before = pricing::book_on(world.app.db.read(), today).await.unwrap();
    let copy = pricing::ClonePriceBook {
        price_book_id: before.row.id,
        name: change.name.clone().unwrap_or("Next year".to_owned()),
        effective_from: "2027-01-01".parse().unwrap(),
    };
    let draft = pricing::clone_price_book(&act, copy).await.unwrap();
    let change = pricing::ChangePriceBook {
        price_book_id: draft.id,
        version: draft.version,
        change,
    };
    pricing::change_price_book(&act, change).await.unwrap()
}

async fn preview(world: &World, book: i64) -> Preview {
    let asked = PreviewPriceBook {
        price_book_id: book,
        from: None,
        until: None,
    };
    preview_price_book(&world.owner(), asked).await.unwrap()
}

/// An accepted offer of these minutes of labor, two of a part, a trip, a diagnosis and a fee by hand.
async fn accepted(world: &mut World, minutes: (i32, i32), cost: i64) {
    let new = pricing::AddPart {
        number: "EL-1".to_owned(),
        description: "Element".to_owned(),
        supplier: None,
        cost: Cents(cost),
        fixed_price: None,
        list_price: None,
        maker_warranty_months: None,
        ..pricing::AddPart::default()
    };
    let part = pricing::add_part(&world.owner(), new).await.unwrap();
    let time = |minutes| NewLine {
        minutes: Some(minutes),
        ..NewLine::of(ChargeKind::Labour)
    };
    let lines = vec![
        NewLine {
            section: Some("Later".to_owned()),
            ..time(minutes.0)
        },
        time(minutes.1),
        NewLine {
            part_id: Some(part.id),
            quantity: Some(Decimal::TWO),
            ..NewLine::of(ChargeKind::Part)
        },
        NewLine::of(ChargeKind::Trip),
        NewLine::of(ChargeKind::Diagnostic),
        NewLine {
            description: Some("Disposal".to_owned()),
            unit_price: Some(Cents(1_000)),
            ..NewLine::of(ChargeKind::Fee)
        },
    ];
    sold(world, lines).await;
    // A later cost is not what the work was priced with.
    let change = pricing::ChangePartCost {
        part_id: part.id,
        version: part.version,
        cost: Cents(cost + 5_000),
    };
    pricing::change_part_cost(&world.owner(), change)
        .await
        .unwrap();
}

/// An accepted offer of these lines.
async fn sold(world: &mut World, lines: Vec<NewLine>) {
    let command = DraftEstimate {
        idempotency_key: world.key(),
        call_id: world.call_id,
        offer: Offer {
            options: vec![NewOption {
                title: "Repair".to_owned(),
                lines,
                ..NewOption::default()
            }],
            ..Offer::default()
        },
    };
    let draft = draft_estimate(&world.owner(), command).await.unwrap();
    let token = world.send(draft.id).await.unwrap();
    assert!(matches!(world.accept(&token).await, Shown::Answered(_)));
}

#[tokio::test]
async fn a_changed_book_shows_what_it_would_have_earned_by_kind_of_charge() {
    let mut world = World::new().await;
    accepted(&mut world, (70, 20), 1_000).await;
    let change = BookChange {
        hourly_rate: Some(Cents(12_000)),
        trip: Some(Cents(4_000)),
        brackets: Some(vec![pricing::NewBracket {
            up_to: None,
            multiplier: Decimal::new(25, 1),
        }]),
        ..BookChange::default()
    };
    let book = draft_of(&world, change).await;
    let found = preview(&world, book.id).await;
    assert_eq!(found.estimate_count, 1);
    let sums = |kind| {
        let sums = found.kinds[&kind];
        (sums.line_count, sums.charged.0, sums.would_charge.0)
    };
    // 75 and 30 minutes billed: 135.00 + 54.00 at 108.00, 150.00 + 60.00 at 120.00.
    assert_eq!(sums(ChargeKind::Labour), (2, 18_900, 21_000));
    assert_eq!(sums(ChargeKind::Part), (1, 4_000, 5_000));
    assert_eq!(sums(ChargeKind::Trip), (1, 3_500, 4_000));
    assert_eq!(sums(ChargeKind::Diagnostic), (1, 8_900, 8_900));
    let fee = found.kinds[&ChargeKind::Fee];
    assert_eq!(
        (fee.line_count, fee.by_hand_count, fee.by_hand),
        (0, 1, Cents(1_000))
    );
    let parts = found.kinds[&ChargeKind::Part];
    assert_eq!(
        (parts.known_cost, parts.would_charge_with_cost),
        (Cents(2_000), Cents(5_000))
    );
    assert_eq!(
        found.total.would_charge.0 - found.total.charged.0,
        2_100 + 1_000 + 500
    );
}

fn dearer() -> BookChange {
    BookChange {
        hourly_rate: Some(Cents(11_880)),
        brackets: Some(vec![pricing::NewBracket {
            up_to: None,
            multiplier: Decimal::new(25, 1),
        }]),
        ..BookChange::default()
    }
}

/// Of 108.00 at 7.25 % inside, 7.30 is tax; of 118.80 it would be 8.03.
#[tokio::test]
async fn prices_that_hold_the_tax_are_compared_without_it() {
    let mut world = World::new().await;
    let taxability = [
        ChargeKind::Part,
        ChargeKind::Labour,
        ChargeKind::Trip,
        ChargeKind::Diagnostic,
        ChargeKind::Freight,
        ChargeKind::Fee,
    ]
    .map(|kind| pricing::NewTaxability::plain(kind, true, "taxed"));
    tax::rules(&world, taxability.to_vec(), Prices::WithTax).await;
    let hour = NewLine {
        minutes: Some(60),
        ..NewLine::of(ChargeKind::Labour)
    };
    sold(&mut world, vec![hour]).await;
    let same = draft_of(&world, BookChange::default()).await;
    let found = preview(&world, same.id).await.total;
    assert_eq!(
        (found.charged, found.would_charge),
        (Cents(10_070), Cents(10_070))
    );
    let change = BookChange {
        name: Some("Dearer".to_owned()),
        ..dearer()
    };
    let book = draft_of(&world, change).await;
    let found = preview(&world, book.id).await.total;
    assert_eq!(found.would_charge, Cents(11_077));
}

async fn part(world: &World, number: &str, own: (Option<i64>, Option<i64>)) -> part::Model {
    let new = pricing::AddPart {
        number: number.to_owned(),
        description: "Element".to_owned(),
        cost: Cents(1_000),
        fixed_price: own.0.map(Cents),
        list_price: own.1.map(Cents),
        ..pricing::AddPart::default()
    };
    pricing::add_part(&world.owner(), new).await.unwrap()
}

fn one_of(part: &part::Model) -> NewLine {
    NewLine {
        part_id: Some(part.id),
        ..NewLine::of(ChargeKind::Part)
    }
}

#[tokio::test]
async fn a_part_that_a_warranty_replaces_stays_free_under_any_book() {
    let mut world = World::new().await;
    let element = part(&world, "EL-1", (None, None)).await;
    let mut swap = one_of(&element);
    swap.facts.replaced_under_warranty = true;
    sold(&mut world, vec![swap]).await;
    let book = draft_of(&world, dearer()).await;
    let found = preview(&world, book.id).await.kinds[&ChargeKind::Part];
    assert_eq!(
        (found.line_count, found.charged, found.would_charge),
        (1, Cents::ZERO, Cents::ZERO)
    );
}

#[tokio::test]
async fn a_part_is_priced_again_under_the_prices_of_its_own_that_it_had_then() {
    for mut world in World::everywhere().await {
        let fixed = part(&world, "FX-1", (Some(5_000), None)).await;
        let listed = part(&world, "LS-1", (None, Some(1_500))).await;
        let plain = part(&world, "PL-1", (None, None)).await;
        let lines = [&fixed, &listed, &plain].map(one_of);
        sold(&mut world, lines.to_vec()).await;
        // What the catalogue says today is not what the work was priced with.
        let later = [
            (fixed, Some(9_000), None),
            (listed, None, Some(10_000)),
            (plain, Some(100), None),
        ];
        for (part, fixed_price, list_price) in later {
            let own = |price: Option<i64>| price.map_or(Change::Clear, |c| Change::To(Cents(c)));
            let change = pricing::ChangePart {
                part_id: part.id,
                version: part.version,
                change: pricing::PartChange {
                    fixed_price: own(fixed_price),
                    list_price: own(list_price),
                    ..pricing::PartChange::default()
                },
            };
            pricing::change_part(&world.owner(), change).await.unwrap();
        }
        let book = draft_of(&world, dearer()).await;
        let found = preview(&world, book.id).await.kinds[&ChargeKind::Part];
        // 50.00 fixed, 15.00 at most, and 10.00 at 2.5 instead of 2.
        assert_eq!(found.line_count, 3);
        assert_eq!(
            (found.charged, found.would_charge),
            (Cents(8_500), Cents(9_000))
        );
        // Of a line from before that was written down nobody knows, unless the part has no such price today either.
        let lines = estimate_line::Entity::find().all(world.app.db.read()).await;
        let old = estimate_line::Model {
            price_basis: None,
            ..lines.unwrap().remove(0)
        };
        let rows = part::Entity::find()
            .order_by_asc(part::Column::Number)
            .all(world.app.db.read())
            .await
            .unwrap();
        let known = |part: part::Model| own_prices(part, &old).is_some();
        assert_eq!(rows.into_iter().map(known).collect::<Vec<_>>(), [false; 3]);
        let without = part(&world, "NO-1", (None, None)).await;
        assert!(known(without));
    }
}

#[tokio::test]
async fn a_preview_looks_at_its_days_only_and_at_a_year_at_most() {
    let mut world = World::new().await;
    accepted(&mut world, (70, 20), 1_000).await;
    let book = draft_of(&world, BookChange::default()).await;
    let act = world.owner();
    let asked = |from: &str, until: &str| PreviewPriceBook {
        price_book_id: book.id,
        from: Some(from.parse().unwrap()),
        until: Some(until.parse().unwrap()),
    };
    let count = async |asked| {
        preview_price_book(&act, asked)
            .await
            .unwrap()
            .estimate_count
    };
    assert_eq!(count(asked("2026-06-01", "2026-06-01")).await, 1);
    assert_eq!(count(asked("2026-06-02", "2026-07-01")).await, 0);
    assert_eq!(count(asked("2026-04-01", "2026-05-31")).await, 0);
    let long = preview_price_book(&act, asked("2025-01-01", "2026-06-01")).await;
    assert_eq!(refusals(long), [(OutOfRange, "from".to_owned())]);
    let turned = preview_price_book(&act, asked("2026-06-01", "2026-05-31")).await;
    assert_eq!(refusals(turned), [(ImpossibleDate, "until".to_owned())]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(6))]

    #[test]
    fn under_a_copy_of_its_own_book_all_work_costs_what_it_cost(
        first in 1_i32..300, second in 1_i32..300, cost in 0_i64..100_000,
    ) {
        let runtime = tokio::runtime::Runtime::new().unwrap();
        let found = runtime.block_on(async {
            let mut world = World::new().await;
            accepted(&mut world, (first, second), cost).await;
            let book = draft_of(&world, BookChange::default()).await;
            preview(&world, book.id).await
        });
        prop_assert_eq!(found.total.line_count, 5);
        prop_assert_eq!(found.total.charged, found.total.would_charge);
        prop_assert_eq!(found.total.unpriced_count, 0);
    }
}
