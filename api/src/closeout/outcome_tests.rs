//! What became of repairs, through the life of calls: each step leaves what a recount gives.

use nameplate_entities::kinds::{CallKind, CallbackClass, Dimension, Method};
use nameplate_entities::{
    appliance, outcome_due, rate_cell, repair_group, repair_outcome, service_call,
};
use sea_orm::{
    ActiveValue::Set, ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder,
};

use crate::appliances::{ChangeAppliance, PlateChange};
use crate::callbacks::{self, DecideCallback, Decision, outcomes};
use crate::calls::CancelCall;

use super::testing::{Workshop, day};
use super::{cancel_call, decide_callback};

/// Age of the return of a call's repair; `None` while it did not come back.
async fn age(shop: &Workshop, call: &service_call::Model) -> Option<i32> {
    outcome(shop, call).await.return_age_days
}

async fn outcome(shop: &Workshop, call: &service_call::Model) -> repair_outcome::Model {
    repair_outcome::Entity::find()
        .filter(repair_outcome::Column::CallId.eq(call.id))
        .one(shop.app.db.read())
        .await
        .expect("outcomes")
        .expect("an outcome")
}

async fn is_counted_right(shop: &Workshop) {
    let db = shop.app.db.read();
    let calls = outcomes::outcomes_that_differ(db, 10).await;
    assert_eq!(calls.expect("a recount"), Vec::<i64>::new());
    let cells = outcomes::cells_that_differ(db, 10).await;
    assert_eq!(cells.expect("a recount"), []);
}

async fn counted(shop: &Workshop, dimension: Dimension, key: &str) -> (i64, i64) {
    let cells = rate_cell::Entity::find()
        .filter(rate_cell::Column::Dimension.eq(dimension))
        .filter(rate_cell::Column::GroupKey.eq(key))
        .all(shop.app.db.read())
        .await
        .expect("cells");
    let repairs = cells.iter().map(|cell| cell.repairs).sum();
    let back = cells.iter().filter(|cell| cell.age_days > 0);
    (repairs, back.map(|cell| cell.repairs).sum())
}

fn decide(callback_id: i64, decision: Decision) -> DecideCallback {
    DecideCallback {
        callback_id,
        decision,
        note: Some("looked at the photos".to_owned()),
    }
}

#[tokio::test]
async fn a_repair_comes_back_by_its_first_call_that_counts() {
    for shop in Workshop::everywhere("2025-01-02").await {
        comes_back(&shop).await;
    }
}

async fn comes_back(shop: &Workshop) {
    let gasket = shop.failure("Door gasket", "worn").await;
    let latch = shop.failure("Door latch", "loose").await;
    let machine = shop.machine(Some("R-1")).await;
    let (first, _) = shop.repair(&machine, day("2025-01-10"), gasket).await;
    assert_eq!(age(shop, &first).await, None);
    is_counted_right(shop).await;

    shop.on(day("2025-01-20"));
    let opened = shop.open_call(&machine, CallKind::Repair).await;
    assert_eq!(
        age(shop, &first).await,
        Some(10),
        "until something is found"
    );
    let found = shop.find(&opened.call, latch).await;
    assert_eq!(age(shop, &first).await, None, "unrelated");
    let callback = found.callback.as_ref().expect("a callback").id;
    let related = Decision::Confirm {
        class: Some(CallbackClass::Related),
    };
    let decided = decide_callback(&shop.owner(), decide(callback, related)).await;
    decided.expect("decided");
    assert_eq!(age(shop, &first).await, Some(10), "as the desk decided");
    assert!(!outcome(shop, &first).await.same_component);
    shop.mend(&found, Method::Adjusted, Vec::new()).await;
    let second = shop.complete(&opened.call).await.expect("completed").call;
    is_counted_right(shop).await;

    // Far beyond the window nobody decides; what is found says it.
    shop.on(day("2025-09-01"));
    let late = shop.open_call(&machine, CallKind::Repair).await;
    assert!(late.callback.is_none());
    assert_eq!(age(shop, &second).await, Some(224));
    shop.find(&late.call, latch).await;
    assert!(outcome(shop, &second).await.same_component);
    is_counted_right(shop).await;
    assert_eq!(counted(shop, Dimension::Shop, "").await, (2, 2));
}

#[tokio::test]
async fn a_cancelled_call_a_rejected_callback_and_maintenance_bring_nothing_back() {
    for shop in Workshop::everywhere("2025-01-02").await {
        nothing_back(&shop).await;
    }
}

async fn nothing_back(shop: &Workshop) {
    let gasket = shop.failure("Door gasket", "worn").await;
    let machine = shop.machine(Some("R-2")).await;
    let (first, _) = shop.repair(&machine, day("2025-02-10"), gasket).await;
    shop.on(day("2025-02-12"));
    shop.open_call(&machine, CallKind::Maintenance).await;
    assert_eq!(age(shop, &first).await, None, "maintenance is planned");
    let opened = shop.open_call(&machine, CallKind::Repair).await;
    let callback = opened.callback.expect("a callback").id;
    let reject = decide(callback, Decision::Reject);
    let rejected = decide_callback(&shop.owner(), reject).await;
    rejected.expect("decided");
    assert_eq!(age(shop, &first).await, None, "rejected");
    shop.on(day("2025-02-14"));
    let again = shop.open_call(&machine, CallKind::Repair).await;
    assert_eq!(age(shop, &first).await, Some(4));
    let cancel = CancelCall {
        call_id: again.call.id,
        reason: "the customer found the plug out".to_owned(),
    };
    cancel_call(&shop.owner(), cancel).await.expect("cancelled");
    assert_eq!(age(shop, &first).await, None, "cancelled");
    is_counted_right(shop).await;
}

