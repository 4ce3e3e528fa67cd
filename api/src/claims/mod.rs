//! What the shop asks of a warranty payer for a call: the claim, what goes with it, and what became of it.
//!
//! Words: a *claim* is one call under one programme, and asks what the payer's invoice of that call asks; its *papers*
//! are the pictures, scans and kept parts that go with it; what it *requires* is what the programme's terms ask to see; a
//! *step* is what happened to it, and the last one says where it stands. A *sending* is the archive that went to the
//! payer, kept as it went. Its *balance* is what was claimed, what was paid, and what was given up or billed to somebody
//! else. A claim *stands* until it is *void*: taken back for good, so that its invoice may be credited. What must stay true:
//! a call has one standing claim for each programme, and an invoice one; no invoice is credited while its claim stands; a
//! claim's state is that of its last step, and the life of a claim (`rules::claims`) allows every step; nothing is submitted
//! while something required is missing, or while the invoice does not ask for all of it; papers are of the call, of its machine or of its findings; what was sent can be made again, byte by byte,
//! while its papers are there.
//!
//! `known` reads all that a claim rests on, `required` says what is missing, `archive` makes the files, `due` lists what
//! waits for the shop, `telling` mails it.

mod archive;
mod due;
pub mod graphql;
mod known;
mod operations;
mod required;
mod store;
mod telling;
mod words;

pub use archive::{SCHEMA, claim_archive, claim_archive_now};
pub use due::{Due, Waits, due};
pub use known::Known;
pub use operations::answers::{
    ClaimAnswer, Happened, NoteClaimAnswer, OfClaim, close_claim, make_claim_ready,
    note_claim_answer, note_claim_query, reopen_claim, reopen_closed_claim, void_claim,
};
pub use operations::codes::{SetFailureCodes, remove_failure_codes, set_failure_codes};
pub use operations::drafting::{ChangeClaim, DraftClaim, change_claim, date_drafts, draft_claim};
pub use operations::life::{Taken, take_step};
pub use operations::papers::{AddClaimPaper, add_claim_paper, remove_claim_paper};
pub use operations::sending::{
    SentBy, SubmitClaim, Submitted, appeal_claim, claim_letter, submit_claim,
};
pub use operations::voiding::give_back;
pub use required::{Requirement, Wanted, required_of};
pub use store::{
    TakenBy, balance, balances, closed_in, get_claim, of_payer_by_numbers, steps_taken, to_rule,
};
pub use telling::tell_what_is_due;
