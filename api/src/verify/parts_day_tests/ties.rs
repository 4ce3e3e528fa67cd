//! What must be true after whatever was played.

use chrono::Days;
use nameplate_entities::kinds::SupplierBillKind;
use nameplate_entities::{payable, payable_allocation, supplier_bill};
use nameplate_rules::books::Role;
use sea_orm::{EntityTrait, QueryOrder};

use super::Play;
use crate::reports::{self, Basis, Span};
use crate::{books, payables, stock};

impl Play<'_> {
    /// On every day of its rows no bill is settled beyond its total, and no credit laid beyond its own.
    pub async fn nothing_is_settled_twice(&self) {
        let db = self.desk.parts.db();
        let rows = payable_allocation::Entity::find().all(db).await.unwrap();
        for bill in supplier_bill::Entity::find().all(db).await.unwrap() {
            let of_it = |row: &&payable_allocation::Model| {
                row.bill_id == bill.id || row.credit_id == Some(bill.id)
            };
            for day in rows.iter().filter(of_it).map(|row| row.applied_on) {
                let by_then = rows.iter().filter(of_it);
                let by_then = by_then.filter(|row| row.applied_on <= day);
                let settled: i64 = by_then.map(|row| row.amount_cents).sum();
                assert!(
                    (0..=bill.total_cents).contains(&settled),
                    "{} of {} on {day}: {settled}",
                    bill.number,
                    bill.total_cents
                );
            }
        }
    }

    /// Lays what is left of credits against what is open on bills, and pays the rest; whether nothing is left then.
    pub async fn settle_everything(&self) -> bool {
        let db = self.desk.parts.db();
        let open = async |kind| {
            let rows = payable::Entity::find().order_by_asc(payable::Column::BillId);
            let mut rows = rows.all(db).await.unwrap();
            rows.retain(|row| row.kind == kind && row.open_cents > 0);
            rows
        };
        while let (Some(credit), Some(bill)) = (
            open(SupplierBillKind::Credit).await.first(),
            open(SupplierBillKind::Bill).await.first(),
        ) {
            let amount = credit.open_cents.min(bill.open_cents);
            self.lay((credit.bill_id, bill.bill_id), amount)
                .await
                .unwrap();
        }
        let owed: i64 = open(SupplierBillKind::Bill)
            .await
            .iter()
            .map(|row| row.open_cents)
            .sum();
        if owed > 0 {
            self.desk.pay(self.desk.payment(owed)).await.unwrap();
        }
        open(SupplierBillKind::Credit).await.is_empty()
    }

    pub async fn expenses(&self, basis: Basis) -> Vec<(String, i64)> {
        let ever = Span::new(self.today() - Days::new(100), self.today() + Days::new(1));
        let found = reports::income(self.desk.parts.db(), ever.unwrap(), basis).await;
        let found = found.unwrap();
        let rows = found.of_kind(nameplate_rules::books::AccountKind::Expense);
        rows.map(|(row, amount)| (row.code.clone(), amount.0))
            .collect()
    }

    /// On each of the last days what is open is what the books say is payable, and the stock what they say it is worth.
    pub async fn every_day_ties(&self) {
        let db = self.desk.parts.db();
        for back in 0..30 {
            let on = self.today() - Days::new(back);
            let owed: i64 = payables::open_on(db, on)
                .await
                .unwrap()
                .iter()
                .map(|row| row.open_cents)
                .sum();
            let balances = books::balances(db, books::Days::through(on)).await.unwrap();
            let of = |role: Role| {
                let row = balances.iter().find(|row| row.code == role.code());
                row.map_or(0, |row| row.balance_cents)
            };
            assert_eq!(-of(Role::Payables), owed, "{on}");
            let then = stock::on_day(db, on, None).await.unwrap();
            assert_eq!(of(Role::PartsStock), then.total_cents, "{on}");
            let by_part: i64 = then.parts.iter().map(|row| row.value_cents).sum();
            assert_eq!(by_part + then.unassigned_cents, then.total_cents, "{on}");
        }
    }
}
