//! The shop's terms about money owed.

use nameplate_entities::exact::Exact;
use nameplate_entities::receivable_terms;
use nameplate_rules::money::Cents;
use nameplate_rules::plural::counted;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};

/// The terms in force.
///
/// # Errors
/// Internal, when the schema was never brought up to date.
pub async fn terms(db: &impl ConnectionTrait) -> Result<receivable_terms::Model> {
    receivable_terms::Entity::find_by_id(1)
        .one(db)
        .await?
        .ok_or_else(|| Error::internal("the terms of receivables are missing"))
}

/// New terms; what is left out stays.
#[derive(Clone, Debug, Default)]
pub struct ChangeReceivableTerms {
    pub credit_applies_itself: Option<bool>,
    pub write_off_tax_relief: Option<bool>,
    pub returned_payment_fee: Option<Cents>,
    pub late_charge_grace_days: Option<i32>,
    /// Percent a month; zero for none.
    pub late_charge_percent: Option<Decimal>,
    /// Fixed charge a month; zero for none.
    pub late_charge_amount: Option<Cents>,
    /// Whether late charges are made by themselves, once a day.
    pub late_charges_by_themselves: Option<bool>,
    pub overdue_first_days: Option<i32>,
    pub overdue_second_days: Option<i32>,
    pub overdue_third_days: Option<i32>,
}

/// Changes the shop's terms about money owed.
///
/// # Errors
/// `Forbidden`; refusals name the field.
pub async fn change_receivable_terms(
    act: &Act,
    change: ChangeReceivableTerms,
) -> Result<receivable_terms::Model> {
    let staff_id = act.staff_with(Right::ChangeReceivableTerms)?;
    let tx = act.app.db.write().await?;
    let before = terms(&tx).await?;
    let after = change.checked(&before, staff_id)?.update(&tx).await?;
    let subject = Subject {
        kind: "receivable_terms",
        id: after.id,
    };
    let verb = Right::ChangeReceivableTerms.mutation();
    audit::record(&tx, act, verb, subject, (Some(&before), Some(&after))).await?;
    tx.commit().await?;
    Ok(after)
}

impl ChangeReceivableTerms {
    fn checked(
        &self,
        before: &receivable_terms::Model,
        staff_id: i64,
    ) -> Result<receivable_terms::ActiveModel> {
        let mut checks = Checks::new();
        let mut row = before.clone().into_active_model();
        if let Some(applies) = self.credit_applies_itself {
            row.credit_applies_itself = Set(applies);
        }
        if let Some(relief) = self.write_off_tax_relief {
            row.write_off_tax_relief = Set(relief);
        }
        if let Some(by_themselves) = self.late_charges_by_themselves {
            row.late_charges_set_by = Set(by_themselves.then_some(staff_id));
        }
        if let Some(fee) = self.returned_payment_fee {
            row.returned_payment_fee_cents = Set(checks.not_negative("returnedPaymentFee", fee).0);
        }
        if let Some(days) = self.late_charge_grace_days {
            row.late_charge_grace_days = Set(checks.between("lateChargeGraceDays", days, (0, 365)));
        }
        let mut percent = before.late_charge_percent.map(|percent| percent.0);
        if let Some(new) = self.late_charge_percent {
            let bounds = (Decimal::ZERO, Decimal::TEN);
            let new = checks.between("lateChargePercent", new, bounds);
            percent = (new != Decimal::ZERO).then_some(new);
        }
        let mut amount = Cents(before.late_charge_cents);
        if let Some(new) = self.late_charge_amount {
            amount = checks.not_negative("lateChargeAmount", new);
        }
        if percent.is_some() && amount != Cents::ZERO {
            let message =
                "Charge a percentage or a fixed amount, one of the two; set the other to zero.";
            checks.refuse(ProblemCode::Malformed, "lateChargeAmount", message);
        }
        row.late_charge_percent = Set(percent.map(Exact));
        row.late_charge_cents = Set(amount.0);
        self.check_reminders(&mut checks, &mut row);
        row.version = Set(before.version + 1);
        checks.finish()?;
        Ok(row)
    }

    /// When customers are reminded of what is overdue.
    fn check_reminders(&self, checks: &mut Checks, row: &mut receivable_terms::ActiveModel) {
        let days = [
            (
                "overdueFirstDays",
                self.overdue_first_days,
                &mut row.overdue_first_days,
            ),
            (
                "overdueSecondDays",
                self.overdue_second_days,
                &mut row.overdue_second_days,
            ),
            (
                "overdueThirdDays",
                self.overdue_third_days,
                &mut row.overdue_third_days,
            ),
        ];
        for (path, value, column) in days {
            if let Some(value) = value {
                *column = Set(checks.between(path, value, (0, 365)));
            }
        }
        let asked = [
            ("overdueFirstDays", row.overdue_first_days.clone().take()),
            ("overdueSecondDays", row.overdue_second_days.clone().take()),
            ("overdueThirdDays", row.overdue_third_days.clone().take()),
        ];
        let mut latest = 0;
        for (path, days) in asked {
            let days = days.unwrap_or_default();
            if days != 0 && days <= latest {
                let message = format!(
                    "A later reminder comes later; the one before comes after {}.",
                    counted(latest, "day", "days")
                );
                checks.refuse(ProblemCode::OutOfRange, path, message);
            }
            latest = latest.max(days);
        }
    }
}
