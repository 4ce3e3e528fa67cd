//! Random days of a shop's money, from properties: whatever is done in whatever order, the books stay in order.

use chrono::{Days, TimeDelta};
use nameplate_entities::kinds::{PaymentMethod, ReversalKind};
use nameplate_entities::{invoice, payment, warranty_payer};
use nameplate_rules::books::events::Debtor;
use nameplate_rules::money::Cents;
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use rust_decimal::Decimal;
use sea_orm::{EntityTrait, QueryOrder};

use super::claims_receivable_tests::{bear, hand_on, take_back};
use super::testing::TestShop;
use crate::base::testing::noon;
use crate::base::{Act, Error, Result};
use crate::closeout::{credit_invoice, issue_invoice};
use crate::invoices::{
    ApplyCredit, ChangeReceivableTerms, CreditInvoice, CreditedLine, Excess, IssueInvoice, OpenRow,
    PaymentPart, RecordPayment, RefundCredit, ReversePayment, WriteOffInvoice, bill_a_payer,
    change_receivable_terms, open_now, open_on, owed_by, refund_credit, reverse_payment,
};
use crate::remittances::{apply_credit, record_payment, write_off_invoice};

/// Something that happens to money. Places are taken modulo what there is.
#[derive(Clone, Debug)]
enum Event {
    Issue(i64),
    Pay(i64),
    PayOne(usize, i64),
    PayEarly(usize, u64),
    Reverse(usize),
    Credit(usize),
    CreditPrice(usize, i32, i64),
    CreditHours(usize, i64),
    Apply(usize, i64),
    Refund(i64),
    WriteOff(usize),
    /// To a warranty payer.
    Claim(i64),
    Remit(i64),
    RefundPayer(i64),
    Bear(usize, i64),
    HandOn(usize, i64),
    TakeBack(usize),
    Relief(bool),
    ByItself(bool),
    NextDay,
}

fn event() -> impl Strategy<Value = Event> {
    let place = 0_usize..50;
    prop_oneof![
        4 => (0_i64..40_000).prop_map(Event::Issue),
        3 => (1_i64..60_000).prop_map(Event::Pay),
        2 => (place.clone(), 1_i64..40_000).prop_map(|(at, amount)| Event::PayOne(at, amount)),
        1 => (place.clone(), 1_u64..4).prop_map(|(at, days)| Event::PayEarly(at, days)),
        2 => place.clone().prop_map(Event::Reverse),
        1 => place.clone().prop_map(Event::Credit),
        3 => (place.clone(), 1_i32..4, 1_i64..20_000).prop_map(|(at, line, by)| Event::CreditPrice(at, line, by)),
        2 => (place.clone(), 1_i64..15).prop_map(|(at, tenths)| Event::CreditHours(at, tenths)),
        2 => (place.clone(), 1_i64..20_000).prop_map(|(at, amount)| Event::Apply(at, amount)),
        2 => (1_i64..20_000).prop_map(Event::Refund),
        1 => place.clone().prop_map(Event::WriteOff),
        3 => (0_i64..40_000).prop_map(Event::Claim),
        2 => (1_i64..60_000).prop_map(Event::Remit),
        1 => (1_i64..20_000).prop_map(Event::RefundPayer),
        2 => (place.clone(), 1_i64..20_000).prop_map(|(at, amount)| Event::Bear(at, amount)),
        2 => (place.clone(), 1_i64..20_000).prop_map(|(at, amount)| Event::HandOn(at, amount)),
        1 => place.prop_map(Event::TakeBack),
        1 => prop::bool::ANY.prop_map(Event::Relief),
        1 => prop::bool::ANY.prop_map(Event::ByItself),
        1 => Just(Event::NextDay),
    ]
}

struct ShopDays<'a> {
    shop: &'a TestShop,
    maker: warranty_payer::Model,
    act: Act,
    day: i64,
}

