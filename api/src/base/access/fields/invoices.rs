use super::Row;
use crate::base::access::Least::Desk;

pub(super) const INVOICES: &[Row] = &[
    (
        "Query",
        Desk,
        "invoice invoices payments receivables receivablesAgeing claimsAgeing receivableTerms statement refunds workToBill",
    ),
    (
        "WorkToBill",
        Desk,
        "call lines charges net discount tax total leftOut inTheWay",
    ),
    (
        "WorkToBillLine",
        Desk,
        "kind quantity minutes part technician",
    ),
    (
        "WorkToBillCharge",
        Desk,
        "kind description quantity unitPrice net discount tax taxReason",
    ),
    (
        "Invoice",
        Desk,
        "id kind number customer call estimateRevision issuedOn dueOn issuedAt issuedBy reason",
    ),
    (
        "Invoice",
        Desk,
        "net discount tax total open lines taxes allocations credits creditedBy contentHash pdfPath",
    ),
    (
        "Invoice",
        Desk,
        "creditNotes takenBack disputedOn disputedBecause writeOffs chargeFor sharedWith wholeTotal rebills rebilledBy eInvoicePath",
    ),
    ("Invoice", Desk, "remindersSent nextReminderOn movedFrom"),
    (
        "Invoice",
        Desk,
        "warrantyPayer programme shopBears coverageDecision",
    ),
    ("ServiceCall", Desk, "invoices"),
    (
        "InvoiceLine",
        Desk,
        "position kind description quantity unitPrice net discount ownDiscount taxable tax taxReason cost partCondition",
    ),
    (
        "InvoiceTax",
        Desk,
        "taxLevelId name ratePercent taxable tax",
    ),
    (
        "Payment",
        Desk,
        "id number customer method reference receivedOn recordedAt recordedBy amount unallocated held",
    ),
    (
        "Payment",
        Desk,
        "allocations depositFor reversedOn reversal bankedOn bankAccount bankDeposit isBankedBefore pdfPath",
    ),
    (
        "PaymentReversal",
        Desk,
        "kind reason reversedOn recordedAt recordedBy bankFee bankAccount",
    ),
    (
        "Allocation",
        Desk,
        "amount appliedOn allocatedAt invoice payment creditNote writeOff movedTo undoes",
    ),
    (
        "Refund",
        Desk,
        "id number customer method reference refundedOn recordedAt recordedBy amount bankAccount reversedOn reversedBecause",
    ),
    (
        "WriteOff",
        Desk,
        "number kind invoice amount badDebt taxes reason writtenOffOn writtenOffBy reversedOn returns",
    ),
    (
        "WriteOffReturn",
        Desk,
        "amount badDebt because returnedOn recordedBy",
    ),
    (
        "AccountStatement",
        Desk,
        "customer from until opening lines closing",
    ),
    ("StatementLine", Desk, "on kind number amount balance"),
    ("WriteOffTax", Desk, "taxLevelId amount"),
    (
        "ReceivableTerms",
        Desk,
        "creditAppliesItself writeOffTaxRelief returnedPaymentFee lateChargeGraceDays lateChargePercent lateChargeAmount",
    ),
    (
        "ReceivableTerms",
        Desk,
        "lateChargesByThemselves overdueFirstDays overdueSecondDays overdueThirdDays",
    ),
    ("Receivables", Desk, "customer owed credit openInvoices"),
    ("ReceivablesAgeing", Desk, "on brackets customers"),
    ("CustomerAgeing", Desk, "customer brackets"),
    ("ClaimsAgeing", Desk, "through brackets payers"),
    ("PayerAgeing", Desk, "payer brackets"),
    (
        "AgeBrackets",
        Desk,
        "notYetDue days1To30 days31To60 days61To90 over90 total",
    ),
];
