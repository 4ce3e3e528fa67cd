//! Opaque ids, unique over all types: what the record is and which one, in URL-safe base64.

use async_graphql::ID;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;

use crate::base::{Error, Result};

/// Types that have a life of their own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Staff,
    Customer,
    Contact,
    ServiceAddress,
    ApplianceType,
    Component,
    FailureMode,
    Appliance,
    PriceBook,
    FlatRateTask,
    Supplier,
    PriceList,
    Part,
    TaxJurisdiction,
    TaxExemption,
    TaxLevel,
    Account,
    JournalEntry,
    ServiceCall,
    Visit,
    Reading,
    Finding,
    Remedy,
    Estimate,
    EstimateRevision,
    EstimateOption,
    RepairTemplate,
    Invoice,
    Payment,
    Refund,
    BankDeposit,
    BankStatement,
    BankLine,
    BankMatch,
    BankReconciliation,
    Posting,
    Callback,
    Flag,
    Mail,
    Attachment,
    EstimateQuestion,
    LocalRules,
    CallConsent,
    StockPlace,
    StockLevel,
    StockMove,
    PartOrder,
    SupplierBill,
    SupplierPayment,
    WarrantyPayer,
    WarrantyProgramme,
    ApplianceCover,
    KeptPart,
    CoverageDecision,
    Recall,
    WarrantyReserveRun,
    Claim,
    PayerAdvice,
    AdviceRow,
    ClaimPaper,
    FailureCodes,
}

impl Kind {
    const ALL: [Self; 61] = [
        Self::Staff,
        Self::Customer,
        Self::Contact,
        Self::ServiceAddress,
        Self::ApplianceType,
        Self::Component,
        Self::FailureMode,
        Self::Appliance,
        Self::PriceBook,
        Self::FlatRateTask,
        Self::Supplier,
        Self::PriceList,
        Self::Part,
        Self::TaxJurisdiction,
        Self::TaxExemption,
        Self::TaxLevel,
        Self::Account,
        Self::JournalEntry,
        Self::ServiceCall,
        Self::Visit,
        Self::Reading,
        Self::Finding,
        Self::Remedy,
        Self::Estimate,
        Self::EstimateRevision,
        Self::EstimateOption,
        Self::RepairTemplate,
        Self::Invoice,
        Self::Payment,
        Self::Refund,
        Self::BankDeposit,
        Self::BankStatement,
        Self::BankLine,
        Self::BankMatch,
        Self::BankReconciliation,
        Self::Posting,
        Self::Callback,
        Self::Flag,
        Self::Mail,
        Self::Attachment,
        Self::EstimateQuestion,
        Self::LocalRules,
        Self::CallConsent,
        Self::StockPlace,
        Self::StockLevel,
        Self::StockMove,
        Self::PartOrder,
        Self::SupplierBill,
        Self::SupplierPayment,
        Self::WarrantyPayer,
        Self::WarrantyProgramme,
        Self::ApplianceCover,
        Self::KeptPart,
        Self::CoverageDecision,
        Self::Recall,
        Self::WarrantyReserveRun,
        Self::Claim,
        Self::PayerAdvice,
        Self::AdviceRow,
        Self::ClaimPaper,
        Self::FailureCodes,
    ];

    fn name(self) -> String {
        format!("{self:?}")
    }

    /// The name in a sentence, such as `price book`.
    fn in_words(self) -> String {
        let mut words = String::new();
        for letter in self.name().chars() {
            if letter.is_uppercase() && !words.is_empty() {
                words.push(' ');
            }
            words.extend(letter.to_lowercase());
        }
        words
    }

    /// The id of row `row` as clients see it.
    pub fn id(self, row: i64) -> ID {
        ID(URL_SAFE_NO_PAD.encode(format!("{}:{row}", self.name())))
    }

    /// The row behind an id of this kind.
    ///
    /// # Errors
    /// `NotFound` at `path` for an id of another kind or of no kind.
    pub fn row(self, path: &str, id: &ID) -> Result<i64> {
        match read(id) {
            Some((kind, row)) if kind == self => Ok(row),
            _ => Err(Error::not_found(path, &self.in_words())),
        }
    }

    /// The row behind an id that may be left out.
    ///
    /// # Errors
    /// As [`Kind::row`].
    pub fn row_if_any(self, path: &str, id: Option<&ID>) -> Result<Option<i64>> {
        id.map(|id| self.row(path, id)).transpose()
    }
}

/// What an id stands for; `None` if it is not one of ours, spelled as we spell it.
pub fn read(id: &ID) -> Option<(Kind, i64)> {
    let bytes = URL_SAFE_NO_PAD.decode(id.as_str()).ok()?;
    let text = String::from_utf8(bytes).ok()?;
    let (name, row) = text.split_once(':')?;
    let kind = Kind::ALL.into_iter().find(|kind| kind.name() == name)?;
    let row = row.parse().ok()?;
    (kind.id(row) == *id).then_some((kind, row))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_has_one_spelling() {
        let spelled = |text: &str| ID(URL_SAFE_NO_PAD.encode(text));
        let id = Kind::ServiceCall.id(1);
        assert_eq!(id, spelled("ServiceCall:1"));
        assert_eq!(read(&id), Some((Kind::ServiceCall, 1)));
        for other in [
            "ServiceCall:+1",
            "ServiceCall:001",
            "ServiceCall: 1",
            "ServiceCall:-0",
            "ServiceCall:",
            "serviceCall:1",
            "Nothing:1",
            "ServiceCall",
        ] {
            assert_eq!(read(&spelled(other)), None, "{other}");
        }
        assert_eq!(read(&ID(format!("{}=", id.as_str()))), None);
        assert!(
            Kind::ServiceCall
                .row("callId", &spelled("ServiceCall:01"))
                .is_err()
        );
    }
}
