//! What tests do in a shop with parts.

use nameplate_entities::kinds::{CallKind, Method, StockMethod, StockPlaceKind};
use nameplate_entities::{
    account, posting, service_call, stock_holding, stock_level, stock_move, stock_place,
};
use nameplate_rules::books::Role;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use crate::base::{Act, Result};
use crate::books;
use crate::calls::{PartFitted, RecordRemedy};
use crate::closeout::testing::Workshop;
use crate::stock::{self, AddStockPlace, CountLine, CountStock, ReceiveParts};

/// What a test does in a shop with parts.
pub struct Parts<'a> {
    pub shop: &'a Workshop,
}

impl Parts<'_> {
    pub fn db(&self) -> &sea_orm::DatabaseConnection {
        self.shop.app.db.read()
    }

    /// The shop values its parts so.
    pub async fn valued_by(&self, method: StockMethod) {
        if method == StockMethod::FirstInFirstOut {
            stock::change_stock_terms(&self.shop.owner(), (method, 1))
                .await
                .unwrap();
        }
    }

    pub async fn main_id(&self) -> i64 {
        let place = stock_place::Entity::find()
            .filter(stock_place::Column::IsMain.eq(true))
            .one(self.db())
            .await
            .unwrap();
        place.unwrap().id
    }

    pub async fn van(&self, technician_id: i64) -> i64 {
        let new = AddStockPlace {
            name: format!("Van {technician_id}"),
            kind: StockPlaceKind::Van,
            technician_id: Some(technician_id),
        };
        let van = stock::add_stock_place(&self.shop.owner(), new).await;
        van.unwrap().id
    }

    pub fn receipt(&self, part_id: i64, (quantity, unit_cost): (i64, i64)) -> ReceiveParts {
        ReceiveParts {
            idempotency_key: self.shop.key(),
            part_id,
            quantity: quantity.into(),
            unit_cost: Cents(unit_cost),
            place_id: None,
            received_on: None,
            order_id: None,
            paid_from: Some(Role::Bank.code().to_owned()),
            note: None,
        }
    }

    pub async fn receive(&self, part_id: i64, pieces: (i64, i64)) -> stock_move::Model {
        let new = self.receipt(part_id, pieces);
        stock::receive_parts(&self.shop.owner(), new).await.unwrap()
    }

    /// An open call on which the owner fitted so many of a part.
    pub async fn fit(&self, serial: &str, part_id: i64, quantity: i64) -> service_call::Model {
        self.fit_from(serial, (part_id, quantity), None).await
    }

    /// The same with parts of one place.
    async fn fit_from(
        &self,
        serial: &str,
        part: (i64, i64),
        place_id: Option<i64>,
    ) -> service_call::Model {
        let failure = self.shop.failure("Door gasket", "worn").await;
        let machine = self.shop.machine(Some(serial)).await;
        let call = self.shop.open_call(&machine, CallKind::Repair).await.call;
        let found = self.shop.find(&call, failure).await;
        let new = self.remedy_with(found.finding.id, part, place_id);
        stock::record_remedy(&self.shop.owner(), new).await.unwrap();
        call
    }

    pub async fn remedy(&self, act: &Act, finding_id: i64, part: (i64, i64)) -> Result<()> {
        let new = self.remedy_with(finding_id, part, None);
        stock::record_remedy(act, new).await.map(drop)
    }

    fn remedy_with(
        &self,
        finding_id: i64,
        part: (i64, i64),
        place_id: Option<i64>,
    ) -> RecordRemedy {
        RecordRemedy {
            idempotency_key: self.shop.key(),
            finding_id,
            method: Method::Replaced,
            labour_minutes: 30,
            note: None,
            parts: vec![PartFitted {
                part_id: part.0,
                quantity: part.1.into(),
                lot: None,
                place_id,
            }],
        }
    }

    /// Fits so many and completes the call; gives the move by which they left.
    pub async fn use_up(&self, serial: &str, part_id: i64, quantity: i64) -> stock_move::Model {
        self.use_from(serial, (part_id, quantity), None).await
    }

    /// The same with parts of one place.
    pub async fn use_from(
        &self,
        serial: &str,
        part: (i64, i64),
        place_id: Option<i64>,
    ) -> stock_move::Model {
        let call = self.fit_from(serial, part, place_id).await;
        self.shop.complete(&call).await.unwrap();
        let left = stock_move::Entity::find()
            .filter(stock_move::Column::CallId.eq(call.id))
            .one(self.db())
            .await
            .unwrap();
        left.unwrap()
    }

    pub fn count(&self, place_id: i64, (part_id, quantity): (i64, i64)) -> CountStock {
        CountStock {
            idempotency_key: self.shop.key(),
            place_id,
            counted_on: None,
            takes_over: false,
            note: None,
            lines: vec![CountLine {
                part_id,
                quantity: quantity.into(),
                unit_cost: None,
            }],
        }
    }

    /// Quantity and cents of a part.
    pub async fn held(&self, part_id: i64) -> (Decimal, i64) {
        let row = stock_holding::Entity::find_by_id(part_id)
            .one(self.db())
            .await;
        let row = row.unwrap().unwrap();
        (row.quantity.0, row.value_cents)
    }

    pub async fn at(&self, part_id: i64, place_id: i64) -> Decimal {
        let row = stock_level::Entity::find()
            .filter(stock_level::Column::PartId.eq(part_id))
            .filter(stock_level::Column::PlaceId.eq(place_id))
            .one(self.db())
            .await;
        row.unwrap().map_or(Decimal::ZERO, |row| row.quantity.0)
    }

    /// Debits less credits of an account.
    pub async fn balance(&self, role: Role) -> i64 {
        let account = account::Entity::find()
            .filter(account::Column::Role.eq(books::role_key(role)))
            .one(self.db())
            .await
            .unwrap()
            .unwrap();
        let rows = posting::Entity::find()
            .filter(posting::Column::AccountId.eq(account.id))
            .all(self.db())
            .await
            .unwrap();
        rows.iter()
            .map(|row| row.debit_cents - row.credit_cents)
            .sum()
    }

    pub async fn is_in_order(&self) {
        let findings = super::run(&self.shop.app.db).await.unwrap();
        assert_eq!(findings, []);
    }
}
