//! What parts cost in margins is what the books have as cost of sales, whatever becomes of call, invoice and parts.

use nameplate_entities::kinds::{ChargeKind, Method};
use nameplate_entities::{
    account, appliance, component, failure_mode, invoice, part, part_used, posting, service_call,
    stock_move,
};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};

use super::testing::TestShop;
use crate::base::testing::noon;
use crate::callbacks::{self, RecordFinding};
use crate::calls::{NewFinding, PartFitted, RecordRemedy};
use crate::closeout::{self, CompleteCall, credit_invoice};
use crate::estimates::{NewLine, NewOption};
use crate::invoices::{CreditInvoice, IssueFreeInvoice, issue_free_invoice};
use crate::reports::{Span, margins};
use crate::stock::{ReceiveParts, TakePartBack};
use crate::{books, pricing, stock};

fn today() -> Span {
    let day = noon().date_naive();
    Span { from: day, to: day }
}

impl TestShop {
    pub async fn part_costing(&self, cost: i64) -> part::Model {
        let new = pricing::AddPart {
            number: self.key(),
            description: "terminal kit".to_owned(),
            supplier: None,
            cost: Cents(cost),
            ..pricing::AddPart::default()
        };
        pricing::add_part(&self.owner, new).await.unwrap()
    }

    pub async fn bring_in(&self, part_id: i64, (quantity, unit_cost): (i64, i64)) {
        let new = ReceiveParts {
            idempotency_key: self.key(),
            part_id,
            quantity: quantity.into(),
            unit_cost: Cents(unit_cost),
            place_id: None,
            received_on: None,
            order_id: None,
            paid_from: Some(Role::Bank.code().to_owned()),
            note: None,
        };
        stock::receive_parts(&self.owner, new).await.unwrap();
    }

    /// Fits so many on a call and completes it.
    async fn complete_with(&self, call_id: i64, part_id: i64, quantity: i64) {
        self.fit(call_id, part_id, quantity).await;
        self.complete_as_found(call_id).await;
    }

    /// Finds the same worn component on a call as ever, and fits so many for it.
    pub async fn fit(&self, call_id: i64, part_id: i64, quantity: i64) {
        let db = self.bench.app.db.read();
        let machine = appliance::Entity::find_by_id(self.machine_id())
            .one(db)
            .await;
        let of_type = machine.unwrap().unwrap().appliance_type_id;
        let component = component::Entity::find()
            .filter(component::Column::ApplianceTypeId.eq(of_type))
            .one(db)
            .await;
        let mode = failure_mode::Entity::find()
            .filter(failure_mode::Column::Key.eq("worn"))
            .one(db)
            .await;
        let finding = RecordFinding {
            idempotency_key: self.key(),
            finding: NewFinding {
                call_id,
                component_id: component.unwrap().unwrap().id,
                failure_mode_id: mode.unwrap().unwrap().id,
                position: None,
                cause: None,
                note: None,
            },
        };
        let found = callbacks::record_finding(&self.owner, finding)
            .await
            .unwrap();
        let remedy = RecordRemedy {
            idempotency_key: self.key(),
            finding_id: found.finding.id,
            method: Method::Replaced,
            labour_minutes: 30,
            note: None,
            parts: vec![PartFitted {
                part_id,
                quantity: quantity.into(),
                lot: None,
                place_id: None,
            }],
        };
        stock::record_remedy(&self.owner, remedy).await.unwrap();
    }

    /// Completes a call on which something was found.
    pub async fn complete_as_found(&self, call_id: i64) {
        let cause = crate::calls::RecordRootCause {
            call_id,
            root_cause: "undersized wire".to_owned(),
        };
        crate::calls::record_root_cause(&self.owner, cause)
            .await
            .unwrap();
        let command = CompleteCall {
            idempotency_key: self.key(),
            call_id,
            completed_on: None,
        };
        closeout::complete_call(&self.owner, command).await.unwrap();
    }

    async fn call_of(&self, bill: &invoice::Model) -> service_call::Model {
        let row = service_call::Entity::find_by_id(bill.call_id.unwrap())
            .one(self.bench.app.db.read())
            .await;
        row.unwrap().unwrap()
    }

    /// Two of a part, sold without a call.
    async fn over_the_counter(&self, part_id: i64) -> IssueFreeInvoice {
        let call = self.accepted_call(Cents(100), None).await;
        IssueFreeInvoice {
            idempotency_key: self.key(),
            customer_id: self.customer_id,
            service_address_id: call.service_address_id,
            about: "Two over the counter".to_owned(),
            option: NewOption {
                title: "Sale".to_owned(),
                lines: vec![NewLine {
                    part_id: Some(part_id),
                    quantity: Some(Decimal::TWO),
                    unit_price: Some(Cents(12_000)),
                    ..NewLine::of(ChargeKind::Part)
                }],
                ..NewOption::default()
            },
        }
    }

    pub async fn last_move(&self) -> stock_move::Model {
        let row = stock_move::Entity::find()
            .filter(stock_move::Column::Kind.eq(nameplate_entities::kinds::StockMoveKind::Used))
            .order_by_desc(stock_move::Column::Id)
            .one(self.bench.app.db.read())
            .await;
        row.unwrap().unwrap()
    }

    pub async fn take_piece_back(&self, move_id: i64, quantity: i64) {
        let new = TakePartBack {
            idempotency_key: self.key(),
            move_id,
            quantity: quantity.into(),
            place_id: None,
            reason: "not needed".to_owned(),
            taken_back_on: None,
        };
        stock::take_part_back(&self.owner, new).await.unwrap();
    }

