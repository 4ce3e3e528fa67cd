//! Prices before tax: parts, labour, trips, diagnostics and discounts.
//!
//! Each is a pure function of a dated price book's terms and the work. They lie apart because a shop
//! changes them apart: a new markup schedule leaves the labour rate alone.
//! What must stay true: whole cents out, one rounding at the end of each price, and no float on the way.

pub mod discount;
pub mod labour;
pub mod margin;
pub mod markup;
pub mod price_list;
pub mod trip;
