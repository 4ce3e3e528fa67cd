//! Repeat failures, callbacks, the tally and the books over whole calls.

use chrono::Days;
use nameplate_entities::kinds::{
    CallKind, CallbackClass, CallbackState, FlagLevel, FlagState, Method,
};
use nameplate_entities::{account, flag_evidence, journal_entry, posting};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::base::ProblemCode;
use crate::callbacks::{self, DecideCallback, Decision, MoveFlag};
use crate::{books, shop, warranty};

use super::testing::{Workshop, day, refusals};

const FIRST_ON: &str = "2024-01-10";

/// Level of the flag on a call opened so many days after a repair of the same.
async fn level_after(shop: &Workshop, days: u64, mode: &str, serial: &str) -> Option<FlagLevel> {
    let failure = shop.failure("Door gasket", mode).await;
    let machine = shop.machine(Some(serial)).await;
    let (_, first) = shop.repair(&machine, day(FIRST_ON), failure).await;
    assert!(first.is_none(), "a first failure raises nothing");
    let (_, flag) = shop
        .repair(&machine, day(FIRST_ON) + Days::new(days), failure)
        .await;
    flag.map(|flag| flag.level)
}

#[tokio::test]
async fn the_same_failure_is_flagged_by_the_days_since_its_repair() {
    let shop = Workshop::open(FIRST_ON).await;
    assert_eq!(
        level_after(&shop, 90, "worn", "W-90").await,
        Some(FlagLevel::Act)
    );
    assert_eq!(
        level_after(&shop, 91, "worn", "W-91").await,
        Some(FlagLevel::Watch)
    );
    assert_eq!(
        level_after(&shop, 730, "worn", "W-730").await,
        Some(FlagLevel::Watch)
    );
    assert_eq!(level_after(&shop, 731, "worn", "W-731").await, None);
    assert_eq!(
        level_after(&shop, 731, "burnt", "W-H").await,
        Some(FlagLevel::Act)
    );
}

#[tokio::test]
async fn a_longer_labour_warranty_makes_the_second_failure_one_to_act_on() {
    let shop = Workshop::open(FIRST_ON).await;
    let change = shop::ChangeShop {
        labour_warranty_days: Some(365),
        ..Default::default()
    };
    shop::change_shop(&shop.owner(), change)
        .await
        .expect("changed");
    assert_eq!(
        level_after(&shop, 365, "worn", "W-365").await,
        Some(FlagLevel::Act)
    );
    assert_eq!(
        level_after(&shop, 366, "worn", "W-366").await,
        Some(FlagLevel::Watch)
    );
}

#[tokio::test]
async fn the_third_time_is_acted_on_and_rests_on_both_earlier_repairs() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Door gasket", "worn").await;
    let machine = shop.machine(None).await;
    assert!(machine.shop_tag.is_some());
    shop.repair(&machine, day("2024-01-10"), failure).await;
    let (_, second) = shop.repair(&machine, day("2024-08-01"), failure).await;
    assert_eq!(second.map(|flag| flag.level), Some(FlagLevel::Watch));
    let (third, flag) = shop.repair(&machine, day("2025-03-01"), failure).await;
    let flag = flag.expect("a flag");
    assert_eq!(flag.level, FlagLevel::Act);
    assert!(
        flag.reason
            .starts_with("Third worn door gasket on this appliance")
    );
    assert_eq!(flag.call_id, third.id);
    assert_eq!((flag.base_repairs, flag.base_returned), (0, 0));
    let evidence = flag_evidence::Entity::find()
        .filter(flag_evidence::Column::FlagId.eq(flag.id))
        .all(shop.app.db.read())
        .await
        .expect("evidence");
    let rests_on = evidence
        .iter()
        .map(|row| (row.completed_on, row.method))
        .collect::<Vec<_>>();
    assert_eq!(
        rests_on,
        [
            (day("2024-01-10"), Some(Method::Replaced)),
            (day("2024-08-01"), Some(Method::Replaced)),
        ]
    );
    let mails = shop.mails().await;
    assert_eq!(
        mails.len(),
        1,
        "the owner is told once, of the flag that asks to act"
    );
    assert_eq!(mails[0].to_email, "owner@shop.example");
}

#[tokio::test]
async fn another_place_on_the_same_call_does_not_double_the_flag() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let machine = shop.machine(Some("T-1")).await;
    shop.repair(&machine, day(FIRST_ON), failure).await;
    shop.on(day("2024-02-01"));
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    let first = shop.find(&call, failure).await.flag.expect("a flag");
    let second = shop.find(&call, failure).await.flag.expect("the same flag");
    assert_eq!(first, second);
    assert!(
        first
            .cautions_json
            .contains("overheating has no found cause")
            || first.cautions_json.contains("burns again")
    );
    assert!(first.next_checks_json.contains("Compare load current"));
    assert_eq!(shop.mails().await.len(), 1);
    let next = shop.open_call(&machine, CallKind::Repair).await;
    assert_eq!(next.open_flags, [first]);
}

