//! Lists about pictures, papers, local rules and consents.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// What a picture or paper shows.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum AttachmentKind {
    #[sea_orm(string_value = "plate")]
    Plate,
    #[sea_orm(string_value = "proof_of_purchase")]
    ProofOfPurchase,
    #[sea_orm(string_value = "damage")]
    Damage,
    #[sea_orm(string_value = "before")]
    Before,
    #[sea_orm(string_value = "after")]
    After,
    #[sea_orm(string_value = "other")]
    Other,
}

/// Which of the kept versions.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum AttachmentSize {
    #[sea_orm(string_value = "full")]
    Full,
    #[sea_orm(string_value = "small")]
    Small,
}

/// What happens when a document lacks what the place asks for.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum WhenMissing {
    #[sea_orm(string_value = "tell")]
    Tell,
    #[sea_orm(string_value = "refuse")]
    Refuse,
}

/// How a customer agreed to more work.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum ConsentHow {
    #[sea_orm(string_value = "in_person")]
    InPerson,
    #[sea_orm(string_value = "by_telephone")]
    ByTelephone,
    #[sea_orm(string_value = "in_writing")]
    InWriting,
}