impl ShopDays<'_> {
    fn today(&self) -> chrono::NaiveDate {
        self.act.at.date_naive()
    }

    async fn bill(&self, at: usize) -> Option<invoice::Model> {
        let rows = invoice::Entity::find().order_by_asc(invoice::Column::Id);
        let rows = rows.all(self.shop.bench.app.db.read()).await.unwrap();
        (!rows.is_empty()).then(|| rows[at % rows.len()].clone())
    }

    fn payment(&self, amount: i64, to: Option<i64>) -> RecordPayment {
        RecordPayment {
            received_on: self.today(),
            parts: to.map(|invoice_id| {
                vec![PaymentPart {
                    invoice_id,
                    amount: Cents(amount),
                }]
            }),
            ..self.shop.payment(amount, Excess::BecomesCredit)
        }
    }

    async fn credit(&self, at: usize, lines: Option<Vec<CreditedLine>>) -> Result<()> {
        let Some(bill) = self.bill(at).await else {
            return Ok(());
        };
        let order = CreditInvoice {
            lines,
            ..self.shop.credit(bill.id)
        };
        credit_invoice(&self.act, order).await.map(drop)
    }

    async fn issue(&self, price: i64) -> Result<()> {
        let call = self.shop.accepted_call(Cents(price), None).await;
        let order = IssueInvoice {
            idempotency_key: self.shop.key(),
            call_id: call.id,
            work_done: None,
            option: None,
            divide: Vec::new(),
            coverage: None,
        };
        issue_invoice(&self.act, order).await.map(drop)
    }

    async fn pay(&self, at: usize, amount: i64, days_early: u64) -> Result<()> {
        let Some(bill) = self.bill(at).await else {
            return Ok(());
        };
        let mut order = self.payment(amount, Some(bill.id));
        order.customer_id = bill.customer_id;
        if days_early > 0 {
            order.received_on = bill.issued_on - Days::new(days_early);
        }
        record_payment(&self.act, order).await.map(drop)
    }

    async fn reverse(&self, at: usize) -> Result<()> {
        let rows = payment::Entity::find().order_by_asc(payment::Column::Id);
        let rows = rows.all(self.shop.bench.app.db.read()).await.unwrap();
        if rows.is_empty() {
            return Ok(());
        }
        let order = ReversePayment {
            idempotency_key: self.shop.key(),
            payment_id: rows[at % rows.len()].id,
            kind: ReversalKind::Bounced,
            reason: "It came back".to_owned(),
            reversed_on: self.today(),
            charge_fee: false,
            bank_fee: None,
        };
        reverse_payment(&self.act, order).await.map(drop)
    }

    async fn apply(&self, at: usize, amount: i64) -> Result<()> {
        let Some(bill) = self.bill(at).await else {
            return Ok(());
        };
        let order = ApplyCredit {
            idempotency_key: self.shop.key(),
            customer_id: bill.customer_id,
            invoice_id: bill.id,
            amount: Cents(amount),
        };
        apply_credit(&self.act, order).await.map(drop)
    }

    async fn refund(&self, customer_id: i64, amount: i64) -> Result<()> {
        let order = RefundCredit {
            idempotency_key: self.shop.key(),
            customer_id,
            amount: Cents(amount),
            method: PaymentMethod::Check,
            reference: None,
            refunded_on: self.today(),
            bank_account_id: None,
        };
        refund_credit(&self.act, order).await.map(drop)
    }

    async fn write_off(&self, at: usize) -> Result<()> {
        let Some(bill) = self.bill(at).await else {
            return Ok(());
        };
        let order = WriteOffInvoice {
            idempotency_key: self.shop.key(),
            invoice_id: bill.id,
            reason: "Gone".to_owned(),
        };
        write_off_invoice(&self.act, order).await.map(drop)
    }

    async fn terms(&self, relief: Option<bool>, by_itself: Option<bool>) -> Result<()> {
        let change = ChangeReceivableTerms {
            write_off_tax_relief: relief,
            credit_applies_itself: by_itself,
            ..ChangeReceivableTerms::default()
        };
        change_receivable_terms(&self.act, change).await.map(drop)
    }

    async fn play(&mut self, event: Event) -> Result<()> {
        let line = |position, quantity, amount_off| CreditedLine {
            position,
            quantity,
            amount_off,
        };
        match event {
            Event::Issue(price) => self.issue(price).await,
            Event::Pay(amount) => {
                let order = self.payment(amount, None);
                record_payment(&self.act, order).await.map(drop)
            }
            Event::PayOne(at, amount) => self.pay(at, amount, 0).await,
            Event::PayEarly(at, days) => self.pay(at, 1_000, days).await,
            Event::Reverse(at) => self.reverse(at).await,
            Event::Credit(at) => self.credit(at, None).await,
            Event::CreditPrice(at, position, by) => {
                let line = line(position, None, Some(Cents(by)));
                self.credit(at, Some(vec![line])).await
            }
            Event::CreditHours(at, tenths) => {
                let line = line(2, Some(Decimal::new(tenths, 1)), None);
                self.credit(at, Some(vec![line])).await
            }
            Event::Apply(at, amount) => self.apply(at, amount).await,
            Event::Refund(amount) => self.refund(self.shop.customer_id, amount).await,
            Event::WriteOff(at) => self.write_off(at).await,
            claims => self.claims(claims).await,
        }
    }

    async fn claims(&mut self, event: Event) -> Result<()> {
        let maker = self.maker.customer_id;
        match event {
            Event::Claim(price) => {
                let call = self.shop.accepted_call(Cents(price), None).await;
                bill_a_payer(&self.act, call.id, &self.maker).await;
                Ok(())
            }
            Event::Remit(amount) => {
                let order = RecordPayment {
                    customer_id: maker,
                    ..self.payment(amount, None)
                };
                record_payment(&self.act, order).await.map(drop)
            }
            Event::RefundPayer(amount) => self.refund(maker, amount).await,
            Event::Bear(at, amount) => match self.bill(at).await {
                Some(bill) => bear(&self.act, &bill, amount).await.map(drop),
                None => Ok(()),
            },
            Event::HandOn(at, amount) => match self.bill(at).await {
                Some(bill) => hand_on(&self.act, &bill, amount).await.map(drop),
                None => Ok(()),
            },
            Event::TakeBack(at) => match self.bill(at).await {
                Some(bill) => take_back(&self.act, &bill).await,
                None => Ok(()),
            },
            other => self.terms_and_days(other).await,
        }
    }

    async fn terms_and_days(&mut self, event: Event) -> Result<()> {
        match event {
            Event::Relief(relief) => self.terms(Some(relief), None).await,
            Event::ByItself(applies) => self.terms(None, Some(applies)).await,
            Event::NextDay => {
                self.day += 1;
                self.act.at = noon() + TimeDelta::days(self.day);
                self.shop.bench.app.clock.set(self.act.at);
                Ok(())
            }
            other => unreachable!("{other:?} was played"),
        }
    }
}

