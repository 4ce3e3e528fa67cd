//! Offers: priced, frozen, mailed, and answered by the customer's link.
//!
//! Words: an *estimate* is a numbered offer for one call; its *revisions* hold *options*, which are
//! alternatives; a *link* is the customer's way in. What must stay true: a revision never changes once it is
//! sent, at most one revision of all estimates for a call is accepted, and nothing is accepted that was not
//! on the page (the hash tells).
//!
//! Folders follow an offer: `writing`, `priced`, `shown`, `sending`, `answering`, `more_work`; `preview` prices
//! accepted work again under another book.

mod answering;
pub mod graphql;
mod more_work;
mod preview;
mod priced;
mod sending;
mod shown;
mod states;
mod store;
mod writing;

pub use answering::answers::office;
pub use answering::link;
pub use answering::questions::{AnswerQuestion, answer_letter, answer_question};
pub use answering::recording::{
    RecordAcceptance, RecordDecline, Told, record_acceptance, record_decline,
};
pub use more_work::consents::{
    RecordConsent, amounts, consent_sentences, consents_of, consents_without_offer, must_be_agreed,
    must_be_asked_for, must_need_no_word, record_consent,
};
pub use more_work::work_done::{WorkDone, close_work_done, work_done};
pub use priced::shared_trips::charges_the_visit;
pub use priced::{Destination, PricedLine, PricedOption, Terms};
pub use sending::lapsing::expire_due;
pub use sending::reminding::{self, moot, remind_due};
pub use sending::resending::{ResendEstimate, resend_estimate};
pub use sending::{PresentEstimate, SendEstimate, present_estimate, send_estimate, withdraw};
pub use shown::content::printed_quantity;
pub use shown::letter::{confirmation, letter, printed_pdf, reminder};
pub use shown::{page, parties};
pub use states::{mark_billing, mark_invoiced};
pub use store::{Accepted, accepted_for_call, waiting_for_answer};
pub use writing::discarding::discard_estimate;
pub use writing::drafting::{DraftEstimate, ReviseEstimate, draft_estimate, revise_estimate};
pub use writing::line_terms::LineTerms;
pub use writing::offer::{NewLine, NewOption, Offer};
pub use writing::pictures::{NewPicture, remove_attachment};
pub use writing::tax_facts::printed_as;
pub use writing::templates::{NewTemplate, TemplateLine, add_repair_template};
pub use writing::weighing::open;
pub use writing::without_call::{FreeWork, Proposed, Workplace, price_work, propose_work};

#[cfg(test)]
mod tests;
