use super::Row;
use crate::base::access::Least::{Desk, Staff};

pub(super) const WARRANTY: &[Row] = &[
    (
        "ShopWarranty",
        Staff,
        "writtenOn labourThrough partsThrough component call labourInForce partsInForce",
    ),
    ("Query", Desk, "warrantyPayers warrantyProgrammes keptParts"),
    (
        "WarrantyPayer",
        Desk,
        "id customer claimMail claimDaysMoveOn mayBillRest daysToPay retiredAt version programmes",
    ),
    (
        "WarrantyProgramme",
        Desk,
        "id payer name rank makeKey applianceType modelPattern retiredAt version terms",
    ),
    (
        "ProgrammeTerms",
        Desk,
        "appliesFrom staysWithMachine daysToFile segments exclusions evidence deductible labourRate distanceRate outOfUse failedRepairDays restBorneBy writtenAt writtenBy",
    ),
    (
        "CoverSegment",
        Desk,
        "covers componentClass start after through percent atMost flatLabour",
    ),
    ("CoverTerm", Desk, "count unit"),
    (
        "ApplianceCover",
        Desk,
        "id appliance programme held contractNumber beginsOn repairCall component note registeredAt registeredBy endedOn endedBecause version",
    ),
    ("Appliance", Desk, "covers deliveredOn inBusiness"),
    (
        "KeptPart",
        Staff,
        "id number call part description keptAt keptBy returnBy sentOn sentHow scrappedOn version",
    ),
    ("ServiceCall", Staff, "keptParts"),
];
