//! Payers' remittance advices: what a payer says it pays of which claims, read, matched, posted, and what it left.
//!
//! Words: an *advice* is one file of one payer about one payment; its *rows* are matched to claims by the shop's number or
//! the payer's own, by hand where that does not settle it, or set aside with a reason; a row is *settled* once its money
//! was laid and its claim has moved on. A *rest* is what a payer left unpaid of a claim. What must stay true: a file comes
//! in once while it stands; an advice's total is the sum of its rows, and its payment, once posted, is that total; what is
//! laid of a row is at most what it pays, and against the invoice of its claim; a row of no claim leaves its money as the
//! payer's credit until it is matched; each settled row has moved its claim as the life of a claim allows.

mod figures;
pub mod graphql;
mod importing;
mod layouts;
mod operations;
mod reading;
mod store;

pub use figures::{Asked as FiguresAsked, OfPayer, payer_figures};
pub use importing::{Imported, Looked, Purpose, Said, Seen, Sight, import_advice};
pub use layouts::{AdviceColumns, SetAdviceLayout, set_advice_layout};
pub use operations::matching::{
    MatchAdviceRow, SetAdviceRowAside, drop_advice, match_advice_row, set_advice_row_aside,
};
pub use operations::outside::{allocate_payment, apply_credit, record_payment, write_off_invoice};
pub use operations::posting::{PostAdvice, post_advice};
pub use operations::rests::{
    ClaimRest, UndoClaimRest, bear_claim_rest, bill_claim_rest, undo_claim_rest,
};
pub use operations::taking_off::{TakeOffInvoice, take_off_invoice};
pub use operations::undoing::{UndoAdvice, undo_advice};
pub use operations::unmatching::{UnmatchAdviceRow, unmatch_advice_row};
