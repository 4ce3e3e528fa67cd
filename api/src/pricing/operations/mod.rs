//! Keeping price books, parts and tax rules.

mod books;
mod certificates;
mod grades;
mod lots;
mod part_change;
mod parts;
mod postal;
mod rates;
mod suppliers;
mod tax_rules;
mod taxes;

pub use books::{
    BookChange, ChangePriceBook, ClonePriceBook, DraftPriceBook, NewBracket, NewRate, NewTask,
    NewZone, adopt_price_book, change_price_book, clone_price_book, draft_price_book,
    withdraw_price_book,
};
pub use certificates::{
    AddTaxExemption, CertificateDetails, CompleteTaxExemption, add_tax_exemption, certificate_used,
    complete_tax_exemption,
};
pub use grades::{SetLabourGrade, set_labour_grade};
pub use lots::lot;
pub use part_change::{ChangePart, PartChange, change_part};
pub use parts::{AddPart, ChangePartCost, add_part, change_part_cost};
pub use postal::{AssignPostalCodes, assign_postal_codes};
pub use rates::{Imported, adopt_tax_rates, import_tax_rates};
pub use suppliers::{AddSupplier, ChangeSupplier, add_supplier, change_supplier};
pub use tax_rules::{NewMethod, NewTaxability};
pub use taxes::{AddTaxJurisdiction, NewLevel, add_tax_jurisdiction, replace_tax_jurisdiction};
