use super::Row;
use crate::base::access::Least::{Desk, Staff};

pub(super) const PRICING: &[Row] = &[
    ("Query", Staff, "parts part"),
    (
        "Query",
        Desk,
        "priceBooks priceBook partPrice taxJurisdictions",
    ),
    (
        "PriceBook",
        Desk,
        "id name effectiveFrom state hourlyRate firstHourMinimum incrementMinutes",
    ),
    (
        "PriceBook",
        Desk,
        "afterHoursMultiplier trip diagnostic diagnosticCredited markupKind minimumMarkup",
    ),
    (
        "PriceBook",
        Desk,
        "priceEnding adoptedAt brackets inversions",
    ),
    (
        "MarkupBracket",
        Desk,
        "upTo multiplier markupPercent marginPercent",
    ),
    (
        "MarkupInversion",
        Desk,
        "edgeCost priceAtEdge priceAboveEdge",
    ),
    (
        "Part",
        Staff,
        "id number description makerWarrantyMonths version",
    ),
    (
        "Part",
        Desk,
        "supplier cost fixedPrice listPrice costHistory",
    ),
    ("PartCost", Desk, "cost fromAt"),
    (
        "PartPrice",
        Desk,
        "price cost basis raisedByFloor markupPercent marginPercent priceBook",
    ),
    (
        "TaxJurisdiction",
        Desk,
        "id name basis effectiveFrom levels totalRatePercent taxability",
    ),
    ("TaxLevel", Desk, "name kind ratePercent"),
    ("Taxability", Desk, "chargeKind taxable reason"),
    (
        "TaxExemption",
        Desk,
        "id certificate reason validFrom validUntil",
    ),
    ("Customer", Desk, "taxExemptions"),
    (
        "ServiceAddress",
        Desk,
        "taxJurisdiction jurisdictionConfirmedAt",
    ),
];
