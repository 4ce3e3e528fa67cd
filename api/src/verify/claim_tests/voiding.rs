//! Claims taken back for good, invoices that are credited then, and claims of what is billed instead.

use nameplate_entities::kinds::{ClaimState, ClaimStep};
use nameplate_entities::{claim_step, programme_terms};
use sea_orm::QueryOrder;

use super::*;
use crate::base::ProblemCode::{Missing, Taken, WrongState};
use crate::base::testing::refusals;
use crate::closeout::{CompleteCall, credit_invoice};
use crate::invoices::{CreditInvoice, CreditedLine, bill_a_payer};
use crate::warranty::{ChangeWarrantyPayer, change_warranty_payer};

impl TestShop {
    /// A completed call that the maker pays, with an invoice that is the maker's from the start.
    pub(super) async fn billed_to_the_maker(&self) -> Claimed {
        let (payer, programme) = self.claim_payer(Vec::new(), None).await;
        self.bought_on(before(60)).await;
        let call = self.accepted_call(Cents(10_000), None).await;
        self.repair(call.id).await;
        let call = self.done_on(&call, today()).await;
        self.decided_as_found(call.id).await;
        let bill = bill_a_payer(&self.owner, call.id, &payer).await;
        Claimed {
            call,
            payer,
            programme,
            bill,
        }
    }
}

#[tokio::test]
async fn a_claimed_invoice_is_credited_once_its_claim_is_void_and_what_is_billed_instead_is_claimed()
 {
    for shop in TestShop::everywhere().await {
        let claimed = shop.billed_to_the_maker().await;
        let claim = shop.filed(&claimed).await;
        let refused = credit_invoice(&shop.owner, shop.credit(claimed.bill.id)).await;
        assert_eq!(refusals(refused), [(WrongState, "invoiceId".to_owned())]);
        let silent = claims::void_claim(&shop.owner, happened(&claim, None)).await;
        assert_eq!(refusals(silent), [(Missing, "note".to_owned())]);
        let why = Some("The price of the pump was wrong.");
        let void = claims::void_claim(&shop.owner, happened(&claim, why)).await;
        let void = void.unwrap();
        assert_eq!(
            (void.state, void.standing_call_id, void.standing_invoice_id),
            (ClaimState::Closed, None, None)
        );
        let at_claim = [(WrongState, "claimId".to_owned())];
        let twice = claims::void_claim(&shop.owner, happened(&void, why)).await;
        assert_eq!(refusals(twice), at_claim);
        let again = claims::reopen_closed_claim(&shop.owner, happened(&void, why)).await;
        assert_eq!(refusals(again), at_claim);

        let credited = shop.credit(claimed.bill.id);
        let note = credit_invoice(&shop.owner, credited.clone()).await.unwrap();
        let same = credit_invoice(&shop.owner, credited).await.unwrap();
        assert_eq!(note.id, same.id, "one key credits once");
        let bill = bill_a_payer(&shop.owner, claimed.call.id, &claimed.payer).await;
        let anew = Claimed { bill, ..claimed };
        let claim = shop.filed(&anew).await;
        assert_eq!(claim.standing_call_id, Some(anew.call.id));
        let second = claims::draft_claim(&shop.owner, shop.draft(&anew.bill)).await;
        assert_eq!(refusals(second), [(Taken, "invoiceId".to_owned())]);
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn a_claim_drafted_wrongly_is_void_and_its_invoice_is_claimed_again() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let claim = shop.drafted(&claimed).await;
        let why = Some("Drafted from the wrong decision.");
        claims::void_claim(&shop.owner, happened(&claim, why))
            .await
            .unwrap();
        let again = shop.drafted(&claimed).await;
        assert_ne!(again.id, claim.id);
        assert_eq!(again.invoice_id, claim.invoice_id);
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn a_closed_claim_can_be_void_and_one_of_a_retired_payer_can_be_drafted() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let retire = ChangeWarrantyPayer {
            payer_id: claimed.payer.id,
            version: claimed.payer.version,
            ways: PayerWays {
                claim_mail: None,
                claim_days_move_on: true,
                may_bill_rest: false,
                days_to_pay: Some(45),
            },
            retired: true,
        };
        change_warranty_payer(&shop.owner, retire).await.unwrap();
        let claim = shop.filed(&claimed).await;
        let why = Some("Settled by telephone.");
        let closed = claims::close_claim(&shop.owner, happened(&claim, why)).await;
        let void = claims::void_claim(&shop.owner, happened(&closed.unwrap(), why)).await;
        assert_eq!(void.unwrap().standing_invoice_id, None);
        let last = claim_step::Entity::find()
            .order_by_desc(claim_step::Column::Id)
            .one(shop.bench.app.db.read())
            .await;
        assert_eq!(last.unwrap().unwrap().step, ClaimStep::Void);
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn a_claim_is_neither_ready_nor_sent_while_its_invoice_asks_for_less() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.billed_to_the_maker().await;
        let claim = shop.drafted(&claimed).await;
        let ready = shop.ready(&claim).await;
        let at_claim = [(WrongState, "claimId".to_owned())];
        shop.by_hand("UPDATE receivable SET taken_back = TRUE")
            .await;
        let sent = claims::submit_claim(&shop.owner, shop.submission(&ready, SentBy::Hand)).await;
        assert_eq!(refusals(sent.map(|done| done.claim)), at_claim);
        let draft = claims::reopen_claim(&shop.owner, of(&ready)).await.unwrap();
        let again = claims::make_claim_ready(&shop.owner, of(&draft)).await;
        assert_eq!(refusals(again), at_claim);
        shop.by_hand("UPDATE receivable SET taken_back = FALSE")
            .await;
        let why = Some("A part of the bill was given back.");
        claims::void_claim(&shop.owner, happened(&draft, why))
            .await
            .unwrap();
        let line = CreditedLine {
            position: 1,
            quantity: None,
            amount_off: Some(Cents(1_000)),
        };
        let part = CreditInvoice {
            lines: Some(vec![line]),
            ..shop.credit(claimed.bill.id)
        };
        credit_invoice(&shop.owner, part).await.unwrap();
        let anew = shop.drafted(&claimed).await;
        let short = claims::make_claim_ready(&shop.owner, of(&anew)).await;
        assert_eq!(refusals(short), at_claim);
    }
}

