//! The schema, step by step, forward only once released.
//!
//! One definition serves `SQLite` and `PostgreSQL`; the few statements that cannot (search index,
//! triggers that keep issued documents and the journal as they are) are in `m20261125_10_guards.rs`.

mod columns;
mod m20261125_10_guards;
mod m20261125_11_tax_depth;
mod m20261125_12_catalogue;
mod m20261125_13_offers;
mod m20261125_14_attachments_and_rules;
mod m20261125_15_work_done;
mod m20261125_16_pricing_mends;
mod m20261125_17_priced_mends;
mod m20261125_18_ledger;
mod m20261125_19_receivables;
mod m20261125_1_shop;
mod m20261125_2_pricing;
mod m20261125_3_customers;
mod m20261125_4_appliances;
mod m20261125_5_books;
mod m20261125_6_calls;
mod m20261125_7_estimates;
mod m20261125_8_invoices;
mod m20261125_9_warranty;
mod m20261128_20_stock;
mod m20261128_21_payables;
mod m20261128_22_banking;
mod m20261128_23_payers;
mod m20261128_24_e_invoices;
mod m20261128_25_journal_by_day;
mod m20261128_26_cost_of_calls;
mod m20261128_28_bills_put_right;
mod m20261128_32_banked_before;
mod m20261128_34_search;
mod m20261128_35_desk;
mod m20261128_36_refund_claims;
mod m20261128_37_write_off_returns;
mod m20261128_40_warranties;
mod m20261128_41_claims;
mod m20261128_42_recalls_and_reserve;
mod m20261128_43_claims_receivable;
mod m20261128_44_coverage_bills;
mod m20261128_45_claim_sendings;
mod m20261128_46_advices;
mod m20261128_47_reserve_runs;
mod m20261128_48_labour_cost;
mod m20261128_49_standing_claims;
mod m20261128_50_borne_rates;
mod m20261129_51_outcomes;
mod m20261129_52_flag_life;
mod m20261129_53_digests;
mod m20261129_54_readings_and_visits;
mod m20261129_55_patterns;
mod m20261129_56_watched;
mod m20261129_57_evidence;

pub use sea_orm_migration::prelude::MigratorTrait;
use sea_orm_migration::prelude::*;

/// All steps in order.
pub struct Migrator;

#[async_trait::async_trait]
impl MigratorTrait for Migrator {
    fn migrations() -> Vec<Box<dyn MigrationTrait>> {
        vec![
            Box::new(m20261125_1_shop::Migration),
            Box::new(m20261125_2_pricing::Migration),
            Box::new(m20261125_3_customers::Migration),
            Box::new(m20261125_4_appliances::Migration),
            Box::new(m20261125_5_books::Migration),
            Box::new(m20261125_6_calls::Migration),
            Box::new(m20261125_7_estimates::Migration),
            Box::new(m20261125_8_invoices::Migration),
            Box::new(m20261125_9_warranty::Migration),
            Box::new(m20261125_10_guards::Migration),
            Box::new(m20261125_11_tax_depth::Migration),
            Box::new(m20261125_12_catalogue::Migration),
            Box::new(m20261125_13_offers::Migration),
            Box::new(m20261125_14_attachments_and_rules::Migration),
            Box::new(m20261125_15_work_done::Migration),
            Box::new(m20261125_16_pricing_mends::Migration),
            Box::new(m20261125_17_priced_mends::Migration),
            Box::new(m20261125_18_ledger::Migration),
            Box::new(m20261125_19_receivables::Migration),
            Box::new(m20261128_20_stock::Migration),
            Box::new(m20261128_21_payables::Migration),
            Box::new(m20261128_22_banking::Migration),
            Box::new(m20261128_23_payers::Migration),
            Box::new(m20261128_24_e_invoices::Migration),
            Box::new(m20261128_25_journal_by_day::Migration),
            Box::new(m20261128_26_cost_of_calls::Migration),
            Box::new(m20261128_28_bills_put_right::Migration),
            Box::new(m20261128_32_banked_before::Migration),
            Box::new(m20261128_34_search::Migration),
            Box::new(m20261128_35_desk::Migration),
            Box::new(m20261128_36_refund_claims::Migration),
            Box::new(m20261128_37_write_off_returns::Migration),
            Box::new(m20261128_40_warranties::Migration),
            Box::new(m20261128_41_claims::Migration),
            Box::new(m20261128_42_recalls_and_reserve::Migration),
            Box::new(m20261128_43_claims_receivable::Migration),
            Box::new(m20261128_44_coverage_bills::Migration),
            Box::new(m20261128_45_claim_sendings::Migration),
            Box::new(m20261128_46_advices::Migration),
            Box::new(m20261128_47_reserve_runs::Migration),
            Box::new(m20261128_48_labour_cost::Migration),
            Box::new(m20261128_49_standing_claims::Migration),
            Box::new(m20261128_50_borne_rates::Migration),
            Box::new(m20261129_51_outcomes::Migration),
            Box::new(m20261129_52_flag_life::Migration),
            Box::new(m20261129_53_digests::Migration),
            Box::new(m20261129_54_readings_and_visits::Migration),
            Box::new(m20261129_55_patterns::Migration),
            Box::new(m20261129_56_watched::Migration),
            Box::new(m20261129_57_evidence::Migration),
        ]
    }
}
