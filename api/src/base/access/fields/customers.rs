use super::Row;
use crate::base::access::Least::{Desk, Staff};

pub(super) const CUSTOMERS: &[Row] = &[
    ("Query", Staff, "customers"),
    (
        "Customer",
        Staff,
        "id kind name email phone phoneNational contacts serviceAddresses version",
    ),
    (
        "Customer",
        Desk,
        "termsDays notes likelyDuplicates eInvoicing billing",
    ),
    (
        "BillingAddress",
        Desk,
        "line1 line2 city region postalCode country",
    ),
    (
        "EInvoicing",
        Desk,
        "wanted buyerReference registration version",
    ),
    ("Contact", Staff, "id name role phone email"),
    (
        "ServiceAddress",
        Staff,
        "id line1 line2 city region postalCode country line accessNotes",
    ),
    ("ServiceAddress", Staff, "version customer"),
    ("ServiceAddress", Desk, "tripZone tripDistance"),
];
