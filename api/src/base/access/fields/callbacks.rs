use super::Row;
use crate::base::access::Least::{Desk, Staff};

pub(super) const CALLBACKS: &[Row] = &[
    ("Query", Desk, "callbacks"),
    ("Query", Staff, "flags"),
    ("Subscription", Staff, "flagRaised"),
    (
        "Callback",
        Staff,
        "id state class suggestedClass ageDays counted decidedAt note call earlierCall decidedBy decisions",
    ),
    ("CallbackStep", Staff, "at state class note by"),
    ("Callback", Desk, "cost"),
    ("CallbackCost", Desk, "parts labor trip total"),
    ("Query", Desk, "checkAdvice"),
    (
        "CheckAdvice",
        Desk,
        "failureMode componentClass checks cautions cautionTexts",
    ),
    (
        "Flag",
        Staff,
        "id level state reason raisedAt baseRate pattern call",
    ),
    (
        "Flag",
        Staff,
        "appliance component failureMode nextChecks cautions evidence steps bearings",
    ),
    ("Bearings", Staff, "causes unusable readings cautions"),
    ("CauseBearing", Staff, "cause speaks why missing"),
    ("BearingReading", Staff, "reading isOfEarlierCall"),
    ("ServiceCall", Staff, "callback flags warranties"),
    ("Appliance", Staff, "flags shopWarranties"),
    ("BaseRate", Staff, "sentence repairs returned surprise"),
    (
        "Surprise",
        Staff,
        "sentence times expectedTimes chance expectedMachines",
    ),
    ("FlagEvidence", Staff, "completedOn daysBefore method call"),
    (
        "FlagPattern",
        Staff,
        "kind label observed expected atLeastTimes",
    ),
    ("FlagStep", Staff, "at state note by"),
];