#[tokio::test]
async fn a_call_with_a_flag_to_act_on_closes_only_with_its_root_cause() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let machine = shop.machine(Some("T-1")).await;
    shop.repair(&machine, day(FIRST_ON), failure).await;
    shop.on(day("2024-02-01"));
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    let nothing_done = shop.complete(&call).await;
    assert_eq!(
        refusals(nothing_done),
        [(ProblemCode::WrongState, "callId".to_owned())]
    );
    let found = shop.find(&call, failure).await;
    shop.mend(&found, Method::ReTerminated, Vec::new()).await;
    let no_cause = shop.complete(&call).await;
    assert_eq!(
        refusals(no_cause),
        [(ProblemCode::RootCauseNeeded, "callId".to_owned())]
    );
    shop.explain(&call).await;
    let completed = shop.complete(&call).await.expect("completed");
    assert_eq!(completed.warranties.len(), 1);
    assert_eq!(
        completed.warranties[0].labour_through,
        Some(day("2024-05-01"))
    );
    assert_eq!(
        completed.warranties[0].parts_through,
        Some(day("2025-02-01"))
    );
    let again = shop.complete(&call).await;
    assert_eq!(
        refusals(again),
        [(ProblemCode::WrongState, "callId".to_owned())]
    );
}

#[tokio::test]
async fn a_completion_lies_between_the_opening_and_today_and_in_open_books() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Door gasket", "worn").await;
    let machine = shop.machine(Some("D-1")).await;
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    let found = shop.find(&call, failure).await;
    shop.mend(&found, Method::Replaced, Vec::new()).await;
    let complete = async |on: &str| {
        let command = super::CompleteCall {
            idempotency_key: shop.key(),
            call_id: call.id,
            completed_on: Some(day(on)),
        };
        refusals(super::complete_call(&shop.owner(), command).await)
    };
    let path = "completedOn".to_owned();
    assert_eq!(
        complete("2024-01-09").await,
        [(ProblemCode::ImpossibleDate, path.clone())]
    );
    assert_eq!(
        complete("2024-01-11").await,
        [(ProblemCode::ImpossibleDate, path.clone())]
    );
    shop.on(day("2024-02-10"));
    books::close_books(&shop.owner(), day("2024-01-31"))
        .await
        .expect("closed");
    assert_eq!(
        complete("2024-01-31").await,
        [(ProblemCode::PeriodClosed, path)]
    );
    assert_eq!(complete("2024-02-01").await, []);
}

#[tokio::test]
async fn a_repair_call_inside_the_window_is_proposed_as_a_callback() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Door gasket", "worn").await;
    let cases = [
        (0, CallKind::Repair, Some(1)),
        (30, CallKind::Repair, Some(30)),
        (31, CallKind::Repair, None),
        (5, CallKind::Maintenance, None),
        (5, CallKind::Installation, None),
    ];
    for (at, (days, kind, age_days)) in cases.into_iter().enumerate() {
        let machine = shop.machine(Some(&format!("C-{at}"))).await;
        let (earlier, _) = shop.repair(&machine, day(FIRST_ON), failure).await;
        shop.on(day(FIRST_ON) + Days::new(days));
        let callback = shop.open_call(&machine, kind).await.callback;
        let proposed = callback.as_ref().map(|row| row.age_days);
        assert_eq!(proposed, age_days, "{days} days, {kind:?}");
        if let Some(callback) = callback {
            assert_eq!(callback.state, CallbackState::Proposed);
            assert_eq!(callback.earlier_call_id, earlier.id);
        }
    }
}

#[tokio::test]
async fn maintenance_before_and_estimates_alone_are_no_earlier_repairs() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Door gasket", "worn").await;
    for (kind, method) in [
        (CallKind::Maintenance, Method::Replaced),
        (CallKind::Repair, Method::None),
    ] {
        let machine = shop.machine(Some(&shop.key())).await;
        let call = shop.open_call(&machine, kind).await.call;
        let found = shop.find(&call, failure).await;
        shop.mend(&found, method, Vec::new()).await;
        shop.complete(&call).await.expect("completed");
        let next = shop.open_call(&machine, CallKind::Repair).await;
        assert_eq!(next.callback, None, "{kind:?} {method:?}");
    }
}

