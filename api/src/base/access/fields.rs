//! The least a caller must be to read each field, type by type.
//!
//! One list a capability, one row for fields of one type that are decided alike. Types whose name ends
//! in `Payload`, `Connection` or `Edge` follow the rule in `mod.rs`.

use super::Least::{self, Anyone, Desk, Owner, Staff};

type Row = (&'static str, Least, &'static str);

pub(super) const FIELDS: &[&[Row]] = &[
    SHOP, CUSTOMERS, APPLIANCES, PRICING, BOOKS, CALLS, WARRANTY, ESTIMATES, INVOICES, CALLBACKS,
    BRIEF, MAIL,
];

const SHOP: &[Row] = &[
    ("Query", Anyone, "me"),
    ("Node", Staff, "id"),
    ("Query", Staff, "shop node"),
    ("Query", Desk, "staff search"),
    ("Staff", Staff, "id name email role leftAt"),
    (
        "Shop",
        Staff,
        "name phone email addressLines licence currency timeZone callbackWindowDays",
    ),
    (
        "Shop",
        Staff,
        "labourWarrantyDays partsWarrantyMonths estimateValidDays paymentTermsDays",
    ),
    ("Shop", Staff, "readingTolerancePercent"),
    ("Shop", Desk, "booksClosedThrough"),
    ("SearchHit", Desk, "kind title node"),
];

const CUSTOMERS: &[Row] = &[
    ("Query", Staff, "customers"),
    (
        "Customer",
        Staff,
        "id kind name email phone phoneNational contacts serviceAddresses version",
    ),
    ("Customer", Desk, "termsDays notes likelyDuplicates"),
    ("Contact", Staff, "id name role phone email"),
    (
        "ServiceAddress",
        Staff,
        "id line1 line2 city region postalCode country line accessNotes",
    ),
    ("ServiceAddress", Staff, "version customer"),
];

