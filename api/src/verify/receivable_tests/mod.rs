//! Money owed, credited, returned and written off, through the program's own acts; every test ends with all in order.

mod chasing;
mod crediting;
mod desk;
mod receiving;
mod refunds;

use chrono::{Days, NaiveDate};
use nameplate_entities::kinds::{ChargeKind, EstimateState, PaymentMethod, ReversalKind};
use nameplate_entities::{
    estimate_revision, invoice, invoice_tax, payment, service_address, write_off, write_off_return,
};
use nameplate_rules::books::events::Debtor;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

use super::testing::TestShop;
use crate::base::ProblemCode::{
    ImpossibleDate, Malformed, Missing, NegativeMoney, NotFound, OutOfRange, PeriodClosed,
    SettingMissing, TooMuch, WrongState,
};
use crate::base::testing::{noon, problems, refusals};
use crate::base::{Act, ProblemCode};
use crate::books;
use crate::closeout::{credit_invoice, issue_invoice};
use crate::estimates::{NewLine, NewOption};
use crate::invoices::{
    self, AllocatePayment, ApplyCredit, ChangeReceivableTerms, ChargeLateInvoices, CreditInvoice,
    CreditedLine, Dated, DisputeInvoice, Excess, IssueFreeInvoice, IssueInvoice, PaymentPart,
    RecordDeposit, RefundCredit, ResendDocument, ReversePayment, SendStatement, UndoWriteOff,
    WriteOffInvoice, change_receivable_terms, charge_late_invoices, dispute_invoice,
    issue_free_invoice, open_on, record_deposit, refund_credit, remind_overdue, resend_document,
    reverse_payment, send_statement, settle_dispute, undo_write_off,
};
use crate::remittances::{allocate_payment, apply_credit, record_payment, write_off_invoice};

fn today() -> NaiveDate {
    noon().date_naive()
}

fn at<T>(code: ProblemCode, path: &str, outcome: crate::base::Result<T>) {
    assert_eq!(refusals(outcome), [(code, path.to_owned())]);
}

impl TestShop {
    /// The same owner some days later.
    fn after(&self, days: u64) -> Act {
        let mut later = self.owner.clone();
        later.at = noon() + Days::new(days);
        later
    }

    async fn receive(&self, amount: i64) -> payment::Model {
        record_payment(&self.owner, self.payment(amount, Excess::BecomesCredit))
            .await
            .unwrap()
    }

    async fn terms(&self, change: ChangeReceivableTerms) {
        change_receivable_terms(&self.owner, change).await.unwrap();
    }

    async fn credit_stays(&self) {
        self.terms(ChangeReceivableTerms {
            credit_applies_itself: Some(false),
            ..ChangeReceivableTerms::default()
        })
        .await;
    }

    fn apply(&self, invoice_id: i64, amount: i64) -> ApplyCredit {
        ApplyCredit {
            idempotency_key: self.key(),
            customer_id: self.customer_id,
            invoice_id,
            amount: Cents(amount),
        }
    }

    fn refund(&self, amount: i64) -> RefundCredit {
        RefundCredit {
            idempotency_key: self.key(),
            customer_id: self.customer_id,
            amount: Cents(amount),
            method: PaymentMethod::Check,
            reference: Some("2001".to_owned()),
            refunded_on: today(),
            bank_account_id: None,
        }
    }

    fn reverse(&self, payment_id: i64) -> ReversePayment {
        ReversePayment {
            idempotency_key: self.key(),
            payment_id,
            kind: ReversalKind::Bounced,
            reason: "The bank did not honour it".to_owned(),
            reversed_on: today(),
            charge_fee: false,
            bank_fee: None,
        }
    }

    fn part(&self, invoice_id: i64, lines: Vec<CreditedLine>) -> CreditInvoice {
        CreditInvoice {
            lines: Some(lines),
            ..self.credit(invoice_id)
        }
    }

    fn order(&self, call_id: i64) -> IssueInvoice {
        IssueInvoice {
            idempotency_key: self.key(),
            call_id,
            work_done: None,
            option: None,
            divide: Vec::new(),
            coverage: None,
        }
    }

    async fn levels(&self, invoice_id: i64) -> Vec<i64> {
        let rows = invoice_tax::Entity::find()
            .filter(invoice_tax::Column::InvoiceId.eq(invoice_id))
            .order_by_asc(invoice_tax::Column::Position)
            .all(self.bench.app.db.read())
            .await
            .unwrap();
        rows.iter().map(|tax| tax.tax_cents).collect()
    }

    async fn print(&self, invoice: &invoice::Model) -> String {
        let letter = invoices::letter(self.bench.app.db.read(), invoice.id).await;
        letter.unwrap().rendered.text
    }
}

fn whole(position: i32) -> CreditedLine {
    CreditedLine {
        position,
        quantity: None,
        amount_off: None,
    }
}

fn some(position: i32, quantity: Decimal) -> CreditedLine {
    CreditedLine {
        quantity: Some(quantity),
        ..whole(position)
    }
}

fn off(position: i32, amount: i64) -> CreditedLine {
    CreditedLine {
        amount_off: Some(Cents(amount)),
        ..whole(position)
    }
}

pub(super) fn free(shop: &TestShop, address_id: i64) -> IssueFreeInvoice {
    IssueFreeInvoice {
        idempotency_key: shop.key(),
        customer_id: shop.customer_id,
        service_address_id: address_id,
        about: "Two filters over the counter".to_owned(),
        option: NewOption {
            title: "Sale".to_owned(),
            lines: vec![NewLine {
                description: Some("Filter".to_owned()),
                quantity: Some(Decimal::TWO),
                unit_price: Some(Cents(2_500)),
                ..NewLine::of(ChargeKind::Part)
            }],
            ..NewOption::default()
        },
    }
}
