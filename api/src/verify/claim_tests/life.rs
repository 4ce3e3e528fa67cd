//! From submitted to closed, and what waits for the shop.

use nameplate_entities::kinds::{ClaimState, PaymentMethod};
use nameplate_entities::outbox_mail;
use nameplate_rules::money::Cents;

use super::*;
use crate::base::ProblemCode::{ImpossibleDate, Malformed, Missing, TooMuch, WrongState};
use crate::base::testing::refusals;
use crate::claims::Waits;
use crate::invoices::{Excess, PaymentPart, RecordPayment};
use crate::remittances::record_payment;

impl TestShop {
    /// Money of the payer for its invoice.
    async fn paid(&self, claimed: &Claimed, amount: i64) {
        let payment = RecordPayment {
            customer_id: claimed.payer.customer_id,
            parts: Some(vec![PaymentPart {
                invoice_id: claimed.bill.id,
                amount: Cents(amount),
            }]),
            ..self.payment(amount, Excess::Refused)
        };
        assert_eq!(payment.method, PaymentMethod::Check);
        record_payment(&self.owner, payment).await.unwrap();
    }
}

#[tokio::test]
async fn a_claim_is_queried_answered_approved_in_part_appealed_and_closed_with_a_reason() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let claim = shop.drafted(&claimed).await;
        let early = claims::submit_claim(&shop.owner, shop.submission(&claim, SentBy::Hand)).await;
        assert_eq!(
            refusals(early.map(|done| done.claim)),
            [(WrongState, "claimId".to_owned())]
        );
        let claim = shop.ready(&claim).await;
        let claim = shop.submitted(&claim).await;
        assert_eq!(
            (claim.state, claim.submitted_on),
            (ClaimState::Submitted, Some(today()))
        );
        let silent = claims::note_claim_query(&shop.owner, happened(&claim, None)).await;
        assert_eq!(refusals(silent), [(Missing, "note".to_owned())]);
        let asked = happened(&claim, Some("Which pump?"));
        let claim = claims::note_claim_query(&shop.owner, asked).await.unwrap();
        assert_eq!(claim.state, ClaimState::Queried);
        let claim = shop.submitted(&claim).await;

        let all = NoteClaimAnswer {
            amount: Some(Cents(claim.claimed_cents)),
            ..answer(&claim, ClaimAnswer::InPart)
        };
        let refused = refusals(claims::note_claim_answer(&shop.owner, all).await);
        assert_eq!(refused, [(TooMuch, "amount".to_owned())]);
        let part = NoteClaimAnswer {
            amount: Some(Cents(10_000)),
            reason: Some("elr".to_owned()),
            payer_reference: Some("H-8841".to_owned()),
            ..answer(&claim, ClaimAnswer::InPart)
        };
        let claim = claims::note_claim_answer(&shop.owner, part).await.unwrap();
        assert_eq!(claim.state, ClaimState::PartApproved);
        let db = shop.bench.app.db.read();
        let texts = ["H-8841".to_owned()];
        let found = claims::of_payer_by_numbers(db, claim.payer_id, &texts)
            .await
            .unwrap();
        assert_eq!(found, std::slice::from_ref(&claim));
        let dispute = shop.dispute(&claim, "Two hours are usual.");
        let claim = claims::appeal_claim(&shop.owner, dispute)
            .await
            .unwrap()
            .claim;
        assert_eq!(claim.state, ClaimState::Appealed);
        let refused = claims::close_claim(&shop.owner, happened(&claim, None)).await;
        assert_eq!(refusals(refused), [(Missing, "note".to_owned())]);
        let closing = happened(&claim, Some("Settled with the next call."));
        let claim = claims::close_claim(&shop.owner, closing).await.unwrap();
        let after = claims::close_claim(&shop.owner, happened(&claim, Some("again"))).await;
        assert_eq!(refusals(after), [(WrongState, "claimId".to_owned())]);
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn a_denial_says_why_and_its_code_is_of_a_list_that_is_known_or_named() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let claim = shop.drafted(&claimed).await;
        let claim = shop.ready(&claim).await;
        let claim = shop.submitted(&claim).await;
        let denied = answer(&claim, ClaimAnswer::Denied);
        let silent = claims::note_claim_answer(&shop.owner, denied.clone()).await;
        assert_eq!(refusals(silent), [(Missing, "reason".to_owned())]);
        let unknown = NoteClaimAnswer {
            reason: Some("Z99".to_owned()),
            note: Some("See list.".to_owned()),
            ..denied.clone()
        };
        let refused = claims::note_claim_answer(&shop.owner, unknown.clone()).await;
        assert_eq!(refusals(refused), [(Malformed, "reason".to_owned())]);
        let tomorrow = NoteClaimAnswer {
            on: today() + Days::new(1),
            release: Some("their own".to_owned()),
            ..unknown.clone()
        };
        let refused = claims::note_claim_answer(&shop.owner, tomorrow).await;
        assert_eq!(refusals(refused), [(ImpossibleDate, "on".to_owned())]);
        let yesterday = NoteClaimAnswer {
            on: before(1),
            release: Some("their own".to_owned()),
            ..unknown.clone()
        };
        let refused = claims::note_claim_answer(&shop.owner, yesterday).await;
        assert_eq!(refusals(refused)[0].0, ImpossibleDate);
        let own_list = NoteClaimAnswer {
            release: Some("their own".to_owned()),
            ..unknown
        };
        let claim = claims::note_claim_answer(&shop.owner, own_list)
            .await
            .unwrap();
        assert_eq!(claim.state, ClaimState::Denied);
        let again = shop.submitted(&claim).await;
        assert_eq!(
            again.state,
            ClaimState::Submitted,
            "sent again with what was missing"
        );
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn what_was_paid_and_what_was_given_up_stand_apart_and_a_paid_claim_closes_by_itself() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let claim = shop.drafted(&claimed).await;
        let claim = shop.ready(&claim).await;
        let claim = shop.submitted(&claim).await;
        shop.paid(&claimed, 5_000).await;
        let db = shop.bench.app.db.read();
        let balance = claims::balance(db, &claim).await.unwrap();
        assert_eq!(
            (balance.paid, balance.written_down),
            (Cents(5_000), Cents::ZERO)
        );
        let claim = claims::get_claim(db, "", claim.id).await.unwrap();
        assert_eq!(claim.state, ClaimState::Paid);
        shop.paid(&claimed, claim.claimed_cents - 5_000).await;
        let claim = claims::get_claim(db, "", claim.id).await.unwrap();
        let appeal = claims::appeal_claim(&shop.owner, shop.dispute(&claim, "Why not?")).await;
        assert_eq!(
            refusals(appeal.map(|done| done.claim)),
            [(WrongState, "claimId".to_owned())]
        );
        let closed = claims::close_claim(&shop.owner, happened(&claim, None))
            .await
            .unwrap();
        assert_eq!(closed.state, ClaimState::Closed);
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn the_desk_is_told_once_a_day_what_comes_to_its_last_day() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let mails = async || {
            let rows = outbox_mail::Entity::find()
                .filter(outbox_mail::Column::SubjectKind.eq("claims_due"))
                .all(shop.bench.app.db.read())
                .await;
            rows.unwrap()
        };
        claims::tell_what_is_due(&shop.bench.program())
            .await
            .unwrap();
        assert!(
            mails().await.is_empty(),
            "an invoice without a claim has no day"
        );
        let tag = shop.kept(claimed.call.id).await;
        for _ in 0..2 {
            claims::tell_what_is_due(&shop.bench.program())
                .await
                .unwrap();
        }
        let told = mails().await;
        assert_eq!(told.len(), 1, "one owner, once a day");
        assert!(
            told[0].payload_json.contains(&tag),
            "{}",
            told[0].payload_json
        );
    }
}

