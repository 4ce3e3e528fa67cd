//! Drafting, papers, and what is missing.

use nameplate_entities::kinds::ClaimState;
use nameplate_rules::claims::FailureCodes;

use super::*;
use crate::base::ProblemCode::{Malformed, Missing, NotFound, Taken, WrongState};
use crate::base::testing::{problems, refusals};
use crate::claims::{AddClaimPaper, ChangeClaim, SetFailureCodes};

impl TestShop {
    fn claim_paper(&self, claim: &claim::Model, evidence: EvidenceKind) -> AddClaimPaper {
        AddClaimPaper {
            idempotency_key: self.key(),
            claim_id: claim.id,
            evidence,
            attachment_id: None,
            tag: None,
            note: None,
        }
    }
}

#[tokio::test]
async fn a_draft_is_filled_from_the_call_and_a_second_one_is_refused_naming_the_first() {
    for shop in TestShop::everywhere().await {
        let codes = SetFailureCodes {
            component_id: None,
            failure_mode_id: shop.a_failure().await.id,
            codes: FailureCodes {
                symptom: Some("11x".to_owned()),
                repairs: vec!["a".to_owned()],
                ..FailureCodes::default()
            },
        };
        claims::set_failure_codes(&shop.owner, codes).await.unwrap();
        let claimed = shop.claimable(vec![Evidence::OldPart], None).await;
        let tag = shop.kept(claimed.call.id).await;
        let order = shop.draft(&claimed.bill);
        let claim = claims::draft_claim(&shop.owner, order.clone())
            .await
            .unwrap();
        let again = claims::draft_claim(&shop.owner, order).await.unwrap();
        assert_eq!(claim, again, "one key drafts once");
        assert_eq!(claim.number, "CL-000001");
        assert_eq!(claim.programme_id, claimed.programme.id);
        assert_eq!(claim.claimed_cents, claimed.bill.total_cents);
        assert_eq!(claim.complaint, claimed.call.complaint);
        assert!(
            claim.diagnosis.contains("Cause: dry running."),
            "{}",
            claim.diagnosis
        );
        assert!(
            claim.diagnosis.contains("replaced, 30 minutes"),
            "{}",
            claim.diagnosis
        );
        let codes = claim.codes_json.clone().unwrap();
        assert!(codes.contains("11X") && codes.contains("\"A\""), "{codes}");
        // Ten days after June 1, 2026 comes a Thursday, which needs no moving on.
        assert_eq!(claim.file_by, Some(today() + Days::new(10)));
        let known = claims::Known::of(shop.bench.app.db.read(), claim.clone()).await;
        let known = known.unwrap();
        let tags: Vec<_> = (known.papers.iter())
            .filter_map(|paper| Some(paper.kept_part.as_ref()?.number.clone()))
            .collect();
        assert_eq!(tags, [tag], "what is kept and asked for goes with it");
        let second = claims::draft_claim(&shop.owner, shop.draft(&claimed.bill)).await;
        let refused = problems(second).remove(0);
        assert_eq!((refused.code, refused.path.as_str()), (Taken, "invoiceId"));
        assert!(refused.message.contains("CL-000001"), "{}", refused.message);
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn an_invoice_of_a_customer_and_a_call_nothing_was_decided_on_have_no_claim() {
    let shop = TestShop::open().await;
    let bill = shop.bill(5_000).await;
    let outcome = claims::draft_claim(&shop.owner, shop.draft(&bill)).await;
    let at_invoice = [(WrongState, "invoiceId".to_owned())];
    assert_eq!(refusals(outcome), at_invoice);
    let (payer, _) = shop.claim_payer(Vec::new(), None).await;
    let call = shop.accepted_call(Cents(10_000), None).await;
    let bill = shop.billed_to(&call, &payer).await;
    let outcome = claims::draft_claim(&shop.owner, shop.draft(&bill)).await;
    assert_eq!(refusals(outcome), at_invoice);
}

#[tokio::test]
async fn a_claim_is_ready_only_once_everything_asked_for_is_there() {
    for shop in TestShop::everywhere().await {
        let asked = vec![
            Evidence::OldPart,
            Evidence::ContractNumber,
            Evidence::ProofOfPurchase,
        ];
        let claimed = shop.claimable(asked, None).await;
        let claim = shop.drafted(&claimed).await;
        let missing = refusals(claims::make_claim_ready(&shop.owner, of(&claim)).await);
        let expected = ["proof_of_purchase", "old_part", "contract_number"]
            .map(|kind| (Missing, format!("required.evidence.{kind}")));
        assert_eq!(missing, expected);

        let tag = shop.kept(claimed.call.id).await;
        let part = AddClaimPaper {
            tag: Some(tag.to_lowercase()),
            ..shop.claim_paper(&claim, EvidenceKind::OldPart)
        };
        let added = claims::add_claim_paper(&shop.owner, part.clone())
            .await
            .unwrap();
        let again = claims::add_claim_paper(&shop.owner, part).await.unwrap();
        assert_eq!(added, again);
        let receipt = shop.scan(
            On::Appliance(shop.machine_id()),
            AttachmentKind::ProofOfPurchase,
        );
        let proof = AddClaimPaper {
            attachment_id: Some(receipt.await.id),
            ..shop.claim_paper(&claim, EvidenceKind::ProofOfPurchase)
        };
        claims::add_claim_paper(&shop.owner, proof.clone())
            .await
            .unwrap();
        let twice = AddClaimPaper {
            idempotency_key: shop.key(),
            ..proof
        };
        let twice = claims::add_claim_paper(&shop.owner, twice).await;
        assert_eq!(refusals(twice), [(Taken, "attachmentId".to_owned())]);
        let number = AddClaimPaper {
            note: Some("SC-77-1002".to_owned()),
            ..shop.claim_paper(&claim, EvidenceKind::ContractNumber)
        };
        let number = claims::add_claim_paper(&shop.owner, number).await.unwrap();
        let stale = claims::make_claim_ready(&shop.owner, of(&claim)).await;
        assert_eq!(refusals(stale)[0].1, "version");
        let db = shop.bench.app.db.read();
        let claim = claims::get_claim(db, "", claim.id).await.unwrap();
        let ready = shop.ready(&claim).await;
        assert_eq!(ready.state, ClaimState::Ready);
        let removed = claims::remove_claim_paper(&shop.owner, number.id).await;
        assert_eq!(refusals(removed), [(WrongState, "claimId".to_owned())]);
        let back = claims::reopen_claim(&shop.owner, of(&ready)).await.unwrap();
        let without = claims::remove_claim_paper(&shop.owner, number.id)
            .await
            .unwrap();
        assert_eq!(without.version, back.version + 1);
        shop.claims_in_order().await;
    }
}

#[tokio::test]
async fn papers_of_another_call_and_papers_that_show_nothing_are_refused() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let claim = shop.drafted(&claimed).await;
        let other = shop.opened_call().await;
        let elsewhere = shop.scan(On::Call(other.id), AttachmentKind::Other).await;
        let tag = shop.kept(other.id).await;
        let of_other = AddClaimPaper {
            attachment_id: Some(elsewhere.id),
            ..shop.claim_paper(&claim, EvidenceKind::CustomerSignature)
        };
        let refused = refusals(claims::add_claim_paper(&shop.owner, of_other).await);
        assert_eq!(refused, [(NotFound, "attachmentId".to_owned())]);
        let of_other = AddClaimPaper {
            tag: Some(tag.clone()),
            ..shop.claim_paper(&claim, EvidenceKind::OldPart)
        };
        let refused = refusals(claims::add_claim_paper(&shop.owner, of_other).await);
        assert_eq!(refused, [(NotFound, "tag".to_owned())]);
        let wrong = AddClaimPaper {
            tag: Some(tag),
            ..shop.claim_paper(&claim, EvidenceKind::PlatePicture)
        };
        let refused = refusals(claims::add_claim_paper(&shop.owner, wrong).await);
        assert_eq!(refused, [(Malformed, "tag".to_owned())]);
        for (evidence, path) in [
            (EvidenceKind::PlatePicture, "attachmentId"),
            (EvidenceKind::OldPart, "tag"),
            (EvidenceKind::ContractNumber, "note"),
        ] {
            let nothing =
                claims::add_claim_paper(&shop.owner, shop.claim_paper(&claim, evidence)).await;
            assert_eq!(refusals(nothing), [(Missing, path.to_owned())]);
        }
    }
}

