//! The life of a flag from its first failure to the next, and the shop's own list of checks; on both databases.

use nameplate_entities::kinds::{CallKind, FlagLevel, FlagState, Method};
use nameplate_entities::{flag, flag_evidence, flag_step, service_call};
use nameplate_rules::cautions::Caution;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, PaginatorTrait,
    QueryFilter, QueryOrder,
};

use crate::base::{Error, ProblemCode, Result};
use crate::callbacks::{self, MoveFlag, SetCheckAdvice};
use crate::calls::ScheduleVisit;
use crate::closeout::testing::{Workshop, day, refusals};
use crate::graphql::ids::Kind;
use crate::stock;

use super::graph_tests::ask;

const FIRST_ON: &str = "2024-01-10";

impl Workshop {
    async fn moves(&self, flag_id: i64, to: FlagState, note: &str) -> Result<flag::Model> {
        let step = MoveFlag {
            flag_id,
            to,
            note: note.to_owned(),
        };
        callbacks::move_flag(&self.owner(), step).await
    }

    /// Acknowledged, answered and closed.
    async fn deals_with(&self, flag_id: i64) {
        for to in [
            FlagState::Acknowledged,
            FlagState::Answered,
            FlagState::Closed,
        ] {
            self.moves(flag_id, to, "thicker wire fitted")
                .await
                .expect("moved");
        }
    }

    async fn steps_of(&self, flag_id: i64) -> Vec<(FlagState, String)> {
        let rows = flag_step::Entity::find()
            .filter(flag_step::Column::FlagId.eq(flag_id))
            .order_by_asc(flag_step::Column::Id)
            .all(self.app.db.read())
            .await
            .expect("steps");
        rows.into_iter().map(|row| (row.state, row.note)).collect()
    }

    async fn evidence_of(&self, flag_id: i64) -> Vec<i64> {
        let rows = flag_evidence::Entity::find()
            .filter(flag_evidence::Column::FlagId.eq(flag_id))
            .order_by_asc(flag_evidence::Column::CompletedOn)
            .all(self.app.db.read())
            .await
            .expect("evidence");
        rows.iter().map(|row| row.call_id).collect()
    }

    async fn flags_there_are(&self) -> u64 {
        let count = flag::Entity::find().count(self.app.db.read()).await;
        count.expect("flags")
    }

    async fn finds_nothing_wrong(&self) {
        let findings = super::run(&self.app.db).await.expect("verified");
        let findings = findings.iter().map(ToString::to_string);
        assert_eq!(findings.collect::<Vec<_>>(), Vec::<String>::new());
    }

    async fn asks_why(&self, call: &service_call::Model) -> bool {
        let asks = callbacks::asks_root_cause(self.app.db.read(), call).await;
        asks.expect("flags")
    }
}

#[tokio::test]
async fn a_technician_sees_no_flag_of_another_machine_by_an_old_call_it_rests_on() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        let failure = shop.failure("Door gasket", "worn").await;
        let own = shop.machine(Some("F-8")).await;
        let call = shop.open_call(&own, CallKind::Repair).await.call;
        let visit = ScheduleVisit {
            call_ids: vec![call.id],
            technician_id: shop.technician_id,
            planned_on: day(FIRST_ON),
            window: None,
            reason: None,
            reason_note: None,
        };
        let visit = stock::schedule_visit(&shop.owner(), visit).await;
        visit.expect("a visit");
        let found = shop.find(&call, failure).await.finding;
        let other = shop.machine(Some("F-9")).await;
        shop.repair(&other, day("2024-01-11"), failure).await;
        let (_, flag) = shop.repair(&other, day("2024-02-01"), failure).await;
        let tx = shop.app.db.write().await.expect("a transaction");
        let rests = flag_evidence::ActiveModel {
            flag_id: Set(flag.expect("a flag").id),
            call_id: Set(call.id),
            finding_id: Set(found.id),
            completed_on: Set(day(FIRST_ON)),
            method: Set(None),
            ..Default::default()
        };
        rests.insert(&tx).await.expect("evidence");
        tx.commit().await.expect("written");
        let id = Kind::ServiceCall.id(call.id);
        let query = format!(
            "{{ serviceCall(id: \"{}\") {{ flags {{ reason }} }} }}",
            *id
        );
        let flags = async |act| {
            let answer = ask(&act, &query).await;
            let flags = answer["data"]["serviceCall"]["flags"].as_array();
            flags.expect("flags").len()
        };
        assert_eq!(flags(shop.owner()).await, 1);
        assert_eq!(flags(shop.technician(shop.technician_id)).await, 0);
    }
}