#[tokio::test]
async fn a_claim_drafted_before_the_call_is_completed_gets_its_last_day_then() {
    for shop in TestShop::everywhere().await {
        let (payer, programme) = shop.claim_payer(Vec::new(), None).await;
        shop.bought_on(before(60)).await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        shop.repair(call.id).await;
        shop.decided_as_found(call.id).await;
        let bill = shop.billed_to(&call, &payer).await;
        let claimed = Claimed {
            call,
            payer,
            programme,
            bill,
        };
        let claim = shop.drafted(&claimed).await;
        assert_eq!(claim.file_by, None);
        let db = shop.bench.app.db.read();
        let due = claims::due(db, (today(), 0)).await.unwrap();
        let waits =
            |due: &claims::Due| matches!(&due.waits, claims::Waits::File(of) if of.id == claim.id);
        assert!(
            due.iter().any(waits),
            "a draft without a last day waits, too"
        );
        let order = CompleteCall {
            idempotency_key: shop.key(),
            call_id: claimed.call.id,
            completed_on: None,
        };
        closeout::complete_call(&shop.owner, order).await.unwrap();
        let db = shop.bench.app.db.read();
        let dated = claims::get_claim(db, "", claim.id).await.unwrap();
        let terms = programme_terms::Entity::find_by_id(claim.terms_id)
            .one(db)
            .await;
        assert_eq!(terms.unwrap().unwrap().days_to_file, Some(10));
        assert_eq!(dated.file_by, Some(today() + Days::new(10)));
        assert_eq!(dated.version, claim.version + 1);
        let ready = shop.ready(&dated).await;
        assert_eq!(ready.state, ClaimState::Ready);
        shop.claims_in_order().await;
    }
}
