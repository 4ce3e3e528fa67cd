//! What customers are told: documents as mails with their PDF, once more when asked for, and statements of account.

pub mod letter;
pub mod resending;
pub mod statement;
