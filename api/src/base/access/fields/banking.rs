use super::Row;
use crate::base::access::Least::Desk;

pub(super) const BANKING: &[Row] = &[
    ("Query", Desk, "receiptsToBank bankDeposits"),
    ("BankAccount", Desk, "accountId code name isUsual"),
    (
        "BankDeposit",
        Desk,
        "id number account depositedOn reference receipts cardFees arrives lines recordedAt recordedBy",
    ),
    ("BankDeposit", Desk, "undoneOn undoneBecause undoneBy"),
    ("BankDepositLine", Desk, "payment amount cardFee"),
];
