//! Claims that go on: sent again, appealed with new papers, filed on an earlier day, and taken up again once closed.

use nameplate_entities::kinds::ClaimState;
use nameplate_entities::{claim_sending, outbox_mail};
use sea_orm::{PaginatorTrait, QueryOrder};

use super::*;
use crate::base::ProblemCode::{ImpossibleDate, Missing, WrongState};
use crate::base::outbox::Payload;
use crate::base::testing::refusals;
use crate::claims::AddClaimPaper;
use crate::remittances::{ClaimRest, bear_claim_rest};
use crate::shop;

impl TestShop {
    async fn sendings(&self, claim: &claim::Model) -> u64 {
        claim_sending::Entity::find()
            .filter(claim_sending::Column::ClaimId.eq(claim.id))
            .count(self.bench.app.db.read())
            .await
            .unwrap()
    }
}

#[tokio::test]
async fn a_submitted_claim_is_sent_again_as_to_another_address() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let claim = shop.filed(&claimed).await;
        let again = SubmitClaim {
            note: Some("To the address of the new office.".to_owned()),
            ..shop.submission(&claim, SentBy::Hand)
        };
        let done = claims::submit_claim(&shop.owner, again).await.unwrap();
        assert_eq!(done.claim.state, ClaimState::Submitted);
        assert_eq!(done.claim.submitted_on, claim.submitted_on);
        assert_eq!(shop.sendings(&claim).await, 2);
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn an_appeal_goes_with_the_papers_of_now_and_says_why() {
    for shop in TestShop::everywhere().await {
        let mail = Some("filing@halvorsen.example");
        let claimed = shop.claimable(Vec::new(), mail).await;
        let claim = shop.filed(&claimed).await;
        let denied = NoteClaimAnswer {
            reason: Some("NDF".to_owned()),
            ..answer(&claim, ClaimAnswer::Denied)
        };
        let claim = claims::note_claim_answer(&shop.owner, denied)
            .await
            .unwrap();
        let scan = shop.scan(On::Call(claimed.call.id), AttachmentKind::Damage);
        let paper = AddClaimPaper {
            idempotency_key: shop.key(),
            claim_id: claim.id,
            evidence: EvidenceKind::FaultPicture,
            attachment_id: Some(scan.await.id),
            tag: None,
            note: None,
        };
        claims::add_claim_paper(&shop.owner, paper).await.unwrap();
        let db = shop.bench.app.db.read();
        let claim = claims::get_claim(db, "", claim.id).await.unwrap();
        let sent = claims::claim_archive(&shop.owner, claim.id).await.unwrap();
        let now = claims::claim_archive_now(&shop.owner, claim.id)
            .await
            .unwrap();
        assert!(now.bytes.len() > sent.bytes.len(), "with the new paper");

        let silent = shop.submission(&claim, SentBy::Mail);
        let silent = claims::appeal_claim(&shop.owner, silent).await;
        assert_eq!(
            refusals(silent.map(|done| done.claim)),
            [(Missing, "note".to_owned())]
        );
        let appeal = SubmitClaim {
            note: Some("The picture shows the break.".to_owned()),
            ..shop.submission(&claim, SentBy::Mail)
        };
        let done = claims::appeal_claim(&shop.owner, appeal.clone())
            .await
            .unwrap();
        let once = claims::appeal_claim(&shop.owner, appeal).await.unwrap();
        assert_eq!(done.sending, once.sending, "one key sends once");
        assert_eq!(done.claim.state, ClaimState::Appealed);
        assert_eq!(done.sending.mailed_to.as_deref(), mail);
        assert!(done.sending.archive_json.contains("fault_picture"));
        let queued = outbox_mail::Entity::find()
            .order_by_desc(outbox_mail::Column::Id)
            .one(db)
            .await
            .unwrap()
            .unwrap();
        let Payload::Claim { sending_id } = serde_json::from_str(&queued.payload_json).unwrap()
        else {
            panic!("the last mail is no claim");
        };
        let settings = shop::settings(db).await.unwrap();
        let letter = claims::claim_letter(db, &settings, sending_id)
            .await
            .unwrap();
        let (subject, text) = (&letter.rendered.subject, &letter.rendered.text);
        assert!(subject.contains("Appeal of claim"), "{subject}");
        assert!(text.contains("The picture shows the break."), "{text}");
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn a_claim_is_filed_on_the_day_it_truly_went_out() {
    for shop in TestShop::everywhere().await {
        let (payer, programme) = shop.claim_payer(Vec::new(), None).await;
        shop.bought_on(before(60)).await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        shop.repair(call.id).await;
        let call = shop.done_on(&call, before(5)).await;
        shop.decided_as_found(call.id).await;
        let bill = shop.billed_to(&call, &payer).await;
        let claimed = Claimed {
            call,
            payer,
            programme,
            bill,
        };
        let claim = shop.drafted(&claimed).await;
        let claim = shop.ready(&claim).await;
        let on = |day| SubmitClaim {
            on: day,
            ..shop.submission(&claim, SentBy::Hand)
        };
        let early = claims::submit_claim(&shop.owner, on(before(6))).await;
        assert_eq!(
            refusals(early.map(|done| done.claim)),
            [(ImpossibleDate, "on".to_owned())]
        );
        let filed = claims::submit_claim(&shop.owner, on(before(3))).await;
        let claim = filed.unwrap().claim;
        assert_eq!(claim.submitted_on, Some(before(3)));
        let on = |day| NoteClaimAnswer {
            on: day,
            ..answer(&claim, ClaimAnswer::Approved)
        };
        let early = claims::note_claim_answer(&shop.owner, on(before(4))).await;
        assert_eq!(refusals(early), [(ImpossibleDate, "on".to_owned())]);
        let approved = claims::note_claim_answer(&shop.owner, on(before(2))).await;
        assert_eq!(approved.unwrap().state, ClaimState::Approved);
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn a_closed_claim_goes_on_where_it_was_closed_and_an_open_one_is_not_taken_up() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let claim = shop.filed(&claimed).await;
        let part = NoteClaimAnswer {
            amount: Some(Cents(5_000)),
            ..answer(&claim, ClaimAnswer::InPart)
        };
        let claim = claims::note_claim_answer(&shop.owner, part).await.unwrap();
        let why = Some("Closed by mistake.");
        let open = claims::reopen_closed_claim(&shop.owner, happened(&claim, why)).await;
        assert_eq!(refusals(open), [(WrongState, "claimId".to_owned())]);
        for _ in 0..2 {
            let db = shop.bench.app.db.read();
            let now = claims::get_claim(db, "", claim.id).await.unwrap();
            let closed = claims::close_claim(&shop.owner, happened(&now, why)).await;
            let closed = closed.unwrap();
            let silent = claims::reopen_closed_claim(&shop.owner, happened(&closed, None)).await;
            assert_eq!(refusals(silent), [(Missing, "note".to_owned())]);
            let again = claims::reopen_closed_claim(&shop.owner, happened(&closed, why)).await;
            assert_eq!(again.unwrap().state, ClaimState::PartApproved);
        }
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn an_approval_that_is_taken_back_is_a_denial_that_can_be_disputed() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let claim = shop.filed(&claimed).await;
        let approved = answer(&claim, ClaimAnswer::Approved);
        let claim = claims::note_claim_answer(&shop.owner, approved)
            .await
            .unwrap();
        let denied = NoteClaimAnswer {
            reason: Some("EW".to_owned()),
            ..answer(&claim, ClaimAnswer::Denied)
        };
        let claim = claims::note_claim_answer(&shop.owner, denied)
            .await
            .unwrap();
        assert_eq!(claim.state, ClaimState::Denied);
        let dispute = shop.dispute(&claim, "The machine was bought in April.");
        let appealed = claims::appeal_claim(&shop.owner, dispute).await.unwrap();
        assert_eq!(appealed.claim.state, ClaimState::Appealed);
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn a_denial_is_disputed_also_while_the_shop_bears_what_it_left() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.billed_to_the_maker().await;
        let claim = shop.filed(&claimed).await;
        let denied = NoteClaimAnswer {
            reason: Some("EW".to_owned()),
            ..answer(&claim, ClaimAnswer::Denied)
        };
        let claim = claims::note_claim_answer(&shop.owner, denied)
            .await
            .unwrap();
        let rest = ClaimRest {
            idempotency_key: shop.key(),
            claim_id: claim.id,
            reason: "Too late, they say".to_owned(),
            amount: None,
        };
        bear_claim_rest(&shop.owner, rest).await.unwrap();
        let dispute = shop.dispute(&claim, "It was bought in April.");
        let appealed = claims::appeal_claim(&shop.owner, dispute).await.unwrap();
        assert_eq!(appealed.claim.state, ClaimState::Appealed);
        assert_eq!(shop.sendings(&claim).await, 2);
        shop.claims_in_order().await;
    }
}
