//! What a callback costs and who counts it, from the proposal through every decision that is taken back; on both databases.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CallKind, CallbackClass, CallbackState, Method, VisitState};
use nameplate_entities::{audit_entry, call_borne, callback, service_call};
use nameplate_rules::books::Role;
use nameplate_rules::books::events::Borne;
use nameplate_rules::money::Cents;
use sea_orm::{ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter};

use super::testing::TestShop;
use crate::base::{ProblemCode, Result};
use crate::callbacks::{self, DecideCallback, Decision};
use crate::calls::{CancelCall, FinishVisit, ScheduleVisit};
use crate::closeout::testing::{Workshop, day, refusals};
use crate::closeout::{self, borne_between};
use crate::invoices::IssueInvoice;
use crate::shop::{self, ChangeShop};
use crate::stock;
use crate::{books, coverage};

const FIRST_ON: &str = "2024-01-10";
const BACK_ON: &str = "2024-01-20";

const SAME: Decision = Decision::Confirm {
    class: Some(CallbackClass::SameFailure),
};
const UNRELATED: Decision = Decision::Confirm {
    class: Some(CallbackClass::Unrelated),
};

fn borne(parts: i64, labour: i64, trip: i64) -> Borne {
    Borne {
        parts: Cents(parts),
        labour: Cents(labour),
        trip: Cents(trip),
    }
}

impl Workshop {
    /// An hour costs the shop 60.00, a trip 30.01.
    async fn knows_its_costs(&self) {
        let change = ChangeShop {
            labour_cost: Some(Cents(6_000)),
            trip_cost: Some(Cents(3_001)),
            ..ChangeShop::default()
        };
        self.changes(change).await;
    }

    async fn changes(&self, change: ChangeShop) {
        let changed = shop::change_shop(&self.owner(), change).await;
        changed.expect("changed");
    }

    /// Whether the audit log has each decision with what was before and after it.
    async fn every_decision_has_its_before(&self) -> bool {
        let rows = audit_entry::Entity::find()
            .filter(audit_entry::Column::Act.eq("decideCallback"))
            .filter(audit_entry::Column::SubjectKind.eq("callback"))
            .all(self.app.db.read())
            .await
            .expect("the audit log");
        let is_whole =
            |row: &audit_entry::Model| row.before_json.is_some() && row.after_json.is_some();
        !rows.is_empty() && rows.iter().all(is_whole)
    }

    async fn says(
        &self,
        callback_id: i64,
        decision: Decision,
        note: Option<&str>,
    ) -> Result<callback::Model> {
        let command = DecideCallback {
            callback_id,
            decision,
            note: note.map(str::to_owned),
        };
        closeout::decide_callback(&self.owner(), command).await
    }

    /// Plans a trip for calls today; its id.
    async fn plan_trip(&self, call_ids: Vec<i64>, on: NaiveDate) -> i64 {
        let visit = ScheduleVisit {
            call_ids,
            technician_id: self.technician_id,
            planned_on: on,
            window: None,
            reason: None,
            reason_note: None,
        };
        let visit = stock::schedule_visit(&self.owner(), visit).await;
        visit.expect("a visit").id
    }

    async fn trip_is_made(&self, visit_id: i64) {
        let made = FinishVisit {
            visit_id,
            outcome: VisitState::Done,
        };
        closeout::finish_visit(&self.owner(), made)
            .await
            .expect("made");
    }

    /// A call about a machine that was repaired before: a trip, 40 minutes and a part at 12.50, and completed.
    async fn comes_back(&self, serial: &str) -> (service_call::Model, callback::Model) {
        let failure = self.failure("Door gasket", "worn").await;
        let machine = self.machine(Some(serial)).await;
        self.repair(&machine, day(FIRST_ON), failure).await;
        self.on(day(BACK_ON));
        let opened = self.open_call(&machine, CallKind::Repair).await;
        let visit = self.plan_trip(vec![opened.call.id], day(BACK_ON)).await;
        self.trip_is_made(visit).await;
        let part = self.part(Cents(1_250)).await;
        let found = self.find(&opened.call, failure).await;
        self.mend(&found, Method::Replaced, vec![part.id]).await;
        self.explain(&opened.call).await;
        let call = self.complete(&opened.call).await.expect("completed").call;
        (call, opened.callback.expect("a callback"))
    }

