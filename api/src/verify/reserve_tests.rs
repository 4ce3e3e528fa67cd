//! The warranty reserve over three months, worked by hand, and what damage to it looks like.

use nameplate_entities::kinds::{CallKind, CallbackClass, Method};
use nameplate_entities::{appliance, reserve_run, reserve_stratum, service_call};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use sea_orm::{
    ActiveModelTrait, ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel, QueryFilter,
    QueryOrder,
};
use serde_json::Value;

use super::graph_tests::ask;
use crate::base::{ProblemCode, Result};
use crate::books::{self, JournalLine, PostJournal};
use crate::callbacks::{DecideCallback, Decision};
use crate::closeout;
use crate::closeout::testing::{Workshop, day, refusals};
use crate::reports::{self, Failed, Pieces, Wanted};
use crate::reserve::{
    RunWarrantyReserve, UndoWarrantyReserve, run_warranty_reserve, undo_warranty_reserve,
};

type Failure = (i64, i64);

impl Workshop {
    async fn run_reserve(&self, through: &str) -> Result<reserve_run::Model> {
        let order = RunWarrantyReserve {
            idempotency_key: self.key(),
            through: day(through),
        };
        run_warranty_reserve(&self.owner(), order).await
    }

    async fn undo_reserve(&self, run_id: i64) -> Result<reserve_run::Model> {
        let order = UndoWarrantyReserve {
            idempotency_key: self.key(),
            run_id,
            reason: "a call was missing".to_owned(),
        };
        undo_warranty_reserve(&self.owner(), order).await
    }

    /// Repaired on a day, and nothing more heard of it.
    async fn repaired_once(&self, serial: &str, on: &str, failure: Failure) -> appliance::Model {
        let machine = self.machine(Some(serial)).await;
        self.repair(&machine, day(on), failure).await;
        machine
    }

    /// The same failure is back on a machine: repaired with a part of this cost, as a callback where it is proposed as one.
    async fn came_back(
        &self,
        (machine, on): (&appliance::Model, &str),
        failure: Failure,
        cost: i64,
    ) -> service_call::Model {
        self.on(day(on));
        let opened = self.open_call(machine, CallKind::Repair).await;
        let found = self.find(&opened.call, failure).await;
        if let Some(callback) = &opened.callback {
            let decide = DecideCallback {
                callback_id: callback.id,
                decision: Decision::Confirm {
                    class: Some(CallbackClass::SameFailure),
                },
                note: None,
            };
            let decided = closeout::decide_callback(&self.owner(), decide).await;
            decided.expect("decided");
        }
        let part = self.part(Cents(cost)).await;
        self.mend(&found, Method::Replaced, vec![part.id]).await;
        self.explain(&opened.call).await;
        self.complete(&opened.call).await.expect("completed").call
    }

    /// What an account stands at, debits positive.
    async fn stands_at(&self, role: Role) -> i64 {
        let db = self.app.db.read();
        books::balance_of_role(db, role).await.expect("a balance")
    }

    async fn strata_of(&self, run: &reserve_run::Model) -> Vec<reserve_stratum::Model> {
        reserve_stratum::Entity::find()
            .filter(reserve_stratum::Column::RunId.eq(run.id))
            .order_by_asc(reserve_stratum::Column::ComponentId)
            .all(self.app.db.read())
            .await
            .expect("strata")
    }

    async fn all_findings(&self) -> Vec<String> {
        let findings = super::run(&self.app.db).await.expect("verified");
        findings.iter().map(ToString::to_string).collect()
    }
}

/// Opening, used, new, earlier, closing.
fn table(run: &reserve_run::Model) -> [i64; 5] {
    [
        run.opening_cents,
        run.used_cents,
        run.new_cents,
        run.earlier_cents,
        run.closing_cents,
    ]
}