#[tokio::test]
async fn no_fault_found_closes_a_call_and_its_return_is_a_callback_but_no_repeat() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Door gasket", "no_fault_found").await;
    let machine = shop.machine(Some("N-1")).await;
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    shop.find(&call, failure).await;
    let completed = shop.complete(&call).await.expect("completed");
    assert_eq!(completed.warranties, []);
    assert_eq!(shop.tally(failure).await, (0, 0));
    let next = shop.open_call(&machine, CallKind::Repair).await;
    assert!(next.callback.is_some());
    let found = shop.find(&next.call, failure).await;
    assert_eq!(found.flag, None);
    let callback = found.callback.expect("the callback");
    assert_eq!(callback.suggested_class, Some(CallbackClass::NoFaultFound));
}

#[tokio::test]
async fn the_journal_says_which_entries_follow_from_deciding_anew() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Door gasket", "worn").await;
    let machine = shop.machine(Some("J-1")).await;
    shop.repair(&machine, day(FIRST_ON), failure).await;
    shop.on(day("2024-01-20"));
    let opened = shop.open_call(&machine, CallKind::Repair).await;
    let part = shop.part(Cents(1_250)).await;
    let found = shop.find(&opened.call, failure).await;
    shop.mend(&found, Method::Replaced, vec![part.id]).await;
    shop.explain(&opened.call).await;
    shop.complete(&opened.call).await.expect("completed");
    let callback_id = opened.callback.expect("a callback").id;
    let confirm = Decision::Confirm { class: None };
    for decision in [confirm.clone(), Decision::Reject, confirm] {
        let command = DecideCallback {
            callback_id,
            decision,
            note: Some("looked at together".to_owned()),
        };
        let decided = super::decide_callback(&shop.owner(), command).await;
        decided.expect("decided");
    }
    let entries = journal_entry::Entity::find()
        .filter(journal_entry::Column::Memo.starts_with("What the shop bears"))
        .order_by_asc(journal_entry::Column::Id)
        .all(shop.app.db.read())
        .await
        .expect("the journal");
    let first = format!("What the shop bears of call {}", opened.call.number);
    let anew = format!("{first} after its callback was decided");
    let memos: Vec<&str> = entries.iter().map(|entry| entry.memo.as_str()).collect();
    assert_eq!(memos, [first.as_str(), anew.as_str(), anew.as_str()]);
}

#[tokio::test]
async fn a_completed_call_is_counted_by_its_first_confirmed_callback_only() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Door gasket", "worn").await;
    let machine = shop.machine(Some("K-1")).await;
    let (earlier, _) = shop.repair(&machine, day(FIRST_ON), failure).await;
    shop.on(day("2024-01-20"));
    let first = shop.open_call(&machine, CallKind::Repair).await;
    let second = shop.open_call(&machine, CallKind::Repair).await;
    let decide = async |id: i64, decision: Decision| {
        let command = DecideCallback {
            callback_id: id,
            decision,
            note: Some("same burner".to_owned()),
        };
        super::decide_callback(&shop.owner(), command).await
    };
    let confirm = Decision::Confirm { class: None };
    let id = first.callback.expect("a callback").id;
    let row = decide(id, confirm.clone()).await.expect("confirmed");
    assert_eq!(row.counted_call_id, Some(earlier.id));
    let other = second.callback.expect("a callback").id;
    let row = decide(other, confirm).await.expect("confirmed");
    assert_eq!(
        (row.state, row.counted_call_id),
        (CallbackState::Confirmed, None)
    );
    let classed = Decision::Confirm {
        class: Some(CallbackClass::SameFailure),
    };
    let row = decide(other, classed).await.expect("classed");
    assert_eq!(row.class, Some(CallbackClass::SameFailure));
    let row = decide(other, Decision::Reject).await.expect("rejected");
    assert_eq!((row.state, row.class), (CallbackState::Rejected, None));
}

#[tokio::test]
async fn the_tally_counts_repairs_and_returns_and_can_be_counted_anew() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        the_tally_counts(&shop).await;
    }
}

