use super::Row;
use crate::base::access::Least::{Desk, Staff};

pub(super) const RECALLS: &[Row] = &[
    ("Query", Desk, "recalls machinesOfRecalledMakes"),
    (
        "Recall",
        Staff,
        "id source number publishedOn title hazard remedy url withdrawnOn importedAt importedBy version products",
    ),
    (
        "RecalledProduct",
        Staff,
        "make modelPattern serialFrom serialThrough description",
    ),
    (
        "ApplianceRecall",
        Staff,
        "recall meant product check caution",
    ),
    (
        "RecallCheck",
        Staff,
        "isMeant toldOn doneOn note checkedAt checkedBy",
    ),
    ("Appliance", Staff, "recalls"),
    ("ServiceCall", Staff, "recalls"),
    ("ArrivalBrief", Staff, "recalls"),
];