#[tokio::test]
async fn what_a_claim_says_changes_while_it_is_a_draft_and_codes_keep_their_shape() {
    for shop in TestShop::everywhere().await {
        let claimed = shop.claimable(Vec::new(), None).await;
        let claim = shop.drafted(&claimed).await;
        let change = |version, symptom: &str| ChangeClaim {
            claim_id: claim.id,
            version,
            complaint: Some("No heat since Monday".to_owned()),
            diagnosis: None,
            codes: Change::To(FailureCodes {
                symptom: Some(symptom.to_owned()),
                ..FailureCodes::default()
            }),
        };
        let wrong = claims::change_claim(&shop.owner, change(claim.version, "12")).await;
        assert_eq!(refusals(wrong), [(Malformed, "codes.symptom".to_owned())]);
        let changed = claims::change_claim(&shop.owner, change(claim.version, "120")).await;
        let changed = changed.unwrap();
        assert_eq!(changed.complaint, "No heat since Monday");
        assert_eq!(changed.diagnosis, claim.diagnosis);
        let ready = shop.ready(&changed).await;
        let late = claims::change_claim(&shop.owner, change(ready.version, "120")).await;
        assert_eq!(refusals(late), [(WrongState, "claimId".to_owned())]);
    }
}

#[tokio::test]
async fn codes_of_a_component_come_before_those_of_every_component() {
    for shop in TestShop::everywhere().await {
        let set = |component_id, symptom: &str, mode: i64| SetFailureCodes {
            component_id,
            failure_mode_id: mode,
            codes: FailureCodes {
                symptom: Some(symptom.to_owned()),
                ..FailureCodes::default()
            },
        };
        let mode = shop.a_failure().await.id;
        let own = Some(shop.a_component().await.id);
        for (component, symptom) in [(None, "111"), (own, "222"), (own, "333")] {
            let order = set(component, symptom, mode);
            claims::set_failure_codes(&shop.owner, order).await.unwrap();
        }
        let nothing = SetFailureCodes {
            codes: FailureCodes::default(),
            ..set(own, "", mode)
        };
        let refused = refusals(claims::set_failure_codes(&shop.owner, nothing).await);
        assert_eq!(refused, [(Missing, "codes".to_owned())]);
        let claimed = shop.claimable(Vec::new(), None).await;
        let claim = shop.drafted(&claimed).await;
        assert!(claim.codes_json.unwrap().contains("333"));
        let order = set(own, "444", mode);
        let row = claims::set_failure_codes(&shop.owner, order).await.unwrap();
        assert_eq!(row.version, 3, "set in place of what was there");
        claims::remove_failure_codes(&shop.owner, row.id)
            .await
            .unwrap();
        let again = claims::remove_failure_codes(&shop.owner, row.id).await;
        assert_eq!(refusals(again), [(NotFound, "failureCodesId".to_owned())]);
    }
}