async fn the_tally_counts(shop: &Workshop) {
    let failure = shop.failure("Door gasket", "worn").await;
    let (one, two) = (shop.machine(Some("A")).await, shop.machine(Some("B")).await);
    shop.repair(&one, day("2024-01-10"), failure).await;
    shop.repair(&two, day("2024-02-10"), failure).await;
    shop.repair(&one, day("2024-08-10"), failure).await;
    assert_eq!(shop.tally(failure).await, (3, 1));
    let (_, flag) = shop.repair(&two, day("2024-09-10"), failure).await;
    let flag = flag.expect("a flag");
    assert_eq!(
        (flag.base_repairs, flag.base_returned),
        (2, 1),
        "machine A alone"
    );
    // B failed 213 days after its one repair; A is watched for 244 days, since the first of its two.
    assert_eq!(
        (flag.again, flag.own_days, flag.watched_days),
        (Some(1), Some(213), Some(244))
    );
    assert_eq!(shop.tally(failure).await, (4, 2));
    let counted = callbacks::recount(shop.app.db.read())
        .await
        .expect("counted");
    let expected = callbacks::Count {
        component_id: failure.0,
        failure_mode_id: failure.1,
        repairs: 4,
        returned: 2,
        // 19732 + 19763: the days of both first repairs since 1970-01-01.
        first_days: 39_495,
    };
    assert_eq!(counted, [expected]);
}

#[tokio::test]
async fn parts_cost_the_shop_on_a_confirmed_callback_and_are_cost_of_sales_otherwise() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Door gasket", "worn").await;
    let machine = shop.machine(Some("P-1")).await;
    let part = shop.part(Cents(1_250)).await;
    for confirmed in [false, true] {
        let opened = shop.open_call(&machine, CallKind::Repair).await;
        if confirmed {
            let command = DecideCallback {
                callback_id: opened.callback.expect("a callback").id,
                decision: Decision::Confirm { class: None },
                note: None,
            };
            super::decide_callback(&shop.owner(), command)
                .await
                .expect("confirmed");
        }
        let found = shop.find(&opened.call, failure).await;
        shop.mend(&found, Method::Replaced, vec![part.id, part.id])
            .await;
        shop.explain(&opened.call).await;
        shop.complete(&opened.call).await.expect("completed");
    }
    let debits = async |role: Role| {
        let account = account::Entity::find()
            .filter(account::Column::Role.eq(books::role_key(role)))
            .one(shop.app.db.read())
            .await
            .expect("the chart")
            .expect("an account");
        let rows = posting::Entity::find()
            .filter(posting::Column::AccountId.eq(account.id))
            .all(shop.app.db.read())
            .await
            .expect("postings");
        rows.iter()
            .map(|row| row.debit_cents - row.credit_cents)
            .sum::<i64>()
    };
    assert_eq!(debits(Role::PartsCostOfSales).await, 2_500);
    assert_eq!(debits(Role::CallbackCost).await, 2_500);
    assert_eq!(debits(Role::PartsStock).await, -5_000);
}

#[tokio::test]
async fn requests_sent_twice_have_one_effect() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Door gasket", "worn").await;
    let machine = shop.machine(Some("I-1")).await;
    let call = shop.open_call(&machine, CallKind::Repair).await.call;
    let found = shop.find(&call, failure).await;
    shop.mend(&found, Method::Replaced, Vec::new()).await;
    let command = super::CompleteCall {
        idempotency_key: "once".to_owned(),
        call_id: call.id,
        completed_on: None,
    };
    let first = super::complete_call(&shop.owner(), command.clone())
        .await
        .expect("completed");
    let second = super::complete_call(&shop.owner(), command)
        .await
        .expect("the same");
    assert_eq!(first.call, second.call);
    assert_eq!(first.warranties, second.warranties);
    assert_eq!(shop.tally(failure).await, (1, 0));
    let held = warranty::in_force(shop.app.db.read(), machine.id, day("2024-04-09")).await;
    assert_eq!(held.expect("warranties"), first.warranties);
}

#[tokio::test]
async fn a_flag_goes_one_step_at_a_time_and_keeps_every_note() {
    let shop = Workshop::open(FIRST_ON).await;
    let failure = shop.failure("Surface burner terminal", "burnt").await;
    let machine = shop.machine(Some("F-1")).await;
    shop.repair(&machine, day(FIRST_ON), failure).await;
    let (_, flag) = shop.repair(&machine, day("2024-02-01"), failure).await;
    let flag = flag.expect("a flag");
    let step = async |to: FlagState| {
        let command = MoveFlag {
            flag_id: flag.id,
            to,
            note: "wire replaced".to_owned(),
        };
        callbacks::move_flag(&shop.owner(), command).await
    };
    let skipped = step(FlagState::Closed).await;
    assert_eq!(
        refusals(skipped),
        [(ProblemCode::WrongState, "to".to_owned())]
    );
    for to in [
        FlagState::Acknowledged,
        FlagState::Answered,
        FlagState::Closed,
    ] {
        assert_eq!(step(to).await.expect("moved").state, to);
    }
    let past_the_end = step(FlagState::Acknowledged).await;
    assert_eq!(
        refusals(past_the_end),
        [(ProblemCode::WrongState, "to".to_owned())]
    );
}
