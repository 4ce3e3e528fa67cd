//! The acts on claims.

pub mod life;