/// Four repairs on 5 January, one of them back on the 15th at a cost of 30.00, one repair on the 28th.
async fn january(shop: &Workshop) -> (Failure, appliance::Model) {
    let burnt = shop.failure("Surface burner terminal", "burnt").await;
    let first = shop.repaired_once("J-1", "2026-01-05", burnt).await;
    for serial in ["J-2", "J-3", "J-4"] {
        shop.repaired_once(serial, "2026-01-05", burnt).await;
    }
    shop.came_back((&first, "2026-01-15"), burnt, 3_000).await;
    let late = shop.repaired_once("J-5", "2026-01-28", burnt).await;
    (burnt, late)
}

/// Worked by hand. January: of six repairs five were watched for ten days, one came back on the tenth, so 1/5 of a return
/// is expected of a new repair, and of the one that is three days old; 1/5 at 30.00 is 6.00, and six new ones 36.00.
/// February: of the shop's eight repairs one came back on day 10 and, of five still watched, one on day 20, so 1/8 and
/// 13/40; 1.875 were expected of the seven terminals and 0.125 of the element, so the terminals' hazard is 4/3.875 of the
/// shop's and the element's 2/2.125. Returns cost 40.00 on average, of either. The terminal of 11 days is expected back
/// 1/5 x 32/31 times (8.26), the element of 18 days 1/5 x 16/17 times (7.53); new, they were 13/40 x 32/31 (13.42) and
/// 13/40 x 16/17 (12.24). March: all are older than any return was.
#[tokio::test]
async fn three_months_come_out_as_worked_by_hand_and_tie_to_the_books() {
    for shop in Workshop::everywhere("2026-01-05").await {
        let (burnt, late) = january(&shop).await;
        shop.on(day("2026-02-01"));
        let run = shop.run_reserve("2026-01-31").await.expect("January");
        assert_eq!(table(&run), [0, -3_000, 3_600, 0, 600]);
        assert_eq!(run.promise_days, 90);
        let [stratum] = &shop.strata_of(&run).await[..] else {
            panic!("one stratum");
        };
        assert_eq!(
            (stratum.repairs, stratum.returns, stratum.open_repairs),
            (6, 1, 5)
        );
        assert_eq!(stratum.expected_returns.to_string(), "0.2");
        assert_eq!(stratum.mean_cost.to_string(), "3000");
        assert_eq!(shop.stands_at(Role::WarrantyReserve).await, -600);
        assert_eq!(shop.stands_at(Role::CallbackCost).await, 0);
        assert_eq!(shop.stands_at(Role::WarrantyExpense).await, 3_600);

        let open = shop.failure("Bake element", "open").await;
        shop.repaired_once("F-1", "2026-02-10", open).await;
        shop.came_back((&late, "2026-02-17"), burnt, 5_000).await;
        shop.on(day("2026-03-03"));
        let run = shop.run_reserve("2026-02-28").await.expect("February");
        assert_eq!(table(&run), [600, -5_000, 2_566, 3_413, 1_579]);
        let mut amounts: Vec<_> = (shop.strata_of(&run).await.iter())
            .map(|row| (row.cents, row.new_cents, row.mean_cost.to_string()))
            .collect();
        amounts.sort_unstable();
        let expected = [
            (753, 1_224, "4000".to_owned()),
            (826, 1_342, "4000".to_owned()),
        ];
        assert_eq!(amounts, expected);
        assert_eq!(shop.stands_at(Role::WarrantyReserve).await, -1_579);
        told_in_file_and_graph(&shop).await;

        shop.on(day("2026-04-01"));
        let run = shop.run_reserve("2026-03-31").await.expect("March");
        assert_eq!(table(&run), [1_579, 0, 0, -1_579, 0]);
        assert_eq!(shop.stands_at(Role::WarrantyReserve).await, 0);
        assert_eq!(shop.stands_at(Role::CallbackCost).await, 0);
        assert_eq!(shop.stands_at(Role::WarrantyExpense).await, 8_000);
        assert_eq!(shop.all_findings().await, Vec::<String>::new());
    }
}

