//! Writing down what was done about a finding, and what was fitted.

use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::Method;
use nameplate_entities::{part, part_used, remedy};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, EntityTrait};
use serde::Serialize;

use crate::base::audit::{self, Subject};
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};

use crate::pricing;

use super::super::records::must_be_open;
use super::super::store;

/// Most lines of parts in one remedy.
const PARTS_MAX: usize = 50;
/// Most pieces of one part in one remedy.
const QUANTITY_MAX: i64 = 1_000;
/// Most minutes of labour in one remedy: four days and nights are a mistyped figure.
const MINUTES_MAX: i32 = 6_000;

/// A part that was fitted.
#[derive(Clone, Debug, Serialize)]
pub struct PartFitted {
    pub part_id: i64,
    pub quantity: Decimal,
    /// The batch printed on it, where somebody read it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// Where it comes from, where somebody says; the places are kept by the stock, which looks at them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place_id: Option<i64>,
}

/// What was done about a finding.
#[derive(Clone, Debug, Serialize)]
pub struct RecordRemedy {
    #[serde(skip)]
    pub idempotency_key: String,
    pub finding_id: i64,
    pub method: Method,
    pub labour_minutes: i32,
    pub note: Option<String>,
    pub parts: Vec<PartFitted>,
}

/// What a part costs now, for one and for all of its line.
struct Costed {
    fitted: PartFitted,
    supplier_id: Option<i64>,
    unit_cost: Cents,
    cost: Cents,
}

/// Writes down what was done, and the parts at what they cost now.
///
/// # Errors
/// `Forbidden`; `IdempotencyMismatch`; `NotFound`; `WrongState` for a call that is not open; refusals name the
/// field.
pub async fn record_remedy(act: &Act, new: RecordRemedy) -> Result<remedy::Model> {
    let staff_id = act.staff_with(Right::RecordRemedy)?;
    let verb = Right::RecordRemedy.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        let row = remedy::Entity::find_by_id(id).one(&tx).await?;
        return row.ok_or_else(|| Error::internal("a remedy that was recorded is gone"));
    }
    let finding = store::get_own_finding(&tx, act, "findingId", new.finding_id).await?;
    let call = store::get_call(&tx, "findingId", finding.call_id).await?;
    must_be_open(&call, "findingId")?;
    let known = store::parts_by_ids(&tx, new.parts.iter().map(|fitted| fitted.part_id)).await?;
    let mut checks = Checks::new();
    let note = checks.text_if_any("note", new.note.as_deref(), TEXT_MAX);
    let bounds = (0, MINUTES_MAX);
    let labour_minutes = checks.between("labourMinutes", new.labour_minutes, bounds);
    let parts = costed(&mut checks, &new, &known);
    checks.finish()?;
    let row = remedy::ActiveModel {
        finding_id: Set(finding.id),
        method: Set(new.method),
        labour_minutes: Set(labour_minutes),
        done_at: Set(act.at),
        done_by: Set(staff_id),
        note: Set(note),
        ..Default::default()
    }
    .insert(&tx)
    .await?;
    if !parts.is_empty() {
        let mut lots = Vec::with_capacity(parts.len());
        for part in &parts {
            lots.push(match &part.fitted.lot {
                Some(lot) => Some(pricing::lot(&tx, act, part.fitted.part_id, lot).await?.id),
                None => None,
            });
        }
        let used = parts
            .iter()
            .zip(lots)
            .map(|(part, lot_id)| part_used::ActiveModel {
                remedy_id: Set(row.id),
                part_id: Set(part.fitted.part_id),
                quantity: Set(Exact(part.fitted.quantity)),
                unit_cost_cents: Set(part.unit_cost.0),
                cost_cents: Set(part.cost.0),
                lot_id: Set(lot_id),
                supplier_id: Set(part.supplier_id),
                place_id: Set(part.fitted.place_id),
                ..Default::default()
            });
        part_used::Entity::insert_many(used).exec(&tx).await?;
    }
    let used = store::parts_of_remedies(&tx, [row.id]).await?;
    let subject = Subject {
        kind: "remedy",
        id: row.id,
    };
    audit::created(&tx, act, verb, subject, &(&row, &used)).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

fn costed(checks: &mut Checks, new: &RecordRemedy, known: &[part::Model]) -> Vec<Costed> {
    if new.parts.len() > PARTS_MAX {
        checks.refuse(
            ProblemCode::OutOfRange,
            "parts",
            format!("A remedy has at most {PARTS_MAX} lines of parts."),
        );
    }
    if new.method == Method::None && !new.parts.is_empty() {
        checks.refuse(
            ProblemCode::Malformed,
            "parts",
            "Where nothing was done, no part was fitted. Say what was done.",
        );
    }
    let mut costed = Vec::with_capacity(new.parts.len());
    for (place, fitted) in new.parts.iter().enumerate() {
        let path = format!("parts.{place}.quantity");
        checks.positive_decimal(&path, fitted.quantity);
        if fitted.quantity > Decimal::from(QUANTITY_MAX) {
            let message = format!(
                "{} is more than a van holds; check the figure.",
                fitted.quantity
            );
            checks.refuse(ProblemCode::OutOfRange, &path, message);
        }
        let Some(part) = known.iter().find(|part| part.id == fitted.part_id) else {
            checks.refuse(
                ProblemCode::NotFound,
                &format!("parts.{place}.partId"),
                "There is no such part. Look it up again and use its id.",
            );
            continue;
        };
        let path_lot = format!("parts.{place}.lot");
        let lot = checks.text_if_any(&path_lot, fitted.lot.as_deref(), LINE_MAX);
        let unit_cost = Cents(part.cost_cents);
        match unit_cost.times_half_up(fitted.quantity) {
            Ok(cost) => costed.push(Costed {
                fitted: PartFitted {
                    lot,
                    ..fitted.clone()
                },
                supplier_id: part.supplier_id,
                unit_cost,
                cost,
            }),
            Err(_) => checks.refuse(
                ProblemCode::OutOfRange,
                &path,
                "So many parts cost more than can be counted.",
            ),
        }
    }
    costed
}
