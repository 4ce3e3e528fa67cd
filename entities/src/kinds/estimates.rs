//! Lists about estimates.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// Where a revision of an estimate stands.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum EstimateState {
    #[sea_orm(string_value = "draft")]
    Draft,
    #[sea_orm(string_value = "sent")]
    Sent,
    #[sea_orm(string_value = "accepted")]
    Accepted,
    #[sea_orm(string_value = "declined")]
    Declined,
    #[sea_orm(string_value = "expired")]
    Expired,
    #[sea_orm(string_value = "superseded")]
    Superseded,
    #[sea_orm(string_value = "invoiced")]
    Invoiced,
}

/// How a sent revision reached the customer.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum EstimateDelivery {
    /// By e-mail, with a link.
    #[sea_orm(string_value = "mail")]
    Mail,
    /// Printed or shown.
    #[sea_orm(string_value = "hand")]
    Hand,
}

/// How a customer answered.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum AnswerWay {
    /// By the link in the mail.
    #[sea_orm(string_value = "link")]
    Link,
    /// By telephone.
    #[sea_orm(string_value = "telephone")]
    Telephone,
    /// By a signature on paper.
    #[sea_orm(string_value = "signature")]
    Signature,
    /// By word of mouth.
    #[sea_orm(string_value = "in_person")]
    InPerson,
}

/// Which of the reminders of one revision.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum ReminderKind {
    /// Some days after it was sent.
    #[sea_orm(string_value = "first")]
    First,
    /// Some days later.
    #[sea_orm(string_value = "second")]
    Second,
    /// On the day before the last.
    #[sea_orm(string_value = "last_day")]
    LastDay,
}

/// Which machines of a type an expected life is of.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum LifeFuel {
    /// All of them.
    #[sea_orm(string_value = "any")]
    Any,
    /// Those that heat with electricity.
    #[sea_orm(string_value = "electric")]
    Electric,
    /// Those that burn gas.
    #[sea_orm(string_value = "gas")]
    Gas,
}
