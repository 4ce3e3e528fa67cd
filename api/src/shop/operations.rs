//! Opening the shop, its settings, and who works here.

use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::Role;
use nameplate_entities::{number_series, shop, staff};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, EntityTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::numbers::Series;
use crate::base::{Act, Caller, Checks, Error, ProblemCode, Result, Right};

use super::{passwords, store};

/// Opens the shop on an empty database: default settings and the number series. Does nothing later.
///
/// # Errors
/// Internal only.
pub async fn open(act: &Act) -> Result<()> {
    let tx = act.app.db.write().await?;
    if store::has_settings(&tx).await? {
        return Ok(());
    }
    default_settings().insert(&tx).await?;
    let series = Series::ALL.map(|series| number_series::ActiveModel {
        series: Set(series.key().to_owned()),
        prefix: Set(series.prefix().to_owned()),
        next_number: Set(1),
    });
    number_series::Entity::insert_many(series).exec(&tx).await?;
    Ok(tx.commit().await?)
}

/// What a shop starts with (design defaults; every figure is a setting).
fn default_settings() -> shop::ActiveModel {
    shop::ActiveModel {
        id: Set(1),
        name: Set("Your shop".to_owned()),
        phone_e164: Set(String::new()),
        email: Set(String::new()),
        line1: Set(String::new()),
        line2: Set(None),
        city: Set(String::new()),
        region: Set(String::new()),
        postal_code: Set(String::new()),
        country: Set("US".to_owned()),
        licence: Set(None),
        tax_registration: Set(None),
        labour_cost_cents: Set(None),
        trip_cost_cents: Set(None),
        payment_instructions: Set(None),
        currency: Set("USD".to_owned()),
        time_zone: Set("UTC".to_owned()),
        callback_window_days: Set(30),
        labour_warranty_days: Set(90),
        parts_warranty_months: Set(12),
        estimate_valid_days: Set(30),
        payment_terms_days: Set(14),
        consent_percent: Set(Exact(Decimal::ZERO)),
        consent_limit_inside: Set(true),
        reading_tolerance_percent: Set(Exact(Decimal::TEN)),
        books_closed_through: Set(None),
        version: Set(1),
        reminder_first_days: Set(3),
        reminder_second_days: Set(10),
        reminder_last_day: Set(true),
        flag_digest: Set(true),
        fiscal_year_end_month: Set(12),
    }
}

/// Settings that the owner may change. What is left out stays.
#[derive(Clone, Debug, Default)]
pub struct ChangeShop {
    pub name: Option<String>,
    pub phone: Option<String>,
    pub email: Option<String>,
    pub line1: Option<String>,
    pub line2: Option<String>,
    pub city: Option<String>,
    pub region: Option<String>,
    pub postal_code: Option<String>,
    pub country: Option<String>,
    pub licence: Option<String>,
    pub tax_registration: Option<String>,
    pub payment_instructions: Option<String>,
    pub time_zone: Option<String>,
    pub callback_window_days: Option<i32>,
    pub labour_warranty_days: Option<i32>,
    pub parts_warranty_months: Option<i32>,
    pub estimate_valid_days: Option<i32>,
    pub payment_terms_days: Option<i32>,
    pub reading_tolerance_percent: Option<Decimal>,
    pub reminder_first_days: Option<i32>,
    pub reminder_second_days: Option<i32>,
    pub reminder_last_day: Option<bool>,
    pub flag_digest: Option<bool>,
    pub fiscal_year_end_month: Option<i32>,
    pub labour_cost: Option<Cents>,
    pub trip_cost: Option<Cents>,
}

/// Changes the shop's settings.
///
/// # Errors
/// `Forbidden`; refusals name the field.
pub async fn change_shop(act: &Act, change: ChangeShop) -> Result<shop::Model> {
    act.staff_with(Right::ChangeShop)?;
    let tx = act.app.db.write().await?;
    let before = store::settings(&tx).await?.row;
    let changed = checked_change(&before, &change)?;
    let after = changed.update(&tx).await?;
    let subject = Subject {
        kind: "shop",
        id: 1,
    };
    audit::record(
        &tx,
        act,
        Right::ChangeShop.mutation(),
        subject,
        (Some(&before), Some(&after)),
    )
    .await?;
    tx.commit().await?;
    Ok(after)
}

