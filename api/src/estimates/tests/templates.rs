//! Common repairs as templates, and work offered again: priced today, with a word on whatever is not as it was.

use nameplate_entities::kinds::ChargeKind;
use nameplate_entities::{appliance_type, part, repair_template};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, EntityTrait};

use crate::base::ProblemCode;
use crate::base::testing::refusals;
use crate::estimates::tests::catalogue::{next_book, task};
use crate::estimates::tests::testing::World;
use crate::estimates::writing::carrying::Carried;
use crate::estimates::writing::duplicating::{DuplicateEstimate, duplicate_estimate};
use crate::estimates::writing::from_templates::{DraftFromTemplates, draft_from_templates};
use crate::estimates::writing::tax_facts::OptionFacts;
use crate::estimates::writing::templates::{
    ChangeTemplate, NewTemplate, TemplateLine, add_repair_template, change_repair_template,
};
use crate::estimates::*;
use crate::pricing::BookChange;

fn listed(hours: &str) -> BookChange {
    BookChange {
        tasks: Some(vec![task("element", hours)]),
        ..BookChange::default()
    }
}

impl World {
    /// A part, and the one that takes its place if there is one.
    async fn part(&self, number: &str, cost_cents: i64, superseded_by_id: Option<i64>) -> i64 {
        let tx = self.app.db.write().await.unwrap();
        let row = part::ActiveModel {
            number: Set(number.to_owned()),
            description: Set(format!("Element {number}")),
            cost_cents: Set(cost_cents),
            superseded_by_id: Set(superseded_by_id),
            version: Set(1),
            ..Default::default()
        };
        let row = row.insert(&tx).await.unwrap();
        tx.commit().await.unwrap();
        row.id
    }

    /// A template for the type of the machine at hand.
    async fn template(&self, part_id: i64) -> NewTemplate {
        let call = store::subject_of(self.app.db.read(), self.call_id)
            .await
            .unwrap();
        NewTemplate {
            name: "Element open".to_owned(),
            appliance_type_id: call.appliance_type.id,
            component_id: None,
            failure_mode_id: None,
            title: "New element".to_owned(),
            summary: None,
            notes: None,
            found: Some("The element is open.".to_owned()),
            deposit_percent: Some(Decimal::from(50)),
            lines: vec![
                TemplateLine {
                    task_key: Some("element".to_owned()),
                    minutes: Some(40),
                    ..TemplateLine::of(ChargeKind::Labour)
                },
                TemplateLine {
                    part_id: Some(part_id),
                    section: Some("Parts".to_owned()),
                    ..TemplateLine::of(ChargeKind::Part)
                },
            ],
        }
    }

    async fn drafted_from(&mut self, ids: &[i64]) -> crate::base::Result<Carried> {
        let command = DraftFromTemplates {
            idempotency_key: self.key(),
            call_id: self.call_id,
            template_ids: ids.to_vec(),
        };
        draft_from_templates(&self.owner(), command).await
    }

    /// Net amounts of the only option of a draft.
    async fn nets(&self, carried: &Carried) -> Vec<i64> {
        let db = self.app.db.read();
        let options = store::options_of(db, carried.revision.id).await.unwrap();
        let lines = store::lines_of(db, &[options[0].id]).await.unwrap();
        lines.iter().map(|line| line.net_cents).collect()
    }
}

#[tokio::test]
async fn a_template_is_priced_by_the_book_of_the_day_and_outlives_it() {
    for mut world in World::everywhere().await {
        next_book(&world, listed("0.5")).await;
        let part_id = world.part("EL-1", 4_000, None).await;
        let new = world.template(part_id).await;
        let template = add_repair_template(&world.owner(), new).await.unwrap();
        let first = world.drafted_from(&[template.id]).await.unwrap();
        assert_eq!(first.remarks, Vec::<String>::new());
        // Half an hour at 108.00; a cost of 40.00 doubled.
        assert_eq!(world.nets(&first).await, [5_400, 8_000]);
        let options = store::options_of(world.app.db.read(), first.revision.id)
            .await
            .unwrap();
        let half = (options[0].total_cents + 1) / 2;
        assert_eq!(options[0].deposit_cents, Some(half));
        next_book(&world, listed("0.75")).await;
        let second = world.drafted_from(&[template.id]).await.unwrap();
        assert_eq!(world.nets(&second).await, [8_100, 8_000]);
        let none = BookChange {
            tasks: Some(Vec::new()),
            ..BookChange::default()
        };
        next_book(&world, none).await;
        let third = world.drafted_from(&[template.id]).await.unwrap();
        // Its 40 minutes, billed as the whole first hour.
        assert_eq!(world.nets(&third).await, [10_800, 8_000]);
    }
}

