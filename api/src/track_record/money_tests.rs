//! What returns cost, while parts go back and windows end; on both databases.

use chrono::TimeDelta;
use nameplate_entities::kinds::{CallKind, Dimension, Method, StockMoveKind};
use nameplate_entities::{appliance, stock_move};
use nameplate_rules::money::Cents;
use sea_orm::{ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter};

use crate::callbacks::{DecideCallback, Decision, outcomes::Watch};
use crate::closeout::testing::{Workshop, day};
use crate::closeout::{borne_between, decide_callback};
use crate::stock::{self, TakePartBack};

use super::money::{self, Borne, MonthLost};
use super::rates::rates;
use super::store::{drill, lost};

const THROUGH: &str = "2025-12-31";

fn watch(window_days: u32) -> Watch {
    Watch {
        from: day("2025-01-01"),
        through: day(THROUGH),
        window_days,
        today: day(THROUGH),
    }
}

/// Lost in all, by the groups of components, and by month.
async fn lost(shop: &Workshop, window_days: u32) -> (Cents, Vec<Cents>, Vec<MonthLost>) {
    let (db, watch) = (shop.app.db.read(), watch(window_days));
    let table = rates(db, Dimension::Component, watch, 10).await;
    let table = table.expect("rates");
    let groups = table.groups.iter().map(|group| group.lost).collect();
    let months = money::by_month(db, &watch).await;
    (table.shop.lost, groups, months.expect("months"))
}

/// A repair of January that comes back in February, ten days later, with a part at 100.00.
async fn comes_back(shop: &Workshop) {
    let failure = shop.failure("Door gasket", "worn").await;
    let machine = shop.machine(Some("M-1")).await;
    shop.repair(&machine, day("2025-01-25"), failure).await;
    shop.on(day("2025-02-04"));
    is_back(shop, &machine, failure).await;
    shop.on(day(THROUGH));
}

/// The machine is back with the same failure, confirmed as a callback and mended with a part at 100.00.
async fn is_back(shop: &Workshop, machine: &appliance::Model, failure: (i64, i64)) {
    let opened = shop.open_call(machine, CallKind::Repair).await;
    let confirm = DecideCallback {
        callback_id: opened.callback.expect("a callback").id,
        decision: Decision::Confirm { class: None },
        note: None,
    };
    let confirmed = decide_callback(&shop.owner(), confirm).await;
    confirmed.expect("confirmed");
    let part = shop.part(Cents(10_000)).await;
    let found = shop.find(&opened.call, failure).await;
    shop.mend(&found, Method::Replaced, vec![part.id]).await;
    shop.explain(&opened.call).await;
    shop.complete(&opened.call).await.expect("completed");
}

async fn part_goes_back(shop: &Workshop) {
    let used = stock_move::Entity::find()
        .filter(stock_move::Column::Kind.eq(StockMoveKind::Used))
        .one(shop.app.db.read())
        .await;
    let back = TakePartBack {
        idempotency_key: shop.key(),
        move_id: used.expect("moves").expect("a move").id,
        quantity: 1.into(),
        place_id: None,
        reason: "not needed".to_owned(),
        taken_back_on: Some(day("2025-03-03")),
    };
    let taken = stock::take_part_back(&shop.owner(), back).await;
    taken.expect("taken back");
}

#[tokio::test]
async fn a_part_that_is_taken_back_is_lost_no_more() {
    for shop in Workshop::everywhere("2025-01-02").await {
        comes_back(&shop).await;
        let month = |first: &str, calls: i64, lost: i64| MonthLost {
            month: day(first),
            same_component: Borne {
                calls,
                lost: Cents(lost),
            },
            other: Borne::default(),
        };
        let february = month("2025-02-01", 1, 10_000);
        let (all, groups, months) = lost(&shop, 30).await;
        assert_eq!((all, groups), (Cents(10_000), vec![Cents(10_000)]));
        assert_eq!(months, [february]);
        // The repair that came back had a component and no batch.
        for (dimension, without) in [
            (Dimension::Lot, Cents(10_000)),
            (Dimension::Component, Cents::ZERO),
        ] {
            let found = lost::lost_without(shop.app.db.read(), dimension, &watch(30)).await;
            assert_eq!(found.expect("money"), without);
        }

        part_goes_back(&shop).await;
        let (from, through) = (day("2025-01-01"), day(THROUGH));
        let borne = borne_between(shop.app.db.read(), from, through).await;
        assert_eq!(borne.expect("what is borne").parts, Cents::ZERO);
        let (all, groups, months) = lost(&shop, 30).await;
        assert_eq!((all, groups), (Cents::ZERO, vec![Cents::ZERO]));
        // The call was counted in February; March only corrects what it cost.
        assert_eq!(months, [february, month("2025-03-01", 0, -10_000)]);

        // Of March alone it is the one call of which something was borne.
        let march = Watch {
            from: day("2025-03-01"),
            ..watch(30)
        };
        let months = money::by_month(shop.app.db.read(), &march).await;
        assert_eq!(months.expect("months"), [month("2025-03-01", 1, -10_000)]);
    }
}

#[tokio::test]
async fn a_return_after_the_window_costs_nothing_in_any_figure() {
    for shop in Workshop::everywhere("2025-01-02").await {
        comes_back(&shop).await;
        let (all, groups, months) = lost(&shop, 9).await;
        assert_eq!(
            (all, groups, months),
            (Cents::ZERO, vec![Cents::ZERO], vec![])
        );
        let (all, _, months) = lost(&shop, 10).await;
        assert_eq!((all, months.len()), (Cents(10_000), 1));
    }
}

#[tokio::test]
async fn a_repair_of_today_is_in_no_figure_of_the_table_until_tomorrow() {
    for shop in Workshop::everywhere("2025-01-02").await {
        let failure = shop.failure("Door gasket", "worn").await;
        let machine = shop.machine(Some("M-1")).await;
        shop.repair(&machine, day("2025-01-25"), failure).await;
        shop.app.clock.advance(TimeDelta::hours(2));
        is_back(&shop, &machine, failure).await;
        let db = shop.app.db.read();
        let as_of = |today: &str| Watch {
            through: day(today),
            today: day(today),
            ..watch(30)
        };
        // Groups, repairs, returns and money of the table, and how many returns are listed.
        let told = async |today: &str| {
            let watch = as_of(today);
            let table = rates(db, Dimension::Component, watch, 10).await;
            let table = table.expect("rates");
            let listed = drill::repairs((Dimension::Shop, ""), &watch, true);
            let listed = listed.count(db).await.expect("repairs");
            let counts = table.shop.counts;
            (
                table.groups.len(),
                counts.repairs,
                counts.returned,
                table.shop.lost,
                listed,
            )
        };
        assert_eq!(told("2025-01-25").await, (0, 0, 0, Cents::ZERO, 0));
        assert_eq!(told("2025-01-26").await, (1, 2, 1, Cents(10_000), 1));
        // The month's money is that of the books, from the day on which it was borne.
        let months = money::by_month(db, &as_of("2025-01-25")).await;
        let months = months.expect("months");
        let lost = months.iter().map(|month| month.same_component.lost);
        assert_eq!(lost.collect::<Vec<_>>(), [Cents(10_000)]);
    }
}
