//! Lists about mail.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// Which mail a payload becomes.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum MailKind {
    #[sea_orm(string_value = "estimate")]
    Estimate,
    #[sea_orm(string_value = "reminder")]
    Reminder,
    #[sea_orm(string_value = "confirmation")]
    Confirmation,
    #[sea_orm(string_value = "invoice")]
    Invoice,
    #[sea_orm(string_value = "notice")]
    Notice,
}

/// Where a mail stands on its way out.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum MailState {
    #[sea_orm(string_value = "queued")]
    Queued,
    #[sea_orm(string_value = "sending")]
    Sending,
    #[sea_orm(string_value = "waiting")]
    Waiting,
    #[sea_orm(string_value = "sent")]
    Sent,
    #[sea_orm(string_value = "failed")]
    Failed,
    #[sea_orm(string_value = "dropped")]
    Dropped,
}

/// Which mail to the owner is made once for a day.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum OwnerLetterKind {
    /// What came back, of a day.
    #[sea_orm(string_value = "digest")]
    Digest,
    /// How the shop did, of a month; its day is the month's first.
    #[sea_orm(string_value = "summary")]
    Summary,
}