    async fn bears(&self) -> Borne {
        let (from, through) = (day(FIRST_ON), day("2024-12-31"));
        let borne = borne_between(self.app.db.read(), from, through).await;
        borne.expect("what is borne")
    }

    /// Cost of callbacks, cost of parts sold, and what is taken out of wages and running costs; debits positive.
    async fn costs_booked(&self) -> [i64; 3] {
        let mut booked = [0; 3];
        let roles = [
            Role::CallbackCost,
            Role::PartsCostOfSales,
            Role::LabourApplied,
        ];
        for (at, role) in roles.into_iter().enumerate() {
            let balance = books::balance_of_role(self.app.db.read(), role).await;
            booked[at] = balance.expect("a balance");
        }
        booked
    }

    async fn verifies(&self) {
        let findings = super::run(&self.app.db).await.expect("verified");
        let findings = findings.iter().map(ToString::to_string);
        assert_eq!(findings.collect::<Vec<_>>(), Vec::<String>::new());
    }

    async fn times_settled(&self) -> u64 {
        let rows = call_borne::Entity::find().count(self.app.db.read()).await;
        rows.expect("rows")
    }
}

#[tokio::test]
async fn deciding_after_completion_moves_what_the_call_cost_and_back_again() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        shop.knows_its_costs().await;
        let (_, proposed) = shop.comes_back("D-1").await;
        assert_eq!(shop.bears().await, Borne::default(), "nobody decided");
        assert_eq!(shop.costs_booked().await, [0, 1_250, 0]);

        let row = shop.says(proposed.id, SAME, None).await.expect("confirmed");
        assert_eq!(row.state, CallbackState::Confirmed);
        assert_eq!(shop.bears().await, borne(1_250, 4_000, 3_001));
        assert_eq!(shop.costs_booked().await, [8_251, 0, -7_001]);
        shop.verifies().await;

        let related = Decision::Confirm {
            class: Some(CallbackClass::Related),
        };
        shop.says(row.id, related, Some("the hinge had a hand in it"))
            .await
            .expect("classed");
        assert_eq!(shop.times_settled().await, 1, "the shop's either way");

        let unsaid = shop.says(row.id, UNRELATED, None).await;
        assert_eq!(
            refusals(unsaid),
            [(ProblemCode::Missing, "note".to_owned())]
        );
        let said = shop.says(row.id, UNRELATED, Some("another part")).await;
        assert_eq!(said.expect("classed").class, Some(CallbackClass::Unrelated));
        assert_eq!(shop.bears().await, Borne::default());
        assert_eq!(shop.costs_booked().await, [0, 1_250, 0]);
        shop.verifies().await;
    }
}

#[tokio::test]
async fn a_decision_taken_back_moves_the_same_money_again_whatever_the_settings_say_now() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        shop.knows_its_costs().await;
        let (_, proposed) = shop.comes_back("D-3").await;
        let row = shop.says(proposed.id, SAME, None).await.expect("confirmed");
        let dearer = ChangeShop {
            labour_cost: Some(Cents(9_900)),
            trip_cost: Some(Cents(9_900)),
            ..ChangeShop::default()
        };
        shop.changes(dearer).await;
        shop.says(row.id, UNRELATED, Some("another part"))
            .await
            .expect("classed");
        shop.says(row.id, SAME, Some("it was the same after all"))
            .await
            .expect("classed");
        assert_eq!(shop.bears().await, borne(1_250, 4_000, 3_001));
        let row = shop
            .says(row.id, Decision::Reject, Some("another machine"))
            .await;
        let row = row.expect("rejected");
        assert_eq!((row.state, row.class), (CallbackState::Rejected, None));
        assert_eq!(shop.costs_booked().await, [0, 1_250, 0]);
        let row = shop.says(
            row.id,
            Decision::Confirm { class: None },
            Some("no, this one"),
        );
        let row = row.await.expect("confirmed");
        assert_eq!(row.suggested_class, Some(CallbackClass::SameFailure));
        assert_eq!(
            shop.bears().await,
            borne(1_250, 4_000, 3_001),
            "as suggested"
        );
        assert_eq!(shop.times_settled().await, 5);
        shop.verifies().await;

        assert!(shop.every_decision_has_its_before().await);
    }
}