fn checked_change(before: &shop::Model, change: &ChangeShop) -> Result<shop::ActiveModel> {
    let mut checks = Checks::new();
    let mut row = before.clone().into_active_model();
    change.check_texts(&mut checks, &mut row);
    change.check_reach(&mut checks, &mut row, &before.country);
    change.check_figures(&mut checks, &mut row);
    change.check_reminders(&mut checks, &mut row);
    row.version = Set(before.version + 1);
    checks.finish()?;
    Ok(row)
}

impl ChangeShop {
    /// Name, address and licence.
    fn check_texts(&self, checks: &mut Checks, row: &mut shop::ActiveModel) {
        let texts = [
            ("name", &self.name, &mut row.name),
            ("line1", &self.line1, &mut row.line1),
            ("city", &self.city, &mut row.city),
            ("region", &self.region, &mut row.region),
            ("postalCode", &self.postal_code, &mut row.postal_code),
        ];
        for (path, value, column) in texts {
            if let Some(value) = value {
                *column = Set(checks.text(path, value, LINE_MAX));
            }
        }
        if let Some(country) = &self.country {
            row.country = Set(checks.country("country", country));
        }
        if let Some(line2) = &self.line2 {
            row.line2 = Set(checks.text_if_any("line2", Some(line2), LINE_MAX));
        }
        if let Some(licence) = &self.licence {
            row.licence = Set(checks.text_if_any("licence", Some(licence), LINE_MAX));
        }
        if let Some(number) = &self.tax_registration {
            let number = checks.text_if_any("taxRegistration", Some(number), LINE_MAX);
            row.tax_registration = Set(number);
        }
        if let Some(words) = &self.payment_instructions {
            let words = checks.text_if_any("paymentInstructions", Some(words), TEXT_MAX);
            row.payment_instructions = Set(words);
        }
    }

    /// Telephone, e-mail and time zone.
    fn check_reach(&self, checks: &mut Checks, row: &mut shop::ActiveModel, country: &str) {
        let country = self.country.as_deref().unwrap_or(country);
        if let Some(phone) = &self.phone {
            row.phone_e164 = Set(checks.phone("phone", phone, country));
        }
        if let Some(email) = &self.email {
            row.email = Set(checks.email("email", email));
        }
        if let Some(zone) = &self.time_zone {
            if zone.parse::<chrono_tz::Tz>().is_err() {
                checks.refuse(
                    ProblemCode::Malformed,
                    "timeZone",
                    "This is no time zone; write it like America/Chicago.",
                );
            }
            row.time_zone = Set(zone.clone());
        }
    }

    /// Windows, terms and tolerances.
    fn check_figures(&self, checks: &mut Checks, row: &mut shop::ActiveModel) {
        let windows = (1, 3650);
        let numbers = [
            (
                "callbackWindowDays",
                self.callback_window_days,
                windows,
                &mut row.callback_window_days,
            ),
            (
                "labourWarrantyDays",
                self.labour_warranty_days,
                (0, 3650),
                &mut row.labour_warranty_days,
            ),
            (
                "partsWarrantyMonths",
                self.parts_warranty_months,
                (0, 120),
                &mut row.parts_warranty_months,
            ),
            (
                "estimateValidDays",
                self.estimate_valid_days,
                (1, 365),
                &mut row.estimate_valid_days,
            ),
            (
                "paymentTermsDays",
                self.payment_terms_days,
                (0, 365),
                &mut row.payment_terms_days,
            ),
            (
                "fiscalYearEndMonth",
                self.fiscal_year_end_month,
                (1, 12),
                &mut row.fiscal_year_end_month,
            ),
        ];
        for (path, value, bounds, column) in numbers {
            if let Some(value) = value {
                *column = Set(checks.between(path, value, bounds));
            }
        }
        if let Some(cost) = self.labour_cost {
            checks.not_negative("labourCost", cost);
            row.labour_cost_cents = Set(Some(cost.0));
        }
        if let Some(cost) = self.trip_cost {
            checks.not_negative("tripCost", cost);
            row.trip_cost_cents = Set(Some(cost.0));
        }
        if let Some(percent) = self.reading_tolerance_percent {
            let bounds = (Decimal::ZERO, Decimal::ONE_HUNDRED);
            let percent = checks.between("readingTolerancePercent", percent, bounds);
            row.reading_tolerance_percent = Set(Exact(percent));
        }
    }
}

