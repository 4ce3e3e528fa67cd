//! Beginning a price list, and giving one up.

use nameplate_entities::kinds::{PartCondition, PriceListState};
use nameplate_entities::price_list;
use nameplate_rules::pricing::price_list::Field;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, IntoActiveModel};
use serde::{Deserialize, Serialize};

use crate::base::audit::{self, Subject};
use crate::base::check::LINE_MAX;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right, idempotency};

use super::super::store as catalogue;
use super::store;

/// Which column of the list holds what, by the names in its first line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Columns {
    pub number: String,
    pub description: String,
    pub cost: String,
    pub list_price: Option<String>,
}

impl Columns {
    /// The column of a field.
    pub fn name_of(&self, field: Field) -> Option<&str> {
        match field {
            Field::Number => Some(&self.number),
            Field::Description => Some(&self.description),
            Field::Cost => Some(&self.cost),
            Field::ListPrice => self.list_price.as_deref(),
        }
    }

    /// Those of a list on record.
    ///
    /// # Errors
    /// Internal, when the row holds what could not have been saved.
    pub fn of(row: &price_list::Model) -> Result<Self> {
        serde_json::from_str(&row.columns_json)
            .map_err(|error| Error::caused("columns of a price list", error))
    }

    fn checked(self, checks: &mut Checks) -> Self {
        let list_price = self.list_price.as_deref();
        Self {
            number: checks.text("columns.number", &self.number, LINE_MAX),
            description: checks.text("columns.description", &self.description, LINE_MAX),
            cost: checks.text("columns.cost", &self.cost, LINE_MAX),
            list_price: checks.text_if_any("columns.listPrice", list_price, LINE_MAX),
        }
    }
}

/// A list that is about to be sent.
#[derive(Clone, Debug, Serialize)]
pub struct BeginPriceList {
    #[serde(skip)]
    pub idempotency_key: String,
    pub supplier_id: i64,
    pub name: String,
    pub columns: Columns,
    /// The condition of the parts it records for the first time; none where nobody says.
    pub part_condition: Option<PartCondition>,
}

/// Names the supplier and the columns of a list; its rows are sent to the upload path afterwards.
///
/// # Errors
/// `Forbidden`; `IdempotencyMismatch`; `NotFound`; refusals name the field.
pub async fn begin_price_list(act: &Act, new: BeginPriceList) -> Result<price_list::Model> {
    let staff_id = act.staff_with(Right::BeginPriceList)?;
    let verb = Right::BeginPriceList.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &new.idempotency_key, &new).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get(&tx, "", id).await;
    }
    let mut checks = Checks::new();
    let name = checks.text("name", &new.name, LINE_MAX);
    let columns = new.columns.checked(&mut checks);
    checks.finish()?;
    catalogue::get_supplier(&tx, "supplierId", new.supplier_id).await?;
    let columns_json = serde_json::to_string(&columns)
        .map_err(|error| Error::caused("columns of a price list", error))?;
    let row = price_list::ActiveModel {
        supplier_id: Set(new.supplier_id),
        name: Set(name),
        columns_json: Set(columns_json),
        part_condition: Set(new.part_condition),
        state: Set(PriceListState::Begun),
        upload: Set(0),
        row_count: Set(0),
        bad_row_count: Set(0),
        new_count: Set(0),
        changed_count: Set(0),
        same_count: Set(0),
        begun_by: Set(staff_id),
        begun_at: Set(act.at),
        touched_at: Set(act.at),
        version: Set(1),
        ..Default::default()
    }
    .insert(&tx)
    .await?;
    audit::created(&tx, act, verb, subject(row.id), &row).await?;
    once.keep(&tx, act, &row.id).await?;
    tx.commit().await?;
    Ok(row)
}

/// Gives up a list that was not taken over. Its rows go with the next hourly round, whatever its age.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for one that was taken over or given up.
pub async fn discard_price_list(act: &Act, price_list_id: i64) -> Result<price_list::Model> {
    act.staff_with(Right::DiscardPriceList)?;
    let tx = act.app.db.write().await?;
    let before = store::get(&tx, "priceListId", price_list_id).await?;
    if matches!(
        before.state,
        PriceListState::TakenOver | PriceListState::Discarded
    ) {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "priceListId",
            "This list was taken over or given up before.",
        ));
    }
    let mut row = before.clone().into_active_model();
    row.state = Set(PriceListState::Discarded);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::DiscardPriceList.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(after)
}

pub(super) fn subject(id: i64) -> Subject {
    Subject {
        kind: "price_list",
        id,
    }
}
