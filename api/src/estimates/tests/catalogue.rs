//! Estimates priced by tasks, grades, zones and parts with what comes along with them.

use nameplate_entities::kinds::{ChargeKind, PricedBy};
use nameplate_entities::{estimate_line, price_book};
use nameplate_rules::money::Cents;
use nameplate_rules::pricing::labour::{Crew, WorkHours};
use rust_decimal::Decimal;
use sea_orm::{EntityTrait, QueryOrder};

use crate::base::ProblemCode::{Malformed, Missing, NotFound};
use crate::base::testing::noon;
use crate::base::testing::refusals;
use crate::estimates::tests::testing::World;
use crate::estimates::*;
use crate::pricing::{self, BookChange, NewRate, NewTask, NewZone};

pub(in crate::estimates) fn task(key: &str, hours: &str) -> NewTask {
    NewTask {
        key: key.to_owned(),
        name: format!("Task {key}"),
        description: Some("Replace the element and test it.".to_owned()),
        appliance_type_id: None,
        component_id: None,
        hours: hours.parse().unwrap(),
    }
}

/// The book in force copied, with this change, and adopted on the first day after it.
pub(in crate::estimates) async fn next_book(
    world: &World,
    change: BookChange,
) -> price_book::Model {
    let mut act = world.owner();
    let today = noon().date_naive();
    let before = pricing::book_on(world.app.db.read(), today).await.unwrap();
    let first = before.row.effective_from + chrono::Days::new(1);
    act.at = first.and_time(noon().time()).and_utc();
    let copy = pricing::ClonePriceBook {
        price_book_id: before.row.id,
        name: "Next".to_owned(),
        effective_from: first,
    };
    let draft = pricing::clone_price_book(&act, copy).await.unwrap();
    let change = pricing::ChangePriceBook {
        price_book_id: draft.id,
        version: draft.version,
        change,
    };
    let draft = pricing::change_price_book(&act, change).await.unwrap();
    pricing::adopt_price_book(&act, draft.id).await.unwrap()
}

async fn offered(
    world: &mut World,
    lines: Vec<NewLine>,
) -> crate::base::Result<Vec<estimate_line::Model>> {
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
    let revision = draft_estimate(&world.owner(), command).await?;
    let db = world.app.db.read();
    let options = store::options_of(db, revision.id).await?;
    let ids = options.iter().map(|option| option.id).collect::<Vec<_>>();
    store::lines_of(db, &ids).await
}

fn by_task(task_id: i64) -> NewLine {
    NewLine {
        terms: LineTerms {
            task_id: Some(task_id),
            ..LineTerms::default()
        },
        ..NewLine::of(ChargeKind::Labour)
    }
}

async fn tasks_of(world: &World, book: &price_book::Model) -> Vec<i64> {
    use nameplate_entities::flat_rate_task::{Column, Entity};
    use sea_orm::{ColumnTrait, QueryFilter};
    let rows = Entity::find()
        .filter(Column::PriceBookId.eq(book.id))
        .order_by_asc(Column::Position)
        .all(world.app.db.read())
        .await
        .unwrap();
    rows.into_iter().map(|row| row.id).collect()
}

#[tokio::test]
async fn a_listed_task_costs_its_hours_and_leaves_the_first_hour_to_work_by_the_clock() {
    let mut world = World::new().await;
    let change = BookChange {
        tasks: Some(vec![task("element", "0.4"), task("board", "1.3")]),
        ..BookChange::default()
    };
    let book = next_book(&world, change).await;
    let tasks = tasks_of(&world, &book).await;
    let clock = NewLine {
        minutes: Some(20),
        ..NewLine::of(ChargeKind::Labour)
    };
    let lines = offered(&mut world, vec![by_task(tasks[0]), clock])
        .await
        .unwrap();
    // 0.4 h at 108.00 is 43.20; the 20 minutes beside it are billed as the whole first hour.
    let shown = |line: &estimate_line::Model| {
        (
            line.description.clone(),
            line.net_cents,
            line.labour_minutes,
            line.task_id,
        )
    };
    let words = "Replace the element and test it.".to_owned();
    assert_eq!(shown(&lines[0]), (words, 4_320, None, Some(tasks[0])));
    assert_eq!(
        shown(&lines[1]),
        ("Labor".to_owned(), 10_800, Some(60), None)
    );
    let printed = printed_quantity(lines[0].kind, lines[0].quantity.0, lines[0].labour_minutes);
    assert_eq!(printed, "0.4 h");
}