impl ChangeShop {
    /// When customers who have not answered are reminded, and whether owners are told of what came back.
    fn check_reminders(&self, checks: &mut Checks, row: &mut shop::ActiveModel) {
        let days = [
            (
                "reminderFirstDays",
                self.reminder_first_days,
                &mut row.reminder_first_days,
            ),
            (
                "reminderSecondDays",
                self.reminder_second_days,
                &mut row.reminder_second_days,
            ),
        ];
        for (path, value, column) in days {
            if let Some(value) = value {
                *column = Set(checks.between(path, value, (0, 365)));
            }
        }
        if let Some(last_day) = self.reminder_last_day {
            row.reminder_last_day = Set(last_day);
        }
        if let Some(digest) = self.flag_digest {
            row.flag_digest = Set(digest);
        }
    }
}

/// Somebody who is to sign in.
pub struct AddStaff {
    pub name: String,
    pub email: String,
    pub role: Role,
    pub password: String,
}

/// Lets somebody sign in. The command line may do this too, for the first owner.
///
/// # Errors
/// `Forbidden`; `Taken` for an e-mail that signs in already; refusals name the field.
pub async fn add_staff(act: &Act, new: AddStaff) -> Result<staff::Model> {
    if act.caller != Caller::Program {
        act.staff_with(Right::AddStaff)?;
    }
    let mut checks = Checks::new();
    let name = checks.text("name", &new.name, LINE_MAX);
    let email = checks.email("email", &new.email);
    passwords::check(&mut checks, "password", &new.password);
    checks.finish()?;
    let password_hash = passwords::hash(new.password).await?;
    let tx = act.app.db.write().await?;
    let row = staff::ActiveModel {
        name: Set(name),
        email: Set(email),
        role: Set(new.role),
        password_hash: Set(password_hash),
        created_at: Set(act.at),
        version: Set(1),
        ..Default::default()
    }
    .insert(&tx)
    .await?;
    let subject = Subject {
        kind: "staff",
        id: row.id,
    };
    audit::created(&tx, act, Right::AddStaff.mutation(), subject, &row).await?;
    tx.commit().await?;
    Ok(row)
}

/// Ends somebody's access, and every session of theirs, at once.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one who left already or for oneself.
pub async fn end_staff(act: &Act, staff_id: i64) -> Result<staff::Model> {
    let owner_id = act.staff_with(Right::EndStaff)?;
    let tx = act.app.db.write().await?;
    let before = store::staff_by_id(&tx, staff_id)
        .await?
        .ok_or_else(|| Error::not_found("staffId", "member of staff"))?;
    if before.left_at.is_some() || staff_id == owner_id {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "staffId",
            "This person left already, or is you. Another owner must end an owner's access.",
        ));
    }
    let mut row = before.clone().into_active_model();
    row.left_at = Set(Some(act.at));
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    store::end_sessions_of(&tx, staff_id, act.at).await?;
    let subject = Subject {
        kind: "staff",
        id: staff_id,
    };
    audit::record(
        &tx,
        act,
        Right::EndStaff.mutation(),
        subject,
        (Some(&before), Some(&after)),
    )
    .await?;
    tx.commit().await?;
    Ok(after)
}
