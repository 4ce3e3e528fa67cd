//! How an offer comes to be: typed, from a template, from another job, or revised; and what is written with it.

pub mod carrying;
pub mod discarding;
pub mod drafting;
pub mod duplicating;
pub mod from_templates;
pub mod line_terms;
pub mod offer;
pub mod pictures;
pub mod tax_facts;
pub mod templates;
pub mod weighing;
pub mod without_call;
