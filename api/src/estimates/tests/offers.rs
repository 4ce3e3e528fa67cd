//! Offers as the office works with them: sections and deposits, what changed, answers by telephone, reminders, figures.

use chrono::TimeDelta;
use nameplate_entities::kinds::LifeFuel::{Any, Electric, Gas};
use nameplate_entities::kinds::{AnswerWay, EstimateState, MailKind};
use nameplate_entities::{appliance, estimate};
use nameplate_rules::estimate::Content;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::EntityTrait;
use sea_orm::sea_query::Expr;

use crate::base::testing::{problems, refusals};
use crate::base::{Caller, ProblemCode};
use crate::estimates::answering::link::{self, Shown};
use crate::estimates::shown::{changes, printed};
use crate::estimates::tests::testing::{World, by_telephone, offer};
use crate::estimates::writing::weighing;
use crate::estimates::*;

fn frozen(revision: &nameplate_entities::estimate_revision::Model) -> Content {
    printed::content(revision).unwrap()
}

impl World {
    async fn draft_of(
        &mut self,
        offer: Offer,
    ) -> crate::base::Result<nameplate_entities::estimate_revision::Model> {
        let command = DraftEstimate {
            idempotency_key: self.key(),
            call_id: self.call_id,
            offer,
        };
        draft_estimate(&self.owner(), command).await
    }

    async fn latest(&self) -> nameplate_entities::estimate_revision::Model {
        self.revisions().await.pop().unwrap()
    }

    async fn wait(&self, days: i64) -> usize {
        self.app.clock.advance(TimeDelta::days(days));
        let program = self.app.act(Caller::Program);
        expire_due(&program).await.unwrap();
        remind_due(&program).await.unwrap()
    }
}

#[tokio::test]
async fn lines_of_one_section_stand_together_and_add_up_as_before() {
    for mut world in World::everywhere().await {
        let plain = world.draft_of(offer()).await.unwrap();
        let mut offered = offer();
        let sections = [Some("Today"), None, Some("Today")];
        for (line, section) in offered.options[0].lines.iter_mut().zip(sections) {
            line.section = section.map(str::to_owned);
        }
        let sectioned = world.draft_of(offered).await.unwrap();
        let db = world.app.db.read();
        let plain = store::options_of(db, plain.id).await.unwrap().remove(0);
        let option = store::options_of(db, sectioned.id).await.unwrap().remove(0);
        assert_eq!(option.total_cents, plain.total_cents);
        let lines = store::lines_of(db, &[option.id]).await.unwrap();
        let order = lines
            .iter()
            .map(|line| line.section.as_deref())
            .collect::<Vec<_>>();
        assert_eq!(order, [None, Some("Today"), Some("Today")]);
    }
}

#[tokio::test]
async fn a_deposit_is_a_share_of_the_total_or_an_amount_and_never_more() {
    let mut world = World::new().await;
    let mut half = offer();
    half.options[0].deposit_percent = Some(Decimal::from(50));
    let draft = world.draft_of(half).await.unwrap();
    let options = store::options_of(world.app.db.read(), draft.id)
        .await
        .unwrap();
    // Half of 161.51 is 80.755, which goes up.
    assert_eq!(options[0].deposit_cents, Some(8_076));
    let mut too_much = offer();
    too_much.options[0].deposit_amount = Some(Cents(16_152));
    assert_eq!(
        refusals(world.draft_of(too_much).await),
        [(ProblemCode::TooMuch, "options.0.depositAmount".to_owned())]
    );
    let mut both = offer();
    both.options[0].deposit_amount = Some(Cents(-1));
    both.options[0].deposit_percent = Some(Decimal::from(101));
    assert_eq!(
        refusals(world.draft_of(both).await),
        [
            (
                ProblemCode::NegativeMoney,
                "options.0.depositAmount".to_owned()
            ),
            (ProblemCode::Malformed, "options.0.depositAmount".to_owned()),
            (
                ProblemCode::OutOfRange,
                "options.0.depositPercent".to_owned()
            ),
        ]
    );
}

