use super::Row;
use crate::base::access::Least::Desk;

pub(super) const REMITTANCES: &[Row] = &[
    (
        "Query",
        Desk,
        "adviceLayout payerAdvices adviceWorkList payerFigures",
    ),
    (
        "AdviceLayout",
        Desk,
        "payer delimiter hasHeader encoding dateOrder decimalSign columns version",
    ),
    (
        "AdviceColumnNames",
        Desk,
        "claim paid refused reason note day reference",
    ),
    (
        "PayerAdvice",
        Desk,
        "id payer reference advisedOn contentHash rowCount total payment importedAt importedBy postedAt postedBy droppedAt undoneAt undoneBecause rows",
    ),
    (
        "AdviceRow",
        Desk,
        "rowId advice line claimText claim paid refused reasonCode reasonMeaning note paidOn settledAt laid outcome setAsideBecause",
    ),
    (
        "FiguresOfPayer",
        Desk,
        "payer filed answered inFull inPart denied approvedShare claimed paid writtenDown open recoveredShare claimedBeforeTax normalPrice claimedOfNormal paidInFull daysToPayMedian daysToPayMean reasons openByAge",
    ),
    ("UnpaidReason", Desk, "code meaning count unpaid"),
];
