use super::Row;
use crate::base::access::Least::Staff;

pub(super) const BRIEF: &[Row] = &[
    ("Query", Staff, "arrivalBrief dayRoute"),
    (
        "ArrivalBrief",
        Staff,
        "today call customer contacts serviceAddress appliance applianceType history",
    ),
    (
        "ArrivalBrief",
        Staff,
        "warranties estimates flags callback otherMachines visits cautions",
    ),
    ("ArrivalBrief", Staff, "cover earlierVisits text"),
    (
        "BriefCover",
        Staff,
        "place programme payer component mayPay excluded partsThrough labourThrough tripThrough segments missing bring",
    ),
    ("BriefCover", Staff, "exclusions deductible"),
    (
        "BriefCoverSegment",
        Staff,
        "covers componentClass through told onVisit",
    ),
    ("ArrivalBrief", Staff, "balance"),
    (
        "BriefCall",
        Staff,
        "number kind state openedOn completedOn complaint rootCause findings readings",
    ),
    (
        "BriefFinding",
        Staff,
        "component failureMode position cause note remedies",
    ),
    ("BriefRemedy", Staff, "method labourMinutes note parts"),
    ("BriefPart", Staff, "number description quantity"),
    (
        "BriefWarranty",
        Staff,
        "component callNumber writtenOn labourThrough partsThrough",
    ),
    ("BriefWarranty", Staff, "labourInForce partsInForce whoPays"),
    (
        "BriefEstimate",
        Staff,
        "number revision state sentAt validUntil options",
    ),
    ("BriefOption", Staff, "title accepted"),
    ("BriefOption", Staff, "total"),
    (
        "BriefFlag",
        Staff,
        "pattern id level state component failureMode reason raisedAt baseRate nextChecks cautions bearings",
    ),
    (
        "BriefCallback",
        Staff,
        "callback earlierCallNumber earlierCompletedOn",
    ),
    ("BriefMachine", Staff, "kind appliance flags"),
    (
        "BriefMachineFlag",
        Staff,
        "level state component failureMode reason",
    ),
    (
        "BriefVisit",
        Staff,
        "plannedOn window technician state reason reasonNote",
    ),
    ("DayRoute", Staff, "on stops leftOut"),
    ("RouteStop", Staff, "visit briefs"),
];
