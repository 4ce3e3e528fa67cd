//! The customer's answer: by the link, by telephone or by signature; and her questions.

pub mod answered;
pub mod answers;
pub mod link;
pub mod questions;
pub mod recording;