const APPLIANCES: &[Row] = &[
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

const PRICING: &[Row] = &[
    ("Query", Staff, "parts part"),
    (
        "Query",
        Desk,
        "priceBooks priceBook partPrice taxJurisdictions",
    ),
    (
        "PriceBook",
        Desk,
        "id name effectiveFrom state hourlyRate firstHourMinimum incrementMinutes",
    ),
    (
        "PriceBook",
        Desk,
        "afterHoursMultiplier trip diagnostic diagnosticCredited markupKind minimumMarkup",
    ),
    (
        "PriceBook",
        Desk,
        "priceEnding adoptedAt brackets inversions",
    ),
    (
        "MarkupBracket",
        Desk,
        "upTo multiplier markupPercent marginPercent",
    ),
    (
        "MarkupInversion",
        Desk,
        "edgeCost priceAtEdge priceAboveEdge",
    ),
    (
        "Part",
        Staff,
        "id number description makerWarrantyMonths version",
    ),
    (
        "Part",
        Desk,
        "supplier cost fixedPrice listPrice costHistory",
    ),
    ("PartCost", Desk, "cost fromAt"),
    (
        "PartPrice",
        Desk,
        "price cost basis raisedByFloor markupPercent marginPercent priceBook",
    ),
    (
        "TaxJurisdiction",
        Desk,
        "id name basis effectiveFrom levels totalRatePercent taxability",
    ),
    ("TaxLevel", Desk, "name kind ratePercent"),
    ("Taxability", Desk, "chargeKind taxable reason"),
    (
        "TaxExemption",
        Desk,
        "id certificate reason validFrom validUntil",
    ),
    ("Customer", Desk, "taxExemptions"),
    (
        "ServiceAddress",
        Desk,
        "taxJurisdiction jurisdictionConfirmedAt",
    ),
];

const BOOKS: &[Row] = &[
    (
        "Query",
        Owner,
        "accounts journalEntries trialBalance incomeStatement balanceSheet salesTaxOwed",
    ),
    ("Account", Owner, "id code name kind role"),
    (
        "JournalEntry",
        Owner,
        "id number on postedAt postedBy memo documentKind documentId total postings reverses",
    ),
    ("Posting", Owner, "account debit credit taxLevelId"),
    ("TrialBalance", Owner, "on rows debits credits"),
    ("TrialBalanceRow", Owner, "account debit credit"),
    ("AccountAmount", Owner, "account amount"),
    (
        "IncomeStatement",
        Owner,
        "from to revenueRows expenseRows revenue expenses net",
    ),
    (
        "BalanceSheet",
        Owner,
        "on assetRows liabilityRows equityRows netIncome assets liabilities equity",
    ),
    ("TaxOwed", Owner, "taxLevelId name jurisdiction amount"),
];

const CALLS: &[Row] = &[
    ("Query", Staff, "serviceCall serviceCalls visits myVisits"),
    (
        "ServiceCall",
        Staff,
        "id number state kind complaint openedAt openedOn completedAt completedOn",
    ),
    (
        "ServiceCall",
        Staff,
        "appliance customer serviceAddress visits readings findings rootCause version",
    ),
    (
        "Visit",
        Staff,
        "id technician serviceAddress plannedOn window state doneAt calls version",
    ),
    (
        "Reading",
        Staff,
        "id takenAt takenBy quantity value unit place isolated wireAwg continuous",
    ),
    (
        "Reading",
        Staff,
        "expectedLow expectedHigh expectedUnit verdict explanation note",
    ),
    (
        "Finding",
        Staff,
        "id component failureMode position cause foundAt foundBy note remedies",
    ),
    (
        "Remedy",
        Staff,
        "id method labourMinutes doneAt doneBy note parts",
    ),
    ("PartUsed", Staff, "partId number description quantity"),
    ("PartUsed", Desk, "unitCost cost"),
    (
        "HistoryEntry",
        Staff,
        "day callNumber component failureMode position cause technicianName remedies",
    ),
];

const WARRANTY: &[Row] = &[(
    "ShopWarranty",
    Staff,
    "writtenOn labourThrough partsThrough component call labourInForce partsInForce",
)];

const ESTIMATES: &[Row] = &[
    ("Query", Desk, "estimate estimates"),
    ("ServiceCall", Desk, "estimates"),
    (
        "Estimate",
        Desk,
        "id number call createdAt createdBy revisions latest accepted",
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
    ("EstimateRevision", Desk, "acceptedOption"),
    (
        "EstimateOption",
        Desk,
        "id position title summary net discount tax total lines taxes",
    ),
    (
        "EstimateLine",
        Desk,
        "position kind description part quantity unitPrice net discount taxable tax taxReason",
    ),
    ("EstimateLine", Desk, "cost marginPercent labourMinutes"),
    ("EstimateTax", Desk, "name ratePercent taxable tax"),
];

const INVOICES: &[Row] = &[
    (
        "Query",
        Desk,
        "invoice invoices payments receivables receivablesAgeing",
    ),
    (
        "Invoice",
        Desk,
        "id kind number customer call estimateRevision issuedOn dueOn issuedAt issuedBy reason",
    ),
    (
        "Invoice",
        Desk,
        "net discount tax total open lines taxes allocations credits creditedBy contentHash",
    ),
    (
        "InvoiceLine",
        Desk,
        "kind description quantity unitPrice net discount taxable tax taxReason cost",
    ),
    (
        "InvoiceTax",
        Desk,
        "taxLevelId name ratePercent taxable tax",
    ),
    (
        "Payment",
        Desk,
        "id number customer method reference receivedOn recordedAt recordedBy amount unallocated",
    ),
    ("Payment", Desk, "allocations"),
    (
        "Allocation",
        Desk,
        "amount allocatedAt invoice payment creditNote",
    ),
    ("Receivables", Desk, "customer owed credit openInvoices"),
    ("ReceivablesAgeing", Desk, "on brackets customers"),
    ("CustomerAgeing", Desk, "customer brackets"),
    (
        "AgeBrackets",
        Desk,
        "notYetDue days1To30 days31To60 days61To90 over90 total",
    ),
];

const CALLBACKS: &[Row] = &[
    ("Query", Desk, "callbacks"),
    ("Query", Staff, "flags"),
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

const BRIEF: &[Row] = &[
    ("Query", Staff, "arrivalBrief"),
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
        "id level state component failureMode reason raisedAt baseRate nextChecks cautions",
    ),
    (
        "BriefCallback",
        Staff,
        "callback earlierCallNumber earlierCompletedOn",
    ),
    ("BriefMachine", Staff, "kind appliance"),
    ("BriefVisit", Staff, "plannedOn window technician"),
];

const MAIL: &[Row] = &[
    ("Query", Desk, "mails"),
    (
        "Mail",
        Desk,
        "id kind to toName subject state attempts lastError createdAt nextTryAt sentAt",
    ),
];