#[tokio::test]
async fn a_later_revision_tells_what_changed_since_the_one_the_customer_has() {
    for mut world in World::everywhere().await {
        let first = world.draft().await;
        world.send(first.id).await.unwrap();
        let mut cheaper = offer();
        cheaper.options[0].discount_percent = Some(Decimal::from(20));
        let second = world.revise(first.estimate_id, cheaper).await;
        let act = world.owner();
        let app = std::sync::Arc::clone(&world.app);
        let db = app.db.read();
        let read = changes::between(db, &act, &second, 1)
            .await
            .unwrap()
            .unwrap();
        assert_eq!(read.totals[0].from, Some(Cents(16_151)));
        world.send(second.id).await.unwrap();
        let sent = frozen(&world.latest().await);
        let block = sent.changes.unwrap();
        assert_eq!(block.since, 1);
        assert_eq!(block.sentences, read.sentences());
        let last = block.sentences.last().unwrap();
        // 135.00 + 35.00 less 20 % is 136.00; tax on 108.00 is 7.56.
        assert_eq!(last, "The total of \"Repair\" falls from 161.51 to 143.56.");
        assert!(
            changes::between(db, &act, &first, 2)
                .await
                .unwrap()
                .is_none()
        );
    }
}

#[tokio::test]
async fn a_customer_without_mail_gets_paper_and_accepts_by_telephone() {
    for mut world in World::everywhere().await {
        let draft = world.draft().await;
        let early = world.accept_by_telephone(draft.id).await;
        assert_eq!(
            refusals(early),
            [(ProblemCode::WrongState, "revisionId".to_owned())]
        );
        let other = world.draft().await;
        let third = world.draft().await;
        world.present(other.id).await.unwrap();
        let shown = world.present(draft.id).await.unwrap();
        assert!(shown.content_hash.is_some() && world.mails().await.is_empty());
        assert_eq!(shown.next_reminder_on, None);
        let accepted = world.accept_by_telephone(draft.id).await.unwrap();
        assert_eq!(accepted.state, EstimateState::Accepted);
        assert_eq!(accepted.answered_by, Some(AnswerWay::Telephone));
        assert_eq!(accepted.answered_phone.as_deref(), Some("+14155550142"));
        assert_eq!(accepted.answer_received_by, Some(1));
        let found = accepted_for_call(world.app.db.read(), world.call_id)
            .await
            .unwrap();
        assert_eq!(found.unwrap().revision.id, draft.id);
        let kinds = world
            .mails()
            .await
            .iter()
            .map(|mail| mail.kind)
            .collect::<Vec<_>>();
        assert_eq!(kinds, [MailKind::Notice, MailKind::Confirmation]);
        let again = world.accept_by_telephone(draft.id).await;
        assert_eq!(
            refusals(again),
            [(ProblemCode::WrongState, "revisionId".to_owned())]
        );
        let second = problems(world.accept_by_telephone(other.id).await);
        assert_eq!(
            second[0].message,
            "Another estimate for this work was already accepted."
        );
        let late = problems(world.present(third.id).await);
        assert_eq!(
            late[0].message,
            "Estimate E-000001 for this call is accepted already. Revise that one to offer other work."
        );
    }
}

