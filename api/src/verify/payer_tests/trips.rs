//! One trip that serves several calls, when they are billed.

use nameplate_entities::kinds::{AnswerWay, VisitState};
use nameplate_entities::{estimate_option, invoice_line, visit};

use super::*;
use crate::base::Caller;
use crate::base::ProblemCode::Superseded;
use crate::calls::{FinishVisit, ScheduleVisit};
use crate::closeout::finish_visit;
use crate::estimates::{
    DraftEstimate, Offer, RecordAcceptance, ReviseEstimate, SendEstimate, Told, WorkDone,
    record_acceptance,
};
use crate::invoices::{CreditInvoice, CreditedLine};
use crate::stock::schedule_visit;

/// What work without its trip comes to, before tax.
const WITHOUT_TRIP: i64 = 13_600;
const WITH_TRIP: i64 = 18_100;

fn without_trip() -> Vec<NewLine> {
    let mut lines = work();
    lines.retain(|line| line.kind != ChargeKind::Trip);
    lines
}

fn offer_of(lines: Vec<NewLine>) -> Offer {
    Offer {
        options: vec![NewOption {
            title: "Repair".to_owned(),
            lines,
            ..NewOption::default()
        }],
        ..Offer::default()
    }
}

impl TestShop {
    /// A visit of today that serves these calls, and was made.
    pub async fn visit(&self, call_ids: &[i64]) -> visit::Model {
        let made = FinishVisit {
            visit_id: self.planned_visit(call_ids).await.id,
            outcome: VisitState::Done,
        };
        finish_visit(&self.owner, made).await.unwrap()
    }

    /// A visit of today that is to serve these calls.
    async fn planned_visit(&self, call_ids: &[i64]) -> visit::Model {
        let Caller::Staff { id, .. } = self.owner.caller else {
            panic!("the owner is of the staff");
        };
        let plan = ScheduleVisit {
            call_ids: call_ids.to_vec(),
            technician_id: id,
            planned_on: noon().date_naive(),
            window: None,
            reason: None,
            reason_note: None,
        };
        schedule_visit(&self.owner, plan).await.unwrap()
    }

    /// Two calls that one visit was made for.
    async fn on_one_trip(&self) -> (service_call::Model, service_call::Model) {
        let (first, second) = (self.open_call().await, self.open_call().await);
        self.visit(&[first.id, second.id]).await;
        (first, second)
    }

    /// An estimate of this that was accepted; its id.
    async fn accepted(&self, call_id: i64, lines: Vec<NewLine>) -> i64 {
        let draft = DraftEstimate {
            idempotency_key: self.key(),
            call_id,
            offer: offer_of(lines),
        };
        let drafted = estimates::draft_estimate(&self.owner, draft).await.unwrap();
        let order = SendEstimate {
            idempotency_key: self.key(),
            revision_id: drafted.id,
            to: None,
            valid_until: None,
        };
        estimates::send_estimate(&self.owner, order).await.unwrap();
        let accepted = RecordAcceptance {
            idempotency_key: self.key(),
            revision_id: drafted.id,
            option_id: self.option_of(drafted.id).await,
            told: Told {
                way: AnswerWay::InPerson,
                name: "Ana Example".to_owned(),
                phone: None,
                at: None,
                note: None,
            },
        };
        record_acceptance(&self.owner, accepted).await.unwrap();
        drafted.estimate_id
    }

    async fn option_of(&self, revision_id: i64) -> i64 {
        let option = estimate_option::Entity::find()
            .filter(estimate_option::Column::RevisionId.eq(revision_id))
            .one(self.bench.app.db.read())
            .await;
        option.unwrap().unwrap().id
    }

    /// A draft of what was done in place of what was accepted.
    async fn done_instead(&self, estimate_id: i64, lines: Vec<NewLine>) -> WorkDone {
        let change = ReviseEstimate {
            idempotency_key: self.key(),
            estimate_id,
            offer: offer_of(lines),
        };
        let draft = estimates::revise_estimate(&self.owner, change).await;
        let revision_id = draft.unwrap().id;
        WorkDone {
            revision_id,
            option_id: self.option_of(revision_id).await,
        }
    }

