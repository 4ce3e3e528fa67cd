//! Parts of the demo's shop: bought by bill, paid a month later, loaded into a van, counted and ordered.

use std::collections::BTreeMap;

use chrono::Days;
use nameplate_entities::kinds::{PaymentMethod, Role, StockPlaceKind};
use nameplate_entities::{part, payable, stock_holding, stock_place};
use nameplate_rules::books::Role as Account;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::EntityTrait;

use crate::base::{Act, Error, Result};
use crate::payables::{self, BillLine, PaySupplier, RecordSupplierBill};
use crate::pricing;
use crate::stock::{self, MoveLine, MoveStock};

use super::Player;

/// How many of each part are there after buying.
const KEPT_PIECES: i64 = 6;

impl Player<'_> {
    /// Fills the shelf up to so many of each part; each supplier sends one bill, with freight spread over its parts.
    pub(super) async fn buy_parts(&mut self, back_days: i64) -> Result<()> {
        let office = self.act(back_days, Role::Office)?;
        let mut bills: BTreeMap<i64, Vec<BillLine>> = BTreeMap::new();
        for part in self.listed(&office).await? {
            let lacking = Decimal::from(KEPT_PIECES) - held(&office, part.id).await?;
            let Some(supplier_id) = part.supplier_id.filter(|_| lacking > Decimal::ZERO) else {
                continue;
            };
            bills.entry(supplier_id).or_default().push(BillLine {
                part_id: Some(part.id),
                quantity: Some(lacking),
                unit_cost: Some(Cents(part.cost_cents)),
                ..BillLine::default()
            });
        }
        for (supplier_id, mut lines) in bills {
            lines.push(BillLine {
                description: Some("Freight".to_owned()),
                amount: Some(super::cents("9.80")?),
                ..BillLine::default()
            });
            let key = self.key();
            let new = RecordSupplierBill {
                supplier_number: format!("2-{}", key.trim_start_matches("demo-")),
                idempotency_key: key,
                supplier_id,
                billed_on: self.day(back_days),
                due_on: None,
                note: None,
                lines,
            };
            payables::record_supplier_bill(&office, new).await?;
        }
        Ok(())
    }

    /// Pays what suppliers' bills that are due leave open.
    pub(super) async fn pay_suppliers(&mut self, back_days: i64) -> Result<()> {
        let office = self.act(back_days, Role::Office)?;
        let today = self.day(back_days);
        let rows = payable::Entity::find().all(office.app.db.read()).await?;
        let mut due: BTreeMap<i64, i64> = BTreeMap::new();
        for row in rows {
            if row.open_cents > 0 && row.due_on <= today + Days::new(3) {
                *due.entry(row.supplier_id).or_default() += row.open_cents;
            }
        }
        for (supplier_id, owed) in due {
            let new = PaySupplier {
                idempotency_key: self.key(),
                supplier_id,
                method: PaymentMethod::Transfer,
                reference: None,
                paid_on: today,
                amount: Cents(owed),
                paid_from: Account::Bank.code().to_owned(),
                parts: None,
            };
            payables::pay_supplier(&office, new).await?;
        }
        Ok(())
    }

    /// What the owner sees of parts on the last day: a loaded van, a count, a part that runs low, one on order.
    pub(super) async fn load_van_and_count(&mut self, back_days: i64) -> Result<()> {
        let technician = self.technician(0)?;
        let office = self.act(back_days, Role::Office)?;
        let van = stock::AddStockPlace {
            name: format!("Van of {}", technician.name),
            kind: StockPlaceKind::Van,
            technician_id: Some(technician.id),
        };
        let van = stock::add_stock_place(&office, van).await?;
        let shelf = stock_place::Entity::find()
            .all(office.app.db.read())
            .await?;
        let shelf = shelf.into_iter().find(|place| place.is_main);
        let shelf = shelf.ok_or_else(|| Error::internal("no place is the main one"))?;
        self.buy_parts(back_days).await?;
        let parts = self.listed(&office).await?;
        let lines = parts.iter().map(|part| MoveLine {
            part_id: part.id,
            quantity: Decimal::TWO,
        });
        let load = MoveStock {
            idempotency_key: self.key(),
            from_id: shelf.id,
            to_id: van.id,
            lines: lines.collect(),
        };
        stock::move_stock(&self.act_of(back_days, &technician), load).await?;
        let office = self.act(back_days, Role::Office)?;
        let Some(first) = parts.first() else {
            return Ok(());
        };
        let counted = stock::pieces_at(office.app.db.read(), (first.id, shelf.id)).await?;
        let count = stock::CountStock {
            idempotency_key: self.key(),
            place_id: shelf.id,
            counted_on: None,
            takes_over: false,
            note: Some("One was dropped and thrown away.".to_owned()),
            lines: vec![stock::CountLine {
                part_id: first.id,
                quantity: (counted - Decimal::ONE).max(Decimal::ZERO),
                unit_cost: None,
            }],
        };
        stock::count_stock(&office, count).await?;
        let point = stock::SetReorderPoint {
            part_id: first.id,
            place_id: shelf.id,
            reorder_point: Some(Decimal::from(KEPT_PIECES)),
        };
        stock::set_reorder_point(&office, point).await?;
        let Some(supplier_id) = first.supplier_id else {
            return Ok(());
        };
        let order = stock::OrderPart {
            idempotency_key: self.key(),
            part_id: first.id,
            quantity: Decimal::from(KEPT_PIECES),
            supplier_id,
            call_id: None,
            expected_on: Some(self.day(back_days) + Days::new(4)),
            reference: Some("by telephone".to_owned()),
        };
        stock::order_part(&office, order).await?;
        Ok(())
    }

    /// The parts of the shop, by id.
    async fn listed(&self, act: &Act) -> Result<Vec<part::Model>> {
        let ids: Vec<i64> = self.parts.values().copied().collect();
        let mut parts = pricing::parts_by_id(act.app.db.read(), &ids).await?;
        parts.sort_by_key(|part| part.id);
        Ok(parts)
    }
}

async fn held(act: &Act, part_id: i64) -> Result<Decimal> {
    let held = stock_holding::Entity::find_by_id(part_id);
    let held = held.one(act.app.db.read()).await?;
    Ok(held.map_or(Decimal::ZERO, |row| row.quantity.0))
}