#[tokio::test]
async fn deciding_is_refused_where_books_are_closed_and_writes_nothing() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        shop.knows_its_costs().await;
        let (call, proposed) = shop.comes_back("D-2").await;
        shop.on(day("2024-01-21"));
        books::close_books(&shop.owner(), day(BACK_ON))
            .await
            .expect("closed");
        // A clock that is set back lies in closed books.
        shop.on(day(BACK_ON));
        let refused = shop.says(proposed.id, SAME, None).await;
        assert_eq!(refusals(refused)[0].0, ProblemCode::PeriodClosed);
        let row = shop.callback_of(&call).await.expect("the callback");
        assert_eq!(row.state, CallbackState::Proposed);
        // What moves no money may be decided there.
        shop.says(proposed.id, UNRELATED, None)
            .await
            .expect("classed");
        shop.verifies().await;
    }
}

#[tokio::test]
async fn calls_share_a_trip_to_the_cent_and_one_made_after_completion_is_added() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        shop.knows_its_costs().await;
        let failure = shop.failure("Door gasket", "worn").await;
        let mut calls = Vec::new();
        for serial in ["S-1", "S-2"] {
            let machine = shop.machine(Some(serial)).await;
            shop.repair(&machine, day(FIRST_ON), failure).await;
            let opened = shop.open_call(&machine, CallKind::Repair).await;
            let callback = opened.callback.expect("a callback");
            shop.says(callback.id, SAME, None).await.expect("confirmed");
            calls.push(opened.call);
        }
        let ids = calls.iter().map(|call| call.id).collect();
        let visit = shop.plan_trip(ids, day(FIRST_ON)).await;
        for call in &calls {
            let found = shop.find(call, failure).await;
            shop.mend(&found, Method::Cleaned, Vec::new()).await;
            shop.explain(call).await;
        }
        shop.complete(&calls[1]).await.expect("completed");
        assert_eq!(shop.bears().await, borne(0, 4_000, 0));
        shop.trip_is_made(visit).await;
        assert_eq!(shop.bears().await, borne(0, 4_000, 1_500));
        shop.complete(&calls[0]).await.expect("completed");
        assert_eq!(shop.bears().await, borne(0, 8_000, 3_001));
        assert_eq!(shop.costs_booked().await, [11_001, 0, -11_001]);
        shop.verifies().await;
    }
}

#[tokio::test]
async fn without_a_word_on_costs_labour_and_trips_of_a_callback_cost_nothing() {
    let shop = Workshop::open(FIRST_ON).await;
    let (_, proposed) = shop.comes_back("N-1").await;
    shop.says(proposed.id, SAME, None).await.expect("confirmed");
    assert_eq!(shop.bears().await, borne(1_250, 0, 0));
    shop.verifies().await;
}

