//! Calls billed as was decided who pays, and what the shop bears of them; through the program's own acts.

mod bearing;
mod billed;
mod refused;
mod resting;
mod sharing;

use chrono::{Days, NaiveDate};
use nameplate_entities::kinds::{CoverageSplit, CustomerKind, Payer, PaymentMethod, ProgrammeRank};
use nameplate_entities::{
    account, call_borne, coverage_decision, invoice, invoice_division, outbox_mail, posting,
    receivable, service_call, warranty_payer,
};
use nameplate_rules::books::Role;
use nameplate_rules::books::events::Borne;
use nameplate_rules::coverage::{Covers, Exclusion, StartEvent};
use nameplate_rules::dates::Term;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::sea_query::ExprTrait;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder};

use super::testing::TestShop;
use crate::appliances::{self, ChangeAppliance, PlateChange};
use crate::base::testing::{noon, problems, refusals};
use crate::base::{Change, ProblemCode};
use crate::callbacks;
use crate::closeout::{borne_between, decide_coverage, issue_invoice};
use crate::coverage::{self, DecideCoverage, Said};
use crate::customers::{self, AddCustomer};
use crate::invoices::{
    ByCoverage, IssueInvoice, RecordDeposit, has_standing_invoice, record_deposit,
};
use crate::reports::{Span, margins};
use crate::shop::{self, ChangeShop};
use crate::warranty::{self, AddProgramme, NewSegment, NewTerms, PayerWays};
use crate::{books, invoices};

fn today() -> NaiveDate {
    noon().date_naive()
}

/// Parts and labour that the shop bears; a trip costs it nothing that is known.
const fn at_cost(parts: i64, labour: i64) -> Borne {
    Borne {
        parts: Cents(parts),
        labour: Cents(labour),
        trip: Cents::ZERO,
    }
}

fn percent(text: &str) -> Decimal {
    text.parse().unwrap()
}

/// What a programme of a test pays: so much of a hundred of these charges in the first year, less a deductible.
struct Pays {
    rank: ProgrammeRank,
    covers: &'static [Covers],
    percent: &'static str,
    deductible: i64,
}

const ALL: &[Covers] = &[Covers::Parts, Covers::Labour, Covers::Trip];

impl TestShop {
    /// A warranty payer who pays within 45 days.
    async fn claims_desk(&self, name: &str) -> warranty_payer::Model {
        self.claims_desk_that(name, false).await
    }

    /// One that lets what it does not pay be billed, or not.
    async fn claims_desk_that(&self, name: &str, may_bill_rest: bool) -> warranty_payer::Model {
        let new = AddCustomer {
            kind: CustomerKind::Organisation,
            name: name.to_owned(),
            email: Some("claims@payer.example".to_owned()),
            phone: None,
            billing: None,
            terms_days: None,
            notes: None,
        };
        let customer = customers::add_customer(&self.owner, new).await.unwrap();
        let ways = PayerWays {
            claim_mail: None,
            claim_days_move_on: false,
            may_bill_rest,
            days_to_pay: Some(45),
        };
        warranty::add_warranty_payer(&self.owner, (customer.id, ways))
            .await
            .unwrap()
    }

    async fn covers(&self, payer: &warranty_payer::Model, name: &str, pays: &Pays) -> i64 {
        let new = AddProgramme {
            payer_id: payer.id,
            name: name.to_owned(),
            rank: pays.rank,
            make: Some("halvorsen".to_owned()),
            appliance_type_id: None,
            model_pattern: None,
            terms: NewTerms {
                applies_from: "2020-01-01".parse().unwrap(),
                stays_with_machine: true,
                days_to_file: Some(30),
                segments: vec![NewSegment {
                    covers: pays.covers.to_vec(),
                    component_class: None,
                    start: StartEvent::Purchase,
                    after: None,
                    through: Term::Months(12),
                    percent: percent(pays.percent),
                    at_most: None,
                    flat_labour: None,
                }],
                exclusions: Vec::new(),
                evidence: Vec::new(),
                deductible: Cents(pays.deductible),
                labour_rate: None,
                distance_rate: None,
                out_of_use: None,
                failed_repair_days: None,
                rest_borne_by: None,
            },
        };
        warranty::add_programme(&self.owner, new).await.unwrap().id
    }

