use super::Row;
use crate::base::access::Least::Desk;

pub(super) const LOCAL_RULES: &[Row] = &[
    ("Query", Desk, "localRules"),
    (
        "LocalRules",
        Desk,
        "id country region name effectiveFrom estimateElements billElements whenMissing",
    ),
    (
        "LocalRules",
        Desk,
        "consentPercent consentLimitInside consentCountsTax writtenOver noteOralConsent",
    ),
    (
        "LocalRules",
        Desk,
        "offerRemovedParts labourWarrantyDays wording createdAt createdBy",
    ),
    ("MissingElement", Desk, "element words"),
    ("EstimateRevision", Desk, "missing consentNeeded"),
    ("Invoice", Desk, "missing"),
    ("ServiceCall", Desk, "consents"),
    ("ConsentNeed", Desk, "needed beyond"),
    (
        "CallConsent",
        Desk,
        "id addedWork addedTotal authorisedBy how telephone conditions givenAt recordedAt recordedBy",
    ),
    ("CallConsent", Desk, "revision missing"),
];