#[tokio::test]
async fn rejecting_the_callback_that_counts_frees_the_call_for_the_next_confirmed_one() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        let failure = shop.failure("Door gasket", "worn").await;
        let machine = shop.machine(Some("K-1")).await;
        let (earlier, _) = shop.repair(&machine, day(FIRST_ON), failure).await;
        shop.on(day(BACK_ON));
        let mut ids = Vec::new();
        for _ in 0..3 {
            let opened = shop.open_call(&machine, CallKind::Repair).await;
            ids.push(opened.callback.expect("a callback").id);
        }
        let counting = async || {
            let rows = callback::Entity::find()
                .filter(callback::Column::CountedCallId.eq(earlier.id))
                .all(shop.app.db.read())
                .await
                .expect("callbacks");
            rows.iter().map(|row| row.id).collect::<Vec<_>>()
        };
        let confirm = Decision::Confirm { class: None };
        let say = async |at: usize, decision: &Decision| {
            let said = shop.says(ids[at], decision.clone(), Some("as the customer says"));
            said.await.expect("decided")
        };
        say(2, &confirm).await;
        assert_eq!(counting().await, [ids[2]]);
        let first = say(1, &confirm).await;
        assert_eq!(
            first.counted_call_id,
            Some(earlier.id),
            "the earlier call of the two"
        );
        assert_eq!(counting().await, [ids[1]]);
        say(0, &Decision::Reject).await;
        assert_eq!(counting().await, [ids[1]]);
        say(1, &Decision::Reject).await;
        assert_eq!(counting().await, [ids[2]]);
        say(0, &confirm).await;
        assert_eq!(counting().await, [ids[0]]);
        say(0, &Decision::Reject).await;
        say(2, &Decision::Reject).await;
        assert_eq!(counting().await, Vec::<i64>::new());
        shop.verifies().await;
    }
}

#[tokio::test]
async fn a_confirmed_callback_that_is_no_return_leaves_the_count_to_the_next() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        let gasket = shop.failure("Door gasket", "worn").await;
        let burner = shop.failure("Surface burner terminal", "burnt").await;
        let machine = shop.machine(Some("K-4")).await;
        let (earlier, _) = shop.repair(&machine, day(FIRST_ON), gasket).await;
        shop.on(day(BACK_ON));
        let first = shop.open_call(&machine, CallKind::Repair).await;
        let second = shop.open_call(&machine, CallKind::Repair).await;
        for opened in [&first, &second] {
            let id = opened.callback.as_ref().expect("a callback").id;
            let said = shop.says(id, Decision::Confirm { class: None }, None).await;
            said.expect("confirmed");
        }
        let counted = async || {
            let first = shop.callback_of(&first.call).await;
            let second = shop.callback_of(&second.call).await;
            [first, second].map(|row| row.expect("a callback").counted_call_id)
        };
        assert_eq!(counted().await, [Some(earlier.id), None]);
        let found = shop.find(&first.call, burner).await.callback;
        let found = found.expect("the callback");
        assert_eq!(found.suggested_class, Some(CallbackClass::Unrelated));
        assert_eq!(found.counted_call_id, None);
        assert_eq!(counted().await, [None, Some(earlier.id)], "as found");
        let said = shop.says(found.id, SAME, Some("both burnt by one fault"));
        said.await.expect("classed");
        assert_eq!(counted().await, [Some(earlier.id), None], "as decided");
        shop.verifies().await;
    }
}