    async fn bill_call(&self, call_id: i64) -> crate::base::Result<Vec<invoice::Model>> {
        issue_invoice(&self.owner, self.divided(call_id, Vec::new())).await
    }

    async fn bill_on_the_spot(&self, call: &service_call::Model) -> invoice::Model {
        self.complete(call).await;
        let order = self.on_the_spot(call.id, work());
        issue_invoice(&self.owner, order).await.unwrap().remove(0)
    }

    async fn bill_as_done(&self, call_id: i64, done: WorkDone) -> invoice::Model {
        let order = IssueInvoice {
            work_done: Some(done),
            ..self.divided(call_id, Vec::new())
        };
        issue_invoice(&self.owner, order).await.unwrap().remove(0)
    }

    /// That the customer agreed to so much beyond what was accepted.
    async fn owner_consents(&self, call_id: i64, added: i64) {
        let consent = self.consent(call_id, ConsentHow::InPerson, added);
        record_consent(&self.owner, consent).await.unwrap();
    }

    /// Bills a call on the spot with a typed trip, though another call on the visit was to pay for it.
    async fn bill_on_the_spot_with_trip(&self, call: &service_call::Model) -> invoice::Model {
        self.complete(call).await;
        let mut lines = work();
        for line in &mut lines {
            if line.kind == ChargeKind::Trip {
                line.unit_price = Some(Cents(4_500));
            }
        }
        let order = self.on_the_spot(call.id, lines);
        issue_invoice(&self.owner, order).await.unwrap().remove(0)
    }

    async fn take_off_trip(&self, bill: &invoice::Model) {
        let trip = invoice_line::Entity::find()
            .filter(invoice_line::Column::InvoiceId.eq(bill.id))
            .filter(invoice_line::Column::Kind.eq(ChargeKind::Trip))
            .one(self.bench.app.db.read())
            .await
            .unwrap()
            .unwrap();
        let order = CreditInvoice {
            lines: Some(vec![CreditedLine {
                position: trip.position,
                quantity: None,
                amount_off: None,
            }]),
            ..self.credit(bill.id)
        };
        credit_invoice(&self.owner, order).await.unwrap();
    }
}

