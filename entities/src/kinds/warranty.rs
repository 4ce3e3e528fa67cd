//! Lists about warranties and claims.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// Who is asked before whom.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum ProgrammeRank {
    #[sea_orm(string_value = "part_maker")]
    PartMaker,
    #[sea_orm(string_value = "appliance_maker")]
    ApplianceMaker,
    #[sea_orm(string_value = "service_contract")]
    ServiceContract,
}

/// Whose loss an open amount is that is no longer expected.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum WriteOffKind {
    /// A customer's, or a payer's that does not pay at all.
    #[sea_orm(string_value = "bad_debt")]
    BadDebt,
    /// What a warranty payer left unpaid of a claim, borne by the shop.
    #[sea_orm(string_value = "claim_shortfall")]
    ClaimShortfall,
}

/// Where a claim stands.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum ClaimState {
    #[sea_orm(string_value = "draft")]
    Draft,
    #[sea_orm(string_value = "ready")]
    Ready,
    #[sea_orm(string_value = "submitted")]
    Submitted,
    #[sea_orm(string_value = "queried")]
    Queried,
    #[sea_orm(string_value = "approved")]
    Approved,
    #[sea_orm(string_value = "part_approved")]
    PartApproved,
    #[sea_orm(string_value = "denied")]
    Denied,
    #[sea_orm(string_value = "paid")]
    Paid,
    #[sea_orm(string_value = "appealed")]
    Appealed,
    #[sea_orm(string_value = "closed")]
    Closed,
}

/// What happens to a claim.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum ClaimStep {
    #[sea_orm(string_value = "drafted")]
    Drafted,
    #[sea_orm(string_value = "make_ready")]
    MakeReady,
    #[sea_orm(string_value = "reopen")]
    Reopen,
    #[sea_orm(string_value = "submit")]
    Submit,
    #[sea_orm(string_value = "query")]
    Query,
    #[sea_orm(string_value = "approve")]
    Approve,
    #[sea_orm(string_value = "approve_part")]
    ApprovePart,
    #[sea_orm(string_value = "deny")]
    Deny,
    #[sea_orm(string_value = "pay")]
    Pay,
    #[sea_orm(string_value = "appeal")]
    Appeal,
    #[sea_orm(string_value = "close")]
    Close,
    #[sea_orm(string_value = "resume")]
    Resume,
    #[sea_orm(string_value = "void")]
    Void,
    #[sea_orm(string_value = "unsay")]
    Unsay,
}

/// What a payer wants to see.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum EvidenceKind {
    #[sea_orm(string_value = "proof_of_purchase")]
    ProofOfPurchase,
    #[sea_orm(string_value = "plate_picture")]
    PlatePicture,
    #[sea_orm(string_value = "fault_picture")]
    FaultPicture,
    #[sea_orm(string_value = "old_part")]
    OldPart,
    #[sea_orm(string_value = "customer_signature")]
    CustomerSignature,
    #[sea_orm(string_value = "contract_number")]
    ContractNumber,
}

/// What a line of a payer's advice made of its claim.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum AdviceOutcome {
    #[sea_orm(string_value = "in_full")]
    InFull,
    #[sea_orm(string_value = "short")]
    Short,
    #[sea_orm(string_value = "refused")]
    Refused,
    #[sea_orm(string_value = "too_much")]
    TooMuch,
}

/// By which of a decision's splits a call is billed.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum CoverageSplit {
    /// What is sure today.
    #[sea_orm(string_value = "sure")]
    Sure,
    /// As it will be once all that is missing is there.
    #[sea_orm(string_value = "settled")]
    Settled,
}