#[tokio::test]
async fn the_next_failure_opens_the_machines_flag_again_whatever_was_made_of_it() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        let failure = shop.failure("Surface burner terminal", "burnt").await;
        let machine = shop.machine(Some("F-1")).await;
        let (one, _) = shop.repair(&machine, day(FIRST_ON), failure).await;
        let (two, first) = shop.repair(&machine, day("2024-02-01"), failure).await;
        let first = first.expect("a flag");
        assert_eq!(shop.evidence_of(first.id).await, [one.id]);
        shop.deals_with(first.id).await;

        let (three, again) = shop.repair(&machine, day("2024-06-01"), failure).await;
        let again = again.expect("the flag");
        assert_eq!(again.id, first.id, "one flag for the machine's failure");
        assert_eq!(shop.flags_there_are().await, 1);
        assert_eq!((again.state, again.call_id), (FlagState::Open, three.id));
        assert_ne!(again.finding_id, first.finding_id);
        assert!(again.reason.starts_with("Third burnt"), "{}", again.reason);
        assert!(again.raised_at > first.raised_at);
        let rests_on = [one.id, two.id];
        assert_eq!(shop.evidence_of(first.id).await, rests_on);
        let last = shop.steps_of(first.id).await.pop();
        let note = format!("Opened again: back on call {}.", three.number);
        assert_eq!(last, Some((FlagState::Open, note)));
        assert_eq!(shop.mails().await.len(), 2, "the desk is told each time");
        shop.finds_nothing_wrong().await;

        // Not closed yet, and back once more: the same flag goes on to the next call.
        shop.moves(first.id, FlagState::Acknowledged, "seen")
            .await
            .expect("moved");
        let (four, again) = shop.repair(&machine, day("2024-06-20"), failure).await;
        let again = again.expect("the flag");
        assert_eq!((again.id, again.call_id), (first.id, four.id));
        assert_eq!(shop.evidence_of(first.id).await.len(), 3);
        shop.finds_nothing_wrong().await;
    }
}

#[tokio::test]
async fn other_machines_failures_and_failures_long_ago_leave_a_flag_alone() {
    let shop = Workshop::open(FIRST_ON).await;
    let worn = shop.failure("Door gasket", "worn").await;
    let machine = shop.machine(Some("L-1")).await;
    shop.repair(&machine, day("2024-01-10"), worn).await;
    let (_, flag) = shop.repair(&machine, day("2024-03-01"), worn).await;
    let flag = flag.expect("a flag");
    assert_eq!(flag.level, FlagLevel::Act);
    let loose = shop.failure("Door gasket", "loose").await;
    shop.repair(&machine, day("2024-03-05"), loose).await;
    let other = shop.machine(Some("L-2")).await;
    shop.repair(&other, day("2024-03-06"), worn).await;
    shop.deals_with(flag.id).await;
    let (_, judged) = shop.repair(&machine, day("2027-01-01"), worn).await;
    assert_eq!(judged, None, "more than two years later it is no repeat");
    let row = flag::Entity::find_by_id(flag.id)
        .one(shop.app.db.read())
        .await
        .expect("flags")
        .expect("the flag");
    assert_eq!((row.state, row.call_id), (FlagState::Closed, flag.call_id));
    // And after that it is a second time again, milder than before.
    let (_, judged) = shop.repair(&machine, day("2028-01-01"), worn).await;
    let judged = judged.expect("the flag");
    assert_eq!((judged.id, judged.level), (flag.id, FlagLevel::Watch));
    shop.finds_nothing_wrong().await;
}

