//! The schema and what every resolver shares. The capabilities' own fields lie in their `graphql.rs`.

pub mod connection;
pub mod context;
pub mod error;
pub mod events;
pub mod gate;
pub mod ids;
pub mod limits;
pub mod loaders;
pub mod node;
pub mod omitted;
pub mod operation;
pub mod payload;
pub mod progress;
pub mod scalars;
pub mod schema;
pub mod variables;

#[cfg(test)]
mod batching_tests;
#[cfg(test)]
mod pattern_tests;
