//! The acts on claims.

pub mod answers;
pub mod codes;
pub mod drafting;
pub mod life;
pub mod papers;
pub mod sending;
pub mod voiding;

use nameplate_entities::claim;

use crate::base::{Error, ProblemCode, Result};

/// Refuses what was read before somebody changed the claim.
fn same_version(claim: &claim::Model, read: i32) -> Result<()> {
    if claim.version == read {
        return Ok(());
    }
    Err(Error::refused(
        ProblemCode::Conflict,
        "version",
        "Somebody changed this in the meantime; read it again.",
    ))
}

fn wrong_state(path: &str, message: impl Into<String>) -> Error {
    Error::refused(ProblemCode::WrongState, path, message)
}
