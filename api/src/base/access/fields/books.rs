use super::Row;
use crate::base::access::Least::Owner;

pub(super) const BOOKS: &[Row] = &[
    (
        "Query",
        Owner,
        "accounts journalEntries trialBalance incomeStatement balanceSheet salesTaxOwed",
    ),
    ("Account", Owner, "id code name kind role"),
    (
        "JournalEntry",
        Owner,
        "id number on postedAt postedBy memo documentKind documentId total postings reverses",
    ),
    ("Posting", Owner, "account debit credit taxLevelId"),
    ("TrialBalance", Owner, "on rows debits credits"),
    ("TrialBalanceRow", Owner, "account debit credit"),
    ("AccountAmount", Owner, "account amount"),
    (
        "IncomeStatement",
        Owner,
        "from to revenueRows expenseRows revenue expenses net",
    ),
    (
        "BalanceSheet",
        Owner,
        "on assetRows liabilityRows equityRows netIncome assets liabilities equity",
    ),
    ("TaxOwed", Owner, "taxLevelId name jurisdiction amount"),
];