/// February in the file and in the graph.
async fn told_in_file_and_graph(shop: &Workshop) {
    let wanted = |through: &str| Wanted {
        report: "warranty-reserve".to_owned(),
        through: Some(through.to_owned()),
        ..Wanted::default()
    };
    let file = reports::export(&shop.owner(), &wanted("2026-02-28")).await;
    let Ok(Pieces::Whole(bytes)) = file else {
        panic!("a whole file");
    };
    let text = String::from_utf8(bytes).expect("text");
    for line in [
        "opening,,,,,,,,,,6.00",
        "used,,,,,,,,,,-50.00",
        "new_warranties,,,,,,,,,,25.66",
        "earlier_warranties,,,,,,,,,,34.13",
        "closing,,,,,,,,,,15.79",
        "stratum,Range,Surface burner terminal,7,2,5,0.2064516129,40.00,1,13.42,8.26",
        "stratum,Range,Bake element,1,0,1,0.1882352941,40.00,1,12.24,7.53",
    ] {
        assert!(text.lines().any(|found| found == line), "{line}: {text}");
    }
    let none = reports::export(&shop.owner(), &wanted("2026-03-31")).await;
    assert!(matches!(none, Err(Failed::BadRequest(_))));
    let technician = shop.technician(shop.technician_id);
    let hidden = reports::export(&technician, &wanted("2026-02-28")).await;
    assert!(matches!(hidden, Err(Failed::NoSuchReport)));
    let query = "{ warrantyReserveRuns(first: 5) { edges { node { id through opening used forNew forEarlier
        closing promiseDays runAt runBy { name } undoneAt undoneBecause undoneBy { name }
        entry { number total documentKind }
        strata { applianceType { name } component { name } repairs returns openRepairs expectedReturns
        meanCost amount newRepairs forNew } } } } }";
    let answer = ask(&shop.owner(), query).await;
    assert_eq!(answer["errors"], Value::Null, "{answer:#}");
    let node = &answer["data"]["warrantyReserveRuns"]["edges"][0]["node"];
    assert_eq!(node["through"], "2026-02-28");
    assert_eq!(node["closing"], "15.79");
    assert_eq!(node["strata"].as_array().map(Vec::len), Some(2));
}

#[tokio::test]
async fn months_are_run_in_order_once_each_and_only_when_they_are_over() {
    let shop = Workshop::open("2026-01-05").await;
    january(&shop).await;
    shop.on(day("2026-03-03"));
    let refused = async |through: &str| refusals(shop.run_reserve(through).await);
    let at_through = |code| vec![(code, "through".to_owned())];
    for day in ["2026-02-27", "2026-03-31", "1990-01-31"] {
        assert_eq!(
            refused(day).await,
            at_through(ProblemCode::ImpossibleDate),
            "{day}"
        );
    }
    let january = shop.run_reserve("2026-01-31").await.expect("January");
    assert_eq!(
        refused("2026-01-31").await,
        at_through(ProblemCode::WrongState)
    );
    shop.on(day("2026-04-03"));
    assert_eq!(
        refused("2026-03-31").await,
        at_through(ProblemCode::WrongState)
    );
    shop.run_reserve("2026-02-28").await.expect("February");
    let at_run = vec![(ProblemCode::WrongState, "runId".to_owned())];
    assert_eq!(refusals(shop.undo_reserve(january.id).await), at_run);
    books::close_books(&shop.owner(), day("2026-03-31"))
        .await
        .expect("closed");
    assert_eq!(
        refused("2026-03-31").await,
        at_through(ProblemCode::PeriodClosed)
    );
    let by_technician = RunWarrantyReserve {
        idempotency_key: shop.key(),
        through: day("2026-03-31"),
    };
    let technician = shop.technician(shop.technician_id);
    let outcome = run_warranty_reserve(&technician, by_technician).await;
    assert!(matches!(outcome, Err(crate::base::Error::Forbidden)));
}

