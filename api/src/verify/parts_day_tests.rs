//! Random days of parts and suppliers: whatever is done in whatever order, records and books agree.

use chrono::{Days, TimeDelta};
use nameplate_entities::{stock_move, supplier_bill, supplier_payment};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use sea_orm::{EntityTrait, QueryOrder};

use super::payable_tests::{Desk, ON, money_line, part_line};
use crate::base::{Error, Result};
use crate::closeout::testing::Workshop;
use crate::payables::{self, CreditLine, RecordSupplierCredit};
use crate::stock::{AdjustStock, CountStock, ReceiveParts, TakePartBack};
use crate::{books, stock};

/// Something that happens to parts and suppliers. Places are taken modulo what there is.
#[derive(Clone, Debug)]
enum Event {
    Receive(usize, i64, i64),
    Use(usize, i64),
    TakeBack(usize),
    Count(usize, i64),
    Adjust(usize, i64),
    Bill(usize, i64, i64),
    Credit(usize, i64),
    Pay(i64),
    Undo(usize),
    NextDay,
}

fn event() -> impl Strategy<Value = Event> {
    let at = 0_usize..20;
    prop_oneof![
        2 => (at.clone(), 1_i64..5, 1_i64..3_000).prop_map(|(part, pieces, cost)| Event::Receive(part, pieces, cost)),
        3 => (at.clone(), 1_i64..5).prop_map(|(part, pieces)| Event::Use(part, pieces)),
        2 => at.clone().prop_map(Event::TakeBack),
        1 => (at.clone(), 0_i64..9).prop_map(|(part, pieces)| Event::Count(part, pieces)),
        1 => (at.clone(), -3_i64..4).prop_map(|(part, change)| Event::Adjust(part, change)),
        3 => (at.clone(), 1_i64..6, 1_i64..3_000).prop_map(|(part, pieces, cost)| Event::Bill(part, pieces, cost)),
        2 => (at.clone(), 1_i64..4).prop_map(|(part, pieces)| Event::Credit(part, pieces)),
        2 => (1_i64..9_000).prop_map(Event::Pay),
        1 => at.prop_map(Event::Undo),
        1 => Just(Event::NextDay),
    ]
}

struct Play<'a> {
    desk: Desk<'a>,
    parts: [i64; 2],
    made: usize,
}

