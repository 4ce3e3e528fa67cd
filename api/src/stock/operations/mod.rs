//! What the desk and the technicians do with parts.

pub mod counting;
pub mod fitting;
pub mod moving;
pub mod ordering;
pub mod places;
pub mod receiving;
pub mod returning;
pub mod selling;
pub mod sending_back;
pub mod unassigned;
pub mod visiting;

use nameplate_entities::part;
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;

use crate::base::{Checks, Error, ProblemCode, Result};
use crate::pricing;

pub use counting::{AdjustStock, CountLine, CountStock, adjust_stock, count_stock};
pub use moving::{MoveLine, MoveStock, move_stock};
pub use ordering::{
    CancelPartOrder, ChangePartOrder, OrderPart, cancel_part_order, change_part_order, order_part,
};
pub use places::{
    AddStockPlace, ChangeStockPlace, SetReorderPoint, add_stock_place, change_stock_place,
    change_stock_terms, set_reorder_point,
};
pub use receiving::{ReceiveParts, receive_parts};
pub use returning::{TakePartBack, take_part_back};
pub use sending_back::{TakeReceiptBack, WhyBack, take_receipt_back};
pub use unassigned::{WriteOffUnassignedStock, write_off_unassigned_stock};

/// Most lines of one count or move.
const LINES_MAX: usize = 200;
/// Most pieces in one line.
const PIECES_MAX: i64 = 100_000;

/// A quantity above zero that a shop may hold.
pub fn pieces(checks: &mut Checks, path: &str, quantity: Decimal) {
    checks.positive_decimal(path, quantity);
    too_many(checks, path, quantity);
}

/// A quantity of zero or more.
fn pieces_or_none(checks: &mut Checks, path: &str, quantity: Decimal) {
    if quantity < Decimal::ZERO {
        let message = format!("{quantity} is below zero; a count is zero or more.");
        checks.refuse(ProblemCode::OutOfRange, path, message);
    } else if quantity != Decimal::ZERO {
        pieces(checks, path, quantity);
    }
}

/// A change of a quantity, by more than nothing.
fn some_change(checks: &mut Checks, path: &str, change: Decimal) {
    if change == Decimal::ZERO {
        let message = "Say by how many: above zero for parts that are there, below zero for parts that are gone.";
        checks.refuse(ProblemCode::OutOfRange, path, message);
    } else {
        pieces(checks, path, change.abs());
    }
}

fn too_many(checks: &mut Checks, path: &str, quantity: Decimal) {
    if quantity > Decimal::from(PIECES_MAX) {
        let message = format!("{quantity} are more than a shop holds; check the figure.");
        checks.refuse(ProblemCode::OutOfRange, path, message);
    }
}

/// One to so many lines.
fn some_lines(checks: &mut Checks, count: usize) {
    if count == 0 {
        checks.refuse(ProblemCode::Missing, "lines", "Name at least one part.");
    }
    if count > LINES_MAX {
        let message = format!("At most {LINES_MAX} lines at once.");
        checks.refuse(ProblemCode::OutOfRange, "lines", message);
    }
}

fn same_version(checks: &mut Checks, there: i32, read: i32) {
    if there != read {
        checks.refuse(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this since you read it. Read it again first.",
        );
    }
}

/// The parts that lines name, in their order; each may be named once.
async fn parts_of_lines(tx: &impl ConnectionTrait, ids: &[i64]) -> Result<Vec<part::Model>> {
    let known = pricing::parts_by_id(tx, ids).await?;
    let mut checks = Checks::new();
    let mut parts = Vec::with_capacity(ids.len());
    for (at, id) in ids.iter().enumerate() {
        let path = format!("lines.{at}.partId");
        if ids.iter().take(at).any(|other| other == id) {
            let message = "This part is named twice; add the two quantities.";
            checks.refuse(ProblemCode::Malformed, &path, message);
        }
        match known.iter().find(|part| part.id == *id) {
            Some(part) => parts.push(part.clone()),
            None => return Err(Error::not_found(path, "part")),
        }
    }
    checks.finish()?;
    Ok(parts)
}
