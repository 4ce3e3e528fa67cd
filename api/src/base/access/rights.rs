//! Every act that changes something, with the mutation that asks for it and the least a caller must be.

use super::Least;

macro_rules! rights {
    ($($(#[$doc:meta])* $right:ident $mutation:literal $least:ident,)*) => {
        /// An act that changes something.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum Right {
            $($(#[$doc])* $right,)*
        }

        impl Right {
            /// Every right.
            pub const ALL: &'static [Self] = &[$(Self::$right,)*];

            /// The mutation that asks for the act, or the upload; also its name in the audit log.
            pub fn mutation(self) -> &'static str {
                match self {
                    $(Self::$right => $mutation,)*
                }
            }

            /// The least a caller must be.
            pub fn least(self) -> Least {
                match self {
                    $(Self::$right => Least::$least,)*
                }
            }
        }
    };
}

rights! {
    /// Sign in with e-mail and password.
    SignIn "signIn" Anyone,
    /// End the session that asks.
    SignOut "signOut" Staff,
    /// Let somebody sign in.
    AddStaff "addStaff" Owner,
    /// Stop somebody's access; what they did stays.
    EndStaff "endStaff" Owner,
    /// Change the settings of the shop.
    ChangeShop "changeShop" Owner,
    /// Record a household or organisation.
    AddCustomer "addCustomer" Desk,
    /// Correct a customer's record.
    ChangeCustomer "changeCustomer" Desk,
    /// Record a further person to reach.
    AddContact "addContact" Desk,
    /// Record where machines stand.
    AddServiceAddress "addServiceAddress" Desk,
    /// Correct an address or its access notes.
    ChangeServiceAddress "changeServiceAddress" Desk,
    /// Settle the trip zone or the distance of an address.
    PlaceServiceAddress "placeServiceAddress" Desk,
    /// Confirm where an address is taxed.
    ConfirmJurisdiction "confirmJurisdiction" Desk,
    /// Record a machine by its serial.
    AddAppliance "addAppliance" Desk,
    /// Correct a machine's plate data or dates.
    ChangeAppliance "changeAppliance" Desk,
    /// Record that a machine went to another owner or address.
    MoveAppliance "moveAppliance" Desk,
    /// Take published recalls in.
    ImportRecalls "importRecalls" Desk,
    /// Say which machines a recall is about.
    SetRecallProducts "setRecallProducts" Desk,
    /// Write down that a recall was taken back.
    WithdrawRecall "withdrawRecall" Desk,
    /// Write down what was done about a recall on a machine.
    CheckRecall "checkRecall" Staff,
    /// Extend the list of components.
    AddComponent "addComponent" Desk,
    /// Extend the list of failure modes.
    AddFailureMode "addFailureMode" Desk,
    /// Begin a price book.
    DraftPriceBook "draftPriceBook" Owner,
    /// Begin a price book as a copy of another.
    ClonePriceBook "clonePriceBook" Owner,
    /// Change a price book that is a draft.
    ChangePriceBook "changePriceBook" Owner,
    /// Put a drafted price book to use.
    AdoptPriceBook "adoptPriceBook" Owner,
    /// Say at which rate of the price book somebody works.
    SetLabourGrade "setLabourGrade" Owner,
    /// Record who sells parts to the shop.
    AddSupplier "addSupplier" Desk,
    /// Correct a supplier's record.
    ChangeSupplier "changeSupplier" Desk,
    /// Name a supplier's price list and send its rows.
    BeginPriceList "beginPriceList" Desk,
    /// Make parts and costs of a supplier's price list.
    TakeOverPriceList "takeOverPriceList" Desk,
    /// Give up a supplier's price list.
    DiscardPriceList "discardPriceList" Desk,
    /// Record a part the shop sells.
    AddPart "addPart" Desk,
    /// Correct a part beside its cost.
    ChangePart "changePart" Desk,
    /// Record what a part costs now.
    ChangePartCost "changePartCost" Desk,
    /// Record where and how sales are taxed.
    AddTaxJurisdiction "addTaxJurisdiction" Owner,
    /// Put other tax rules in the place of ones recorded by mistake.
    ReplaceTaxJurisdiction "replaceTaxJurisdiction" Owner,
    /// Make a draft again of a price book that was adopted by mistake.
    WithdrawPriceBook "withdrawPriceBook" Owner,
    /// Record a customer's exemption certificate.
    AddTaxExemption "addTaxExemption" Desk,
    /// Complete a certificate that was recorded without all it must hold.
    CompleteTaxExemption "completeTaxExemption" Desk,
    /// Record a published table of tax rates.
    ImportTaxRates "importTaxRates" Owner,
    /// Let places follow the recorded rate table from a day on.
    AdoptTaxRates "adoptTaxRates" Owner,
    /// Record which jurisdictions a postal code may lie in.
    AssignPostalCodes "assignPostalCodes" Desk,
    /// Record what a place asks of estimates and bills.
    AddLocalRules "addLocalRules" Owner,
    /// Take back what was recorded by mistake of what a place asks.
    WithdrawLocalRules "withdrawLocalRules" Owner,
    /// Extend the chart of accounts.
    AddAccount "addAccount" Owner,
    /// Rename or renumber an account.
    ChangeAccount "changeAccount" Owner,
    /// Let an account take no more entries.
    RetireAccount "retireAccount" Owner,
    /// Work the warranty reserve out for the end of a month.
    RunWarrantyReserve "runWarrantyReserve" Owner,
    /// Undo the last run of the warranty reserve.
    UndoWarrantyReserve "undoWarrantyReserve" Owner,
    /// Let a retired account take entries again.
    RestoreAccount "restoreAccount" Owner,
    /// Post a manual entry.
    PostJournal "postJournal" Owner,
    /// Reverse a manual entry.
    ReverseJournal "reverseJournal" Owner,
    /// Close the books through a day.
    CloseBooks "closeBooks" Owner,
    /// Open closed days again.
    ReopenBooks "reopenBooks" Owner,
    /// Close a fiscal year.
    CloseYear "closeYear" Owner,
    /// Take a complaint about a machine.
    OpenCall "openCall" Desk,
    /// Close a call without work.
    CancelCall "cancelCall" Desk,
    /// Plan a trip for one or more calls.
    ScheduleVisit "scheduleVisit" Desk,
    /// Say that a trip was made or missed.
    FinishVisit "finishVisit" Staff,
    /// Write down a measurement.
    RecordReading "recordReading" Staff,
    /// Write down what is wrong.
    RecordFinding "recordFinding" Staff,
    /// Write down what was done and fitted.
    RecordRemedy "recordRemedy" Staff,
    /// Write down why a failure returned.
    RecordRootCause "recordRootCause" Staff,
    /// Close a call whose work is done.
    CompleteCall "completeCall" Staff,
    /// Confirm or reject that a call came back.
    DecideCallback "decideCallback" Desk,
    /// Acknowledge, answer or close a flag with a note.
    MoveFlag "moveFlag" Desk,
    /// Write the shop's own list of what to check when a failure is back.
    SetCheckAdvice "setCheckAdvice" Desk,
    /// Take a picture or paper away, with a reason.
    RemoveAttachment "removeAttachment" Desk,
    /// Record a shelf or van where parts lie.
    AddStockPlace "addStockPlace" Desk,
    /// Correct a place where parts lie.
    ChangeStockPlace "changeStockPlace" Desk,
    /// Say how few of a part at a place are too few.
    SetReorderPoint "setReorderPoint" Desk,
    /// Change how stock is valued.
    ChangeStockTerms "changeStockTerms" Owner,
    /// Take parts into stock without a bill.
    ReceiveParts "receiveParts" Desk,
    /// Move parts from place to place; a technician into or out of the own van.
    MoveStock "moveStock" Staff,
    /// Count parts; a technician those in the own van.
    CountStock "countStock" Staff,
    /// Adjust a quantity for a reason.
    AdjustStock "adjustStock" Desk,
    /// Take parts back that were not needed.
    TakePartBack "takePartBack" Desk,
    /// Take a receipt back that was written down wrongly, or whose parts went back.
    TakeReceiptBack "takeReceiptBack" Desk,
    /// Post value of before that belongs to no part.
    WriteOffUnassignedStock "writeOffUnassignedStock" Owner,
    /// Write down that parts were ordered.
    OrderPart "orderPart" Desk,
    /// Close an order of which nothing more will come.
    CancelPartOrder "cancelPartOrder" Desk,
    /// Change when an order is expected.
    ChangePartOrder "changePartOrder" Desk,
    /// Record a supplier's bill.
    RecordSupplierBill "recordSupplierBill" Desk,
    /// Record what a supplier gives back.
    RecordSupplierCredit "recordSupplierCredit" Desk,
    /// Lay a supplier's credit against a bill.
    ApplySupplierCredit "applySupplierCredit" Desk,
    /// Take back a supplier's credit that was laid against a bill.
    UndoAppliedSupplierCredit "undoAppliedSupplierCredit" Desk,
    /// Undo a supplier's bill or credit that was recorded by mistake.
    UndoSupplierBill "undoSupplierBill" Desk,
    /// Pay a supplier's bills.
    PaySupplier "paySupplier" Desk,
    /// Undo a payment to a supplier.
    UndoSupplierPayment "undoSupplierPayment" Desk,
    /// Take an organisation on record that pays for work under warranties.
    AddWarrantyPayer "addWarrantyPayer" Desk,
    /// Change how the shop deals with a warranty payer.
    ChangeWarrantyPayer "changeWarrantyPayer" Desk,
    /// Take a payer's programme on record.
    AddWarrantyProgramme "addWarrantyProgramme" Desk,
    /// Write further terms of a programme.
    AddProgrammeTerms "addProgrammeTerms" Desk,
    /// Take a programme out of use or back.
    RetireWarrantyProgramme "retireWarrantyProgramme" Desk,
    /// Register a programme on a machine.
    RegisterCover "registerCover" Desk,
    /// End a registration before its term.
    EndCover "endCover" Desk,
    /// Write down when a machine was delivered and how it is used.
    ChangeApplianceUse "changeApplianceUse" Desk,
    /// Keep a part that was taken out, under a tag.
    KeepPart "keepPart" Staff,
    /// Write down what became of a kept part.
    ReleaseKeptPart "releaseKeptPart" Desk,
    /// Take back a wrong word about where a kept part went.
    UndoKeptPartRelease "undoKeptPartRelease" Desk,
    /// Decide who pays for a call.
    DecideCoverage "decideCoverage" Desk,
    /// Draft the claim of a payer's invoice.
    DraftClaim "draftClaim" Desk,
    /// Change what a claim says.
    ChangeClaim "changeClaim" Desk,
    /// Add a paper to a claim.
    AddClaimPaper "addClaimPaper" Desk,
    /// Take a paper off a claim.
    RemoveClaimPaper "removeClaimPaper" Desk,
    /// Say that nothing is missing on a claim.
    MakeClaimReady "makeClaimReady" Desk,
    /// Take a claim that was ready back to be changed.
    ReopenClaim "reopenClaim" Desk,
    /// Send a claim to its payer.
    SubmitClaim "submitClaim" Desk,
    /// Write down what a payer asks about a claim.
    NoteClaimQuery "noteClaimQuery" Desk,
    /// Write down a payer's answer to a claim.
    NoteClaimAnswer "noteClaimAnswer" Desk,
    /// Dispute a payer's answer.
    AppealClaim "appealClaim" Desk,
    /// Close a claim.
    CloseClaim "closeClaim" Desk,
    /// Take a closed claim up again.
    ReopenClosedClaim "reopenClosedClaim" Desk,
    /// Take a claim back for good.
    VoidClaim "voidClaim" Desk,
    /// Say what a failure is called in the industry's scheme.
    SetFailureCodes "setFailureCodes" Desk,
    /// Take the codes of a failure away.
    RemoveFailureCodes "removeFailureCodes" Desk,
    /// Price the work for a call.
    DraftEstimate "draftEstimate" Desk,
    /// Freeze an estimate and mail it to the customer.
    SendEstimate "sendEstimate" Desk,
    /// Answer what a customer asked about an estimate.
    AnswerQuestion "answerQuestion" Desk,
    /// Freeze an estimate to hand it over on paper.
    PresentEstimate "presentEstimate" Desk,
    /// Write down that a customer accepted, otherwise than by the link.
    RecordAcceptance "recordAcceptance" Desk,
    /// Write down that a customer declined, otherwise than by the link.
    RecordDecline "recordDecline" Desk,
    /// Offer the work of an estimate again.
    DuplicateEstimate "duplicateEstimate" Desk,
    /// Record a common repair.
    AddRepairTemplate "addRepairTemplate" Desk,
    /// Change or retire a common repair.
    ChangeRepairTemplate "changeRepairTemplate" Desk,
    /// Price common repairs for a call.
    DraftEstimateFromTemplate "draftEstimateFromTemplate" Desk,
    /// Say how long a type of machine usually lasts.
    ChangeExpectedLife "changeExpectedLife" Owner,
    /// Put a draft away that nobody will send.
    DiscardEstimate "discardEstimate" Desk,
    /// Begin the next revision of an estimate.
    ReviseEstimate "reviseEstimate" Desk,
    /// Record that a customer agreed to more than was accepted.
    RecordConsent "recordConsent" Desk,
    /// Bill a call's accepted estimate, or its work without one.
    IssueInvoice "issueInvoice" Desk,
    /// Bill a payer's share that was taken back to somebody else.
    RebillInvoice "rebillInvoice" Desk,
    /// Write down whether a customer wants e-invoices.
    ChangeEInvoicing "changeEInvoicing" Desk,
    /// Bill a customer without a call.
    IssueFreeInvoice "issueFreeInvoice" Desk,
    /// Send an issued document once more.
    ResendDocument "resendDocument" Desk,
    /// Send an estimate that waits for its answer once more.
    ResendEstimate "resendEstimate" Desk,
    /// Mail the receipt of a payment.
    SendReceipt "sendReceipt" Desk,
    /// Mail a statement of account.
    SendStatement "sendStatement" Desk,
    /// Bill the late charges that are due.
    ChargeLateInvoices "chargeLateInvoices" Owner,
    /// Take an invoice back by its mirror image.
    CreditInvoice "creditInvoice" Desk,
    /// Record money received and what it settles.
    RecordPayment "recordPayment" Desk,
    /// Record money received for a call before it is billed.
    RecordDeposit "recordDeposit" Desk,
    /// Lay what is left of a payment against invoices.
    AllocatePayment "allocatePayment" Desk,
    /// Lay a customer's credit against an invoice.
    ApplyCredit "applyCredit" Desk,
    /// Take money or credit off an invoice that it was not meant for.
    TakeOffInvoice "takeOffInvoice" Desk,
    /// Pay a customer's credit back.
    RefundCredit "refundCredit" Owner,
    /// Undo a refund that was typed wrongly or never cashed.
    ReverseRefund "reverseRefund" Owner,
    /// Undo a payment that came back or was typed by mistake.
    ReversePayment "reversePayment" Desk,
    /// Take receipts to an account at a bank.
    BankReceipts "bankReceipts" Desk,
    /// Undo a bank deposit that was written by mistake.
    UndoDeposit "undoDeposit" Desk,
    /// Mark receipts that entries by hand took to a bank.
    MarkBankedBefore "markBankedBefore" Owner,
    /// Take that mark off again.
    UnmarkBankedBefore "unmarkBankedBefore" Owner,
    /// Say how a bank's files are read, and take them in.
    SaveBankLayout "saveBankLayout" Desk,
    /// Take back a file of a bank that was taken in by mistake.
    TakeBackStatement "takeBackBankStatement" Desk,
    /// Say what lay at a bank before its first statement.
    StartBankAccount "startBankAccount" Owner,
    /// Confirm that lines of a bank and postings are the same money.
    ConfirmMatch "confirmMatch" Desk,
    /// Take a match off that is not reconciled.
    Unmatch "unmatch" Desk,
    /// Book a line of a bank by hand.
    BookBankLine "bookBankLine" Owner,
    /// Say that the books agree with a bank's statement.
    ReconcileBank "reconcileBank" Desk,
    /// Open the last reconciliation again.
    ReopenReconciliation "reopenReconciliation" Owner,
    /// Say how a payer's advices are read, and take them in.
    SetAdviceLayout "setAdviceLayout" Desk,
    /// Take an advice of a payer in.
    ImportAdvice "importAdvice" Desk,
    /// Say which claim a row of an advice is about.
    MatchAdviceRow "matchAdviceRow" Desk,
    /// Take a row of an advice off the wrong claim.
    UnmatchAdviceRow "unmatchAdviceRow" Desk,
    /// Set a row of an advice aside that is about no claim.
    SetAdviceRowAside "setAdviceRowAside" Desk,
    /// Drop an advice before it is posted.
    DropAdvice "dropAdvice" Desk,
    /// Post an advice: its payment, and what it makes of claims.
    PostAdvice "postAdvice" Desk,
    /// Undo an advice whose payment was undone.
    UndoAdvice "undoAdvice" Desk,
    /// Bill what a payer left unpaid of a claim to the customer.
    BillClaimRest "billClaimRest" Desk,
    /// Bear what a payer left unpaid of a claim.
    BearClaimRest "bearClaimRest" Owner,
    /// Take back what was billed or borne of a claim.
    UndoClaimRest "undoClaimRest" Desk,
    /// Mark an invoice as disputed by its customer.
    DisputeInvoice "disputeInvoice" Desk,
    /// Take the mark of a dispute off an invoice.
    SettleDispute "settleDispute" Desk,
    /// Write off what is open on an invoice.
    WriteOffInvoice "writeOffInvoice" Owner,
    /// Undo the write-offs of an invoice.
    UndoWriteOff "undoWriteOff" Owner,
    /// Change the shop's terms about money owed.
    ChangeReceivableTerms "changeReceivableTerms" Owner,
    /// Send a mail again that failed.
    RetryMail "retryMail" Desk,
}

impl Right {
    /// Whether a file that is sent over HTTP asks for it, and no mutation.
    pub fn is_of_upload(self) -> bool {
        matches!(self, Self::ImportAdvice | Self::ImportRecalls)
    }
}
