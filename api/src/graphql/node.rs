//! Any record by its id, and the search box over all of them.

use async_graphql::{ComplexObject, Context, Enum, ID, Interface, Object, SimpleObject};

use crate::appliances::graphql::{Appliance, ApplianceType, Component, FailureMode};
use crate::attachments::graphql::Attachment;
use crate::banking::graphql::{BankDeposit, BankReconciliation};
use crate::base::search;
use crate::books::graphql::{Account, JournalEntry};
use crate::callbacks::graphql::{Callback, Flag};
use crate::calls::graphql::{Finding, Reading, Remedy, ServiceCall, Visit};
use crate::claims::graphql::Claim;
use crate::coverage::graphql::CoverageDecision;
use crate::customers::graphql::{Customer, ServiceAddress};
use crate::estimates::graphql::{
    CallConsent, Estimate, EstimateOption, EstimateQuestion, EstimateRevision, RepairTemplate,
};
use crate::invoices::graphql::{Invoice, Payment, Refund, WriteOff};
use crate::jobs::graphql::Mail;
use crate::local_rules::graphql::LocalRules;
use crate::payables::graphql::{SupplierBill, SupplierPayment};
use crate::pricing::graphql::{
    FlatRateTask, Part, PriceBook, PriceList, Supplier, TaxJurisdiction,
};
use crate::recalls::graphql::Recall;
use crate::remittances::graphql::PayerAdvice;
use crate::reserve::graphql::WarrantyReserveRun;
use crate::stock::graphql::{PartOrder, StockLevel, StockMove, StockPlace};
use crate::warranty::graphql::{KeptPart, WarrantyPayer};

use super::context::reader;
use super::error::{bad_input, edge};
use super::ids::{self, Kind};

/// A record with a life of its own.
#[derive(Interface)]
#[graphql(field(name = "id", ty = "ID", desc = "Opaque id, unique over all types."))]
pub enum Node {
    Customer(Customer),
    ServiceAddress(ServiceAddress),
    ApplianceType(ApplianceType),
    Component(Component),
    FailureMode(FailureMode),
    Appliance(Appliance),
    ServiceCall(ServiceCall),
    Visit(Visit),
    Reading(Reading),
    Finding(Finding),
    Remedy(Remedy),
    Account(Account),
    JournalEntry(JournalEntry),
    Invoice(Invoice),
    Payment(Payment),
    Refund(Refund),
    BankDeposit(BankDeposit),
    BankReconciliation(BankReconciliation),
    PriceBook(PriceBook),
    FlatRateTask(FlatRateTask),
    Supplier(Supplier),
    WarrantyPayer(WarrantyPayer),
    KeptPart(KeptPart),
    CoverageDecision(CoverageDecision),
    Claim(Claim),
    Recall(Recall),
    WarrantyReserveRun(WarrantyReserveRun),
    PayerAdvice(PayerAdvice),
    PriceList(PriceList),
    Part(Part),
    TaxJurisdiction(TaxJurisdiction),
    Estimate(Estimate),
    EstimateRevision(EstimateRevision),
    EstimateOption(EstimateOption),
    RepairTemplate(RepairTemplate),
    Mail(Mail),
    Callback(Callback),
    Flag(Flag),
    Attachment(Attachment),
    EstimateQuestion(EstimateQuestion),
    LocalRules(LocalRules),
    CallConsent(CallConsent),
    StockPlace(StockPlace),
    StockLevel(StockLevel),
    StockMove(StockMove),
    PartOrder(PartOrder),
    SupplierBill(SupplierBill),
    SupplierPayment(SupplierPayment),
}

