//! The tables as rows: one file each, columns named with their unit.
//!
//! Money columns (`_cents`) are whole minor units of the shop's currency. Rates and quantities are
//! [`exact::Exact`] decimals kept as text, because `SQLite` would turn a decimal column into a float.
//! Nothing here knows a rule; each capability's `store` translates rows into the values rules use.

pub mod exact;
pub mod kinds;

pub mod account;
pub mod allocation;
pub mod appliance;
pub mod appliance_stay;
pub mod appliance_type;
pub mod audit_entry;
pub mod callback;
pub mod check_advice;
pub mod component;
pub mod contact;
pub mod customer;
pub mod estimate;
pub mod estimate_line;
pub mod estimate_link;
pub mod estimate_option;
pub mod estimate_reminder;
pub mod estimate_revision;
pub mod estimate_tax;
pub mod expected_life;
pub mod failure_mode;
pub mod finding;
pub mod flag;
pub mod flag_evidence;
pub mod flag_step;
pub mod idempotency_key;
pub mod invoice;
pub mod invoice_line;
pub mod invoice_tax;
pub mod journal_entry;
pub mod markup_bracket;
pub mod number_series;
pub mod outbox_mail;
pub mod part;
pub mod part_cost;
pub mod part_used;
pub mod payment;
pub mod posting;
pub mod price_book;
pub mod reading;
pub mod receivable;
pub mod remedy;
pub mod repair_tally;
pub mod repair_template;
pub mod repair_template_line;
pub mod search_entry;
pub mod service_address;
pub mod service_call;
pub mod session;
pub mod shop;
pub mod shop_warranty;
pub mod staff;
pub mod tax_exemption;
pub mod tax_jurisdiction;
pub mod tax_level;
pub mod taxability;
pub mod visit;
pub mod visit_call;
