//! Taking a staged list over: parts, costs, the search index and the list itself in one transaction.

use nameplate_entities::kinds::PriceListState;
use nameplate_entities::price_list;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, IntoActiveModel};
use serde::Serialize;

use crate::base::{Act, Error, ProblemCode, Result, Right, audit, idempotency, search};

use super::begin::subject;
use super::staging::{compare, run};
use super::store;

/// What to do about bad rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Take {
    /// Nothing, as long as there is one.
    AllOrNothing,
    /// Leave them out.
    KeepGood,
}

/// A staged list to take over.
#[derive(Clone, Debug, Serialize)]
pub struct TakeOverPriceList {
    #[serde(skip)]
    pub idempotency_key: String,
    pub price_list_id: i64,
    pub take: Take,
}

/// Makes parts and costs of a staged list, all at once. It is compared with the catalogue anew first. Estimates keep
/// what they were priced with.
///
/// # Errors
/// `Forbidden`; `IdempotencyMismatch`; `NotFound`; `WrongState` for a list that is not staged, or that has a bad row
/// and is to be taken whole, or of which rows are missing.
pub async fn take_over_price_list(act: &Act, take: TakeOverPriceList) -> Result<price_list::Model> {
    act.staff_with(Right::TakeOverPriceList)?;
    let verb = Right::TakeOverPriceList.mutation();
    let tx = act.app.db.write().await?;
    let once = idempotency::look_up(&tx, act, verb, &take.idempotency_key, &take).await?;
    if let Some(id) = once.receipt::<i64>()? {
        return store::get(&tx, "", id).await;
    }
    let before = store::get(&tx, "priceListId", take.price_list_id).await?;
    let refused = |words: &str| Error::refused(ProblemCode::WrongState, "priceListId", words);
    if before.state != PriceListState::Staged {
        return Err(refused(
            "Only a list whose rows were all received is taken over, and only once.",
        ));
    }
    let read_badly = before.bad_row_count - store::counts(&tx, before.id).await?.bad;
    compare(&tx, &before).await?;
    let counts = store::counts(&tx, before.id).await?;
    let bad_row_count = read_badly + counts.bad;
    if read_badly + counts.all() != before.row_count {
        return Err(refused(
            "Some rows of this list are gone. Begin it anew and send it again.",
        ));
    }
    if take.take == Take::AllOrNothing && bad_row_count > 0 {
        return Err(refused(
            "This list has bad rows. Mend them and send it again, or take over the good rows only.",
        ));
    }
    write_parts(&tx, act, &before).await?;
    let mut row = before.clone().into_active_model();
    row.state = Set(PriceListState::TakenOver);
    row.bad_row_count = Set(bad_row_count);
    row.new_count = Set(counts.new);
    row.changed_count = Set(counts.changed);
    row.same_count = Set(counts.same);
    row.taken_over_at = Set(Some(act.at));
    row.touched_at = Set(act.at);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    once.keep(&tx, act, &after.id).await?;
    tx.commit().await?;
    Ok(after)
}

/// The shop's own words for a part on record stay; cost, list price and supplier are taken from the list.
async fn write_parts(tx: &impl ConnectionTrait, act: &Act, list: &price_list::Model) -> Result<()> {
    run(
        tx,
        "INSERT INTO part (number, description, supplier_id, cost_cents, list_price_cents, condition, version) \
         SELECT r.number, r.description, $2, r.cost_cents, r.list_price_cents, l.part_condition, 1 \
         FROM price_list_row r JOIN price_list l ON l.id = r.price_list_id \
         WHERE r.price_list_id = $1 AND r.outcome = 'new'",
        [list.id.into(), list.supplier_id.into()],
    )
    .await?;
    run(
        tx,
        "UPDATE price_list_row SET part_id = (SELECT p.id FROM part p WHERE p.number = price_list_row.number) \
         WHERE price_list_id = $1 AND outcome = 'new'",
        [list.id.into()],
    )
    .await?;
    search::index_selected(
        tx,
        "SELECT 'part', part_id, number || ' ' || description, found_by FROM price_list_row \
         WHERE price_list_id = $1 AND outcome = 'new'",
        [list.id.into()],
    )
    .await?;
    run(
        tx,
        "UPDATE part SET cost_cents = r.cost_cents, supplier_id = $2, version = part.version + 1, \
         list_price_cents = COALESCE(r.list_price_cents, part.list_price_cents) FROM price_list_row r \
         WHERE r.part_id = part.id AND r.price_list_id = $1 AND r.outcome = 'changed'",
        [list.id.into(), list.supplier_id.into()],
    )
    .await?;
    run(
        tx,
        "INSERT INTO part_cost (part_id, cost_cents, from_at, price_list_id) \
         SELECT part_id, cost_cents, $2, price_list_id FROM price_list_row WHERE price_list_id = $1 \
         AND (outcome = 'new' OR (outcome = 'changed' AND cost_cents <> old_cost_cents))",
        [list.id.into(), act.at.into()],
    )
    .await?;
    Ok(())
}
