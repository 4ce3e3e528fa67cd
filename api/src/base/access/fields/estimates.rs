use super::Row;
use crate::base::access::Least::Desk;

pub(super) const ESTIMATES: &[Row] = &[
    (
        "Query",
        Desk,
        "estimate estimates estimateQuestions expectedLives",
    ),
    ("ServiceCall", Desk, "estimates"),
    (
        "Estimate",
        Desk,
        "id number call createdAt createdBy revisions latest accepted remindersStoppedAt",
    ),
    ("Estimate", Desk, "questions"),
    (
        "EstimateQuestion",
        Desk,
        "id estimate revision askedAt askedFrom question answer answeredAt answeredBy",
    ),
    (
        "EstimateRevision",
        Desk,
        "id estimate revision state found notes draftedAt sentAt validUntil contentHash",
    ),
    (
        "EstimateRevision",
        Desk,
        "answeredAt answeredName answeredFrom declineReason priceBook taxJurisdiction options",
    ),
    ("EstimateRevision", Desk, "pictures consentText consentHash"),
    ("EstimatePicture", Desk, "words sha256 attachment"),
    (
        "EstimateRevision",
        Desk,
        "acceptedOption delivery answeredBy answeredPhone answerNote answerReceivedBy nextReminderOn pdfPath",
    ),
    ("EstimateRevision", Desk, "changesSince repairOrReplace"),
    ("Query", Desk, "repairTemplates"),
    (
        "RepairTemplate",
        Desk,
        "id name applianceType component failureMode title summary notes found depositPercent lines",
    ),
    ("RepairTemplate", Desk, "retiredAt version"),
    (
        "RepairTemplateLine",
        Desk,
        "kind section description part taskKey quantity minutes unitPrice",
    ),
    ("EstimateDifference", Desk, "sentences changes totals"),
    ("EstimateChange", Desk, "kind option line from to"),
    ("EstimateTotalMoved", Desk, "option from to"),
    (
        "RepairOrReplace",
        Desk,
        "sentences ageYears ageBasis expectedLifeYears expectedLifeSource lifeUsedPercent",
    ),
    ("RepairOrReplace", Desk, "replacementPrice shares"),
    ("ReplacementShare", Desk, "option percent"),
    (
        "ExpectedLife",
        Desk,
        "applianceType fuel years source caution",
    ),
    (
        "EstimateOption",
        Desk,
        "id position title summary net discount tax total lines taxes",
    ),
    (
        "EstimateOption",
        Desk,
        "notes depositWanted depositPercent taxFacts",
    ),
    (
        "OptionTaxFacts",
        Desk,
        "statedAs partsToBeStated outcome materialEvidence disasterArea taxInPrice",
    ),
    (
        "LineTaxFacts",
        Desk,
        "tripServes deliveredBy deliveryCost deliveryDivided replacedUnderWarranty",
    ),
    ("LineTaxFacts", Desk, "shownNet shownDiscount"),
    (
        "EstimateLine",
        Desk,
        "position kind description part quantity unitPrice net discount taxable tax taxReason",
    ),
    (
        "EstimateLine",
        Desk,
        "cost marginPercent labourMinutes section taxFacts ownDiscount partCondition priceBasis",
    ),
    (
        "EstimateLine",
        Desk,
        "workedMinutes hours crew grade tripZone pricedBy replacement task",
    ),
    ("EstimateTax", Desk, "name ratePercent taxable tax"),
    ("Query", Desk, "previewPriceBook"),
    (
        "PriceBookPreview",
        Desk,
        "from until estimateCount kinds total",
    ),
    (
        "PreviewSums",
        Desk,
        "kind lineCount charged wouldCharge difference marginPercent wouldBeMarginPercent",
    ),
    (
        "PreviewSums",
        Desk,
        "byHandCount byHand unpricedCount unpriced",
    ),
];
