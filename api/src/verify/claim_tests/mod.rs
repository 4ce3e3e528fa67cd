//! Claims on warranty payers, from the payer's invoice to closed; through the program's own acts.

mod archive;
mod damage;
mod drafting;
mod effort;
mod going_on;
mod keeping;
mod life;
mod voiding;

use chrono::{Days, NaiveDate};
use nameplate_entities::kinds::{
    AttachmentKind, CustomerKind, EvidenceKind, Method, ProgrammeRank,
};
use nameplate_entities::{
    appliance, attachment, claim, component, failure_mode, invoice, service_call, warranty_payer,
    warranty_programme,
};
use nameplate_rules::coverage::{Covers, Evidence, StartEvent};
use nameplate_rules::dates::Term;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ColumnTrait, ConnectionTrait, DatabaseBackend, EntityTrait, QueryFilter};

use super::testing::TestShop;
use crate::appliances::{self, ChangeAppliance, PlateChange};
use crate::attachments::{self, NewAttachment, On};
use crate::base::Change;
use crate::base::testing::noon;
use crate::callbacks::{self, RecordFinding};
use crate::calls::{self, NewFinding, RecordRemedy};
use crate::claims::{
    self, ClaimAnswer, DraftClaim, Happened, NoteClaimAnswer, OfClaim, SentBy, SubmitClaim,
};
use crate::closeout::{self, issue_invoice};
use crate::coverage::{DecideCoverage, Said};
use crate::customers::{self, AddCustomer};
use crate::invoices::Share;
use crate::stock;
use crate::warranty::{self, AddProgramme, KeepPart, NewSegment, NewTerms, PayerWays};

fn today() -> NaiveDate {
    noon().date_naive()
}

fn before(days: u64) -> NaiveDate {
    today() - Days::new(days)
}

/// A year of everything from purchase, to be filed within ten days.
fn a_year(evidence: Vec<Evidence>) -> NewTerms {
    NewTerms {
        applies_from: "2020-01-01".parse().unwrap(),
        stays_with_machine: true,
        days_to_file: Some(10),
        segments: vec![NewSegment {
            covers: vec![Covers::Parts, Covers::Labour, Covers::Trip],
            component_class: None,
            start: StartEvent::Purchase,
            after: None,
            through: Term::Months(12),
            percent: Decimal::ONE_HUNDRED,
            at_most: None,
            flat_labour: None,
        }],
        exclusions: Vec::new(),
        evidence,
        deductible: Cents::ZERO,
        labour_rate: None,
        distance_rate: None,
        out_of_use: None,
        failed_repair_days: None,
        rest_borne_by: None,
    }
}

/// A call that a maker pays, and the maker's invoice of it.
struct Claimed {
    call: service_call::Model,
    payer: warranty_payer::Model,
    programme: warranty_programme::Model,
    bill: invoice::Model,
}

impl TestShop {
    /// A completed call that the maker of the machine pays, with its invoice.
    async fn claimable(&self, evidence: Vec<Evidence>, claim_mail: Option<&str>) -> Claimed {
        let (payer, programme) = self.claim_payer(evidence, claim_mail).await;
        self.bought_on(before(60)).await;
        self.claimed_again(payer, programme).await
    }

    /// One more call of the same kind.
    async fn claimed_again(
        &self,
        payer: warranty_payer::Model,
        programme: warranty_programme::Model,
    ) -> Claimed {
        let call = self.accepted_call(Cents(10_000), None).await;
        self.repair(call.id).await;
        let call = self.done_on(&call, today()).await;
        self.decided_as_found(call.id).await;
        let bill = self.billed_to(&call, &payer).await;
        Claimed {
            call,
            payer,
            programme,
            bill,
        }
    }