#[tokio::test]
async fn of_several_flags_from_before_the_newest_lives_on() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        let failure = shop.failure("Surface burner terminal", "burnt").await;
        let machine = shop.machine(Some("O-1")).await;
        shop.repair(&machine, day(FIRST_ON), failure).await;
        let (two, old) = shop.repair(&machine, day("2024-02-01"), failure).await;
        let old = old.expect("a flag");
        // As an earlier version left it: a flag of its own for each call.
        let (three, newest) = shop.repair(&machine, day("2024-03-01"), failure).await;
        let newest = newest.expect("the flag");
        let tx = shop.app.db.write().await.expect("a transaction");
        let sql = format!(
            "INSERT INTO flag (call_id, appliance_id, component_id, failure_mode_id, finding_id, level, state, reason, \
             base_repairs, base_returned, next_checks_json, cautions_json, raised_at, version) \
             SELECT {}, appliance_id, component_id, failure_mode_id, {}, level, state, reason, \
             base_repairs, base_returned, next_checks_json, cautions_json, raised_at, version FROM flag WHERE id = {}",
            two.id, old.finding_id, newest.id
        );
        tx.execute_unprepared(&sql).await.expect("an older flag");
        tx.commit().await.expect("an older flag");
        assert_eq!(shop.flags_there_are().await, 2);
        let (four, again) = shop.repair(&machine, day("2024-04-01"), failure).await;
        let again = again.expect("the flag");
        assert_eq!((again.id, again.call_id), (newest.id, four.id));
        assert_eq!(newest.call_id, three.id);
        assert_eq!(shop.flags_there_are().await, 2);
    }
}

#[tokio::test]
async fn two_calls_under_way_both_need_the_root_cause_and_share_the_flag() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        let failure = shop.failure("Surface burner terminal", "burnt").await;
        let machine = shop.machine(Some("U-1")).await;
        shop.repair(&machine, day(FIRST_ON), failure).await;
        shop.on(day("2024-02-01"));
        let one = shop.open_call(&machine, CallKind::Repair).await.call;
        let two = shop.open_call(&machine, CallKind::Repair).await.call;
        let at_one = shop.find(&one, failure).await;
        let at_two = shop.find(&two, failure).await;
        let flag = at_two.flag.clone().expect("the flag");
        assert_eq!(flag.call_id, two.id);
        // A further finding on the earlier call does not take the flag back.
        let further = shop.find(&one, failure).await.flag.expect("the flag");
        assert_eq!(further, flag);
        for (call, found) in [(&one, &at_one), (&two, &at_two)] {
            assert!(shop.asks_why(call).await);
            shop.mend(found, Method::ReTerminated, Vec::new()).await;
            assert_eq!(
                refusals(shop.complete(call).await),
                [(ProblemCode::RootCauseNeeded, "callId".to_owned())]
            );
            shop.explain(call).await;
            shop.complete(call).await.expect("completed");
        }
        shop.finds_nothing_wrong().await;
        let maintenance = shop.open_call(&machine, CallKind::Maintenance).await.call;
        assert!(!shop.asks_why(&maintenance).await);
    }
}

#[tokio::test]
async fn a_person_opens_a_closed_flag_again_with_a_note() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        let failure = shop.failure("Surface burner terminal", "burnt").await;
        let machine = shop.machine(Some("P-1")).await;
        shop.repair(&machine, day(FIRST_ON), failure).await;
        let (_, flag) = shop.repair(&machine, day("2024-02-01"), failure).await;
        let id = flag.expect("a flag").id;
        let not_closed = shop.moves(id, FlagState::Open, "again").await;
        assert_eq!(
            refusals(not_closed),
            [(ProblemCode::WrongState, "to".to_owned())]
        );
        shop.deals_with(id).await;
        let unsaid = shop.moves(id, FlagState::Open, " ").await;
        assert_eq!(
            refusals(unsaid),
            [(ProblemCode::Missing, "note".to_owned())]
        );
        let row = shop.moves(id, FlagState::Open, "the wire was never fitted");
        assert_eq!(row.await.expect("open again").state, FlagState::Open);
        assert_eq!(shop.steps_of(id).await.len(), 4);
        shop.deals_with(id).await;
        shop.finds_nothing_wrong().await;
    }
}

fn list(failure: (i64, i64), class: Option<&str>, checks: &[&str]) -> SetCheckAdvice {
    SetCheckAdvice {
        failure_mode_id: failure.1,
        component_class: class.map(str::to_owned),
        checks: checks.iter().copied().map(str::to_owned).collect(),
        cautions: vec![Caution::OverheatingCause],
    }
}