#[tokio::test]
async fn a_task_of_an_older_book_is_priced_as_the_book_in_force_lists_it() {
    let mut world = World::new().await;
    let listed = |hours: &str| BookChange {
        tasks: Some(vec![task("element", hours)]),
        ..BookChange::default()
    };
    let old = next_book(&world, listed("0.5")).await;
    let new = next_book(&world, listed("0.75")).await;
    let (old, new) = (tasks_of(&world, &old).await, tasks_of(&world, &new).await);
    let lines = offered(&mut world, vec![by_task(old[0])]).await.unwrap();
    assert_eq!(
        (lines[0].task_id, lines[0].net_cents),
        (Some(new[0]), 8_100)
    );
    next_book(&world, listed("1")).await;
    let dropped = BookChange {
        tasks: Some(Vec::new()),
        ..BookChange::default()
    };
    next_book(&world, dropped).await;
    let refused = offered(&mut world, vec![by_task(old[0])]).await;
    let path = "options.0.lines.0.taskId".to_owned();
    assert_eq!(refusals(refused), [(NotFound, path)]);
}

#[tokio::test]
async fn labor_is_priced_at_the_grade_named_or_held_and_a_second_technician_adds_the_share() {
    let mut world = World::new().await;
    let change = BookChange {
        rates: Some(vec![NewRate {
            name: "Senior".to_owned(),
            hourly_rate: Cents(15_000),
        }]),
        second_technician_share: Some(Decimal::new(5, 1)),
        ..BookChange::default()
    };
    next_book(&world, change).await;
    let act = world.owner();
    let grade = pricing::SetLabourGrade {
        staff_id: 1,
        grade: Some("Senior".to_owned()),
    };
    pricing::set_labour_grade(&act, grade).await.unwrap();
    let line = |terms| NewLine {
        minutes: Some(60),
        terms,
        ..NewLine::of(ChargeKind::Labour)
    };
    let plain = LineTerms::default;
    let named = LineTerms {
        grade: Some("Senior".to_owned()),
        crew: Some(Crew::Two),
        ..plain()
    };
    let held = LineTerms {
        technician_id: Some(1),
        ..plain()
    };
    let lines = offered(
        &mut world,
        vec![line(plain()), line(named.clone()), line(held)],
    )
    .await
    .unwrap();
    let nets = lines.iter().map(|line| line.net_cents).collect::<Vec<_>>();
    assert_eq!(nets, [10_800, 22_500, 15_000]);
    assert_eq!(lines[1].unit_price_cents, 22_500);
    assert_eq!(lines[1].description, "Labor, two technicians");
    assert_eq!(lines[2].rate_name.as_deref(), Some("Senior"));
    let unknown = LineTerms {
        grade: Some("Master".to_owned()),
        ..plain()
    };
    let path = "options.0.lines.0.grade".to_owned();
    let refused = offered(&mut world, vec![line(unknown)]).await;
    assert_eq!(refusals(refused), [(NotFound, path)]);
    let nobody = LineTerms {
        technician_id: Some(77),
        ..plain()
    };
    let path = "options.0.lines.0.technicianId".to_owned();
    let refused = offered(&mut world, vec![line(nobody)]).await;
    assert_eq!(refusals(refused), [(NotFound, path)]);
    let both = LineTerms {
        technician_id: Some(1),
        ..named
    };
    let path = "options.0.lines.0.technicianId".to_owned();
    let refused = offered(&mut world, vec![line(both)]).await;
    assert_eq!(refusals(refused), [(Malformed, path)]);
}

#[tokio::test]
async fn a_trip_costs_what_the_zone_of_the_address_says() {
    let mut world = World::new().await;
    let zone = |name: &str, charge, codes: &[&str]| NewZone {
        name: name.to_owned(),
        charge: Cents(charge),
        postal_codes: codes.iter().map(|code| (*code).to_owned()).collect(),
        up_to_distance: None,
    };
    let change = BookChange {
        zones: Some(vec![
            zone("Town", 2_900, &["439*"]),
            zone("Island", 9_900, &[]),
        ]),
        ..BookChange::default()
    };
    next_book(&world, change).await;
    let trip = || vec![NewLine::of(ChargeKind::Trip)];
    let lines = offered(&mut world, trip()).await.unwrap();
    assert_eq!(lines[0].net_cents, 2_900);
    assert_eq!(lines[0].zone_name.as_deref(), Some("Town"));
}

#[tokio::test]
async fn a_second_trip_or_diagnosis_on_one_option_needs_a_reason_that_is_printed() {
    let mut world = World::new().await;
    let line = NewLine::of;
    let twice = vec![
        line(ChargeKind::Trip),
        line(ChargeKind::Diagnostic),
        line(ChargeKind::Trip),
        line(ChargeKind::Diagnostic),
    ];
    let refused = offered(&mut world, twice).await;
    let path = |at| format!("options.0.lines.{at}.repeatReason");
    assert_eq!(refusals(refused), [(Missing, path(2)), (Missing, path(3))]);
    let again = NewLine {
        terms: LineTerms {
            repeat_reason: Some("to fit the part on order".to_owned()),
            ..LineTerms::default()
        },
        ..line(ChargeKind::Trip)
    };
    let lines = offered(&mut world, vec![line(ChargeKind::Trip), again])
        .await
        .unwrap();
    assert_eq!(lines[1].description, "Trip: to fit the part on order");
    assert_eq!(lines[1].net_cents, 3_500);
}

