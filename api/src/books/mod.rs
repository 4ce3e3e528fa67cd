//! The accounts and the journal.
