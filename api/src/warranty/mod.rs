//! The shop's own warranty on its repairs.