    /// Debits less credits of cost of sales.
    async fn cost_of_sales(&self) -> i64 {
        let db = self.bench.app.db.read();
        let role = books::role_key(Role::PartsCostOfSales);
        let account = account::Entity::find()
            .filter(account::Column::Role.eq(role))
            .one(db)
            .await
            .unwrap()
            .unwrap();
        let rows = posting::Entity::find()
            .filter(posting::Column::AccountId.eq(account.id))
            .all(db)
            .await
            .unwrap();
        rows.iter()
            .map(|row| row.debit_cents - row.credit_cents)
            .sum()
    }

    /// Parts cost the same by kind, in the books, and, with what the rest costs, by call and technician.
    async fn parts_cost(&self, expected: i64) {
        let db = self.bench.app.db.read();
        let kinds = margins::by_kind(db, today()).await.unwrap();
        let of_parts = kinds.iter().filter(|row| row.kind == ChargeKind::Part);
        let of_parts: i64 = of_parts.map(|row| row.cost_cents).sum();
        assert_eq!((of_parts, self.cost_of_sales().await), (expected, expected));
        let of_all: i64 = kinds.iter().map(|row| row.cost_cents).sum();
        let technicians = margins::by_technician(db, today()).await.unwrap();
        assert_eq!(
            technicians.iter().map(|row| row.cost_cents).sum::<i64>(),
            of_all
        );
        let findings = super::run(&self.bench.app.db).await.unwrap();
        assert_eq!(findings, []);
    }
}

#[tokio::test]
async fn margins_of_billed_calls_have_the_books_cost_of_sales() {
    for shop in TestShop::everywhere().await {
        let part = shop.part_costing(9_900).await;
        shop.bring_in(part.id, (3, 5_000)).await;
        let bill = shop.bill(20_000).await;
        let call = shop.call_of(&bill).await;
        shop.complete_with(call.id, part.id, 2).await;
        shop.parts_cost(10_000).await;
        let left = shop.last_move().await;
        shop.take_piece_back(left.id, 1).await;
        shop.parts_cost(5_000).await;
        // Billed anew, the call's parts count once.
        let whole = CreditInvoice {
            idempotency_key: shop.key(),
            invoice_id: bill.id,
            reason: "Billed to the wrong person".to_owned(),
            lines: None,
        };
        credit_invoice(&shop.owner, whole).await.unwrap();
        shop.parts_cost(5_000).await;
        // Short by one at the catalogue's cost, then settled.
        let second = shop.bill(30_000).await;
        let call = shop.call_of(&second).await;
        shop.complete_with(call.id, part.id, 3).await;
        shop.parts_cost(5_000 + 2 * 5_000 + 9_900).await;
        shop.bring_in(part.id, (2, 6_000)).await;
        shop.parts_cost(5_000 + 2 * 5_000 + 6_000).await;
        let db = shop.bench.app.db.read();
        let calls = margins::by_call(db, today(), (true, 10)).await.unwrap();
        let of_call = calls.iter().find(|row| row.call_id == call.id).unwrap();
        let used = part_used::Entity::find()
            .order_by_desc(part_used::Column::Id)
            .one(db)
            .await;
        assert_eq!(used.unwrap().unwrap().cost_cents, 16_000);
        assert!(of_call.cost_cents >= 16_000);
    }
}

#[tokio::test]
async fn a_part_for_which_nothing_left_the_stock_costs_what_it_was_offered_at() {
    let shop = TestShop::open().await;
    let part = shop.part_costing(9_900).await;
    shop.bring_in(part.id, (2, 5_000)).await;
    let bill = issue_free_invoice(&shop.owner, shop.over_the_counter(part.id).await).await;
    let bill = bill.unwrap();
    shop.parts_cost(10_000).await;
    // As one of before parts were kept in stock.
    shop.spoil("DROP TRIGGER keep_stock_move_update; UPDATE stock_move SET invoice_id = NULL")
        .await;
    let cost = async || {
        let kinds = margins::by_kind(shop.bench.app.db.read(), today()).await;
        let kinds = kinds.unwrap();
        let of_parts = kinds.iter().filter(|row| row.kind == ChargeKind::Part);
        of_parts.map(|row| row.cost_cents).sum::<i64>()
    };
    assert_eq!(cost().await, 2 * 9_900);
    let whole = CreditInvoice {
        idempotency_key: shop.key(),
        invoice_id: bill.id,
        reason: "Sold to the wrong person".to_owned(),
        lines: None,
    };
    credit_invoice(&shop.owner, whole).await.unwrap();
    assert_eq!(cost().await, 0);
}

#[tokio::test]
async fn parts_of_an_invoice_without_a_call_leave_the_stock_and_come_back_when_the_shop_says_so() {
    for shop in TestShop::everywhere().await {
        let part = shop.part_costing(9_900).await;
        shop.bring_in(part.id, (1, 5_000)).await;
        let order = shop.over_the_counter(part.id).await;
        let bill = issue_free_invoice(&shop.owner, order.clone())
            .await
            .unwrap();
        issue_free_invoice(&shop.owner, order).await.unwrap();
        shop.parts_cost(5_000 + 9_900).await;
        let left = shop.last_move().await;
        assert_eq!(
            (left.invoice_id, left.quantity.0),
            (Some(bill.id), (-2).into())
        );
        shop.bring_in(part.id, (3, 7_000)).await;
        shop.parts_cost(5_000 + 7_000).await;
        shop.take_piece_back(left.id, 1).await;
        shop.parts_cost(6_000).await;
        shop.take_piece_back(left.id, 1).await;
        shop.parts_cost(0).await;
    }
}