#[tokio::test]
async fn a_part_brings_its_core_deposit_and_freight_as_lines_of_their_own() {
    let mut world = World::new().await;
    let act = world.owner();
    let new = pricing::AddPart {
        number: "PU-77".to_owned(),
        description: "Pump, rebuilt".to_owned(),
        supplier: Some("Quarry Parts".to_owned()),
        cost: Cents(4_000),
        core_deposit: Some(Cents(1_500)),
        freight: Some(Cents(600)),
        ..pricing::AddPart::default()
    };
    let row = pricing::add_part(&act, new).await.unwrap();
    let two = NewLine {
        part_id: Some(row.id),
        quantity: Some(Decimal::TWO),
        ..NewLine::of(ChargeKind::Part)
    };
    let lines = offered(&mut world, vec![two]).await.unwrap();
    let shown = lines
        .iter()
        .map(|line| (line.kind, line.net_cents, line.cost_cents, line.priced_by))
        .collect::<Vec<_>>();
    let by_book = Some(PricedBy::Book);
    assert_eq!(
        shown,
        [
            (ChargeKind::Part, 16_000, 8_000, by_book),
            (ChargeKind::Fee, 3_000, 3_000, by_book),
            (ChargeKind::Freight, 1_200, 1_200, by_book),
        ]
    );
    assert!(
        lines[1]
            .description
            .contains("comes back with the old part")
    );
}

#[tokio::test]
async fn a_price_given_by_hand_is_marked_as_such_and_an_after_hours_rate_is_not_raised_again() {
    let mut world = World::new().await;
    let by_hand = NewLine {
        minutes: Some(60),
        hours: WorkHours::AfterHours,
        unit_price: Some(Cents(20_000)),
        ..NewLine::of(ChargeKind::Labour)
    };
    let lines = offered(&mut world, vec![by_hand]).await.unwrap();
    assert_eq!(lines[0].net_cents, 20_000);
    assert_eq!(lines[0].priced_by, Some(PricedBy::Hand));
}

#[tokio::test]
async fn a_line_says_what_raises_its_price_beside_the_time() {
    let mut world = World::new().await;
    let change = BookChange {
        after_hours_multiplier: Some(Decimal::new(15, 1)),
        tasks: Some(vec![task("element", "2")]),
        ..BookChange::default()
    };
    let book = next_book(&world, change).await;
    let listed = tasks_of(&world, &book).await;
    let raised = |line: NewLine| NewLine {
        hours: WorkHours::AfterHours,
        terms: LineTerms {
            crew: Some(Crew::Two),
            ..line.terms
        },
        ..line
    };
    let by_clock = NewLine {
        minutes: Some(120),
        ..NewLine::of(ChargeKind::Labour)
    };
    let named = NewLine {
        description: Some("Fit the element".to_owned()),
        ..by_clock.clone()
    };
    let lines = [by_clock, named, by_task(listed[0])].map(raised);
    let lines = offered(&mut world, lines.to_vec()).await.unwrap();
    let words = lines.iter().map(|line| line.description.as_str());
    assert_eq!(
        words.collect::<Vec<_>>(),
        [
            "Labor, after hours, two technicians",
            "Fit the element, after hours, two technicians",
            "Replace the element and test it. After hours, two technicians.",
        ]
    );
    // 2 h at 108.00, half as much again after hours, twice for the second technician.
    assert_eq!(lines[0].net_cents, 64_800);
}

#[tokio::test]
async fn a_part_that_a_warranty_replaces_brings_no_bill_for_core_deposit_and_freight() {
    let mut world = World::new().await;
    let new = pricing::AddPart {
        number: "PU-77".to_owned(),
        description: "Pump".to_owned(),
        cost: Cents(4_000),
        core_deposit: Some(Cents(1_500)),
        freight: Some(Cents(600)),
        component_class: Some("drive".to_owned()),
        ..pricing::AddPart::default()
    };
    let row = pricing::add_part(&world.owner(), new).await.unwrap();
    assert_eq!(row.component_class.as_deref(), Some("drive"));
    let one = NewLine {
        part_id: Some(row.id),
        ..NewLine::of(ChargeKind::Part)
    };
    let mut swap = one.clone();
    swap.facts.replaced_under_warranty = true;
    let mut share = swap.clone();
    share.unit_price = Some(Cents(2_500));
    let given = NewLine {
        unit_price: Some(Cents::ZERO),
        ..one.clone()
    };
    let lines = offered(&mut world, vec![swap, share, given]).await.unwrap();
    let nets = lines.iter().map(|line| (line.kind, line.net_cents));
    let part = ChargeKind::Part;
    assert_eq!(
        nets.collect::<Vec<_>>(),
        [(part, 0), (part, 2_500), (part, 0)]
    );
    let billed = offered(&mut world, vec![one]).await.unwrap();
    assert_eq!(billed.len(), 3);
}
