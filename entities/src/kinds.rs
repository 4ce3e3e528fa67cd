//! The closed lists that columns hold, each kept as a lower-case word.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// What a member of staff may do; the table of rights is `base/access`.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Role {
    #[sea_orm(string_value = "owner")]
    Owner,
    #[sea_orm(string_value = "office")]
    Office,
    #[sea_orm(string_value = "technician")]
    Technician,
}

/// Whom a customer record stands for.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum CustomerKind {
    #[sea_orm(string_value = "household")]
    Household,
    #[sea_orm(string_value = "organisation")]
    Organisation,
}

/// What feeds an appliance.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Fuel {
    #[sea_orm(string_value = "electric")]
    Electric,
    #[sea_orm(string_value = "natural_gas")]
    NaturalGas,
    #[sea_orm(string_value = "liquid_gas")]
    LiquidGas,
    #[sea_orm(string_value = "none")]
    None,
}

/// Why a call was made. Only repairs can come back as callbacks.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum CallKind {
    #[sea_orm(string_value = "repair")]
    Repair,
    #[sea_orm(string_value = "maintenance")]
    Maintenance,
    #[sea_orm(string_value = "installation")]
    Installation,
}

/// Where a service call stands.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum CallState {
    #[sea_orm(string_value = "open")]
    Open,
    #[sea_orm(string_value = "completed")]
    Completed,
    #[sea_orm(string_value = "cancelled")]
    Cancelled,
}

/// Whether a trip was made.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum VisitState {
    #[sea_orm(string_value = "planned")]
    Planned,
    #[sea_orm(string_value = "done")]
    Done,
    #[sea_orm(string_value = "missed")]
    Missed,
}

/// What a reading measures.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    #[sea_orm(string_value = "resistance")]
    Resistance,
    #[sea_orm(string_value = "insulation_resistance")]
    InsulationResistance,
    #[sea_orm(string_value = "continuity")]
    Continuity,
    #[sea_orm(string_value = "voltage")]
    Voltage,
    #[sea_orm(string_value = "current")]
    Current,
    #[sea_orm(string_value = "power")]
    Power,
    #[sea_orm(string_value = "temperature")]
    Temperature,
    #[sea_orm(string_value = "pressure")]
    Pressure,
    #[sea_orm(string_value = "capacitance")]
    Capacitance,
}

/// What a reading says against its expected band.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    #[sea_orm(string_value = "inside")]
    Inside,
    #[sea_orm(string_value = "below")]
    Below,
    #[sea_orm(string_value = "above")]
    Above,
    #[sea_orm(string_value = "no_band")]
    NoBand,
    #[sea_orm(string_value = "may_be_parallel_path")]
    MayBeParallelPath,
}

/// How a finding was mended.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Method {
    #[sea_orm(string_value = "replaced")]
    Replaced,
    #[sea_orm(string_value = "re_terminated")]
    ReTerminated,
    #[sea_orm(string_value = "spliced")]
    Spliced,
    #[sea_orm(string_value = "cleaned")]
    Cleaned,
    #[sea_orm(string_value = "adjusted")]
    Adjusted,
    #[sea_orm(string_value = "tightened")]
    Tightened,
    #[sea_orm(string_value = "unblocked")]
    Unblocked,
    #[sea_orm(string_value = "other")]
    Other,
    #[sea_orm(string_value = "none")]
    None,
}

/// Which failures can hurt someone when they return.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Hazard {
    #[sea_orm(string_value = "none")]
    None,
    #[sea_orm(string_value = "heat")]
    Heat,
    #[sea_orm(string_value = "arc")]
    Arc,
    #[sea_orm(string_value = "gas")]
    Gas,
    #[sea_orm(string_value = "water_on_electrics")]
    WaterOnElectrics,
}

/// A price book is changed only while it is a draft.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum BookState {
    #[sea_orm(string_value = "draft")]
    Draft,
    #[sea_orm(string_value = "adopted")]
    Adopted,
}