impl Play<'_> {
    fn part(&self, at: usize) -> i64 {
        self.parts[at % 2]
    }

    async fn happen(&mut self, event: Event) -> Result<()> {
        self.made += 1;
        let number = format!("N{}", self.made);
        match event {
            Event::Bill(..) | Event::Credit(..) | Event::Pay(_) | Event::Undo(_) => {
                self.supplier(event, &number).await
            }
            other => self.stock(other, &number).await,
        }
    }

    async fn stock(&self, event: Event, number: &str) -> Result<()> {
        let owner = self.desk.shop().owner();
        let key = self.desk.shop().key();
        let main = self.desk.parts.main_id().await;
        match event {
            Event::Receive(at, pieces, cost) => {
                let new = ReceiveParts {
                    paid_from: (pieces % 2 == 0).then(|| Role::Bank.code().to_owned()),
                    ..self.desk.parts.receipt(self.part(at), (pieces, cost))
                };
                stock::receive_parts(&owner, new).await.map(drop)
            }
            Event::Use(at, pieces) => {
                self.desk.parts.use_up(number, self.part(at), pieces).await;
                Ok(())
            }
            Event::TakeBack(at) => {
                let rows = stock_move::Entity::find().order_by_asc(stock_move::Column::Id);
                let rows = rows.all(self.desk.parts.db()).await.unwrap();
                let Some(row) = rows.get(at) else {
                    return Ok(());
                };
                let new = TakePartBack {
                    idempotency_key: key,
                    move_id: row.id,
                    quantity: 1.into(),
                    place_id: None,
                    reason: "not needed".to_owned(),
                    taken_back_on: None,
                };
                stock::take_part_back(&owner, new).await.map(drop)
            }
            Event::Count(at, pieces) => {
                let new = CountStock {
                    takes_over: at == 0,
                    ..self.desk.parts.count(main, (self.part(at), pieces))
                };
                stock::count_stock(&owner, new).await.map(drop)
            }
            Event::Adjust(at, change) => {
                let new = AdjustStock {
                    idempotency_key: key,
                    part_id: self.part(at),
                    place_id: main,
                    change: change.into(),
                    unit_cost: None,
                    reason: "found so".to_owned(),
                    adjusted_on: None,
                };
                stock::adjust_stock(&owner, new).await.map(drop)
            }
            Event::NextDay => {
                let clock = &self.desk.shop().app.clock;
                clock.set(owner.at + TimeDelta::days(1));
                Ok(())
            }
            other => panic!("{other:?} is no event of the stock"),
        }
    }

    async fn supplier(&self, event: Event, number: &str) -> Result<()> {
        let owner = self.desk.shop().owner();
        match event {
            Event::Bill(at, pieces, cost) => {
                let lines = vec![
                    part_line(self.part(at), (pieces, cost)),
                    money_line(None, 77),
                ];
                self.desk
                    .record(self.desk.bill(number, lines))
                    .await
                    .map(drop)
            }
            Event::Credit(at, pieces) => {
                let line = CreditLine {
                    part_id: Some(self.part(at)),
                    quantity: Some(pieces.into()),
                    unit_cost: Some(Cents(1_200)),
                    ..CreditLine::default()
                };
                let bills = supplier_bill::Entity::find()
                    .all(self.desk.parts.db())
                    .await
                    .unwrap();
                let new = RecordSupplierCredit {
                    bill_id: bills.get(at).map(|bill| bill.id),
                    ..self.desk.credit(number, vec![line])
                };
                payables::record_supplier_credit(&owner, new)
                    .await
                    .map(drop)
            }
            Event::Pay(amount) => self.desk.pay(self.desk.payment(amount)).await.map(drop),
            Event::Undo(at) => {
                let rows = supplier_payment::Entity::find()
                    .all(self.desk.parts.db())
                    .await
                    .unwrap();
                let Some(row) = rows.get(at) else {
                    return Ok(());
                };
                let new = self.desk.undoing(row.id);
                payables::undo_supplier_payment(&owner, new).await.map(drop)
            }
            other => panic!("{other:?} is no event of a supplier"),
        }
    }
}

async fn lived(events: Vec<Event>) {
    let shop = Workshop::open(ON).await;
    let desk = Desk::of(&shop).await;
    let parts = [
        shop.part(Cents(900)).await.id,
        shop.part(Cents(1_100)).await.id,
    ];
    let mut play = Play {
        desk,
        parts,
        made: 0,
    };
    for event in events {
        match play.happen(event.clone()).await {
            Ok(()) | Err(Error::Refused(_)) => {}
            Err(other) => panic!("{event:?} failed: {other}"),
        }
        play.desk.parts.is_in_order().await;
    }
    let today = shop.owner().at.date_naive();
    let db = play.desk.parts.db();
    for back in 0..30 {
        let on = today - Days::new(back);
        let owed: i64 = payables::open_on(db, on)
            .await
            .unwrap()
            .iter()
            .map(|row| row.open_cents)
            .sum();
        let balances = books::balances(db, books::Days::through(on)).await.unwrap();
        let of = |role: Role| {
            let row = balances.iter().find(|row| row.code == role.code());
            row.map_or(0, |row| row.balance_cents)
        };
        assert_eq!(-of(Role::Payables), owed, "{on}");
        assert_eq!(
            of(Role::PartsStock),
            stock::total_on(db, on).await.unwrap(),
            "{on}"
        );
    }
}

#[test]
fn whatever_happens_to_parts_and_suppliers_records_and_books_agree() {
    let config = Config {
        cases: 6,
        failure_persistence: None,
        max_shrink_iters: 20,
        ..Config::default()
    };
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let events = prop::collection::vec(event(), 12..25);
    let outcome = TestRunner::new(config).run(&events, |events| {
        let played = std::panic::AssertUnwindSafe(|| runtime.block_on(lived(events.clone())));
        std::panic::catch_unwind(played).map_err(|_| TestCaseError::fail("not in order"))
    });
    outcome.unwrap();
}
