use super::Row;
use crate::base::access::Least::Staff;

pub(super) const APPLIANCES: &[Row] = &[
    (
        "Query",
        Staff,
        "appliance appliances applianceTypes failureModes",
    ),
    ("ApplianceType", Staff, "id key name components"),
    ("Component", Staff, "id name applianceType"),
    ("FailureMode", Staff, "id key name hazard"),
    (
        "Appliance",
        Staff,
        "id applianceType make model serial shopTag unreadableReason fuel builtIn version",
    ),
    (
        "Appliance",
        Staff,
        "ratedVolts ratedWatts ratedAmps madeOn boughtOn installedOn",
    ),
    (
        "Appliance",
        Staff,
        "customer serviceAddress stays nearMatches history",
    ),
    (
        "ApplianceStay",
        Staff,
        "customer serviceAddress fromOn untilOn",
    ),
];