/// The record of this kind and row, if the caller may see it.
async fn find(ctx: &Context<'_>, kind: Kind, row: i64) -> async_graphql::Result<Option<Node>> {
    Ok(match kind {
        Kind::Customer => Customer::find(ctx, row).await?.map(Node::from),
        Kind::ServiceAddress => ServiceAddress::find(ctx, row).await?.map(Node::from),
        Kind::ApplianceType => ApplianceType::of(ctx, row).await?.map(Node::from),
        Kind::Component => Component::of(ctx, row).await?.map(Node::from),
        Kind::FailureMode => FailureMode::of(ctx, row).await?.map(Node::from),
        Kind::Appliance => Appliance::find(ctx, row).await?.map(Node::from),
        Kind::ServiceCall => ServiceCall::find(ctx, row).await?.map(Node::from),
        Kind::Visit => Visit::find(ctx, row).await?.map(Node::from),
        Kind::Reading => Reading::find(ctx, row).await?.map(Node::from),
        Kind::Finding => Finding::find(ctx, row).await?.map(Node::from),
        Kind::Remedy => Remedy::find(ctx, row).await?.map(Node::from),
        Kind::Account => Account::find(ctx, row).await?.map(Node::from),
        Kind::JournalEntry => JournalEntry::find(ctx, row).await?.map(Node::from),
        Kind::PriceBook => PriceBook::find(ctx, row).await?.map(Node::from),
        Kind::FlatRateTask => FlatRateTask::find(ctx, row).await?.map(Node::from),
        Kind::Supplier => Supplier::find(ctx, row).await?.map(Node::from),
        Kind::PriceList => PriceList::find(ctx, row).await?.map(Node::from),
        Kind::Part => Part::find(ctx, row).await?.map(Node::from),
        Kind::TaxJurisdiction => TaxJurisdiction::find(ctx, row).await?.map(Node::from),
        Kind::Estimate => Estimate::find(ctx, row).await?.map(Node::from),
        Kind::EstimateRevision => EstimateRevision::find(ctx, row).await?.map(Node::from),
        Kind::RepairTemplate => RepairTemplate::find(ctx, row).await?.map(Node::from),
        Kind::EstimateOption => EstimateOption::find(ctx, row).await?.map(Node::from),
        Kind::Mail => Mail::find(ctx, row).await?.map(Node::from),
        Kind::Invoice => Invoice::find(ctx, row).await?.map(Node::from),
        Kind::Payment => Payment::find(ctx, row).await?.map(Node::from),
        Kind::Refund => Refund::find(ctx, row).await?.map(Node::from),
        Kind::BankDeposit => BankDeposit::find(ctx, row).await?.map(Node::from),
        Kind::BankReconciliation => BankReconciliation::find(ctx, row).await?.map(Node::from),
        Kind::Callback => Callback::find(ctx, row).await?.map(Node::from),
        Kind::Flag => Flag::find(ctx, row).await?.map(Node::from),
        Kind::EstimateQuestion => EstimateQuestion::find(ctx, row).await?.map(Node::from),
        Kind::LocalRules => LocalRules::find(ctx, row).await?.map(Node::from),
        Kind::CallConsent => CallConsent::find(ctx, row).await?.map(Node::from),
        Kind::Attachment => Attachment::find(ctx, row).await?.map(Node::from),
        Kind::StockPlace => StockPlace::of(ctx, row).await?.map(Node::from),
        Kind::StockLevel => StockLevel::of(ctx, row).await?.map(Node::from),
        Kind::StockMove => StockMove::find(ctx, row).await?.map(Node::from),
        Kind::PartOrder => PartOrder::find(ctx, row).await?.map(Node::from),
        Kind::SupplierBill => SupplierBill::find(ctx, row).await?.map(Node::from),
        Kind::SupplierPayment => SupplierPayment::find(ctx, row).await?.map(Node::from),
        Kind::WarrantyPayer => WarrantyPayer::find(ctx, row).await?.map(Node::from),
        Kind::KeptPart => KeptPart::find(ctx, row).await?.map(Node::from),
        Kind::Recall => Recall::find(ctx, row).await?.map(Node::from),
        Kind::WarrantyReserveRun => WarrantyReserveRun::find(ctx, row).await?.map(Node::from),
        Kind::PayerAdvice => PayerAdvice::find(ctx, row).await?.map(Node::from),
        Kind::Claim => Claim::find(ctx, row).await?.map(Node::from),
        Kind::CoverageDecision => CoverageDecision::find(ctx, row).await?.map(Node::from),
        _ => None,
    })
}

