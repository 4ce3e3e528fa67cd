use super::Row;
use crate::base::access::Least::{Desk, Staff};

pub(super) const PRICING: &[Row] = &[
    ("Query", Staff, "parts part"),
    (
        "Query",
        Desk,
        "priceBooks priceBook partPrice taxJurisdictions expiringTaxExemptions proposedJurisdictions taxRateChanges",
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
    (
        "Query",
        Desk,
        "suppliers labourGrades priceLists priceList priceListFaults",
    ),
    (
        "PriceList",
        Desk,
        "id name state uploadPath supplier rowCount badRowCount newCount changedCount sameCount",
    ),
    (
        "PriceList",
        Desk,
        "contentHash begunAt takenOverAt largestRises soldBelowCost partCondition",
    ),
    (
        "PriceListRow",
        Desk,
        "line number description cost listPrice oldCost outcome part",
    ),
    ("SoldBelowCost", Desk, "count first"),
    ("PriceListFault", Desk, "line column reason message"),
    ("Supplier", Desk, "id name email version"),
    ("LabourGrade", Desk, "staff grade"),
    ("PartCost", Desk, "cost fromAt priceList"),
    ("Part", Staff, "lots condition"),
    ("PartLot", Staff, "lot firstSeenAt"),
    (
        "PartPrice",
        Desk,
        "price cost basis raisedByFloor markupPercent marginPercent priceBook",
    ),
    (
        "TaxJurisdiction",
        Desk,
        "id name basis effectiveFrom levels totalRatePercent taxability methods prices localCeilingPercent",
    ),
    (
        "TaxLevel",
        Desk,
        "name kind ratePercent fromOn untilOn exempts rateCode",
    ),
    (
        "Taxability",
        Desk,
        "chargeKind taxable treatment when reason fromOn untilOn partsApart",
    ),
    (
        "TaxConditions",
        Desk,
        "statedAs material outcome builtIn disasterArea partsShareAtMost tripServes deliveredBy",
    ),
    (
        "TaxConditions",
        Desk,
        "deliveryDivided replacedUnderWarranty",
    ),
    (
        "TaxRateChange",
        Desk,
        "taxJurisdiction level rateCode ratePercent publishedPercent",
    ),
    ("TaxMethod", Desk, "fromOn brackets"),
    (
        "TaxBracketTable",
        Desk,
        "wholeDollarTax underADollar overWholeDollars",
    ),
    ("TaxBracketStep", Desk, "upTo tax"),
    (
        "TaxExemption",
        Desk,
        "id certificate reason validFrom validUntil buyerName businessAddress taxId businessType",
    ),
    (
        "TaxExemption",
        Desk,
        "receivedOn purchases lastPurchaseOn version customer standing",
    ),
    ("Customer", Desk, "taxExemptions"),
    (
        "ServiceAddress",
        Desk,
        "taxJurisdiction jurisdictionConfirmedAt jurisdictionConfirmedBy jurisdictionsProposed",
    ),
];