#[tokio::test]
async fn an_invoice_without_a_claim_is_listed_with_the_last_day_of_its_terms() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let sql = format!(
            "UPDATE invoice SET programme_terms_id = (SELECT MAX(id) FROM programme_terms) WHERE id = {}",
            claimed.bill.id
        );
        shop.by_hand(&sql).await;
        let tag = shop.kept(claimed.call.id).await;
        let db = shop.bench.app.db.read();
        let found = claims::due(db, (today(), 7)).await.unwrap();
        let by: Vec<_> = found.iter().map(|due| due.by).collect();
        let days = [5, 10].map(|days| Some(today() + Days::new(days)));
        assert_eq!(by, days, "the part first, then the invoice");
        assert!(matches!(&found[1].waits, Waits::Draft(row) if row.id == claimed.bill.id));
        claims::tell_what_is_due(&shop.bench.program())
            .await
            .unwrap();
        let told = outbox_mail::Entity::find()
            .filter(outbox_mail::Column::SubjectKind.eq("claims_due"))
            .one(db)
            .await;
        let told = told.unwrap().unwrap().payload_json;
        assert!(
            told.contains(&tag) && !told.contains(&claimed.bill.number),
            "the invoice has more than a week: {told}"
        );
    }
}

#[tokio::test]
async fn what_waits_is_listed_with_its_last_day_the_most_pressing_first() {
    for shop in TestShop::everywhere().await {
        let first = shop.claimable(Vec::new(), None).await;
        let second = shop
            .claimed_again(first.payer.clone(), first.programme.clone())
            .await;
        shop.kept(second.call.id).await;
        let claim = shop.drafted(&first).await;
        let kinds = async |within: u32| -> Vec<(&'static str, Option<NaiveDate>)> {
            let found = claims::due(shop.bench.app.db.read(), (today(), within)).await;
            let word = |due: &claims::Due| match due.waits {
                Waits::File(_) => "file",
                Waits::Answer(_) => "answer",
                Waits::SendBack(_) => "send back",
                Waits::Draft(_) => "draft",
                Waits::Rest(_) => "rest",
            };
            found
                .unwrap()
                .iter()
                .map(|due| (word(due), due.by))
                .collect()
        };
        let back = ("send back", Some(today() + Days::new(5)));
        let draft = ("draft", None);
        assert_eq!(kinds(4).await, [draft]);
        assert_eq!(kinds(7).await, [back, draft]);
        assert_eq!(kinds(10).await, [back, ("file", claim.file_by), draft]);
        let claim = shop.ready(&claim).await;
        let claim = shop.submitted(&claim).await;
        let asked = happened(&claim, Some("Which pump?"));
        let claim = claims::note_claim_query(&shop.owner, asked).await.unwrap();
        assert_eq!(kinds(10).await, [back, ("answer", None), draft]);
        let denied = NoteClaimAnswer {
            reason: Some("EW".to_owned()),
            ..answer(&claim, ClaimAnswer::Denied)
        };
        claims::note_claim_answer(&shop.owner, denied)
            .await
            .unwrap();
        let mut all = kinds(10).await;
        all.sort_unstable();
        let mut expected = vec![back, ("rest", None), draft];
        expected.sort_unstable();
        assert_eq!(all, expected);
    }
}
