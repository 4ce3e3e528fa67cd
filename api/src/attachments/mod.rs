//! Pictures and papers: the plate of a machine, the proof that it was bought, what a technician found.
//!
//! Words: an *attachment* is one picture or paper on one record (a machine, a call or a finding). What must
//! stay true: what it is is told by its own content, never by what the sender says; a picture is decoded and
//! written anew, so that no place, device or anything else hidden in the file is kept; its bytes lie in a
//! table of their own and are loaded only to be shown; a technician sees those of own calls alone.

pub mod graphql;
mod images;
mod operations;
mod store;

pub use images::{FILE_BYTES_MAX, is_picture};
pub use operations::{File, NewAttachment, On, add, file, remove};
pub use store::{attached_to_call, by_ids, content_of, get};
