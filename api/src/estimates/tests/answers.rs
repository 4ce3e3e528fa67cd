//! Answers that come late, by way of a question, or with a deposit to pay.

use chrono::TimeDelta;
use nameplate_entities::estimate_question;
use nameplate_entities::kinds::{EstimateState, MailKind};
use nameplate_rules::money::Cents;
use sea_orm::EntityTrait;

use crate::base::testing::refusals;
use crate::base::{Caller, ProblemCode};
use crate::estimates::answering::link::{self, Shown};
use crate::estimates::tests::testing::{World, by_telephone, offer};
use crate::estimates::*;

impl World {
    /// Writes down today that the customer accepted so many days ago.
    async fn accepted_before(
        &mut self,
        revision_id: i64,
        days: i64,
    ) -> crate::base::Result<nameplate_entities::estimate_revision::Model> {
        let options = store::options_of(self.app.db.read(), revision_id)
            .await
            .unwrap();
        let at = self.owner().at - TimeDelta::days(days);
        let command = RecordAcceptance {
            idempotency_key: self.key(),
            revision_id,
            option_id: options[0].id,
            told: Told {
                at: Some(at),
                ..by_telephone()
            },
        };
        record_acceptance(&self.owner(), command).await
    }

    async fn days_pass(&self, days: i64) {
        self.app.clock.advance(TimeDelta::days(days));
        let program = self.app.act(Caller::Program);
        expire_due(&program).await.unwrap();
    }
}

#[tokio::test]
async fn an_answer_given_in_time_is_written_down_after_the_estimate_lapsed() {
    for mut world in World::everywhere().await {
        let draft = world.draft().await;
        world.present(draft.id).await.unwrap();
        world.days_pass(40).await;
        let lapsed = world.revisions().await.remove(0);
        assert_eq!(lapsed.state, EstimateState::Expired);
        // Valid for thirty days: nine days ago was too late, twenty days ago was in time.
        assert_eq!(
            refusals(world.accepted_before(draft.id, 9).await),
            [(ProblemCode::Expired, "revisionId".to_owned())]
        );
        let accepted = world.accepted_before(draft.id, 20).await.unwrap();
        assert_eq!(accepted.state, EstimateState::Accepted);
    }
}

#[tokio::test]
async fn what_lapsed_and_was_offered_anew_is_answered_as_it_is_offered_now() {
    let mut world = World::new().await;
    let draft = world.draft().await;
    world.present(draft.id).await.unwrap();
    world.days_pass(40).await;
    let newer = world.revise(draft.estimate_id, offer()).await;
    world.present(newer.id).await.unwrap();
    assert_eq!(
        refusals(world.accepted_before(draft.id, 20).await),
        [(ProblemCode::Superseded, "revisionId".to_owned())]
    );
}

#[tokio::test]
async fn nobody_is_nudged_while_the_shop_owes_an_answer() {
    for mut world in World::everywhere().await {
        let draft = world.draft().await;
        let token = world.send(draft.id).await.unwrap();
        world.deliver().await;
        let customer = world.app.act(Caller::CustomerLink);
        let asked = link::ask(&customer, &token, "Can you come on Friday?").await;
        assert!(matches!(asked, Ok(Shown::Asked)));
        world.app.clock.advance(TimeDelta::days(5));
        let program = || world.app.act(Caller::Program);
        assert_eq!(remind_due(&program()).await.unwrap(), 0);
        let question = estimate_question::Entity::find().one(world.app.db.read());
        let answer = AnswerQuestion {
            idempotency_key: "an answer".to_owned(),
            question_id: question.await.unwrap().unwrap().id,
            answer: "Yes, in the morning.".to_owned(),
        };
        answer_question(&world.owner(), answer).await.unwrap();
        world.deliver().await;
        world.app.clock.advance(TimeDelta::days(1));
        assert_eq!(remind_due(&program()).await.unwrap(), 1);
    }
}

#[tokio::test]
async fn the_shop_and_the_customer_are_told_of_the_deposit() {
    for mut world in World::everywhere().await {
        let mut offered = offer();
        offered.options[0].deposit_amount = Some(Cents(5_000));
        let command = DraftEstimate {
            idempotency_key: world.key(),
            call_id: world.call_id,
            offer: offered,
        };
        let draft = draft_estimate(&world.owner(), command).await.unwrap();
        let token = world.send(draft.id).await.unwrap();
        let Shown::Answered(page) = world.accept(&token).await else {
            panic!("the answer was not taken");
        };
        let html = askama::Template::render(&*page).unwrap();
        assert!(html.contains("a deposit of USD 50.00"), "{html}");
        assert!(!html.contains("nothing more"), "{html}");
        let mails = world.mails().await;
        let notice = mails
            .iter()
            .find(|mail| mail.kind == MailKind::Notice)
            .unwrap();
        assert!(notice.payload_json.contains("a deposit of USD 50.00"));
        assert_eq!(mails.last().unwrap().kind, MailKind::Confirmation);
        let settings = crate::shop::settings(world.app.db.read()).await.unwrap();
        let mail = confirmation(world.app.db.read(), &settings, draft.id)
            .await
            .unwrap();
        assert!(mail.rendered.text.contains("a deposit of USD 50.00"));
    }
}
