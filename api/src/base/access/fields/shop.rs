use super::Row;
use crate::base::access::Least::{Anyone, Desk, Owner, Staff};

pub(super) const SHOP: &[Row] = &[
    ("Query", Anyone, "me"),
    ("Node", Staff, "id"),
    ("Query", Staff, "shop node"),
    ("Query", Desk, "staff search"),
    ("Staff", Staff, "id name email role leftAt"),
    (
        "Shop",
        Staff,
        "name phone email addressLines licence currency timeZone callbackWindowDays",
    ),
    (
        "Shop",
        Staff,
        "labourWarrantyDays partsWarrantyMonths estimateValidDays paymentTermsDays",
    ),
    ("Shop", Staff, "readingTolerancePercent"),
    (
        "Shop",
        Desk,
        "taxRegistration reminderFirstDays reminderSecondDays reminderLastDay flagDigest",
    ),
    (
        "Shop",
        Desk,
        "booksClosedThrough fiscalYearEndMonth paymentInstructions",
    ),
    ("Shop", Owner, "labourCost tripCost"),
    ("SearchHit", Desk, "kind title node"),
];