    /// The machine was bought this spring.
    async fn is_new(&self) {
        let db = self.bench.app.db.read();
        let machine = appliances::get_appliance(db, "", self.machine_id()).await;
        let change = ChangeAppliance {
            appliance_id: self.machine_id(),
            version: machine.unwrap().version,
            make: None,
            model: None,
            serial: None,
            fuel: None,
            plate: PlateChange {
                bought_on: Change::To("2026-03-02".parse().unwrap()),
                ..PlateChange::default()
            },
            built_in: None,
        };
        callbacks::change_appliance(&self.owner, change)
            .await
            .unwrap();
    }

    async fn run_sql(&self, sql: &str) {
        let tx = self.bench.app.db.write().await.unwrap();
        tx.execute_unprepared(sql).await.unwrap();
        tx.commit().await.unwrap();
    }

    /// What an hour of work costs the shop.
    async fn an_hour_costs(&self, cents: i64) {
        let change = ChangeShop {
            labour_cost: Some(Cents(cents)),
            ..ChangeShop::default()
        };
        shop::change_shop(&self.owner, change).await.unwrap();
    }

    /// A call about what the shop repaired before: the same component is worn again, and a part is fitted.
    async fn came_back(&self, part_price: Cents) -> service_call::Model {
        let part = self.part_costing(2_500).await;
        self.bring_in(part.id, (10, 2_500)).await;
        let first = self.opened_call().await;
        self.fit(first.id, part.id, 1).await;
        self.complete_as_found(first.id).await;
        let call = self.accepted_call(part_price, None).await;
        self.fit(call.id, part.id, 1).await;
        call
    }

    async fn decided(&self, call_id: i64, said: Said) -> coverage_decision::Model {
        let order = DecideCoverage {
            idempotency_key: self.key(),
            call_id,
            option_id: None,
            failed_on: None,
            finding_id: None,
            distance: None,
            hours: Vec::new(),
            said,
        };
        decide_coverage(&self.owner, order).await.unwrap()
    }

    fn by(&self, decision: &coverage_decision::Model) -> IssueInvoice {
        IssueInvoice {
            idempotency_key: self.key(),
            call_id: decision.call_id,
            work_done: None,
            option: None,
            divide: Vec::new(),
            coverage: Some(ByCoverage {
                decision_id: decision.id,
                split: None,
            }),
        }
    }

    async fn booked(&self, role: Role) -> i64 {
        let db = self.bench.app.db.read();
        let key = books::role_key(role);
        let of_role = account::Entity::find().filter(account::Column::Role.eq(key));
        let account = of_role.one(db).await.unwrap().unwrap();
        let rows = posting::Entity::find()
            .filter(posting::Column::AccountId.eq(account.id))
            .all(db)
            .await
            .unwrap();
        let cents = rows.iter().map(|row| row.debit_cents - row.credit_cents);
        cents.sum()
    }

    /// A part's maker, the machine's maker and a service contract, who pay of these charges in their order.
    async fn three_payers(&self, covers: &'static [Covers]) {
        let pays = |rank, percent, deductible| Pays {
            rank,
            covers,
            percent,
            deductible,
        };
        for (name, pays) in [
            ("Pump maker", pays(ProgrammeRank::PartMaker, "33.33", 0)),
            ("Maker", pays(ProgrammeRank::ApplianceMaker, "50", 0)),
            (
                "Contract",
                pays(ProgrammeRank::ServiceContract, "100", 1_000),
            ),
        ] {
            let payer = self.claims_desk(name).await;
            self.covers(&payer, name, &pays).await;
        }
        self.is_new().await;
    }

    async fn division_of(&self, bill: &invoice::Model) -> invoice_division::Model {
        invoice_division::Entity::find_by_id(bill.division_id.unwrap())
            .one(self.bench.app.db.read())
            .await
            .unwrap()
            .unwrap()
    }
}

fn sum(bills: &[invoice::Model], of: fn(&invoice::Model) -> i64) -> i64 {
    bills.iter().map(of).sum()
}

fn nets(bills: &[invoice::Model]) -> Vec<i64> {
    bills
        .iter()
        .map(|bill| bill.net_cents - bill.discount_cents)
        .collect()
}