#[tokio::test]
async fn a_template_tells_everything_that_is_wrong_with_it_at_once() {
    let world = World::new().await;
    next_book(&world, listed("0.5")).await;
    let mut wrong = world.template(99).await;
    wrong.name = " ".to_owned();
    wrong.component_id = Some(9_999);
    wrong.deposit_percent = Some(Decimal::from(101));
    wrong.lines[0].task_key = Some("unheard".to_owned());
    wrong.lines.push(TemplateLine::of(ChargeKind::Fee));
    let found = refusals(add_repair_template(&world.owner(), wrong).await);
    let paths = found
        .iter()
        .map(|(_, path)| path.as_str())
        .collect::<Vec<_>>();
    assert_eq!(
        paths,
        [
            "name",
            "depositPercent",
            "lines.2.unitPrice",
            "lines.2.description",
            "componentId",
            "lines.0.taskKey",
            "lines.1.partId",
        ]
    );
    let rows = repair_template::Entity::find()
        .all(world.app.db.read())
        .await;
    assert_eq!(rows.unwrap(), []);
}

#[tokio::test]
async fn a_template_that_is_retired_or_of_another_machine_is_not_offered() {
    for mut world in World::everywhere().await {
        next_book(&world, listed("0.5")).await;
        let part_id = world.part("EL-1", 4_000, None).await;
        let new = world.template(part_id).await;
        let template = add_repair_template(&world.owner(), new.clone())
            .await
            .unwrap();
        let change = |version, retired| ChangeTemplate {
            template_id: template.id,
            version,
            retired,
            template: new.clone(),
        };
        let retired = change_repair_template(&world.owner(), change(1, true))
            .await
            .unwrap();
        assert!(retired.retired_at.is_some() && retired.version == 2);
        let late = change_repair_template(&world.owner(), change(1, false)).await;
        assert_eq!(
            refusals(late),
            [(ProblemCode::Conflict, "version".to_owned())]
        );
        let refused = [(ProblemCode::WrongState, "templateIds.0".to_owned())];
        let outcome = world.drafted_from(&[template.id]).await.map(|_| ());
        assert_eq!(refusals(outcome), refused);
        change_repair_template(&world.owner(), change(2, false))
            .await
            .unwrap();
        world.drafted_from(&[template.id]).await.unwrap();
        let types = appliance_type::Entity::find()
            .all(world.app.db.read())
            .await
            .unwrap();
        let other = types
            .iter()
            .find(|row| row.id != new.appliance_type_id)
            .unwrap();
        let elsewhere = NewTemplate {
            appliance_type_id: other.id,
            ..new.clone()
        };
        let other = add_repair_template(&world.owner(), elsewhere)
            .await
            .unwrap();
        let outcome = world.drafted_from(&[other.id]).await.map(|_| ());
        assert_eq!(refusals(outcome), refused);
        let none = world.drafted_from(&[]).await.map(|_| ());
        assert_eq!(
            refusals(none),
            [(ProblemCode::Missing, "templateIds".to_owned())]
        );
    }
}