/// Whether a bracket's multiplier applies to the whole cost or to its slice.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum MarkupKind {
    #[sea_orm(string_value = "whole")]
    Whole,
    #[sea_orm(string_value = "graduated")]
    Graduated,
}

/// The cents a part price is lifted to.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum PriceEnding {
    #[sea_orm(string_value = "as_computed")]
    AsComputed,
    #[sea_orm(string_value = "up95")]
    Up95,
    #[sea_orm(string_value = "up99")]
    Up99,
}

/// Whether tax is rounded on each item or once on the invoice.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum TaxBasis {
    #[sea_orm(string_value = "item")]
    Item,
    #[sea_orm(string_value = "invoice")]
    Invoice,
}

/// Who levies a tax.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum LevelKind {
    #[sea_orm(string_value = "state")]
    State,
    #[sea_orm(string_value = "county")]
    County,
    #[sea_orm(string_value = "city")]
    City,
    #[sea_orm(string_value = "district")]
    District,
}

/// What a line charges for; decides its taxability and its revenue account.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum ChargeKind {
    #[sea_orm(string_value = "part")]
    Part,
    #[sea_orm(string_value = "labour")]
    Labour,
    #[sea_orm(string_value = "trip")]
    Trip,
    #[sea_orm(string_value = "diagnostic")]
    Diagnostic,
    #[sea_orm(string_value = "freight")]
    Freight,
    #[sea_orm(string_value = "fee")]
    Fee,
}

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

/// An invoice, or the credit note that corrects one.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum ReceivableKind {
    #[sea_orm(string_value = "invoice")]
    Invoice,
    #[sea_orm(string_value = "credit_note")]
    CreditNote,
}

/// Who owes a line.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum Payer {
    #[sea_orm(string_value = "customer")]
    Customer,
    #[sea_orm(string_value = "warranty_payer")]
    WarrantyPayer,
    #[sea_orm(string_value = "shop")]
    Shop,
}

/// How money arrived.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum PaymentMethod {
    #[sea_orm(string_value = "cash")]
    Cash,
    #[sea_orm(string_value = "check")]
    Check,
    #[sea_orm(string_value = "card")]
    Card,
    #[sea_orm(string_value = "transfer")]
    Transfer,
}

/// The five classes of account.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum AccountKind {
    #[sea_orm(string_value = "asset")]
    Asset,
    #[sea_orm(string_value = "liability")]
    Liability,
    #[sea_orm(string_value = "equity")]
    Equity,
    #[sea_orm(string_value = "revenue")]
    Revenue,
    #[sea_orm(string_value = "expense")]
    Expense,
}

/// What the office made of a proposed callback.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum CallbackState {
    #[sea_orm(string_value = "proposed")]
    Proposed,
    #[sea_orm(string_value = "confirmed")]
    Confirmed,
    #[sea_orm(string_value = "rejected")]
    Rejected,
}

/// Why a machine came back.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum CallbackClass {
    #[sea_orm(string_value = "same_failure")]
    SameFailure,
    #[sea_orm(string_value = "related")]
    Related,
    #[sea_orm(string_value = "unrelated")]
    Unrelated,
    #[sea_orm(string_value = "use")]
    Use,
    #[sea_orm(string_value = "no_fault_found")]
    NoFaultFound,
}

/// How loud a repeat failure is: watch, or act before closing the call.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum FlagLevel {
    #[sea_orm(string_value = "watch")]
    Watch,
    #[sea_orm(string_value = "act")]
    Act,
}

/// The life of a flag; it is never deleted.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum FlagState {
    #[sea_orm(string_value = "open")]
    Open,
    #[sea_orm(string_value = "acknowledged")]
    Acknowledged,
    #[sea_orm(string_value = "answered")]
    Answered,
    #[sea_orm(string_value = "closed")]
    Closed,
}

/// Which mail a payload becomes.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, EnumIter, DeriveActiveEnum, Serialize, Deserialize,
)]
#[sea_orm(rs_type = "String", db_type = "Text")]
#[serde(rename_all = "snake_case")]
pub enum MailKind {
    #[sea_orm(string_value = "estimate")]
    Estimate,
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
}
