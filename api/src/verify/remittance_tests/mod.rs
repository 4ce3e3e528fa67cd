//! Payers' advices from the file to the books, through the program's own acts.

mod damage;
mod figures;
mod outside;
mod posting;
mod rests;
mod taking_off;
mod undoing;
mod unmatching;

use std::ops::Deref;

use chrono::NaiveDate;
use nameplate_entities::kinds::{
    self, BankDelimiter, BankEncoding, DateOrder, DecimalSign, PaymentMethod,
};
use nameplate_entities::{
    advice_row, claim, claim_step, payer_advice, payment, programme_terms, receivable,
    warranty_payer, warranty_programme,
};
use nameplate_rules::claims::ClaimStep;
use nameplate_rules::money::Cents;
use sea_orm::{
    ActiveModelTrait, ActiveValue::Set, ColumnTrait, EntityTrait, QueryFilter, QueryOrder,
};

use super::testing::TestShop;
use crate::base::numbers::{self, Series};
use crate::base::testing::{noon, refusals};
use crate::base::{ProblemCode, Result};
use crate::claims::{self, Taken};
use crate::closeout;
use crate::coverage::{DecideCoverage, Said as SaidOfCall};
use crate::invoices::bill_a_payer;
use crate::remittances::{
    AdviceColumns, Imported, Looked, MatchAdviceRow, PostAdvice, Purpose, Said, SetAdviceLayout,
    import_advice, match_advice_row, post_advice, set_advice_layout,
};
use crate::warranty;

const HEAD: &str = "Claim,Paid,Refused,Why,Payment\n";

fn today() -> NaiveDate {
    noon().date_naive()
}

#[track_caller]
fn at<T>(code: ProblemCode, path: &str, outcome: Result<T>) {
    assert_eq!(refusals(outcome), [(code, path.to_owned())]);
}

/// A payer with a programme and a layout.
struct Payer {
    row: warranty_payer::Model,
    programme: warranty_programme::Model,
}

/// A shop that takes advices in.
struct Desk(TestShop);

impl Deref for Desk {
    type Target = TestShop;

    fn deref(&self) -> &TestShop {
        &self.0
    }
}

impl Desk {
    async fn open() -> Self {
        Self(TestShop::open().await)
    }

    /// One on each database there is to test on.
    async fn everywhere() -> Vec<Self> {
        let shops = TestShop::everywhere().await;
        shops.into_iter().map(Self).collect()
    }

    async fn payer(&self) -> Payer {
        let db = self.bench.app.db.read();
        let programme = self.makers_year(Vec::new()).await;
        let row = warranty::get_payer(db, "", programme.payer_id).await;
        let row = row.unwrap();
        set_advice_layout(&self.owner, layout(row.id))
            .await
            .unwrap();
        Payer { row, programme }
    }

    /// A claim on the payer that was submitted today, over a call with a part at this price: 189.00 and the part with 8 %.
    async fn claim(&self, payer: &Payer, part_price: i64) -> claim::Model {
        let call = self.accepted_call(Cents(part_price), None).await;
        let decide = DecideCoverage {
            idempotency_key: self.key(),
            call_id: call.id,
            option_id: None,
            failed_on: None,
            finding_id: None,
            distance: None,
            hours: Vec::new(),
            said: SaidOfCall::default(),
        };
        let decision = closeout::decide_coverage(&self.owner, decide).await;
        let invoice = bill_a_payer(&self.owner, call.id, &payer.row).await;
        let tx = self.bench.app.db.write().await.unwrap();
        let terms = programme_terms::Entity::find()
            .filter(programme_terms::Column::ProgrammeId.eq(payer.programme.id))
            .one(&tx)
            .await
            .unwrap();
        let row = claim::ActiveModel {
            number: Set(numbers::take(&tx, Series::Claim).await.unwrap()),
            call_id: Set(call.id),
            payer_id: Set(payer.row.id),
            terms_id: Set(terms.unwrap().id),
            programme_id: Set(payer.programme.id),
            decision_id: Set(decision.unwrap().id),
            invoice_id: Set(invoice.id),
            state: Set(kinds::ClaimState::Submitted),
            claimed_cents: Set(invoice.total_cents),
            submitted_on: Set(Some(today())),
            payer_reference: Set(Some(format!("HC-{}", invoice.number))),
            complaint: Set("It does not heat".to_owned()),
            diagnosis: Set("The element is open".to_owned()),
            drafted_at: Set(self.owner.at),
            drafted_by: Set(self.owner.staff_id().unwrap()),
            version: Set(1),
            standing_call_id: Set(Some(call.id)),
            standing_invoice_id: Set(Some(invoice.id)),
            ..Default::default()
        };
        let row = row.insert(&tx).await.unwrap();
        for (step, state) in [
            (kinds::ClaimStep::Drafted, kinds::ClaimState::Draft),
            (kinds::ClaimStep::MakeReady, kinds::ClaimState::Ready),
            (kinds::ClaimStep::Submit, kinds::ClaimState::Submitted),
        ] {
            let step = claim_step::ActiveModel {
                claim_id: Set(row.id),
                step: Set(step),
                state: Set(state),
                taken_on: Set(today()),
                taken_at: Set(self.owner.at),
                taken_by: Set(self.owner.staff_id()),
                ..Default::default()
            };
            step.insert(&tx).await.unwrap();
        }
        tx.commit().await.unwrap();
        row
    }

