use super::Row;
use crate::base::access::Least::Desk;

pub(super) const INVOICES: &[Row] = &[
    (
        "Query",
        Desk,
        "invoice invoices payments receivables receivablesAgeing",
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
        "InvoiceLine",
        Desk,
        "kind description quantity unitPrice net discount ownDiscount taxable tax taxReason cost partCondition",
    ),
    (
        "InvoiceTax",
        Desk,
        "taxLevelId name ratePercent taxable tax",
    ),
    (
        "Payment",
        Desk,
        "id number customer method reference receivedOn recordedAt recordedBy amount unallocated",
    ),
    ("Payment", Desk, "allocations"),
    (
        "Allocation",
        Desk,
        "amount allocatedAt invoice payment creditNote",
    ),
    ("Receivables", Desk, "customer owed credit openInvoices"),
    ("ReceivablesAgeing", Desk, "on brackets customers"),
    ("CustomerAgeing", Desk, "customer brackets"),
    (
        "AgeBrackets",
        Desk,
        "notYetDue days1To30 days31To60 days61To90 over90 total",
    ),
];
