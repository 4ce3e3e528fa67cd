use super::Row;
use crate::base::access::Least::{Desk, Staff};

pub(super) const CALLS: &[Row] = &[
    ("Query", Staff, "serviceCall serviceCalls visits myVisits"),
    (
        "ServiceCall",
        Staff,
        "id number state kind complaint openedAt openedOn completedAt completedOn",
    ),
    (
        "ServiceCall",
        Staff,
        "appliance customer serviceAddress visits readings findings rootCause version",
    ),
    (
        "Visit",
        Staff,
        "id technician serviceAddress plannedOn window state doneAt calls version reason reasonNote",
    ),
    (
        "Reading",
        Staff,
        "id takenAt takenBy quantity value unit place isolated wireAwg continuous",
    ),
    (
        "Reading",
        Staff,
        "expectedLow expectedHigh expectedUnit verdict explanation note",
    ),
    (
        "Reading",
        Staff,
        "circuit across supplyVolts partVolts partWatts partAmps insulationC terminalsC breakerAmps",
    ),
    (
        "Finding",
        Staff,
        "id component failureMode position cause foundAt foundBy note remedies",
    ),
    (
        "Remedy",
        Staff,
        "id method labourMinutes doneAt doneBy note parts",
    ),
    ("PartUsed", Staff, "partId number description quantity lot"),
    ("PartUsed", Desk, "unitCost cost"),
    (
        "HistoryEntry",
        Staff,
        "day callNumber component failureMode position cause technicianName remedies",
    ),
];
