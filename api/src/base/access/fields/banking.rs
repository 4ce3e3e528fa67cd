use super::Row;
use crate::base::access::Least::Desk;

pub(super) const BANKING: &[Row] = &[
    (
        "Query",
        Desk,
        "receiptsToBank receiptsBankedByHand bankDeposits bankAccounts bankStatements bankLines bankProposals bankReconciliations",
    ),
    (
        "BankAccount",
        Desk,
        "accountId code name isUsual layout reconciledThrough",
    ),
    (
        "BankLayout",
        Desk,
        "account delimiter hasHeader encoding dateOrder decimalSign columns nearDays version",
    ),
    (
        "BankColumnNames",
        Desk,
        "day amount moneyIn moneyOut text payee reference bankId balance currency",
    ),
    (
        "BankStatement",
        Desk,
        "statementId lineCount knownCount firstOn lastOn importedAt importedBy contentHash",
    ),
    (
        "BankLine",
        Desk,
        "lineId on amount text payee reference bankId balance isReconciled matched",
    ),
    (
        "BankPosting",
        Desk,
        "postingId on amount memo entryNumber documentKind",
    ),
    (
        "BankMatch",
        Desk,
        "matchId reason madeAt madeBy lines postings",
    ),
    (
        "BankProposal",
        Desk,
        "lines postings score reason isAmbiguous",
    ),
    (
        "BankReconciliation",
        Desk,
        "id account through opening moved closing standing outstanding recordedAt recordedBy",
    ),
    (
        "BankReconciliation",
        Desk,
        "reopenedAt reopenedBecause reopenedBy",
    ),
    (
        "BankStanding",
        Desk,
        "balanceByBank outstandingDeposits outstandingPayments laterInBooks balanceByBooks ties",
    ),
    (
        "BankDeposit",
        Desk,
        "id number account depositedOn reference receipts cardFees arrives lines recordedAt recordedBy",
    ),
    ("BankDeposit", Desk, "undoneOn undoneBecause undoneBy"),
    ("BankDepositLine", Desk, "payment amount cardFee"),
];
