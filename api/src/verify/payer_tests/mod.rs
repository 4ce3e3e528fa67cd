//! Calls that several payers share, and calls billed without an estimate; every test ends with all in order.

mod agreeing;
mod by_timer;
mod on_the_spot;
mod papers;
mod recorded;
mod sharing;
mod trips;

use nameplate_entities::kinds::{
    CallKind, ChargeKind, ConsentHow, CustomerKind, PaymentMethod, WhenMissing,
};
use nameplate_entities::{
    audit_entry, customer, estimate_link, invoice, outbox_mail, service_call,
};
use nameplate_rules::money::Cents;
use nameplate_rules::tax::Purchases;
use rust_decimal::Decimal;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

use super::testing::TestShop;
use crate::base::ProblemCode::{
    Malformed, Missing, NotFound, OutOfRange, SettingMissing, TooMuch, WrongState,
};
use crate::base::testing::{noon, problems, refusals};
use crate::callbacks::{self, OpenCall};
use crate::calls::{self, NewCall};
use crate::closeout::{credit_invoice, issue_invoice};
use crate::customers::{self, AddCustomer};
use crate::estimates::{
    self, NewLine, NewOption, RecordConsent, ResendEstimate, record_consent, resend_estimate,
};
use crate::invoices::{
    self, ChangeReceivableTerms, IssueInvoice, RebillInvoice, RecordDeposit, Share, ShareOfLine,
    change_receivable_terms, charge_what_is_late, owed_by, rebill_invoice, record_deposit,
};
use crate::local_rules::{AddLocalRules, add_local_rules};

impl TestShop {
    pub async fn payer(&self, name: &str, terms_days: Option<i32>) -> customer::Model {
        let new = AddCustomer {
            kind: CustomerKind::Organisation,
            name: name.to_owned(),
            email: Some(format!(
                "{}@payer.example",
                name.to_lowercase()
                    .replace(|letter: char| !letter.is_alphanumeric(), "")
            )),
            phone: None,
            billing: None,
            terms_days,
            notes: None,
        };
        customers::add_customer(&self.owner, new).await.unwrap()
    }

    pub fn divided(&self, call_id: i64, divide: Vec<Share>) -> IssueInvoice {
        IssueInvoice {
            idempotency_key: self.key(),
            call_id,
            work_done: None,
            option: None,
            divide,
            coverage: None,
        }
    }

    /// A call that was taken, and nothing offered for it.
    async fn open_call(&self) -> service_call::Model {
        let open = OpenCall {
            idempotency_key: self.key(),
            call: NewCall {
                appliance_id: self.machine_id(),
                customer_id: None,
                service_address_id: None,
                kind: CallKind::Repair,
                complaint: "It hums".to_owned(),
            },
        };
        callbacks::open_call(&self.owner, open).await.unwrap().call
    }

    /// A call that was taken and completed, and nothing offered for it.
    pub async fn completed_call(&self) -> service_call::Model {
        let call = self.open_call().await;
        self.complete(&call).await
    }

    async fn complete(&self, call: &service_call::Model) -> service_call::Model {
        let tx = self.bench.app.db.write().await.unwrap();
        let day = noon().date_naive();
        let done = calls::mark_completed(&tx, &self.owner, call, day).await;
        tx.commit().await.unwrap();
        done.unwrap()
    }

    /// From now on the machine's place lets no bill pass what was accepted.
    async fn limits_bills(&self) {
        self.asks(AddLocalRules {
            consent_percent: Some(Decimal::ZERO),
            ..rules()
        })
        .await;
    }

    /// From now on the machine's place asks for this.
    async fn asks(&self, rules: AddLocalRules) {
        add_local_rules(&self.owner, rules).await.unwrap();
    }

    /// That Ana Example agreed to this much work of a call.
    fn consent(&self, call_id: i64, how: ConsentHow, added: i64) -> RecordConsent {
        RecordConsent {
            idempotency_key: self.key(),
            call_id,
            added_work: "New latch".to_owned(),
            added_total: Cents(added),
            authorised_by: "Ana Example".to_owned(),
            how,
            telephone: (how == ConsentHow::ByTelephone).then(|| "(415) 555-0142".to_owned()),
            conditions: None,
            given_at: noon(),
        }
    }

    /// Nobody is sure any more where the machine's place is taxed.
    async fn unconfirm(&self) {
        let tx = self.bench.app.db.write().await.unwrap();
        let sql = "UPDATE service_address SET jurisdiction_confirmed_at = NULL";
        tx.execute_unprepared(sql).await.unwrap();
        tx.commit().await.unwrap();
    }

    pub fn on_the_spot(&self, call_id: i64, lines: Vec<NewLine>) -> IssueInvoice {
        IssueInvoice {
            option: Some(NewOption {
                title: "Work done".to_owned(),
                lines,
                ..NewOption::default()
            }),
            ..self.divided(call_id, Vec::new())
        }
    }
}

/// Rules of the machine's place that ask for nothing.
fn rules() -> AddLocalRules {
    AddLocalRules {
        country: "US".to_owned(),
        region: "OH".to_owned(),
        name: "As the test says".to_owned(),
        effective_from: noon().date_naive(),
        estimate: Vec::new(),
        bill: Vec::new(),
        when_missing: WhenMissing::Refuse,
        consent_percent: None,
        consent_limit_inside: true,
        consent_counts_tax: false,
        written_over: None,
        note_oral_consent: true,
        offer_removed_parts: false,
        labour_warranty_days: None,
        wording: None,
    }
}

fn of_line(position: i32, percent: Option<i64>, amount: Option<i64>) -> ShareOfLine {
    ShareOfLine {
        position,
        percent: percent.map(Decimal::from),
        amount: amount.map(Cents),
    }
}

fn lines(payer: &customer::Model, lines: Vec<ShareOfLine>) -> Share {
    Share {
        customer_id: payer.id,
        percent: None,
        lines,
    }
}

fn percent(payer: &customer::Model, percent: i64) -> Share {
    Share {
        customer_id: payer.id,
        percent: Some(Decimal::from(percent)),
        lines: Vec::new(),
    }
}

fn work() -> Vec<NewLine> {
    vec![
        NewLine {
            description: Some("Door latch".to_owned()),
            unit_price: Some(Cents(4_000)),
            ..NewLine::of(ChargeKind::Part)
        },
        NewLine {
            minutes: Some(30),
            ..NewLine::of(ChargeKind::Labour)
        },
        NewLine::of(ChargeKind::Trip),
    ]
}

fn sum(invoices: &[invoice::Model], of: fn(&invoice::Model) -> i64) -> i64 {
    invoices.iter().map(of).sum()
}