#[tokio::test]
async fn an_undone_month_leaves_the_books_as_they_were_and_is_run_again() {
    for shop in Workshop::everywhere("2026-01-05").await {
        january(&shop).await;
        shop.on(day("2026-02-01"));
        let first = shop.run_reserve("2026-01-31").await.expect("January");
        let undone = shop.undo_reserve(first.id).await.expect("undone");
        assert_eq!(undone.standing_on, None);
        assert_eq!(undone.undone_because.as_deref(), Some("a call was missing"));
        assert_eq!(shop.stands_at(Role::WarrantyReserve).await, 0);
        assert_eq!(shop.stands_at(Role::CallbackCost).await, 3_000);
        assert_eq!(shop.stands_at(Role::WarrantyExpense).await, 0);
        let twice = vec![(ProblemCode::WrongState, "runId".to_owned())];
        assert_eq!(refusals(shop.undo_reserve(first.id).await), twice);
        let again = shop.run_reserve("2026-01-31").await.expect("again");
        assert_eq!(table(&again), table(&first));
        assert_ne!(again.id, first.id);
        assert_eq!(shop.all_findings().await, Vec::<String>::new());
    }
}

/// A repair that fails the same way after the callback window, while free labor runs, came back all the same; and a cost
/// that is posted into a month that was run is used in the next one.
#[tokio::test]
async fn a_return_without_a_callback_counts_and_a_late_cost_is_used_in_the_next_month() {
    let shop = Workshop::open("2026-01-05").await;
    let burnt = shop.failure("Surface burner terminal", "burnt").await;
    let machine = shop.repaired_once("W-1", "2026-01-05", burnt).await;
    shop.on(day("2026-02-01"));
    let run = shop.run_reserve("2026-01-31").await.expect("January");
    assert_eq!(table(&run), [0; 5], "nothing ever came back");
    assert_eq!(run.entry_id, None);

    let call = shop.came_back((&machine, "2026-02-20"), burnt, 4_000).await;
    assert!(
        shop.callback_of(&call).await.is_none(),
        "46 days are past the window"
    );
    let line = |account: &str, debit, credit| JournalLine {
        account: account.to_owned(),
        debit,
        credit,
        tax_level_id: None,
    };
    let late = PostJournal {
        idempotency_key: shop.key(),
        on: day("2026-01-30"),
        memo: "Helper on a callback".to_owned(),
        lines: vec![
            line(Role::CallbackCost.code(), Some(Cents(2_500)), None),
            line(Role::Bank.code(), None, Some(Cents(2_500))),
        ],
    };
    books::post_journal(&shop.owner(), late)
        .await
        .expect("posted");
    shop.on(day("2026-03-01"));
    let run = shop.run_reserve("2026-02-28").await.expect("February");
    let [stratum] = &shop.strata_of(&run).await[..] else {
        panic!("one stratum");
    };
    assert_eq!((stratum.repairs, stratum.returns), (2, 1));
    assert_eq!(run.used_cents, -2_500);
    assert_eq!(shop.stands_at(Role::CallbackCost).await, 0);
    assert_eq!(shop.all_findings().await, Vec::<String>::new());

    let by_hand = PostJournal {
        idempotency_key: shop.key(),
        on: day("2026-03-01"),
        memo: "by hand".to_owned(),
        lines: vec![
            line(Role::WarrantyReserve.code(), Some(Cents(1)), None),
            line(Role::Bank.code(), None, Some(Cents(1))),
        ],
    };
    let outcome = books::post_journal(&shop.owner(), by_hand).await;
    let expected = vec![(ProblemCode::WrongState, "lines.0.account".to_owned())];
    assert_eq!(refusals(outcome), expected);
}

