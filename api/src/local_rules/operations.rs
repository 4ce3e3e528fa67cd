//! Recording what a place asks for.

use chrono::NaiveDate;
use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::WhenMissing;
use nameplate_entities::local_rules;
use nameplate_rules::local_rules::Element;
use nameplate_rules::money::Cents;
use nameplate_rules::percent::Percent;
use rust_decimal::Decimal;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter,
};

use crate::base::audit::{self, Subject};
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::shop;

/// The longest warranty on labour a place may ask for.
const WARRANTY_DAYS_MAX: i32 = 3_650;

/// What a place asks for, from a day on.
#[derive(Clone, Debug)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is a yes-or-no question of its own that a place answers"
)]
pub struct AddLocalRules {
    pub country: String,
    /// Empty for the whole country.
    pub region: String,
    pub name: String,
    pub effective_from: NaiveDate,
    pub estimate: Vec<Element>,
    pub bill: Vec<Element>,
    pub when_missing: WhenMissing,
    pub consent_percent: Option<Decimal>,
    pub consent_limit_inside: bool,
    pub consent_counts_tax: bool,
    pub written_over: Option<Cents>,
    pub note_oral_consent: bool,
    pub offer_removed_parts: bool,
    pub labour_warranty_days: Option<i32>,
    pub wording: Option<String>,
}

/// Records what a place asks for. Later rules take their place from their day on; none is changed.
///
/// # Errors
/// `Forbidden`; `Taken` for a place and day that have rules already; refusals name the field.
pub async fn add_local_rules(act: &Act, new: AddLocalRules) -> Result<local_rules::Model> {
    let staff_id = act.staff_with(Right::AddLocalRules)?;
    let tx = act.app.db.write().await?;
    let today = shop::settings(&tx).await?.day_of(act.at);
    let row = checked(&new, today)?;
    let (country, region) = (new.country.to_uppercase(), new.region.to_uppercase());
    let taken = local_rules::Entity::find()
        .filter(local_rules::Column::Country.eq(country.trim()))
        .filter(local_rules::Column::Region.eq(region.trim()))
        .filter(local_rules::Column::EffectiveFrom.eq(new.effective_from))
        .one(&tx)
        .await?;
    if taken.is_some() {
        return Err(Error::refused(
            ProblemCode::Taken,
            "effectiveFrom",
            "This place has rules from that day already. Take a later day, or withdraw those if they were a mistake.",
        ));
    }
    let row = local_rules::ActiveModel {
        created_at: Set(act.at),
        created_by: Set(staff_id),
        ..row
    }
    .insert(&tx)
    .await?;
    let subject = Subject {
        kind: "local_rules",
        id: row.id,
    };
    audit::created(&tx, act, Right::AddLocalRules.mutation(), subject, &row).await?;
    tx.commit().await?;
    Ok(row)
}

/// Takes back rules that were recorded by mistake, in the caller's transaction. The caller knows that no document was
/// held to them.
///
/// # Errors
/// Internal only.
pub async fn withdraw_local_rules(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, row): (&'static str, &local_rules::Model),
) -> Result<()> {
    local_rules::Entity::delete_by_id(row.id).exec(tx).await?;
    let subject = Subject {
        kind: "local_rules",
        id: row.id,
    };
    let both = (Some(row), None::<&local_rules::Model>);
    audit::record(tx, act, verb, subject, both).await
}

fn checked(new: &AddLocalRules, today: NaiveDate) -> Result<local_rules::ActiveModel> {
    let mut checks = Checks::new();
    let (country, region) = place(&mut checks, new);
    let name = checks.text("name", &new.name, LINE_MAX);
    checks.near("effectiveFrom", new.effective_from, today);
    let wording = checks.text_if_any("wording", new.wording.as_deref(), TEXT_MAX);
    if let Some(Err(refusal)) = new.consent_percent.map(Percent::new) {
        let words = format!("{refusal}.");
        checks.refuse(ProblemCode::OutOfRange, "consentPercent", words);
    }
    if let Some(over) = new.written_over {
        checks.not_negative("writtenOver", over);
    }
    if let Some(days) = new.labour_warranty_days {
        checks.between("labourWarrantyDays", days, (0, WARRANTY_DAYS_MAX));
    }
    tax_once(&mut checks, "estimateElements", &new.estimate);
    tax_once(&mut checks, "billElements", &new.bill);
    checks.finish()?;
    Ok(local_rules::ActiveModel {
        country: Set(country),
        region: Set(region),
        name: Set(name),
        effective_from: Set(new.effective_from),
        estimate_elements: Set(keys(&new.estimate)),
        bill_elements: Set(keys(&new.bill)),
        when_missing: Set(new.when_missing),
        consent_percent: Set(new.consent_percent.map(Exact)),
        consent_limit_inside: Set(new.consent_limit_inside),
        consent_counts_tax: Set(new.consent_counts_tax),
        written_over_cents: Set(new.written_over.map(|over| over.0)),
        note_oral_consent: Set(new.note_oral_consent),
        offer_removed_parts: Set(new.offer_removed_parts),
        labour_warranty_days: Set(new.labour_warranty_days),
        wording: Set(wording),
        ..Default::default()
    })
}

/// A document cannot hold tax in its total and leave it out of it.
fn tax_once(checks: &mut Checks, path: &str, elements: &[Element]) {
    if elements.contains(&Element::TaxInside) && elements.contains(&Element::TaxApart) {
        let words = "Tax is either inside the total or shown apart from it; ask for one of them.";
        checks.refuse(ProblemCode::Malformed, path, words);
    }
}

/// Country and region in capitals, of the shape of ISO 3166-1 alpha-2 and of the second half of ISO 3166-2.
fn place(checks: &mut Checks, new: &AddLocalRules) -> (String, String) {
    let country = new.country.trim().to_uppercase();
    if country.len() != 2 || !country.chars().all(|c| c.is_ascii_uppercase()) {
        let words = "Write the country as two letters (ISO 3166-1).";
        checks.refuse(ProblemCode::Malformed, "country", words);
    }
    let region = new.region.trim().to_uppercase();
    if region.len() > 3 || !region.chars().all(|c| c.is_ascii_alphanumeric()) {
        let words =
            "Write the region as one to three letters or digits (ISO 3166-2), without the country.";
        checks.refuse(ProblemCode::Malformed, "region", words);
    }
    (country, region)
}

fn keys(elements: &[Element]) -> String {
    let mut kept: Vec<&str> = Vec::new();
    for element in elements {
        if !kept.contains(&element.key()) {
            kept.push(element.key());
        }
    }
    kept.join(" ")
}
