use super::Row;
use crate::base::access::Least::Owner;

pub(super) const BOOKS: &[Row] = &[
    (
        "Query",
        Owner,
        "accounts journalEntries generalLedger periodEvents",
    ),
    (
        "Account",
        Owner,
        "id code name kind role isBank retiredAt version",
    ),
    (
        "JournalEntry",
        Owner,
        "id number on postedAt postedBy memo documentKind documentId total postings reverses closesYear hash",
    ),
    ("Posting", Owner, "account debit credit taxLevelId"),
    (
        "GeneralLedger",
        Owner,
        "account from to opening closing lines",
    ),
    ("LedgerLine", Owner, "entry debit credit balance taxLevelId"),
    (
        "PeriodEvent",
        Owner,
        "kind closedBefore closedThrough year reason at by journalEntry",
    ),
];
