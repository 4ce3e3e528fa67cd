//! Offers: priced, frozen, mailed, and answered by the customer's link.
//!
//! Words: an *estimate* is a numbered offer for one call; its *revisions* hold *options*, which are
//! alternatives; a *link* is the customer's way in. What must stay true: a revision never changes once it is
//! sent, at most one revision of all estimates for a call is accepted, and nothing is accepted that was not
//! on the page (the hash tells).

mod answered;
mod answers;
mod carrying;
mod cautions;
mod changes;
mod consents;
mod content;
mod drafting;
mod duplicating;
mod from_templates;
pub mod graphql;
mod lapsing;
mod letter;
mod line_terms;
pub mod link;
mod local;
mod offer;
pub mod page;
pub mod parties;
mod pictures;
mod preview;
mod priced;
mod printed;
mod questions;
mod recording;
pub mod reminding;
mod sending;
mod states;
mod store;
mod tax_facts;
mod templates;
mod weighing;
mod work_done;

pub use consents::{
    RecordConsent, amounts, consent_sentences, consents_of, must_be_agreed, record_consent,
};
pub use content::printed_quantity;
pub use drafting::{DraftEstimate, ReviseEstimate, draft_estimate, revise_estimate};
pub use lapsing::expire_due;
pub use letter::{confirmation, letter, printed_pdf, reminder};
pub use line_terms::LineTerms;
pub use offer::{NewLine, NewOption, Offer};
pub use pictures::{NewPicture, remove_attachment};
pub use priced::{Destination, PricedLine, PricedOption, Terms};
pub use questions::{AnswerQuestion, answer_letter, answer_question};
pub use recording::{RecordAcceptance, RecordDecline, Told, record_acceptance, record_decline};
pub use reminding::{moot, remind_due};
pub use sending::{PresentEstimate, SendEstimate, present_estimate, send_estimate, withdraw};
pub use states::mark_invoiced;
pub use store::{Accepted, accepted_for_call};
pub use tax_facts::printed_as;
pub use templates::{NewTemplate, TemplateLine, add_repair_template};
pub use weighing::open;
pub use work_done::{WorkDone, close_work_done, work_done};

#[cfg(test)]
mod catalogue_tests;
#[cfg(test)]
mod offer_tests;
#[cfg(test)]
mod tax_tests;
#[cfg(test)]
mod template_tests;
#[cfg(test)]
mod testing;
#[cfg(test)]
mod tests;