    async fn upload(&self, payer: &Payer, rows: &str, purpose: Purpose) -> Result<Looked> {
        let file = format!("{HEAD}{rows}");
        let asked = (payer.row.id, Said::default());
        let outcome = import_advice(&self.owner, asked, file.as_bytes(), purpose).await?;
        match outcome {
            Imported::Looked(looked) => Ok(looked),
            Imported::Refused(faults) => panic!("not taken: {faults:?}"),
        }
    }

    /// Takes these rows in and gives the advice's id.
    async fn take_in(&self, payer: &Payer, rows: &str) -> i64 {
        let looked = self.upload(payer, rows, Purpose::TakeIn).await.unwrap();
        looked.advice_id.unwrap()
    }

    fn posting(&self, advice_id: i64) -> PostAdvice {
        PostAdvice {
            idempotency_key: self.key(),
            advice_id,
            received_on: today(),
            method: PaymentMethod::Transfer,
            reference: None,
        }
    }

    async fn post(&self, advice_id: i64) -> payer_advice::Model {
        post_advice(&self.owner, self.posting(advice_id))
            .await
            .unwrap()
    }

    fn matching(&self, row_id: i64, claim_id: i64) -> MatchAdviceRow {
        MatchAdviceRow {
            idempotency_key: self.key(),
            row_id,
            claim_id,
        }
    }

    async fn advice_rows(&self, advice_id: i64) -> Vec<advice_row::Model> {
        advice_row::Entity::find()
            .filter(advice_row::Column::AdviceId.eq(advice_id))
            .order_by_asc(advice_row::Column::Position)
            .all(self.bench.app.db.read())
            .await
            .unwrap()
    }

    async fn claim_now(&self, id: i64) -> (kinds::ClaimState, i64) {
        let db = self.bench.app.db.read();
        let row = claim::Entity::find_by_id(id).one(db).await;
        let row = row.unwrap().unwrap();
        let open = receivable::Entity::find_by_id(row.invoice_id).one(db).await;
        (row.state, open.unwrap().unwrap().open_cents)
    }

    async fn steps(&self, claim_id: i64) -> Vec<(kinds::ClaimStep, Option<i64>, Option<String>)> {
        let rows = claim_step::Entity::find()
            .filter(claim_step::Column::ClaimId.eq(claim_id))
            .order_by_asc(claim_step::Column::Id)
            .all(self.bench.app.db.read())
            .await
            .unwrap();
        rows.into_iter()
            .skip(3)
            .map(|row| (row.step, row.cents, row.reason_code))
            .collect()
    }

    async fn payment_of(&self, advice: &payer_advice::Model) -> payment::Model {
        let db = self.bench.app.db.read();
        let row = payment::Entity::find_by_id(advice.payment_id.unwrap())
            .one(db)
            .await;
        row.unwrap().unwrap()
    }

    /// Takes a step of a claim that no advice takes.
    async fn step(&self, claim_id: i64, step: ClaimStep) {
        self.step_of(claim_id, step, None).await;
    }

    async fn step_of(&self, claim_id: i64, step: ClaimStep, cents: Option<Cents>) {
        let tx = self.bench.app.db.write().await.unwrap();
        let now = claims::get_claim(&tx, "", claim_id).await.unwrap();
        let taken = Taken {
            step,
            on: today(),
            note: None,
            reason: None,
            cents,
            by: None,
        };
        let after = claims::take_step(&tx, &self.owner, ("test", &now), taken).await;
        after.unwrap();
        tx.commit().await.unwrap();
    }

    /// What verify says of advices, and of everything else but the claims, which these tests write by hand.
    async fn broken(&self) -> Vec<String> {
        let findings = super::run(&self.bench.app.db).await.unwrap();
        let others = findings.into_iter().filter(|finding| {
            let of_advices = [
                "cents that payments of advices",
                "steps by which it was paid",
            ];
            finding.table != "claim"
                || of_advices
                    .iter()
                    .any(|words| finding.what.starts_with(words))
        });
        others.map(|finding| finding.to_string()).collect()
    }
}

fn layout(payer_id: i64) -> SetAdviceLayout {
    SetAdviceLayout {
        payer_id,
        delimiter: BankDelimiter::Comma,
        has_header: true,
        encoding: BankEncoding::Utf8,
        date_order: DateOrder::YearMonthDay,
        decimal_sign: DecimalSign::Point,
        columns: AdviceColumns {
            claim: "Claim".to_owned(),
            paid: "Paid".to_owned(),
            refused: Some("Refused".to_owned()),
            reason: Some("Why".to_owned()),
            note: None,
            day: None,
            reference: Some("Payment".to_owned()),
        },
        version: None,
    }
}
