use super::Row;
use crate::base::access::Least::{Desk, Owner, Staff};

pub(super) const REPORTS: &[Row] = &[
    (
        "Query",
        Owner,
        "trialBalance incomeStatement balanceSheet salesTaxOwed salesTaxLiability",
    ),
    (
        "Query",
        Owner,
        "marginByCall marginByCharge marginByTechnician",
    ),
    ("Query", Desk, "takings"),
    ("Query", Staff, "firstVisits"),
    (
        "FirstVisitReport",
        Staff,
        "from through all withoutVisit reasons plannedAgain technicians months",
    ),
    (
        "FirstVisitFigures",
        Staff,
        "calls onFirstVisit percent low high",
    ),
    ("FurtherVisits", Staff, "reason visits"),
    ("TechnicianFirstVisits", Staff, "technician figures"),
    ("MonthFirstVisits", Staff, "month figures"),
    ("TrialBalance", Owner, "on rows debits credits"),
    ("TrialBalanceRow", Owner, "account debit credit"),
    ("AccountAmount", Owner, "account amount"),
    (
        "IncomeStatement",
        Owner,
        "from to basis revenueRows expenseRows revenue expenses net",
    ),
    (
        "BalanceSheet",
        Owner,
        "on assetRows liabilityRows equityRows netIncome assets liabilities equity",
    ),
    ("TaxOwed", Owner, "taxLevelId name jurisdiction amount"),
    (
        "SalesTaxLiability",
        Owner,
        "from to basis jurisdictions levels",
    ),
    (
        "JurisdictionSales",
        Owner,
        "taxJurisdictionId name gross taxable exempt untaxed reasons",
    ),
    ("UntaxedSales", Owner, "reason byCertificate amount"),
    (
        "LevelTaxLiability",
        Owner,
        "taxLevelId name kind jurisdiction taxable tax opening other closing",
    ),
    ("MarginFigures", Owner, "sales cost margin"),
    ("CallMargin", Owner, "call figures"),
    ("ChargeMargin", Owner, "kind figures"),
    ("TechnicianMargin", Owner, "technician figures"),
    ("Takings", Desk, "on method amount paymentCount"),
];
