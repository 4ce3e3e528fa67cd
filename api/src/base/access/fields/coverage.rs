use super::Row;
use crate::base::access::Least::Desk;

pub(super) const COVERAGE: &[Row] = &[
    ("Query", Desk, "coverageOutlook"),
    ("CoverageOutlook", Desk, "failedOn reading"),
    (
        "CoverageDecision",
        Desk,
        "id call failedOn total isSure stands decidedAt decidedBy reading",
    ),
    (
        "CoverReading",
        Desk,
        "lines customer customerAtMost answers reasons",
    ),
    (
        "CoverSplit",
        Desk,
        "position covers amount portions customer",
    ),
    ("CoverPortion", Desk, "name ownWork amount"),
    (
        "ProgrammeAnswer",
        Desk,
        "name answer missing payer programme",
    ),
    ("ServiceCall", Desk, "coverageDecisions borneByShop"),
    ("BorneByShop", Desk, "borneOn parts labor trip decision"),
];