#[tokio::test]
async fn an_answer_is_noted_with_who_how_and_a_time_that_can_be() {
    let mut world = World::new().await;
    let draft = world.draft().await;
    world.present(draft.id).await.unwrap();
    let tomorrow = world.owner().at + TimeDelta::days(1);
    let yesterday = world.owner().at - TimeDelta::days(1);
    let record = |told: Told| RecordDecline {
        idempotency_key: "one key".to_owned(),
        revision_id: draft.id,
        reason: None,
        told,
    };
    let wrong = Told {
        way: AnswerWay::Link,
        name: " ".to_owned(),
        phone: Some("12".to_owned()),
        at: Some(tomorrow),
        note: None,
    };
    assert_eq!(
        refusals(record_decline(&world.owner(), record(wrong)).await),
        [
            (ProblemCode::ImpossibleDate, "at".to_owned()),
            (ProblemCode::Malformed, "by".to_owned()),
            (ProblemCode::Malformed, "phone".to_owned()),
            (ProblemCode::Missing, "name".to_owned()),
        ]
    );
    let no_phone = Told {
        phone: None,
        at: Some(yesterday),
        ..by_telephone()
    };
    assert_eq!(
        refusals(record_decline(&world.owner(), record(no_phone)).await),
        [
            (ProblemCode::ImpossibleDate, "at".to_owned()),
            (ProblemCode::Missing, "phone".to_owned()),
        ]
    );
    let by_signature = || {
        record(Told {
            way: AnswerWay::Signature,
            phone: None,
            ..by_telephone()
        })
    };
    let declined = record_decline(&world.owner(), by_signature())
        .await
        .unwrap();
    let again = record_decline(&world.owner(), by_signature())
        .await
        .unwrap();
    assert_eq!((declined.state, declined), (EstimateState::Declined, again));
}

#[tokio::test]
async fn a_customer_who_does_not_answer_is_reminded_three_times_and_no_more() {
    for mut world in World::everywhere().await {
        let draft = world.draft().await;
        world.send(draft.id).await.unwrap();
        assert_eq!(
            world.wait(3).await,
            0,
            "the estimate itself has not left yet"
        );
        world.deliver().await;
        assert_eq!(world.wait(1).await, 1);
        let token = world.last_token().await;
        let customer = world.app.act(Caller::CustomerLink);
        assert!(matches!(
            link::open(&customer, &token).await.unwrap(),
            Shown::Offer(_)
        ));
        assert_eq!(world.wait(0).await, 0, "the same round made twice");
        let counts = [
            world.wait(6).await,
            world.wait(18).await,
            world.wait(1).await,
        ];
        assert_eq!(counts, [1, 0, 1]);
        assert_eq!(world.latest().await.next_reminder_on, None);
        assert_eq!(world.wait(2).await, 0);
        assert_eq!(world.latest().await.state, EstimateState::Expired);
        let mails = world.mails().await;
        let reminders = mails.iter().filter(|mail| mail.kind == MailKind::Reminder);
        assert_eq!(reminders.count(), 3);
        let digest = mails.last().unwrap();
        assert!(
            digest
                .payload_json
                .contains("1 estimate ended without an answer")
        );
        assert!(
            digest.payload_json.contains("Odalys Fenwick"),
            "{}",
            digest.payload_json
        );
    }
}

#[tokio::test]
async fn reminders_end_with_an_answer_a_question_or_the_customers_word() {
    for mut world in World::everywhere().await {
        let draft = world.draft().await;
        let token = world.send(draft.id).await.unwrap();
        world.deliver().await;
        let customer = world.app.act(Caller::CustomerLink);
        let asked = reminding::ask(&customer, &token).await.unwrap();
        assert!(matches!(asked, Shown::Reminders(page) if !page.are_stopped));
        for _ in 0..2 {
            let stopped = reminding::stop(&customer, &token).await.unwrap();
            assert!(matches!(stopped, Shown::Reminders(page) if page.are_stopped));
        }
        let unknown = reminding::stop(&customer, "nothing").await.unwrap();
        assert!(matches!(unknown, Shown::Gone(_)));
        assert_eq!(world.wait(5).await, 0);
        let row = estimate::Entity::find_by_id(draft.estimate_id);
        let row = row.one(world.app.db.read()).await.unwrap().unwrap();
        assert!(row.reminders_stopped_at.is_some());
        assert_eq!(world.latest().await.next_reminder_on, None);
        let later = world.revise(draft.estimate_id, offer()).await;
        world.send(later.id).await.unwrap();
        assert_eq!(world.latest().await.next_reminder_on, None);
    }
}

