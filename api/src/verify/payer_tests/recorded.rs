//! A call's work as it is on record, proposed as lines to bill.

use nameplate_entities::kinds::{CallbackClass, Method};
use nameplate_entities::{component, failure_mode, part, stock_move};

use super::*;
use crate::base::Caller;
use crate::callbacks::{DecideCallback, Decision, RecordFinding, record_finding};
use crate::calls::{NewFinding, PartFitted, RecordRemedy, record_remedy};
use crate::closeout::{CompleteCall, WorkToBill, complete_call, decide_callback, work_to_bill};
use crate::pricing::{self, AddPart};
use crate::stock::{TakePartBack, take_part_back};

impl TestShop {
    async fn listed_part(&self, number: &str, cost: i64) -> part::Model {
        let new = AddPart {
            number: number.to_owned(),
            description: format!("Part {number}"),
            cost: Cents(cost),
            freight: Some(Cents(700)),
            ..AddPart::default()
        };
        pricing::add_part(&self.owner, new).await.unwrap()
    }

    /// A remedy of so many minutes with these parts.
    async fn mend(&self, call: &service_call::Model, minutes: i32, parts: &[(i64, i64)]) {
        let db = self.bench.app.db.read();
        let component = component::Entity::find().one(db).await.unwrap().unwrap();
        let mode = failure_mode::Entity::find().one(db).await.unwrap().unwrap();
        let finding = RecordFinding {
            idempotency_key: self.key(),
            finding: NewFinding {
                call_id: call.id,
                component_id: component.id,
                failure_mode_id: mode.id,
                position: Some(self.key()),
                cause: None,
                note: None,
            },
        };
        let found = record_finding(&self.owner, finding).await.unwrap();
        let fitted = parts.iter().map(|(part_id, quantity)| PartFitted {
            part_id: *part_id,
            quantity: Decimal::from(*quantity),
            lot: None,
            place_id: None,
        });
        let remedy = RecordRemedy {
            idempotency_key: self.key(),
            finding_id: found.finding.id,
            method: Method::Replaced,
            labour_minutes: minutes,
            note: None,
            parts: fitted.collect(),
        };
        record_remedy(&self.owner, remedy).await.unwrap();
    }

    async fn to_bill(&self, call: &service_call::Model) -> WorkToBill {
        let db = self.bench.app.db.read();
        work_to_bill(db, &self.owner, call.id).await.unwrap()
    }
}

