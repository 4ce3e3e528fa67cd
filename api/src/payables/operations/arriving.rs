//! The lines of a bill as they are written: parts into stock, the rest into the entry.

use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::StockMoveKind;
use nameplate_entities::{part, stock_move, supplier_bill, supplier_bill_line};
use nameplate_rules::books::events::{self, PartsBilled};
use nameplate_rules::books::{Entry, Role};
use nameplate_rules::money::Cents;
use nameplate_rules::stock::share;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait};

use crate::base::{Act, Error, Result};
use crate::books;
use crate::stock::{self, About, Delivery, In, Ledger};

use super::super::store;
use super::bills::{Line, What};
use super::{by_code, less, sum};

/// Writes the lines, takes the parts in, and gives the entry.
///
/// # Errors
/// Those of the stock; `TooMuch` for lines that together bring more than their order waits for.
pub async fn take_in(
    tx: &impl ConnectionTrait,
    act: &Act,
    (verb, bill): (&'static str, &supplier_bill::Model),
    lines: &[Line],
) -> Result<Entry> {
    let mut expenses = Vec::new();
    let mut parts = PartsBilled::default();
    let payable = books::account_id(tx, &Role::Payables.into()).await?;
    for ((at, position), line) in (0_usize..).zip(1_i32..).zip(lines) {
        let mut row = supplier_bill_line::ActiveModel {
            bill_id: Set(bill.id),
            position: Set(position),
            description: Set(line.description.clone()),
            amount_cents: Set(line.amount.0),
            cost_cents: Set(line.cost.0),
            ..Default::default()
        };
        match &line.what {
            What::Spread => {}
            What::Expense(account) => {
                row.account_id = Set(Some(account.id));
                expenses.push((by_code(account), line.amount));
            }
            What::Part {
                part,
                quantity,
                unit_cost,
                place_id,
                order_id,
                receipt,
            } => {
                row.part_id = Set(Some(part.id));
                row.quantity = Set(Some(Exact(quantity.normalize())));
                row.unit_cost_cents = Set(Some(unit_cost.0));
                row.part_order_id = Set(*order_id);
                if let Some(receipt) = receipt {
                    row.receipt_move_id = Set(Some(receipt.move_id));
                    // Bill by bill its share of what is left, so the last one takes all of the rest.
                    let left = (Cents(receipt.open_cents), receipt.open_quantity.0);
                    let expected = share(left.0, *quantity, left.1)
                        .map_err(|error| Error::caused("share of a receipt", error))?;
                    row.awaited_cents = Set(Some(expected.0));
                    parts.awaited = sum([parts.awaited, expected])?;
                    parts.difference = sum([parts.difference, less(line.cost, expected)?])?;
                    store::bill_some(tx, receipt, (*quantity, expected)).await?;
                } else {
                    let came = Arriving {
                        bill,
                        part,
                        line,
                        path: format!("lines.{at}"),
                        payable,
                    };
                    let moved = came
                        .take_in(tx, act, verb, (*quantity, *place_id, *order_id))
                        .await?;
                    row.place_id = Set(moved.place_id);
                    row.move_id = Set(Some(moved.id));
                    parts.in_stock = sum([parts.in_stock, line.cost])?;
                }
            }
        }
        row.insert(tx).await?;
    }
    events::supplier_bill(parts, &expenses)
        .map_err(|error| Error::caused("entry of a supplier's bill", error))
}

/// Parts of a line that come in with the bill.
struct Arriving<'a> {
    bill: &'a supplier_bill::Model,
    part: &'a part::Model,
    line: &'a Line,
    /// Where the input names it.
    path: String,
    payable: i64,
}

impl Arriving<'_> {
    async fn take_in(
        &self,
        tx: &impl ConnectionTrait,
        act: &Act,
        verb: &'static str,
        (quantity, place_id, order_id): (Decimal, Option<i64>, Option<i64>),
    ) -> Result<stock_move::Model> {
        let place = stock::place_or_main(tx, "lines", place_id).await?;
        let new = In {
            part: self.part,
            place_id: place.id,
            quantity,
            cost: self.line.cost,
            kind: StockMoveKind::Received,
            on: self.bill.billed_on,
            about: About {
                part_order_id: order_id,
                account_id: Some(self.payable),
                reason: Some(format!("Bill {}", self.bill.number)),
                ..About::default()
            },
        };
        let moved = Ledger::open(tx, act, verb).await?.come_in(new).await?;
        if let Some(id) = order_id {
            let came = ("billedOn", self.bill.billed_on);
            // Asked again, as a line before this one may be of the same order.
            let (order_path, pieces_path) = (self.at("orderId"), self.at("quantity"));
            let what = (self.part.id, (pieces_path.as_str(), quantity));
            let order = stock::order_to_receive(tx, (&order_path, id), what, came).await?;
            let delivery = Delivery {
                order: &order,
                quantity,
                on: self.bill.billed_on,
            };
            stock::deliver(tx, act, verb, delivery).await?;
        }
        Ok(moved)
    }

    fn at(&self, field: &str) -> String {
        format!("{}.{field}", self.path)
    }
}
