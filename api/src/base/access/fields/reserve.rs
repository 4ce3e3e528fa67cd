use super::Row;
use crate::base::access::Least::Owner;

pub(super) const RESERVE: &[Row] = &[
    ("Query", Owner, "warrantyReserveRuns warrantyReserveRun"),
    (
        "WarrantyReserveRun",
        Owner,
        "id through opening used forNew forEarlier closing promiseDays runAt runBy entry strata undoneAt undoneBy undoneBecause",
    ),
    (
        "WarrantyReserveStratum",
        Owner,
        "applianceType component repairs returns openRepairs expectedReturns meanCost amount newRepairs forNew",
    ),
];