/// A run takes the same number of statements over six repairs and over thirty.
#[tokio::test]
async fn a_run_takes_as_many_statements_over_a_long_record_as_over_a_short_one() {
    let shop = Workshop::open("2026-01-05").await;
    let (burnt, _) = january(&shop).await;
    let counted = async |through: &str| {
        let before = shop.app.db.statements();
        shop.run_reserve(through).await.expect("a run");
        shop.app.db.statements() - before
    };
    shop.on(day("2026-02-01"));
    let short = counted("2026-01-31").await;
    let failures = [burnt, shop.failure("Bake element", "open").await];
    for number in 0..12 {
        let failure = failures[number % 2];
        let machine = shop
            .repaired_once(&format!("L-{number}"), "2026-02-03", failure)
            .await;
        shop.came_back((&machine, "2026-02-20"), failure, 1_000)
            .await;
    }
    shop.on(day("2026-03-01"));
    // One more finds the first run that stands.
    let long = counted("2026-02-28").await;
    assert!(
        long <= short + 2,
        "{short} over a short record, {long} over a long one"
    );
}

#[tokio::test]
async fn damage_to_the_reserve_is_found() {
    for shop in Workshop::everywhere("2026-01-05").await {
        january(&shop).await;
        shop.on(day("2026-03-01"));
        shop.run_reserve("2026-01-31").await.expect("January");
        let run = shop.run_reserve("2026-02-28").await.expect("February");
        assert_eq!(shop.all_findings().await, Vec::<String>::new());
        let id = run.id;
        let table = "opening_cents = opening_cents + 1, earlier_cents = earlier_cents - 1";
        let closing = "earlier_cents = earlier_cents + 5, closing_cents = closing_cents + 5";
        let new = "new_cents = new_cents + 1, earlier_cents = earlier_cents - 1";
        let used = "used_cents = used_cents - 1, earlier_cents = earlier_cents + 1";
        for (harm, told) in [
            (
                format!("UPDATE reserve_run SET {table} WHERE id = {id}"),
                "opens with",
            ),
            (
                format!("UPDATE reserve_run SET {closing} WHERE id = {id}"),
                "its strata against",
            ),
            (
                format!("UPDATE reserve_run SET {closing} WHERE id = {id}"),
                "in the books on its day",
            ),
            (
                format!("UPDATE reserve_run SET {new} WHERE id = {id}"),
                "for promises of the month",
            ),
            (
                format!("UPDATE reserve_run SET {used} WHERE id = {id}"),
                "what was used",
            ),
            (
                format!(
                    "UPDATE reserve_run SET undone_at = run_at, undone_by = run_by WHERE id = {id}"
                ),
                "undone without",
            ),
            (
                format!(
                    "UPDATE reserve_run SET through_on = '2026-03-31', standing_on = '2026-03-31' WHERE id = {id}"
                ),
                "month that ends on 2026-03-31",
            ),
        ] {
            let kept = reserve_run::Entity::find_by_id(id)
                .one(shop.app.db.read())
                .await;
            let kept = kept.expect("a run").expect("a run");
            let tx = shop.app.db.write().await.expect("to write");
            tx.execute_unprepared(&harm).await.expect("harmed");
            tx.commit().await.expect("kept");
            let found = shop.all_findings().await;
            let is_told = found
                .iter()
                .any(|finding| finding.starts_with("reserve_run") && finding.contains(told));
            assert!(is_told, "{harm}: {found:?}");
            let tx = shop.app.db.write().await.expect("to write");
            let mended = kept.into_active_model().reset_all().update(&tx).await;
            mended.expect("mended");
            tx.commit().await.expect("kept");
        }
        assert_eq!(shop.all_findings().await, Vec::<String>::new());
        harm_the_entry(&shop, &run).await;
    }
}

/// An entry that is not reversed with its run.
async fn harm_the_entry(shop: &Workshop, run: &reserve_run::Model) {
    let tx = shop.app.db.write().await.expect("to write");
    let harm = format!(
        "UPDATE reserve_run SET standing_on = NULL, undone_at = run_at, undone_by = run_by WHERE id = {}",
        run.id
    );
    tx.execute_unprepared(&harm).await.expect("harmed");
    tx.commit().await.expect("kept");
    let found = shop.all_findings().await;
    let is_told = (found.iter()).any(|finding| finding.contains("not once it is undone"));
    assert_eq!(is_told, run.entry_id.is_some(), "{found:?}");
}
