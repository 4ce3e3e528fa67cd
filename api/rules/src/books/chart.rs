//! The roles that the rules post to, and the default chart of accounts with the shop's own numbering.
//!
//! Rules name a role, never a number, so that a shop may renumber its accounts. What must stay true: each role has one
//! account in the default chart, and codes are unique.

use super::AccountKind;
use serde::{Deserialize, Serialize};

/// What an account is for, as far as the rules need to know.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    Bank,
    UndepositedReceipts,
    Receivable,
    ClaimsReceivable,
    PartsStock,
    Payables,
    /// What came in from suppliers without a bill yet.
    ReceivedNotBilled,
    SalesTaxPayable,
    CustomerDeposits,
    WarrantyReserve,
    OwnersEquity,
    OwnersDrawings,
    RetainedEarnings,
    PartsRevenue,
    LabourRevenue,
    TripRevenue,
    DiagnosticRevenue,
    FreightRevenue,
    OtherRevenue,
    Discounts,
    TimelyFilingDiscount,
    PartsCostOfSales,
    /// What counts and adjustments find missing or too much.
    StockDifferences,
    CallbackCost,
    WarrantyExpense,
    LabourApplied,
    ClaimShortfall,
    BadDebts,
    CardFees,
    OtherExpense,
}

impl Role {
    /// Every role, in the order of the default chart.
    pub const ALL: [Self; 30] = [
        Self::Bank,
        Self::UndepositedReceipts,
        Self::Receivable,
        Self::ClaimsReceivable,
        Self::PartsStock,
        Self::Payables,
        Self::ReceivedNotBilled,
        Self::SalesTaxPayable,
        Self::CustomerDeposits,
        Self::WarrantyReserve,
        Self::OwnersEquity,
        Self::OwnersDrawings,
        Self::RetainedEarnings,
        Self::PartsRevenue,
        Self::LabourRevenue,
        Self::TripRevenue,
        Self::DiagnosticRevenue,
        Self::FreightRevenue,
        Self::OtherRevenue,
        Self::Discounts,
        Self::TimelyFilingDiscount,
        Self::PartsCostOfSales,
        Self::StockDifferences,
        Self::CallbackCost,
        Self::WarrantyExpense,
        Self::LabourApplied,
        Self::ClaimShortfall,
        Self::BadDebts,
        Self::CardFees,
        Self::OtherExpense,
    ];

    /// The account that holds this role by default.
    ///
    /// Discounts are revenue accounts with a debit balance, drawings equity with one; labour applied is an expense account
    /// with a credit balance, as it takes work done under the reserve out of the wages already booked.
    #[must_use]
    pub fn default_account(self) -> DefaultAccount {
        use AccountKind::{Asset, Equity, Expense, Liability, Revenue};
        let (code, name, kind) = match self {
            Self::Bank => ("1010", "Bank", Asset),
            Self::UndepositedReceipts => ("1050", "Receipts not yet banked", Asset),
            Self::Receivable => ("1200", "Receivable from customers", Asset),
            Self::ClaimsReceivable => ("1250", "Warranty claims receivable", Asset),
            Self::PartsStock => ("1400", "Parts stock", Asset),
            Self::Payables => ("2010", "Payable to suppliers", Liability),
            Self::ReceivedNotBilled => ("2020", "Parts received, not yet billed", Liability),
            Self::SalesTaxPayable => ("2200", "Sales tax payable", Liability),
            Self::CustomerDeposits => ("2300", "Customer deposits and credits", Liability),
            Self::WarrantyReserve => ("2400", "Warranty reserve", Liability),
            Self::OwnersEquity => ("3010", "Owner's equity", Equity),
            Self::OwnersDrawings => ("3100", "Owner's drawings", Equity),
            Self::RetainedEarnings => ("3900", "Retained earnings", Equity),
            Self::PartsRevenue => ("4010", "Parts sold", Revenue),
            Self::LabourRevenue => ("4020", "Labour", Revenue),
            Self::TripRevenue => ("4030", "Trip charges", Revenue),
            Self::DiagnosticRevenue => ("4040", "Diagnostic charges", Revenue),
            Self::FreightRevenue => ("4050", "Freight and delivery charged", Revenue),
            Self::OtherRevenue => ("4090", "Other revenue", Revenue),
            Self::Discounts => ("4800", "Discounts given", Revenue),
            Self::TimelyFilingDiscount => {
                ("4900", "Discount for filing sales tax on time", Revenue)
            }
            Self::PartsCostOfSales => ("5010", "Cost of parts sold", Expense),
            Self::StockDifferences => ("5050", "Stock differences", Expense),
            Self::CallbackCost => ("5100", "Cost of callbacks", Expense),
            Self::WarrantyExpense => ("5200", "Warranty expense", Expense),
            Self::LabourApplied => ("5250", "Labour applied to warranty work", Expense),
            Self::ClaimShortfall => ("5300", "Shortfall on warranty claims", Expense),
            Self::BadDebts => ("6100", "Bad debts", Expense),
            Self::CardFees => ("6200", "Card fees", Expense),
            Self::OtherExpense => ("6900", "Other expense", Expense),
        };
        DefaultAccount {
            code,
            name,
            kind,
            role: self,
        }
    }

    /// Code in the default chart.
    #[must_use]
    pub fn code(self) -> &'static str {
        self.default_account().code
    }

    /// Name in the default chart.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.default_account().name
    }

    /// Kind of account. A shop may renumber and rename, but not change this.
    #[must_use]
    pub fn kind(self) -> AccountKind {
        self.default_account().kind
    }
}

/// One account of the default chart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct DefaultAccount {
    pub code: &'static str,
    pub name: &'static str,
    pub kind: AccountKind,
    pub role: Role,
}

/// The accounts a new shop starts with, by code. The numbering is our own: 1 assets, 2 liabilities, 3 equity, 4 revenue,
/// 5 cost of sales, 6 other expense.
#[must_use]
pub fn default_chart() -> Vec<DefaultAccount> {
    Role::ALL.into_iter().map(Role::default_account).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_role_has_one_account_and_codes_rise_without_twins() {
        let chart = default_chart();
        assert!(
            chart
                .iter()
                .zip(chart.iter().skip(1))
                .all(|(a, b)| a.code < b.code)
        );
        assert!(
            chart
                .iter()
                .zip(Role::ALL)
                .all(|(account, role)| account.role == role)
        );
    }

    #[test]
    fn the_first_digit_of_a_code_tells_its_kind() {
        for account in default_chart() {
            let expected = match account.code.chars().next() {
                Some('1') => AccountKind::Asset,
                Some('2') => AccountKind::Liability,
                Some('3') => AccountKind::Equity,
                Some('4') => AccountKind::Revenue,
                _ => AccountKind::Expense,
            };
            assert_eq!(account.kind, expected, "{}", account.name);
        }
    }
}
