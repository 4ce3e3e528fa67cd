use super::Row;
use crate::base::access::Least::Desk;

pub(super) const CLAIMS: &[Row] = &[
    (
        "Query",
        Desk,
        "claim claims claimsDue claimReasons failureCodes",
    ),
    (
        "Claim",
        Desk,
        "id number state claimed fileBy daysLeft submittedOn payerReference complaint diagnosis codes draftedAt draftedBy version stands call payer programme cover decision invoice restInvoices steps papers sendings balance required",
    ),
    (
        "ClaimStep",
        Desk,
        "step state on note reason reasonMeaning release amount takenAt takenBy",
    ),
    (
        "ClaimPaper",
        Desk,
        "id evidence attachment keptPart note addedAt addedBy",
    ),
    ("ClaimSending", Desk, "sha256 byteCount mailedTo step"),
    ("ClaimSubmission", Desk, "claim sending daysLate"),
    ("ClaimBalance", Desk, "claimed paid writtenDown open"),
    ("ClaimRequirement", Desk, "evidence isThere words"),
    (
        "FailureCodes",
        Desk,
        "condition extendedCondition symptom section defects repairs",
    ),
    (
        "FailureCodeSet",
        Desk,
        "id component failureMode codes changedAt changedBy",
    ),
    ("ClaimDue", Desk, "kind by claim keptPart invoice"),
    ("ClaimReason", Desk, "code release meaning"),
    ("ServiceCall", Desk, "claims"),
];
