use super::Row;
use crate::base::access::Least::{Desk, Staff};

pub(super) const CALLBACKS: &[Row] = &[
    ("Query", Desk, "callbacks"),
    ("Query", Staff, "flags"),
    ("Subscription", Staff, "flagRaised"),
    (
        "Callback",
        Staff,
        "id state class suggestedClass ageDays counted decidedAt note call earlierCall decidedBy",
    ),
    (
        "Flag",
        Staff,
        "id level state reason raisedAt baseRate call",
    ),
    (
        "Flag",
        Staff,
        "appliance component failureMode nextChecks cautions evidence steps",
    ),
    ("ServiceCall", Staff, "callback flags warranties"),
    ("Appliance", Staff, "flags shopWarranties"),
    ("BaseRate", Staff, "sentence repairs returned"),
    ("FlagEvidence", Staff, "completedOn daysBefore method call"),
    ("FlagStep", Staff, "at state note by"),
];
