//! Offers: priced, frozen, mailed, and answered by the customer's link.
//!
//! Words: an *estimate* is a numbered offer for one call; its *revisions* hold *options*, which are
//! alternatives; a *link* is the customer's way in. What must stay true: a revision never changes once it is
//! sent, at most one revision of all estimates for a call is accepted, and nothing is accepted that was not
//! on the page (the hash tells).

mod answered;
mod answers;
mod cautions;
mod consents;
mod content;
mod drafting;
pub mod graphql;
mod letter;
mod line_terms;
pub mod link;
mod local;
mod offer;
pub mod page;
pub mod parties;
mod pictures;
mod priced;
mod printed;
mod questions;
mod sending;
mod states;
mod store;
mod tax_facts;

pub use consents::{
    RecordConsent, amounts, consent_sentences, consents_of, must_be_agreed, record_consent,
};
pub use content::printed_quantity;
pub use drafting::{DraftEstimate, ReviseEstimate, draft_estimate, revise_estimate};
pub use letter::letter;
pub use line_terms::LineTerms;
pub use offer::{NewLine, NewOption, Offer};
pub use pictures::{NewPicture, remove_attachment};
pub use questions::{AnswerQuestion, answer_letter, answer_question};
pub use sending::{SendEstimate, expire_due, send_estimate, withdraw};
pub use states::mark_invoiced;
pub use store::{Accepted, accepted_for_call};

#[cfg(test)]
mod catalogue_tests;
#[cfg(test)]
mod tests;