/// A kind of record that the search box finds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum SearchKind {
    /// A customer, by name, telephone, e-mail or address.
    Customer,
    /// A machine, by make, model, serial or shop tag.
    Appliance,
    /// A part of the catalogue, by number or description.
    Part,
    /// A call, by number or complaint.
    ServiceCall,
    /// An estimate, by number.
    Estimate,
    /// An invoice or credit note, by number or customer.
    Invoice,
    /// A payment or deposit, by number or reference.
    Payment,
    /// Credit paid back, by number or customer.
    Refund,
    /// A write-off, by number or customer.
    WriteOff,
    /// An order of parts, by number, reference or part.
    PartOrder,
    /// Money taken to a bank, by number.
    BankDeposit,
}

impl SearchKind {
    /// As the index names it.
    fn subject(self) -> &'static str {
        match self {
            Self::Customer => "customer",
            Self::Appliance => "appliance",
            Self::Part => "part",
            Self::ServiceCall => "service_call",
            Self::Estimate => "estimate",
            Self::Invoice => "invoice",
            Self::Payment => "payment",
            Self::Refund => "refund",
            Self::WriteOff => "write_off",
            Self::PartOrder => "part_order",
            Self::BankDeposit => "bank_deposit",
        }
    }
}

/// One record the search box found.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct SearchHit {
    /// What kind of record it is, such as `customer` or `invoice`.
    kind: String,
    /// What to show first.
    title: String,
    #[graphql(skip)]
    row: i64,
}

#[ComplexObject]
impl SearchHit {
    /// The record, of a write-off its invoice; null if it is of a kind that is not looked up by id.
    async fn node(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Node>> {
        // Only the desk searches, and it may see every record: so hits are fetched together, by kind.
        let row = self.row;
        Ok(match self.kind.as_str() {
            "customer" => Customer::of(ctx, row).await?.map(Node::from),
            "appliance" => Appliance::of(ctx, row).await?.map(Node::from),
            "service_call" => ServiceCall::of(ctx, row).await?.map(Node::from),
            "part" => Part::of(ctx, row).await?.map(Node::from),
            "invoice" => Invoice::of(ctx, row).await?.map(Node::from),
            "payment" => Payment::of(ctx, row).await?.map(Node::from),
            "refund" => Refund::find(ctx, row).await?.map(Node::from),
            "write_off" => WriteOff::invoice_of(ctx, row).await?.map(Node::from),
            "part_order" => PartOrder::of(ctx, row).await?.map(Node::from),
            "bank_deposit" => BankDeposit::of(ctx, row).await?.map(Node::from),
            "estimate" => Estimate::of(ctx, row).await?.map(Node::from),
            _ => None,
        })
    }
}

/// Any record by its id, and the search box.
#[derive(Default)]
pub struct NodeQuery;

#[Object]
impl NodeQuery {
    /// The record with this id; null for one that does not exist or that the caller may not see.
    async fn node(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "An id from any record.")] id: ID,
    ) -> async_graphql::Result<Option<Node>> {
        match ids::read(&id) {
            Some((kind, row)) => find(ctx, kind, row).await,
            None => Err(bad_input("id", "This is no id of a record here.")),
        }
    }

    /// Finds records by any part of a name, telephone, address, serial, model or document number, with accents or
    /// without; at most 20. First comes what is called just that or has it as its number, then customers, machines, parts,
    /// calls and documents, the newest first.
    #[graphql(complexity = "20 + 20 * child_complexity")]
    async fn search(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Words or parts of words; a hit holds all of them.")] text: String,
        #[graphql(desc = "Only records of this kind.")] kind: Option<SearchKind>,
    ) -> async_graphql::Result<Vec<SearchHit>> {
        let rows = search::find(reader(ctx)?, (&text, kind.map(SearchKind::subject)), 20)
            .await
            .map_err(edge)?;
        Ok(rows
            .into_iter()
            .map(|row| SearchHit {
                kind: row.subject_kind,
                title: row.title,
                row: row.subject_id,
            })
            .collect())
    }
}