#[tokio::test]
async fn a_mail_whose_estimate_is_offered_no_more_need_not_leave() {
    let mut world = World::new().await;
    let first = world.draft().await;
    world.send(first.id).await.unwrap();
    let act = world.owner();
    assert_eq!(
        moot(&act, (first.id, "no link"), false).await.unwrap(),
        None
    );
    let second = world.revise(first.estimate_id, offer()).await;
    let token = world.send(second.id).await.unwrap();
    assert!(
        moot(&act, (first.id, "no link"), false)
            .await
            .unwrap()
            .is_some()
    );
    world.accept(&token).await;
    assert_eq!(
        moot(&act, (second.id, "no link"), false).await.unwrap(),
        None
    );
    assert!(
        moot(&act, (second.id, "no link"), true)
            .await
            .unwrap()
            .is_some()
    );
}

/// National Association of Home Builders and Bank of America Home Equity, Study of Life Expectancy of Home Components,
/// February 2007, as printed; its compactor (6) is no type that a shop starts with.
#[tokio::test]
async fn a_shop_starts_with_the_usual_lives_of_the_published_study() {
    let world = World::new().await;
    let db = world.app.db.read();
    let types = nameplate_entities::appliance_type::Entity::find()
        .all(db)
        .await
        .unwrap();
    let lives = nameplate_entities::expected_life::Entity::find()
        .all(db)
        .await
        .unwrap();
    let mut table = lives
        .iter()
        .map(|life| {
            let of_type = types.iter().find(|row| row.id == life.appliance_type_id);
            assert!(life.source.contains("February 2007"), "{}", life.source);
            (of_type.unwrap().key.as_str(), life.fuel, life.years)
        })
        .collect::<Vec<_>>();
    table.sort_by_key(|(key, _, years)| (*key, *years));
    assert_eq!(
        table,
        [
            ("dishwasher", Any, 9),
            ("dryer", Any, 13),
            ("microwave", Any, 9),
            ("range", Electric, 13),
            ("range", Gas, 15),
            ("refrigerator", Any, 13),
            ("room_air_conditioner", Any, 10),
            ("washer", Any, 10),
            ("water_heater", Gas, 10),
            ("water_heater", Electric, 11),
        ]
    );
}

#[tokio::test]
async fn an_old_machine_is_shown_with_its_age_and_the_source_of_its_usual_life() {
    for mut world in World::everywhere().await {
        let tx = world.app.db.write().await.unwrap();
        let made: chrono::NaiveDate = "2014-03-01".parse().unwrap();
        let of_type = nameplate_entities::appliance_type::Entity::find();
        let types = of_type.all(&tx).await.unwrap();
        let heater = types.iter().find(|row| row.key == "water_heater").unwrap();
        appliance::Entity::update_many()
            .col_expr(appliance::Column::MadeOn, Expr::value(made))
            .col_expr(appliance::Column::ApplianceTypeId, Expr::value(heater.id))
            .exec(&tx)
            .await
            .unwrap();
        tx.commit().await.unwrap();
        let offered = Offer {
            weighs_replacement: true,
            replacement_price: Some(Cents(89_900)),
            ..offer()
        };
        let draft = world.draft_of(offered).await.unwrap();
        let sent = world.present(draft.id).await.unwrap();
        let weighing = frozen(&sent).weighing.unwrap();
        assert_eq!(weighing.age.unwrap().years, 12);
        // 12 of 11 years; 161.51 of 899.00 is 17.97 %.
        assert_eq!(weighing.life_used_percent, Some(109));
        assert_eq!(weighing.shares[0].percent, 18);
        let source = weighing.sentences().pop().unwrap();
        assert!(
            source.contains("2007") && source.contains("Copies"),
            "{source}"
        );
        let change = weighing::ChangeExpectedLife {
            appliance_type_id: heater.id,
            fuel: nameplate_entities::kinds::LifeFuel::Electric,
            years: 12,
            source: "Our own book, 2026".to_owned(),
            caution: None,
        };
        let changed = weighing::change_expected_life(&world.owner(), change)
            .await
            .unwrap();
        assert_eq!((changed.years, changed.version), (12, 2));
        let next = world
            .draft_of(Offer {
                weighs_replacement: true,
                ..offer()
            })
            .await
            .unwrap();
        let sent = world.present(next.id).await.unwrap();
        assert_eq!(frozen(&sent).weighing.unwrap().life_used_percent, Some(100));
    }
}
