//! All capabilities joined to one graph, with the limits every request is held to.

use std::sync::Arc;

use async_graphql::{MergedObject, SDLExportOptions, SchemaBuilder};

use crate::base::App;

use super::events::Events;
use super::gate::Gate;
use super::progress::Watch;

/// What can be asked.
#[derive(MergedObject, Default)]
pub struct Query(
    super::node::NodeQuery,
    crate::shop::graphql::ShopQuery,
    crate::customers::graphql::CustomersQuery,
    crate::appliances::graphql::AppliancesQuery,
    crate::calls::graphql::CallsQuery,
    crate::books::graphql::BooksQuery,
    crate::books::graphql::LedgerQuery,
    crate::books::graphql::PeriodsQuery,
    crate::reports::graphql::StatementsQuery,
    crate::reports::graphql::DocumentReportsQuery,
    crate::reports::graphql::FirstVisitsQuery,
    crate::pricing::graphql::PricingQuery,
    crate::pricing::graphql::PriceBooksQuery,
    crate::pricing::graphql::SuppliersQuery,
    crate::pricing::graphql::TaxQuery,
    crate::pricing::graphql::PriceListsQuery,
    crate::estimates::graphql::EstimatesQuery,
    crate::estimates::graphql::PreviewQuery,
    crate::estimates::graphql::QuestionsQuery,
    crate::local_rules::graphql::LocalRulesQuery,
    crate::estimates::graphql::FiguresQuery,
    crate::estimates::graphql::TemplatesQuery,
    crate::jobs::graphql::MailQuery,
    crate::invoices::graphql::InvoicesQuery,
    crate::invoices::graphql::ReceivablesQuery,
    crate::invoices::graphql::ChasingQuery,
    crate::invoices::graphql::ReceivingQuery,
    crate::invoices::graphql::AccountStatementsQuery,
    crate::banking::graphql::DepositsQuery,
    crate::banking::graphql::BankedBeforeQuery,
    crate::banking::graphql::BankAccountsQuery,
    crate::banking::graphql::BankLinesQuery,
    crate::banking::graphql::ReconciliationsQuery,
    crate::callbacks::graphql::CallbacksQuery,
    crate::closeout::graphql::CloseoutQuery,
    crate::stock::graphql::StockQuery,
    crate::stock::graphql::PartOrdersQuery,
    crate::payables::graphql::PayablesQuery,
    crate::payables::graphql::PayableReportsQuery,
    crate::warranty::graphql::WarrantyQuery,
    crate::coverage::graphql::CoverageQuery,
    crate::claims::graphql::ClaimsQuery,
    crate::recalls::graphql::RecallsQuery,
    crate::reserve::graphql::ReserveQuery,
    crate::track_record::graphql::RatesQuery,
    crate::track_record::graphql::MonthsQuery,
    crate::track_record::graphql::MachinesQuery,
    crate::remittances::graphql::RemittancesQuery,
    crate::brief::graphql::BriefQuery,
    crate::brief::graphql::DayRouteQuery,
);

/// What can be done.
#[derive(MergedObject, Default)]
pub struct Mutation(
    crate::shop::graphql::ShopMutation,
    crate::shop::graphql::SessionsMutation,
    crate::customers::graphql::CustomersMutation,
    crate::customers::graphql::PlacingMutation,
    crate::appliances::graphql::AppliancesMutation,
    crate::calls::graphql::CallsMutation,
    crate::books::graphql::BooksMutation,
    crate::books::graphql::AccountsMutation,
    crate::books::graphql::PeriodsMutation,
    crate::pricing::graphql::PricingMutation,
    crate::pricing::graphql::PriceBooksMutation,
    crate::pricing::graphql::SuppliersMutation,
    crate::pricing::graphql::TaxMutation,
    crate::pricing::graphql::TaxTablesMutation,
    crate::pricing::graphql::PriceListsMutation,
    crate::pricing::graphql::PartChangeMutation,
    crate::estimates::graphql::EstimatesMutation,
    crate::estimates::graphql::DiscardMutation,
    crate::estimates::graphql::PicturesMutation,
    crate::estimates::graphql::ConsentsMutation,
    crate::local_rules::graphql::LocalRulesMutation,
    crate::estimates::graphql::QuestionsMutation,
    crate::estimates::graphql::AnswersMutation,
    crate::estimates::graphql::FiguresMutation,
    crate::estimates::graphql::TemplatesMutation,
    crate::jobs::graphql::MailMutation,
    crate::invoices::graphql::InvoicesMutation,
    crate::invoices::graphql::EInvoicesMutation,
    crate::invoices::graphql::ReceivingMutation,
    crate::invoices::graphql::ChasingMutation,
    crate::invoices::graphql::AccountStatementsMutation,
    crate::invoices::graphql::ReceiptsMutation,
    crate::banking::graphql::DepositsMutation,
    crate::banking::graphql::BankedBeforeMutation,
    crate::banking::graphql::BankLayoutMutation,
    crate::banking::graphql::BankLinesMutation,
    crate::banking::graphql::ReconciliationsMutation,
    crate::banking::graphql::RefundsMutation,
    crate::callbacks::graphql::CallbacksMutation,
    crate::stock::graphql::StockMutation,
    crate::stock::graphql::StockBackMutation,
    crate::stock::graphql::StockPlacesMutation,
    crate::stock::graphql::PartOrdersMutation,
    crate::payables::graphql::PayablesMutation,
    crate::warranty::graphql::WarrantyMutation,
    crate::coverage::graphql::CoverageMutation,
    crate::claims::graphql::ClaimsMutation,
    crate::claims::graphql::ClaimSubmissionMutation,
    crate::recalls::graphql::RecallsMutation,
    crate::remittances::graphql::RemittancesMutation,
    crate::remittances::graphql::ClaimRestsMutation,
    crate::remittances::graphql::TakingOffMutation,
    crate::closeout::graphql::CloseoutMutation,
    crate::reserve::graphql::ReserveMutation,
);

/// What is told as it happens.
pub type Subscription = crate::callbacks::graphql::FlagsSubscription;

/// The schema of the running server.
pub type Schema = async_graphql::Schema<Query, Mutation, Subscription>;

/// Deepest nesting of one request. Tools that read the schema go 15 deep.
pub const DEPTH_MAX: usize = 16;
/// Cost of one request: fields, with lists counted by their page size.
pub const COMPLEXITY_MAX: usize = 5_000;
/// Aliases in one request.
pub const ALIASES_MAX: usize = 30;
/// Directives on one field.
pub const DIRECTIVES_MAX: usize = 8;

/// Builds the schema. Production hides its shape from strangers (`http/graphql.rs` decides by caller).
pub fn build(app: &Arc<App>) -> Schema {
    unlimited()
        .data(Arc::clone(app))
        .extension(Events)
        .extension(Watch)
        .extension(Gate)
        .limit_depth(DEPTH_MAX)
        .limit_recursive_depth(32)
        .limit_complexity(COMPLEXITY_MAX)
        .limit_aliases(ALIASES_MAX)
        .limit_directives(DIRECTIVES_MAX)
        // Looking for the name that was meant takes milliseconds for each that is not known.
        .disable_suggestions()
        .finish()
}

fn unlimited() -> SchemaBuilder<Query, Mutation, Subscription> {
    Schema::build(
        Query::default(),
        Mutation::default(),
        Subscription::default(),
    )
}

/// The schema as SDL text, as committed in `api/schema.graphql`.
pub fn sdl() -> String {
    unlimited().finish().sdl_with_options(
        SDLExportOptions::new()
            .sorted_fields()
            .sorted_arguments()
            .sorted_enum_items(),
    )
}
