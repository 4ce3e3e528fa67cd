use super::Row;
use crate::base::access::Least::{Desk, Staff};

pub(super) const TRACK_RECORD: &[Row] = &[
    (
        "Query",
        Desk,
        "repairRates ratedRepairs repairMonths repeatMoney modelRecord",
    ),
    ("Query", Staff, "ownRecord"),
    (
        "OwnRecord",
        Staff,
        "asOf windowDays counts rate expected shopRate",
    ),
    (
        "RepairCounts",
        Staff,
        "repairs returned open followed followedReturned",
    ),
    ("ReturnRate", Staff, "atDays percent low high"),
    ("Estimated", Desk, "value low high"),
    (
        "RepairRates",
        Desk,
        "asOf from through windowDays counts sameComponent rate lost groups groupCount",
    ),
    (
        "RateGroup",
        Desk,
        "key label counts sameComponent rate expected ratio ratioToRest drawn chanceOfMore verdict lost",
    ),
    (
        "RatedRepair",
        Desk,
        "completedOn returnAgeDays sameComponent call returnCall technician lost",
    ),
    (
        "RepairMonth",
        Desk,
        "firstOn counts rate isOver lineLow lineHigh chance alarm",
    ),
    ("RepairMonths", Desk, "asOf windowDays mean months"),
    (
        "RepeatMoney",
        Desk,
        "month otherCalls otherLost sameComponentCalls sameComponentLost",
    ),
    (
        "ModelRecord",
        Desk,
        "asOf key label machines furtherRepairs cut steps trend components",
    ),
    ("RepairStep", Desk, "ageDays machines mean low high few"),
    ("TrendFigures", Desk, "failures trend chance"),
    ("ComponentTrend", Desk, "label trend"),
];
