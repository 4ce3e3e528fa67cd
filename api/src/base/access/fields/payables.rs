use super::Row;
use crate::base::access::Least::Desk;

pub(super) const PAYABLES: &[Row] = &[
    (
        "Query",
        Desk,
        "supplierBills supplierPayments billAccounts payablesAgeing supplierStatement",
    ),
    ("BillAccount", Desk, "code name isKept"),
    ("Supplier", Desk, "termsDays"),
    (
        "SupplierBill",
        Desk,
        "id kind number supplierNumber supplier billedOn dueOn total open note credits recordedAt recordedBy undoneOn undoneBecause",
    ),
    ("SupplierBill", Desk, "lines allocations"),
    (
        "SupplierBillLine",
        Desk,
        "position description part quantity unitCost amount cost place accountCode stockMove partOrder",
    ),
    (
        "SupplierPayment",
        Desk,
        "id number supplier method reference paidOn amount accountCode recordedAt recordedBy undoneOn undoneBecause",
    ),
    ("SupplierPayment", Desk, "allocations"),
    (
        "PayableAllocation",
        Desk,
        "amount appliedOn undoes bill payment credit",
    ),
    (
        "PayablesAgeing",
        Desk,
        "on brackets credit owed byHand suppliers",
    ),
    ("SupplierAgeing", Desk, "supplier brackets credit owed"),
    (
        "SupplierStatement",
        Desk,
        "supplier from until opening lines hasMore closing",
    ),
    (
        "SupplierStatementLine",
        Desk,
        "on kind number reference amount balance",
    ),
];