    async fn claim_payer(
        &self,
        evidence: Vec<Evidence>,
        claim_mail: Option<&str>,
    ) -> (warranty_payer::Model, warranty_programme::Model) {
        let maker = AddCustomer {
            kind: CustomerKind::Organisation,
            name: "Halvorsen Claims".to_owned(),
            email: Some("claims@halvorsen.example".to_owned()),
            phone: None,
            billing: None,
            terms_days: None,
            notes: None,
        };
        let maker = customers::add_customer(&self.owner, maker).await.unwrap();
        let ways = PayerWays {
            claim_mail: claim_mail.map(str::to_owned),
            claim_days_move_on: true,
            may_bill_rest: false,
            days_to_pay: Some(45),
        };
        let payer = warranty::add_warranty_payer(&self.owner, (maker.id, ways)).await;
        let payer = payer.unwrap();
        let new = AddProgramme {
            payer_id: payer.id,
            name: "First year".to_owned(),
            rank: ProgrammeRank::ApplianceMaker,
            make: Some("halvorsen".to_owned()),
            appliance_type_id: None,
            model_pattern: Some("HW-*".to_owned()),
            terms: a_year(evidence),
        };
        let programme = warranty::add_programme(&self.owner, new).await.unwrap();
        (payer, programme)
    }