#[tokio::test]
async fn the_shop_writes_its_own_checks_and_flags_keep_those_of_their_day() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        let failure = shop.failure("Surface burner terminal", "burnt").await;
        let machine = shop.machine(Some("C-1")).await;
        shop.repair(&machine, day(FIRST_ON), failure).await;
        let (_, flag) = shop.repair(&machine, day("2024-02-01"), failure).await;
        let of_its_day = flag.expect("a flag").next_checks_json;
        let own = ["Weigh the pan that stood on it."];
        let wanted = list(failure, Some("terminal"), &own);
        let set = callbacks::set_check_advice(&shop.owner(), wanted).await;
        assert_eq!(set.expect("set").checks, own);
        let kept = callbacks::open_flags(shop.app.db.read(), machine.id).await;
        assert_eq!(kept.expect("flags")[0].next_checks_json, of_its_day);
        let (_, flag) = shop.repair(&machine, day("2024-03-01"), failure).await;
        let flag = flag.expect("the flag");
        assert_eq!(
            flag.next_checks_json,
            r#"["Weigh the pan that stood on it."]"#
        );
        let isolate = Caution::IsolateAndProveDead.text();
        assert!(flag.cautions_json.contains(&isolate[..40]), "said or not");
        // Taken away, the list for every kind of component serves; and what was taken away stays so.
        let none = SetCheckAdvice {
            checks: Vec::new(),
            cautions: Vec::new(),
            ..list(failure, Some("terminal"), &[])
        };
        let owner = shop.owner();
        callbacks::set_check_advice(&owner, none)
            .await
            .expect("taken away");
        callbacks::set_check_advice(&owner, list(failure, None, &["Look twice."]))
            .await
            .expect("set");
        callbacks::open(&owner).await.expect("nothing to write");
        let (_, flag) = shop.repair(&machine, day("2024-04-01"), failure).await;
        assert_eq!(
            flag.expect("the flag").next_checks_json,
            r#"["Look twice."]"#
        );
        shop.finds_nothing_wrong().await;
    }
}

#[tokio::test]
async fn a_list_that_cannot_be_is_refused_with_every_reason_and_writes_nothing() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let set = async |order| callbacks::set_check_advice(&shop.owner(), order).await;
    let refused = |code: ProblemCode, path: &str| (code, path.to_owned());
    assert_eq!(
        refusals(set(list(failure, Some("lamp"), &["Look.", " "])).await),
        [
            refused(ProblemCode::NotFound, "componentClass"),
            refused(ProblemCode::Missing, "checks.1"),
        ]
    );
    assert_eq!(
        refusals(set(list(failure, None, &["Look."; 21])).await),
        [refused(ProblemCode::OutOfRange, "checks")]
    );
    assert_eq!(
        refusals(set(list(failure, None, &[])).await),
        [refused(ProblemCode::Missing, "checks")]
    );
    assert_eq!(
        refusals(set(list((0, 0), None, &["Look."])).await),
        [refused(ProblemCode::NotFound, "failureModeId")]
    );
    let technician = shop.technician(shop.technician_id);
    let order = list(failure, None, &["Look."]);
    let forbidden = callbacks::set_check_advice(&technician, order).await;
    assert!(matches!(forbidden, Err(Error::Forbidden)));
}

#[tokio::test]
async fn a_flag_that_does_not_stand_where_its_last_step_left_it_is_found() {
    for to in ["closed", "open"] {
        let shop = Workshop::open(FIRST_ON).await;
        let failure = shop.failure("Surface burner terminal", "burnt").await;
        let machine = shop.machine(Some("V-1")).await;
        shop.repair(&machine, day(FIRST_ON), failure).await;
        let (_, flag) = shop.repair(&machine, day("2024-02-01"), failure).await;
        let id = flag.expect("a flag").id;
        shop.moves(id, FlagState::Acknowledged, "seen")
            .await
            .expect("moved");
        let tx = shop.app.db.write().await.expect("a transaction");
        let sql = format!("UPDATE flag SET state = '{to}'");
        tx.execute_unprepared(&sql).await.expect("spoiled");
        tx.commit().await.expect("spoiled");
        let findings = super::run(&shop.app.db).await.expect("verified");
        assert_eq!(findings.len(), 1, "{findings:#?}");
        assert!(
            findings[0].to_string().starts_with("flag "),
            "{findings:#?}"
        );
    }
}