#[tokio::test]
async fn the_work_on_record_comes_to_what_it_is_billed_at() {
    for shop in TestShop::everywhere().await {
        let call = shop.open_call().await;
        shop.visit(&[call.id]).await;
        let latch = shop.listed_part("L-1", 1_000).await;
        shop.mend(&call, 40, &[(latch.id, 1)]).await;
        shop.mend(&call, 35, &[(latch.id, 2)]).await;
        let before = shop.to_bill(&call).await;
        assert_eq!(before.in_the_way.len(), 1, "it is not completed");
        let done = CompleteCall {
            idempotency_key: shop.key(),
            call_id: call.id,
            completed_on: None,
        };
        let call = complete_call(&shop.owner, done).await.unwrap().call;
        let found = shop.to_bill(&call).await;
        assert_eq!(found.in_the_way, []);
        assert_eq!(found.proposed.left_out, Vec::<String>::new());
        let lines = &found.proposed.lines;
        let said: Vec<_> = lines
            .iter()
            .map(|line| (line.kind, line.quantity, line.minutes))
            .collect();
        let three = Some(Decimal::from(3));
        let Caller::Staff { id, .. } = shop.owner.caller else {
            panic!("the owner is of the staff");
        };
        assert_eq!(
            said,
            [
                (ChargeKind::Part, three, None),
                (ChargeKind::Labour, None, Some(75)),
                (ChargeKind::Trip, None, None),
            ]
        );
        assert_eq!(lines[1].terms.technician_id, Some(id));
        let option = found.proposed.work.as_ref().map(|work| &work.option);
        // 3 x 20.00, freight 3 x 7.00, 1.25 h at 96.00, 45.00; 8 % on part and freight.
        let sums = option.map(|option| (option.net.0, option.tax.total_cents.0));
        assert_eq!(sums, Some((24_600, 648)));
        let bill = issue_invoice(&shop.owner, shop.on_the_spot(call.id, lines.clone())).await;
        let bill = bill.unwrap().remove(0);
        assert_eq!((bill.net_cents, bill.tax_cents), (24_600, 648));
        let billed = shop.to_bill(&call).await;
        assert_eq!(billed.in_the_way[0].code, WrongState);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn what_has_no_price_or_is_not_on_record_is_left_out_and_named() {
    let shop = TestShop::open().await;
    let call = shop.open_call().await;
    shop.mend(&call, 0, &[]).await;
    let call = shop.complete(&call).await;
    let found = shop.to_bill(&call).await;
    assert!(found.proposed.lines.is_empty() && found.proposed.work.is_none());
    assert_eq!(
        found.proposed.left_out,
        [
            "Labor: no time is on record.",
            "Trip: no visit is said to have been made."
        ]
    );
    let accepted = shop.accepted_call(Cents(5_000), None).await;
    shop.unconfirm().await;
    let found = shop.to_bill(&call).await;
    assert_eq!(found.in_the_way[0].code, SettingMissing);
    let found = shop.to_bill(&accepted).await;
    assert!(
        found.in_the_way[0]
            .message
            .contains("was accepted for call")
    );
}

#[tokio::test]
async fn a_part_that_was_all_taken_back_is_not_billed() {
    for shop in TestShop::everywhere().await {
        let call = shop.open_call().await;
        let latch = shop.listed_part("L-1", 1_000).await;
        shop.mend(&call, 40, &[(latch.id, 2)]).await;
        let done = CompleteCall {
            idempotency_key: shop.key(),
            call_id: call.id,
            completed_on: None,
        };
        let call = complete_call(&shop.owner, done).await.unwrap().call;
        let left = stock_move::Entity::find()
            .filter(stock_move::Column::CallId.eq(call.id))
            .one(shop.bench.app.db.read())
            .await;
        let back = TakePartBack {
            idempotency_key: shop.key(),
            move_id: left.unwrap().unwrap().id,
            quantity: Decimal::TWO,
            place_id: None,
            reason: "not needed".to_owned(),
            taken_back_on: None,
        };
        take_part_back(&shop.owner, back).await.unwrap();
        let found = shop.to_bill(&call).await;
        let kinds: Vec<_> = found.proposed.lines.iter().map(|line| line.kind).collect();
        assert_eq!(kinds, [ChargeKind::Labour]);
        let no_visit = ["Trip: no visit is said to have been made."];
        assert_eq!(found.proposed.left_out, no_visit);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_callback_is_proposed_to_nobody() {
    let shop = TestShop::open().await;
    let first = shop.open_call().await;
    shop.mend(&first, 40, &[]).await;
    shop.complete(&first).await;
    let call = shop.open_call().await;
    let callback = crate::callbacks::callback_of(shop.bench.app.db.read(), call.id).await;
    let callback = callback.unwrap().unwrap();
    shop.mend(&call, 40, &[]).await;
    let call = shop.complete(&call).await;
    let found = shop.to_bill(&call).await;
    assert!(found.in_the_way[0].message.contains("decideCallback"));
    let decision = DecideCallback {
        callback_id: callback.id,
        decision: Decision::Confirm {
            class: Some(CallbackClass::SameFailure),
        },
        note: None,
    };
    decide_callback(&shop.owner, decision).await.unwrap();
    let found = shop.to_bill(&call).await;
    assert!(found.proposed.lines.is_empty());
    assert!(found.proposed.left_out[0].contains("stands behind"));
}
