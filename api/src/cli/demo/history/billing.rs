//! What the demo's past was offered, billed and paid.

use nameplate_entities::kinds::{ChargeKind, PaymentMethod, Role};
use nameplate_entities::{invoice, service_call};
use nameplate_rules::money::Cents;

use crate::base::{Act, Error, Result};
use crate::estimates::{self, NewLine, NewOption, Offer};
use crate::{closeout, invoices};

use super::super::customer;
use super::super::scenario::{Billing, CallPlan};
use super::Player;

impl Player<'_> {
    /// Prices the repair, mails it, and has the customer accept it by the link in that mail.
    pub(super) async fn offer(
        &mut self,
        plan: &CallPlan,
        call: &service_call::Model,
        desk: &Act,
    ) -> Result<()> {
        let draft = estimates::DraftEstimate {
            idempotency_key: self.key(),
            call_id: call.id,
            offer: Offer {
                found: Some(format!(
                    "{}: {}.",
                    plan.repair.component,
                    plan.repair.mode.replace('_', " ")
                )),
                options: vec![self.option(plan)?],
                ..Offer::default()
            },
        };
        let drafted = estimates::draft_estimate(desk, draft).await?;
        let send = estimates::SendEstimate {
            idempotency_key: self.key(),
            revision_id: drafted.id,
            to: None,
            valid_until: None,
        };
        let sent = estimates::send_estimate(desk, send).await?;
        let mail = customer::mails_about(self.app, sent.estimate_id)
            .await?
            .pop();
        let mail = mail.ok_or_else(|| Error::internal("the estimate was not mailed"))?;
        customer::accept(self.app, &mail, sent.content_hash.unwrap_or_default()).await
    }

    fn option(&self, plan: &CallPlan) -> Result<NewOption> {
        let mut lines = vec![
            NewLine::of(ChargeKind::Trip),
            NewLine {
                minutes: Some(plan.repair.minutes),
                ..NewLine::of(ChargeKind::Labour)
            },
        ];
        for part_id in self.parts_of(plan)? {
            lines.push(NewLine {
                part_id: Some(part_id),
                ..NewLine::of(ChargeKind::Part)
            });
        }
        Ok(NewOption {
            title: format!("Repair: {}", plan.repair.component.to_lowercase()),
            lines,
            ..NewOption::default()
        })
    }

    pub(super) async fn bill(&mut self, plan: &CallPlan, call: &service_call::Model) -> Result<()> {
        let desk = self.act(plan.back_days - 1, Role::Office)?;
        let order = invoices::IssueInvoice {
            idempotency_key: self.key(),
            call_id: call.id,
            work_done: None,
            option: None,
            divide: Vec::new(),
            coverage: None,
        };
        let issued = closeout::issue_invoice(&desk, order).await?;
        let Some(invoice) = issued.into_iter().next() else {
            return Err(Error::internal("a bill to nobody"));
        };
        if let Billing::Estimate {
            paid_after_days: Some(days),
        } = plan.billing
        {
            let back_days = plan.back_days - 1 - days;
            if back_days >= 1 {
                self.owed.push((back_days, invoice));
            }
        }
        Ok(())
    }

    /// Records what customers paid up to the day `back_days` ago, in the order it came in.
    pub(super) async fn take_payments(&mut self, back_days: i64) -> Result<()> {
        self.owed.sort_by_key(|(day, _)| *day);
        while let Some((paid_back_days, invoice)) = self.owed.pop_if(|(day, _)| *day >= back_days) {
            self.take_payment(paid_back_days, &invoice).await?;
        }
        Ok(())
    }

    async fn take_payment(&mut self, paid_back_days: i64, invoice: &invoice::Model) -> Result<()> {
        let desk = self.act(paid_back_days, Role::Office)?;
        // Every third customer writes a check.
        let (method, reference) = match invoice.id % 3 {
            0 => (
                PaymentMethod::Check,
                Some(format!("{}", 1_000 + invoice.id)),
            ),
            _ => (PaymentMethod::Card, None),
        };
        let payment = invoices::RecordPayment {
            idempotency_key: self.key(),
            customer_id: invoice.customer_id,
            method,
            reference,
            received_on: self.day(paid_back_days),
            amount: Cents(invoice.total_cents),
            parts: Some(vec![invoices::PaymentPart {
                invoice_id: invoice.id,
                amount: Cents(invoice.total_cents),
            }]),
            excess: invoices::Excess::Refused,
        };
        let received = crate::remittances::record_payment(&desk, payment).await?;
        self.unbanked.push(received);
        Ok(())
    }
}
