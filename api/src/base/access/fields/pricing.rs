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
        "priceEnding adoptedAt brackets inversions version minimumMinutes maximumMarkup",
    ),
    (
        "PriceBook",
        Desk,
        "secondTechnicianShare distanceUnit rates zones",
    ),
    ("LabourRate", Desk, "name hourlyRate"),
    ("TripZone", Desk, "name charge postalCodes upToDistance"),
    (
        "FlatRateTask",
        Desk,
        "id key name description hours priceBook applianceType component",
    ),
    ("Query", Desk, "priceBookInForce flatRateTasks"),
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
        "id number description makerWarrantyMonths version componentClass supersededBy replacement",
    ),
    (
        "Part",
        Desk,
        "coreDeposit freight supplier suppliedBy cost fixedPrice listPrice costHistory",
    ),
    ("Query", Desk, "suppliers labourGrades"),
    ("Supplier", Desk, "id name email version"),
    ("LabourGrade", Desk, "staff grade"),
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