    async fn bought_on(&self, day: NaiveDate) {
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
                bought_on: Change::To(day),
                ..PlateChange::default()
            },
            built_in: None,
        };
        crate::callbacks::change_appliance(&self.owner, change)
            .await
            .unwrap();
    }

    async fn a_component(&self) -> component::Model {
        let db = self.bench.app.db.read();
        let machine = appliance::Entity::find_by_id(self.machine_id())
            .one(db)
            .await;
        let of_type = machine.unwrap().unwrap().appliance_type_id;
        let found = component::Entity::find()
            .filter(component::Column::ApplianceTypeId.eq(of_type))
            .one(db)
            .await;
        found.unwrap().unwrap()
    }

    async fn a_failure(&self) -> failure_mode::Model {
        let found = failure_mode::Entity::find()
            .filter(failure_mode::Column::Key.eq("worn"))
            .one(self.bench.app.db.read())
            .await;
        found.unwrap().unwrap()
    }

    /// Finds a worn component and replaces it.
    async fn repair(&self, call_id: i64) {
        let finding = RecordFinding {
            idempotency_key: self.key(),
            finding: NewFinding {
                call_id,
                component_id: self.a_component().await.id,
                failure_mode_id: self.a_failure().await.id,
                position: None,
                cause: Some("dry running".to_owned()),
                note: Some("Measured open.".to_owned()),
            },
        };
        let found = callbacks::record_finding(&self.owner, finding).await;
        let remedy = RecordRemedy {
            idempotency_key: self.key(),
            finding_id: found.unwrap().finding.id,
            method: Method::Replaced,
            labour_minutes: 30,
            note: None,
            parts: Vec::new(),
        };
        stock::record_remedy(&self.owner, remedy).await.unwrap();
    }

    async fn done_on(&self, call: &service_call::Model, day: NaiveDate) -> service_call::Model {
        let tx = self.bench.app.db.write().await.unwrap();
        let call = calls::get_call(&tx, "", call.id).await.unwrap();
        let done = calls::mark_completed(&tx, &self.owner, &call, day).await;
        tx.commit().await.unwrap();
        done.unwrap()
    }

    async fn decided_as_found(&self, call_id: i64) {
        let order = DecideCoverage {
            idempotency_key: self.key(),
            call_id,
            option_id: None,
            failed_on: None,
            finding_id: None,
            distance: None,
            hours: Vec::new(),
            said: Said::default(),
        };
        closeout::decide_coverage(&self.owner, order).await.unwrap();
    }

    /// All of the call on an invoice of the payer: issued to its customer record, and marked as a payer's by hand.
    async fn billed_to(
        &self,
        call: &service_call::Model,
        payer: &warranty_payer::Model,
    ) -> invoice::Model {
        let share = Share {
            customer_id: payer.customer_id,
            percent: Some(Decimal::ONE_HUNDRED),
            lines: Vec::new(),
        };
        let bills = issue_invoice(&self.owner, self.divided(call.id, vec![share])).await;
        let bill = bills.unwrap().remove(0);
        self.unguard_invoices().await;
        let sql = format!(
            "UPDATE invoice SET payer = 'warranty_payer', warranty_payer_id = {} WHERE id = {}",
            payer.id, bill.id
        );
        self.by_hand(&sql).await;
        let db = self.bench.app.db.read();
        invoice::Entity::find_by_id(bill.id)
            .one(db)
            .await
            .unwrap()
            .unwrap()
    }

    async fn unguard_invoices(&self) {
        let drop = match self.bench.app.db.read().get_database_backend() {
            DatabaseBackend::Sqlite => "DROP TRIGGER IF EXISTS keep_invoice_update",
            _ => "DROP TRIGGER IF EXISTS keep_invoice ON invoice",
        };
        self.by_hand(drop).await;
    }

    async fn by_hand(&self, sql: &str) {
        let tx = self.bench.app.db.write().await.unwrap();
        tx.execute_unprepared(sql).await.unwrap();
        tx.commit().await.unwrap();
    }

    fn draft(&self, bill: &invoice::Model) -> DraftClaim {
        DraftClaim {
            idempotency_key: self.key(),
            invoice_id: bill.id,
            programme_id: None,
        }
    }

    async fn drafted(&self, claimed: &Claimed) -> claim::Model {
        claims::draft_claim(&self.owner, self.draft(&claimed.bill))
            .await
            .unwrap()
    }

    async fn ready(&self, claim: &claim::Model) -> claim::Model {
        claims::make_claim_ready(&self.owner, of(claim))
            .await
            .unwrap()
    }

    fn submission(&self, claim: &claim::Model, by: SentBy) -> SubmitClaim {
        SubmitClaim {
            idempotency_key: self.key(),
            of: of(claim),
            claim_id: claim.id,
            on: today(),
            by,
            payer_reference: None,
            note: None,
        }
    }

    /// The claim sent by hand to dispute an answer.
    fn dispute(&self, claim: &claim::Model, why: &str) -> SubmitClaim {
        SubmitClaim {
            note: Some(why.to_owned()),
            ..self.submission(claim, SentBy::Hand)
        }
    }

    async fn submitted(&self, claim: &claim::Model) -> claim::Model {
        let order = self.submission(claim, SentBy::Hand);
        claims::submit_claim(&self.owner, order)
            .await
            .unwrap()
            .claim
    }

    async fn kept(&self, call_id: i64) -> String {
        let kept = KeepPart {
            idempotency_key: self.key(),
            call_id,
            part_id: None,
            description: "Pump".to_owned(),
            return_by: Some(today() + Days::new(5)),
        };
        warranty::keep_part(&self.owner, kept).await.unwrap().number
    }

    async fn scan(&self, on: On, kind: AttachmentKind) -> attachment::Model {
        let new = NewAttachment {
            on,
            kind,
            caption: None,
            bytes: a_scan(),
        };
        attachments::add(&self.owner, new).await.unwrap()
    }

    /// The claim of a call that the maker pays, sent.
    async fn filed(&self, claimed: &Claimed) -> claim::Model {
        let claim = self.drafted(claimed).await;
        let claim = self.ready(&claim).await;
        self.submitted(&claim).await
    }

    /// What verify says of claims and their papers.
    async fn claims_in_order(&self) {
        let findings = super::run(&self.bench.app.db).await.unwrap();
        let of_claims: Vec<_> = (findings.iter())
            .filter(|finding| finding.table.starts_with("claim"))
            .collect();
        assert!(of_claims.is_empty(), "{of_claims:#?}");
    }
}

/// The smallest page that is a PDF.
fn a_scan() -> Vec<u8> {
    b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[]/Count 0>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n".to_vec()
}

fn happened(claim: &claim::Model, note: Option<&str>) -> Happened {
    Happened {
        of: of(claim),
        on: today(),
        note: note.map(str::to_owned),
    }
}

fn answer(claim: &claim::Model, answer: ClaimAnswer) -> NoteClaimAnswer {
    NoteClaimAnswer {
        of: of(claim),
        on: today(),
        answer,
        amount: None,
        reason: None,
        release: None,
        note: None,
        payer_reference: None,
    }
}

fn of(claim: &claim::Model) -> OfClaim {
    OfClaim {
        claim_id: claim.id,
        version: claim.version,
    }
}
