//! Parts in stock: how many lie where, what they are worth, and what is on order.
//!
//! Words: a *place* is a shelf or a van; a *level* is how many of a part lie at a place; a *holding* is a part over all
//! places, with its value in *layers*; a *move* is one change of either. Value that the books had before parts were
//! recorded is *unassigned*: moves without a part. Parts *fitted* are taken from stock when their call is completed, parts
//! sold by an invoice without a call when that is issued.
//! What must stay true: moves are never changed; levels, holdings and layers are the sums of their moves; all moves'
//! value is the balance of parts stock on every day, because each is posted in the transaction that writes it; nothing
//! else posts there.
//!
//! A place may stand below zero: technicians fit parts that were bought on the way. What leaves beyond what is on hand
//! leaves at what it cost when it was fitted, or else at the cost in the catalogue, and the next receipt settles it
//! (`nameplate_rules::stock`): what a call's parts really cost stands in `part_used` then, and in the account they went to.

pub mod graphql;
mod ledger;
mod operations;
mod store;

pub use ledger::{About, Back, In, Ledger, Out, subject};
pub use operations::fitting::{record_remedy, take_fitted};
pub use operations::ordering::{Delivery, deliver, had_not_come, order_to_receive};
pub use operations::pieces;
pub use operations::places::place_or_main;
pub use operations::receiving::cost_of;
pub use operations::selling::{Sold, sell};
pub use operations::visiting::schedule_visit;
pub use operations::{
    AddStockPlace, AdjustStock, CancelPartOrder, ChangePartOrder, ChangeStockPlace, CountLine,
    CountStock, MoveLine, MoveStock, OrderPart, ReceiveParts, SetReorderPoint, TakePartBack,
    TakeReceiptBack, WhyBack, WriteOffUnassignedStock, add_stock_place, adjust_stock,
    cancel_part_order, change_part_order, change_stock_place, change_stock_terms, count_stock,
    move_stock, order_part, receive_parts, set_reorder_point, take_part_back, take_receipt_back,
    write_off_unassigned_stock,
};
pub use store::orders::calls_with_all_parts_in;
pub use store::pieces_at;
pub use store::values::{Valued, on_day};