#[tokio::test]
async fn of_two_calls_billed_on_the_spot_one_pays_for_their_trip() {
    for shop in TestShop::everywhere().await {
        let (first, second) = shop.on_one_trip().await;
        let paid = shop.bill_on_the_spot(&first).await;
        assert_eq!(paid.net_cents, WITH_TRIP);
        let free = shop.bill_on_the_spot(&second).await;
        assert_eq!(free.net_cents, WITHOUT_TRIP);
        let says = format!("charged with {}", first.number);
        assert!(free.content_json.contains(&says), "{}", free.content_json);
        // Given back to the first, the trip is the second's to pay.
        credit_invoice(&shop.owner, shop.credit(free.id))
            .await
            .unwrap();
        shop.take_off_trip(&paid).await;
        let order = shop.on_the_spot(second.id, work());
        let anew = issue_invoice(&shop.owner, order).await.unwrap().remove(0);
        assert_eq!(anew.net_cents, WITH_TRIP);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn what_was_billed_of_a_trip_counts_and_not_what_was_accepted() {
    for shop in TestShop::everywhere().await {
        // Accepted without a trip and billed with one, as it was done: the other call pays none.
        let (first, second) = shop.on_one_trip().await;
        let estimate = shop.accepted(first.id, without_trip()).await;
        shop.complete(&first).await;
        shop.owner_consents(first.id, 4_500).await;
        let done = shop.done_instead(estimate, work()).await;
        assert_eq!(shop.bill_as_done(first.id, done).await.net_cents, WITH_TRIP);
        let other = shop.bill_on_the_spot(&second).await;
        assert_eq!(other.net_cents, WITHOUT_TRIP);
        // The other way round it pays.
        let (first, second) = shop.on_one_trip().await;
        let estimate = shop.accepted(first.id, work()).await;
        let done = shop.done_instead(estimate, without_trip()).await;
        let bill = shop.bill_as_done(first.id, done).await;
        assert_eq!(bill.net_cents, WITHOUT_TRIP);
        assert_eq!(shop.bill_on_the_spot(&second).await.net_cents, WITH_TRIP);
        // What is only accepted yet will be billed.
        let (first, second) = shop.on_one_trip().await;
        shop.accepted(first.id, work()).await;
        let other = shop.bill_on_the_spot(&second).await;
        assert_eq!(other.net_cents, WITHOUT_TRIP);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_call_with_a_trip_of_its_own_is_billed_for_it_whatever_it_shared_before() {
    for shop in TestShop::everywhere().await {
        let (first, second) = shop.on_one_trip().await;
        shop.bill_on_the_spot(&first).await;
        shop.accepted(second.id, work()).await;
        shop.visit(&[second.id]).await;
        shop.complete(&second).await;
        let bill = shop.bill_call(second.id).await.unwrap().remove(0);
        assert_eq!(bill.net_cents, WITH_TRIP);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn who_pays_for_a_visit_of_its_own_pays_for_no_shared_one_whichever_call_is_billed_first() {
    for shop in TestShop::everywhere().await {
        for is_own_first in [true, false] {
            let (first, second) = shop.on_one_trip().await;
            shop.visit(&[second.id]).await;
            let mut order = [&first, &second];
            if is_own_first {
                order.reverse();
            }
            for call in order {
                let bill = shop.bill_on_the_spot(call).await;
                assert_eq!(bill.net_cents, WITH_TRIP, "{is_own_first}");
            }
        }
        // So too while its trip is only accepted.
        let (first, second) = shop.on_one_trip().await;
        shop.visit(&[second.id]).await;
        shop.accepted(second.id, work()).await;
        assert_eq!(shop.bill_on_the_spot(&first).await.net_cents, WITH_TRIP);
        // A visit that was planned and never made is none of its own.
        let (first, second) = shop.on_one_trip().await;
        shop.planned_visit(&[second.id]).await;
        assert_eq!(shop.bill_on_the_spot(&second).await.net_cents, WITH_TRIP);
        let other = shop.bill_on_the_spot(&first).await;
        assert_eq!(other.net_cents, WITHOUT_TRIP);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_trip_that_follows_no_visit_is_billed_as_accepted() {
    let shop = TestShop::open().await;
    let (first, second) = shop.on_one_trip().await;
    shop.bill_on_the_spot(&first).await;
    let mut again = work();
    for line in &mut again {
        if line.kind == ChargeKind::Trip {
            line.terms.repeat_reason = Some("the part came later".to_owned());
        }
    }
    shop.accepted(second.id, again).await;
    shop.complete(&second).await;
    assert!(shop.bill_call(second.id).await.is_ok());
    shop.is_in_order().await;
}

#[tokio::test]
async fn a_trip_that_is_paid_already_can_be_taken_off_either_bill() {
    for shop in TestShop::everywhere().await {
        let shut_out = async || {
            let (first, second) = shop.on_one_trip().await;
            let estimate = shop.accepted(second.id, work()).await;
            let paid = shop.bill_on_the_spot_with_trip(&first).await;
            shop.complete(&second).await;
            let refused = problems(shop.bill_call(second.id).await).remove(0);
            assert_eq!(
                (refused.code, refused.path),
                (Superseded, "callId".to_owned())
            );
            assert!(
                refused.message.contains(&paid.number),
                "{}",
                refused.message
            );
            (second, estimate, paid)
        };
        let (second, estimate, _) = shut_out().await;
        let done = shop.done_instead(estimate, without_trip()).await;
        let bill = shop.bill_as_done(second.id, done).await;
        assert_eq!(bill.net_cents, WITHOUT_TRIP);
        let (second, _, paid) = shut_out().await;
        shop.take_off_trip(&paid).await;
        let bill = shop.bill_call(second.id).await.unwrap().remove(0);
        assert_eq!(bill.net_cents, WITH_TRIP);
        shop.is_in_order().await;
    }
}