#[tokio::test]
async fn a_corrected_model_takes_its_repairs_along() {
    for shop in Workshop::everywhere("2025-01-02").await {
        let gasket = shop.failure("Door gasket", "worn").await;
        let machine = shop.machine(Some("R-3")).await;
        shop.repair(&machine, day("2025-02-10"), gasket).await;
        let key = |model: &str| format!("{}|{model}", machine.make_key);
        let before = key(&machine.model.to_uppercase());
        assert_eq!(counted(&shop, Dimension::Model, &before).await, (1, 0));
        shop.rename(&machine, "Mx 9").await;
        assert_eq!(counted(&shop, Dimension::Model, &before).await, (0, 0));
        assert_eq!(counted(&shop, Dimension::Model, &key("MX 9")).await, (1, 0));
        is_counted_right(&shop).await;
    }
}

/// All rows that follow from the calls, told by call.
async fn rows(
    shop: &Workshop,
) -> (
    Vec<repair_outcome::Model>,
    Vec<repair_group::Model>,
    Vec<rate_cell::Model>,
) {
    let db = shop.app.db.read();
    let outcomes = repair_outcome::Entity::find().order_by_asc(repair_outcome::Column::CallId);
    let groups = repair_group::Entity::find()
        .order_by_asc(repair_group::Column::CallId)
        .order_by_asc(repair_group::Column::Dimension)
        .order_by_asc(repair_group::Column::GroupKey);
    let cells = rate_cell::Entity::find()
        .filter(rate_cell::Column::Repairs.ne(0))
        .order_by_asc(rate_cell::Column::Dimension)
        .order_by_asc(rate_cell::Column::GroupKey)
        .order_by_asc(rate_cell::Column::Month)
        .order_by_asc(rate_cell::Column::ComponentId)
        .order_by_asc(rate_cell::Column::AgeDays);
    let mut outcomes = outcomes.all(db).await.expect("outcomes");
    for row in &mut outcomes {
        row.id = 0;
    }
    (
        outcomes,
        groups.all(db).await.expect("groups"),
        cells.all(db).await.expect("cells"),
    )
}

#[tokio::test]
async fn working_all_of_it_out_anew_gives_the_same_rows() {
    for shop in Workshop::everywhere("2025-01-02").await {
        comes_back(&shop).await;
        nothing_back(&shop).await;
        let before = rows(&shop).await;
        let db = shop.app.db.write().await.expect("the writer");
        repair_group::Entity::delete_many()
            .exec(&db)
            .await
            .expect("gone");
        repair_outcome::Entity::delete_many()
            .exec(&db)
            .await
            .expect("gone");
        rate_cell::Entity::delete_many()
            .exec(&db)
            .await
            .expect("gone");
        let machines = appliance::Entity::find().all(&db).await.expect("machines");
        let due = machines
            .into_iter()
            .map(|machine| outcome_due::ActiveModel {
                appliance_id: Set(machine.id),
            });
        outcome_due::Entity::insert_many(due)
            .exec_without_returning(&db)
            .await
            .expect("due");
        db.commit().await.expect("committed");
        is_counted_right(&shop).await;
        let program = shop.app.act(crate::base::Caller::Program);
        callbacks::open(&program).await.expect("worked out");
        assert_eq!(rows(&shop).await, before);
        let left = outcome_due::Entity::find().count(shop.app.db.read()).await;
        assert_eq!(left.expect("due"), 0);
    }
}

#[tokio::test]
async fn a_model_is_called_as_on_its_machine_that_was_repaired_last() {
    for shop in Workshop::everywhere("2025-01-02").await {
        let gasket = shop.failure("Door gasket", "worn").await;
        let one = shop.machine(Some("N-1")).await;
        let other = shop.machine(Some("N-2")).await;
        let change = ChangeAppliance {
            appliance_id: other.id,
            version: other.version,
            make: None,
            model: Some("hx-30".to_owned()),
            serial: None,
            fuel: None,
            plate: PlateChange::default(),
            built_in: None,
        };
        let changed = callbacks::change_appliance(&shop.owner(), change).await;
        changed.expect("changed");
        let called = async || {
            let keys = [outcomes::model_key(&one), "NOBODY|X".to_owned()];
            let db = shop.app.db.read();
            let labels = outcomes::labels(db, Dimension::Model, &keys).await;
            labels.expect("labels").into_values().collect::<Vec<_>>()
        };
        assert_eq!(called().await, Vec::<String>::new(), "nothing repaired yet");
        shop.repair(&one, day("2025-01-10"), gasket).await;
        shop.repair(&other, day("2025-01-20"), gasket).await;
        assert_eq!(called().await, ["Hearthline hx-30"]);
        shop.repair(&one, day("2025-01-30"), gasket).await;
        assert_eq!(called().await, ["Hearthline HX-30"]);
    }
}