#[tokio::test]
async fn work_offered_again_costs_what_it_costs_today_and_says_what_is_not_as_it_was() {
    for mut world in World::everywhere().await {
        let newer = world.part("EL-2", 5_000, None).await;
        let older = world.part("EL-1", 4_000, Some(newer)).await;
        let lines = vec![
            NewLine {
                part_id: Some(older),
                ..NewLine::of(ChargeKind::Part)
            },
            NewLine {
                minutes: Some(60),
                ..NewLine::of(ChargeKind::Labour)
            },
            NewLine {
                unit_price: Some(Cents(1_000)),
                ..NewLine::of(ChargeKind::Trip)
            },
            NewLine {
                minutes: Some(60),
                description: Some("Cleaning".to_owned()),
                discount_amount: Some(Cents(5_000)),
                ..NewLine::of(ChargeKind::Labour)
            },
        ];
        let offer = Offer {
            options: vec![NewOption {
                title: "Repair".to_owned(),
                lines,
                ..NewOption::default()
            }],
            ..Offer::default()
        };
        let first = DraftEstimate {
            idempotency_key: world.key(),
            call_id: world.call_id,
            offer,
        };
        let first = draft_estimate(&world.owner(), first).await.unwrap();
        let dearer = BookChange {
            hourly_rate: Some(Cents(12_000)),
            ..BookChange::default()
        };
        next_book(&world, dearer).await;
        let command = DuplicateEstimate {
            idempotency_key: world.key(),
            estimate_id: first.estimate_id,
            call_id: world.call_id,
        };
        let again = duplicate_estimate(&world.owner(), command.clone())
            .await
            .unwrap();
        assert_ne!(again.revision.estimate_id, first.estimate_id);
        assert_eq!(world.nets(&again).await, [10_000, 12_000, 1_000, 12_000]);
        assert_eq!(
            again.remarks,
            [
                "Part EL-1 was superseded by EL-2, which is offered in its place.",
                "The price of Trip was typed by hand and stays at 10.00.",
                "The discount of 50.00 on Cleaning is not kept; grant it anew if it is still meant.",
            ]
        );
        let twice = duplicate_estimate(&world.owner(), command).await.unwrap();
        assert_eq!(
            (twice.revision.id, twice.remarks),
            (again.revision.id, again.remarks)
        );
    }
}

#[tokio::test]
async fn what_was_true_of_the_first_job_only_is_not_offered_to_another() {
    for mut world in World::everywhere().await {
        let trip = |reason: Option<&str>| NewLine {
            terms: LineTerms {
                repeat_reason: reason.map(str::to_owned),
                ..LineTerms::default()
            },
            ..NewLine::of(ChargeKind::Trip)
        };
        let option = NewOption {
            title: "Repair".to_owned(),
            lines: vec![trip(None), trip(Some("Nobody was at home."))],
            facts: OptionFacts {
                material_evidence: Some("Nothing was used, see the picture.".to_owned()),
                disaster_area: Some("The flood of May".to_owned()),
                ..OptionFacts::default()
            },
            ..NewOption::default()
        };
        let first = DraftEstimate {
            idempotency_key: world.key(),
            call_id: world.call_id,
            offer: Offer {
                found: Some("A wire was burnt.".to_owned()),
                options: vec![option],
                ..Offer::default()
            },
        };
        let first = draft_estimate(&world.owner(), first).await.unwrap();
        let command = DuplicateEstimate {
            idempotency_key: world.key(),
            estimate_id: first.estimate_id,
            call_id: world.another_call().await,
        };
        let again = duplicate_estimate(&world.owner(), command).await.unwrap();
        let db = world.app.db.read();
        let option = store::options_of(db, again.revision.id).await.unwrap();
        let option = option.first().unwrap();
        assert_eq!(OptionFacts::of_row(option), OptionFacts::default());
        assert_eq!(again.revision.found_text, "");
        assert_eq!(world.nets(&again).await.len(), 1);
        assert_eq!(
            again.remarks,
            [
                "What was found was of the first job and is left out. Say what was found this time.",
                "The proof that no part is used was of the first job and is left out.",
                "The first job was in a declared disaster area; this one is taken not to be.",
                "The reason for charging a trip or a diagnosis again was of the first job and is left out.",
                "A trip or a diagnosis that was charged again then is charged once now.",
            ]
        );
    }
}