#[tokio::test]
async fn cancelling_a_call_rejects_its_callback_and_leaves_the_count_to_the_next() {
    for shop in Workshop::everywhere(FIRST_ON).await {
        let failure = shop.failure("Door gasket", "worn").await;
        let machine = shop.machine(Some("K-3")).await;
        let (earlier, _) = shop.repair(&machine, day(FIRST_ON), failure).await;
        shop.on(day(BACK_ON));
        let mut opened = Vec::new();
        for _ in 0..3 {
            opened.push(shop.open_call(&machine, CallKind::Repair).await.call);
        }
        let confirm = Decision::Confirm { class: None };
        for call in &opened[..2] {
            let proposed = shop.callback_of(call).await.expect("a callback");
            let said = shop.says(proposed.id, confirm.clone(), None).await;
            said.expect("confirmed");
        }
        for call in [&opened[0], &opened[2]] {
            let cancel = CancelCall {
                call_id: call.id,
                reason: "called twice".to_owned(),
            };
            let cancelled = closeout::cancel_call(&shop.owner(), cancel).await;
            cancelled.expect("cancelled");
            let row = shop.callback_of(call).await.expect("a callback");
            assert_eq!(row.state, CallbackState::Rejected);
            assert_eq!(row.note.as_deref(), Some("The call was cancelled."));
            let again = shop.says(row.id, confirm.clone(), Some("no, it came back"));
            let refused = [(ProblemCode::WrongState, "callbackId".to_owned())];
            assert_eq!(refusals(again.await), refused);
        }
        let next = shop.callback_of(&opened[1]).await.expect("a callback");
        assert_eq!(next.counted_call_id, Some(earlier.id));
        shop.verifies().await;
    }
}

#[tokio::test]
async fn a_billed_call_becomes_the_shops_own_only_once_its_invoice_is_credited() {
    for shop in TestShop::everywhere().await {
        let part = shop.part_costing(2_500).await;
        shop.bring_in(part.id, (10, 2_500)).await;
        let first = shop.opened_call().await;
        shop.fit(first.id, part.id, 1).await;
        shop.complete_as_found(first.id).await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        shop.fit(call.id, part.id, 1).await;
        shop.complete_as_found(call.id).await;
        let bill = IssueInvoice {
            idempotency_key: shop.key(),
            call_id: call.id,
            work_done: None,
            option: None,
            divide: Vec::new(),
            coverage: None,
        };
        let bill = closeout::issue_invoice(&shop.owner, bill).await;
        let bill = bill.expect("a bill").remove(0);
        let db = shop.bench.app.db.read();
        let proposed = callbacks::callback_of(db, call.id).await;
        let callback_id = proposed.expect("callbacks").expect("a callback").id;
        let say = async |decision: Decision| {
            let command = DecideCallback {
                callback_id,
                decision,
                note: Some("looked at again".to_owned()),
            };
            closeout::decide_callback(&shop.owner, command).await
        };
        let billed = [(ProblemCode::WrongState, "decision".to_owned())];
        assert_eq!(refusals(say(SAME).await), billed);
        say(UNRELATED).await.expect("it stays the customer's");
        assert_eq!(refusals(say(SAME).await), billed);
        let credit = shop.credit(bill.id);
        closeout::credit_invoice(&shop.owner, credit)
            .await
            .expect("credited");
        say(SAME).await.expect("it is the shop's");
        let decided = coverage::standing_of_call(db, call.id).await;
        assert!(decided.expect("decisions").is_none());
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn damage_to_who_counts_a_call_and_to_what_trips_cost_is_found() {
    let damaged = [
        ("UPDATE callback SET counted_call_id = NULL", "callback"),
        ("UPDATE callback SET state = 'rejected'", "callback"),
        (
            "DROP TRIGGER keep_call_borne_update; UPDATE call_borne SET trip_cents = trip_cents + 1",
            "call_borne",
        ),
    ];
    for (sql, table) in damaged {
        let shop = Workshop::open(FIRST_ON).await;
        shop.knows_its_costs().await;
        let (_, proposed) = shop.comes_back("V-1").await;
        shop.says(proposed.id, SAME, None).await.expect("confirmed");
        shop.verifies().await;
        let tx = shop.app.db.write().await.expect("a transaction");
        sea_orm::ConnectionTrait::execute_unprepared(&tx, sql)
            .await
            .expect("spoiled");
        tx.commit().await.expect("spoiled");
        let findings = super::run(&shop.app.db).await.expect("verified");
        let begins = format!("{table} ");
        assert!(
            findings
                .iter()
                .any(|finding| finding.to_string().starts_with(&begins)),
            "{sql}: {findings:#?}"
        );
    }
}
