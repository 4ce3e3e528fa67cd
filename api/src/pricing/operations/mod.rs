//! Keeping price books, parts and tax rules.

mod books;
mod parts;
mod taxes;

pub use books::{DraftPriceBook, NewBracket, adopt_price_book, draft_price_book};
pub use parts::{AddPart, ChangePartCost, add_part, change_part_cost};
pub use taxes::{
    AddTaxExemption, AddTaxJurisdiction, NewLevel, NewTaxability, add_tax_exemption,
    add_tax_jurisdiction,
};
