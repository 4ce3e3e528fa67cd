use super::Row;
use crate::base::access::Least::{Desk, Staff};

pub(super) const STOCK: &[Row] = &[
    ("Query", Staff, "stockPlaces stockLevels partStock"),
    (
        "Query",
        Desk,
        "stockTerms stockMoves stockValue fittedParts unbilledReceipts partOrders callsWithPartsIn",
    ),
    ("ServiceCall", Staff, "partOrders"),
    ("PartUsed", Staff, "place"),
    (
        "StockPlace",
        Staff,
        "id name kind technician isMain retiredAt version",
    ),
    ("StockTerms", Desk, "method version"),
    (
        "StockLevel",
        Staff,
        "id part place quantity reorderPoint isLow",
    ),
    ("PartStock", Staff, "part quantity levels"),
    ("PartStock", Desk, "value unitValue layers"),
    ("StockLayer", Desk, "quantity value"),
    (
        "StockMove",
        Staff,
        "id kind on recordedAt recordedBy part place quantity placeAfter partAfter call reason",
    ),
    (
        "StockMove",
        Desk,
        "value valueAfter partOrder invoice undoes settles",
    ),
    ("StockValue", Desk, "on total unassigned parts more"),
    ("FittedPart", Desk, "partUsed call"),
    (
        "UnbilledReceipt",
        Desk,
        "receipt supplier cost openQuantity openCost",
    ),
    (
        "PartOrder",
        Staff,
        "id number state part quantity receivedQuantity call orderedOn expectedOn closedOn",
    ),
    (
        "PartOrder",
        Desk,
        "supplier reference orderedBy closedBecause version",
    ),
    ("ArrivalBrief", Staff, "partOrders"),
    (
        "BriefPartOrder",
        Staff,
        "number state part description quantity receivedQuantity expectedOn",
    ),
];
