//! A mail that was asked for, written with the act that asked.

use sea_orm::entity::prelude::*;
use serde::Serialize;

use crate::kinds::{MailKind, MailState};

/// One row of `outbox_mail`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel, Serialize)]
#[sea_orm(table_name = "outbox_mail")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    /// Ours, the same on every try.
    pub message_id: String,
    pub kind: MailKind,
    #[serde(skip)]
    pub payload_json: String,
    pub to_email: String,
    pub to_name: String,
    /// What the mail is about.
    pub subject_kind: String,
    pub subject_id: i64,
    pub state: MailState,
    pub attempts: i32,
    pub next_try_at: DateTimeUtc,
    /// A mail that has not left by then has failed.
    pub give_up_at: DateTimeUtc,
    /// A worker holds the row until then.
    pub claimed_until: Option<DateTimeUtc>,
    pub last_error: Option<String>,
    pub created_at: DateTimeUtc,
    pub sent_at: Option<DateTimeUtc>,
}

/// Joins are written where they are used.
#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
