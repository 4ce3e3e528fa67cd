//! Keeping price books, parts and tax rules.

mod books;
mod grades;
mod parts;
mod suppliers;
mod taxes;

pub use books::{
    BookChange, ChangePriceBook, ClonePriceBook, DraftPriceBook, NewBracket, NewRate, NewTask,
    NewZone, adopt_price_book, change_price_book, clone_price_book, draft_price_book,
};
pub use grades::{SetLabourGrade, set_labour_grade};
pub use parts::{AddPart, ChangePartCost, add_part, change_part_cost};
pub use suppliers::{AddSupplier, ChangeSupplier, add_supplier, change_supplier};
pub use taxes::{
    AddTaxExemption, AddTaxJurisdiction, NewLevel, NewTaxability, add_tax_exemption,
    add_tax_jurisdiction,
};