async fn lived(events: Vec<Event>) {
    let shop = TestShop::open().await;
    let mut days = ShopDays {
        shop: &shop,
        maker: shop.maker(true).await,
        act: shop.owner.clone(),
        day: 0,
    };
    for event in events {
        match days.play(event.clone()).await {
            Ok(()) | Err(Error::Refused(_)) => {}
            Err(other) => panic!("{event:?} failed: {other}"),
        }
        shop.is_in_order().await;
    }
    let db = shop.bench.app.db.read();
    let sum = |rows: &[OpenRow]| rows.iter().map(|row| row.open_cents).sum::<i64>();
    let mut open = [0, 0];
    for debtor in [Debtor::Customer, Debtor::WarrantyPayer] {
        let then = open_on(db, (debtor, days.today())).await.unwrap();
        open[0] += sum(&then);
        open[1] += sum(&open_now(db, debtor).await.unwrap());
    }
    let mut owed = 0;
    for customer_id in [shop.customer_id, days.maker.customer_id] {
        owed += owed_by(db, customer_id).await.unwrap().owed_cents;
    }
    assert_eq!(open, [owed, owed]);
    for back in 0..days.day + 4 {
        let day = (days.act.at - TimeDelta::days(back)).date_naive();
        for debtor in [Debtor::Customer, Debtor::WarrantyPayer] {
            for row in open_on(db, (debtor, day)).await.unwrap() {
                assert!(row.open_cents >= 0, "{day} {row:?}");
            }
        }
    }
}

#[test]
fn whatever_happens_to_money_the_books_and_the_documents_agree() {
    let config = Config {
        cases: 6,
        failure_persistence: None,
        max_shrink_iters: 20,
        ..Config::default()
    };
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let events = prop::collection::vec(event(), 12..30);
    let outcome = TestRunner::new(config).run(&events, |events| {
        let played = std::panic::AssertUnwindSafe(|| runtime.block_on(lived(events.clone())));
        std::panic::catch_unwind(played).map_err(|_| TestCaseError::fail("not in order"))
    });
    outcome.unwrap();
}
