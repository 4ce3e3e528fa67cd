//! Advices read, matched and posted.

use nameplate_entities::kinds::{AdviceOutcome, ClaimState, ClaimStep};
use nameplate_rules::claims::{ClaimStep as Step, Settlement};

use super::*;
use crate::invoices::ApplyCredit;
use crate::remittances::{
    FiguresAsked, SetAdviceRowAside, Sight, apply_credit, drop_advice, payer_figures,
    set_advice_row_aside,
};

#[tokio::test]
async fn an_advice_pays_in_full_short_not_at_all_and_what_nobody_knows_waits_as_credit() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let full = shop.claim(&payer, 20_000).await;
        let short = shop.claim(&payer, 10_000).await;
        let denied = shop.claim(&payer, 5_000).await;
        let rows = format!(
            "{},405.00,,,EFT-1\n{},180.00,117.00,ELR,EFT-1\n{},0.00,243.00,ew,EFT-1\nX-9,5.00,,,EFT-1\n{},1.00,,,EFT-1\n",
            full.number.to_lowercase(),
            short.payer_reference.clone().unwrap(),
            denied.number,
            full.number,
        );
        let writer = shop.bench.app.db.write().await.unwrap();
        let looked = shop.upload(&payer, &rows, Purpose::LookAt).await.unwrap();
        drop(writer); // which a look does not wait for
        let sights: Vec<Sight> = looked.rows.iter().map(|seen| seen.sight.clone()).collect();
        assert_eq!(
            sights,
            [
                Sight::Settles(Settlement::InFull),
                Sight::Settles(Settlement::Short {
                    left: Cents(11_700)
                }),
                Sight::Settles(Settlement::Refused {
                    left: Cents(24_300)
                }),
                Sight::NoClaim,
                Sight::Twice { line: 2 },
            ]
        );
        assert_eq!((looked.advice_id, looked.total), (None, Cents(59_100)));
        let advice_id = shop.take_in(&payer, &rows).await;
        let again = shop.upload(&payer, &rows, Purpose::LookAt).await;
        at(ProblemCode::Taken, "file", again);

        let order = shop.posting(advice_id);
        let posted = post_advice(&shop.owner, order.clone()).await.unwrap();
        let same = post_advice(&shop.owner, order).await.unwrap();
        assert_eq!(posted, same, "posted once with one key");
        let twice = post_advice(&shop.owner, shop.posting(advice_id)).await;
        at(ProblemCode::WrongState, "adviceId", twice);
        let payment = shop.payment_of(&posted).await;
        assert_eq!(
            (payment.amount_cents, payment.unallocated_cents),
            (59_100, 600)
        );
        assert_eq!(payment.held_cents, 600, "it waits for its claims");
        assert_eq!(payment.reference.as_deref(), Some("EFT-1"));
        assert_eq!(shop.claim_now(full.id).await, (ClaimState::Paid, 0));
        assert_eq!(shop.claim_now(short.id).await, (ClaimState::Paid, 11_700));
        assert_eq!(
            shop.claim_now(denied.id).await,
            (ClaimState::Denied, 24_300)
        );
        let reason = Some("ELR".to_owned());
        assert_eq!(
            shop.steps(short.id).await,
            [
                (ClaimStep::ApprovePart, Some(18_000), reason.clone()),
                (ClaimStep::Pay, Some(18_000), reason),
            ]
        );
        let reason = Some("EW".to_owned());
        let expected = [(ClaimStep::Deny, Some(24_300), reason)];
        assert_eq!(shop.steps(denied.id).await, expected);
        assert_eq!(shop.broken().await, Vec::<String>::new());
        what_waited_is_settled(&shop, (advice_id, short.id)).await;
    }
}

/// The row nobody knew is matched by hand, the one that came twice is set aside.
async fn what_waited_is_settled(shop: &Desk, (advice_id, short_id): (i64, i64)) {
    let rows = shop.advice_rows(advice_id).await;
    let (unknown, twice) = (rows[3].clone(), rows[4].clone());
    assert_eq!((unknown.claim_id, twice.claim_id), (None, None));
    let order = shop.matching(unknown.id, short_id);
    let settled = match_advice_row(&shop.owner, order.clone()).await.unwrap();
    assert_eq!(match_advice_row(&shop.owner, order).await.unwrap(), settled);
    assert_eq!(
        (settled.laid_cents, settled.outcome),
        (Some(500), Some(AdviceOutcome::Short))
    );
    assert_eq!(shop.claim_now(short_id).await, (ClaimState::Paid, 11_200));
    let again = match_advice_row(&shop.owner, shop.matching(unknown.id, short_id)).await;
    at(ProblemCode::WrongState, "rowId", again);
    let aside = SetAdviceRowAside {
        row_id: twice.id,
        reason: "A slip of the payer's".to_owned(),
    };
    set_advice_row_aside(&shop.owner, aside).await.unwrap();
    let db = shop.bench.app.db.read();
    let asked = FiguresAsked {
        payer_id: None,
        from: today(),
        through: today(),
        today: today(),
    };
    let figures = payer_figures(db, asked).await.unwrap();
    let figures = &figures[0].figures;
    assert_eq!((figures.filed, figures.answered), (3, 3));
    assert_eq!(
        (figures.in_full, figures.in_part, figures.denied),
        (1, 1, 1)
    );
    assert_eq!(
        (figures.claimed, figures.paid, figures.open),
        (Cents(94_500), Cents(59_000), Cents(35_500))
    );
    assert_eq!(figures.paid_in_full, 1);
    assert_eq!(shop.broken().await, Vec::<String>::new());
}

#[tokio::test]
async fn an_appeal_that_is_won_is_paid_by_a_second_advice_and_too_much_is_the_payers_credit() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let first = format!("{},180.00,117.00,ELR,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &first).await;
        shop.post(advice_id).await;
        shop.step(claim.id, Step::Appeal).await;
        let second = format!("{},118.00,,,EFT-2\n", claim.number);
        let looked = shop.upload(&payer, &second, Purpose::LookAt).await.unwrap();
        let over = Cents(100);
        assert_eq!(
            looked.rows[0].sight,
            Sight::Settles(Settlement::TooMuch { over })
        );
        let advice_id = shop.take_in(&payer, &second).await;
        let posted = shop.post(advice_id).await;
        assert_eq!(shop.payment_of(&posted).await.unallocated_cents, 100);
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Paid, 0));
        let row = &shop.advice_rows(advice_id).await[0];
        assert_eq!(
            (row.laid_cents, row.outcome),
            (Some(11_700), Some(AdviceOutcome::TooMuch))
        );
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn a_claim_that_was_not_submitted_is_neither_matched_nor_posted() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let rows = format!("{},297.00,,,EFT-1\n", claim.number);
        let matched = shop.take_in(&payer, &rows).await;
        shop.step(claim.id, Step::Close).await;
        let posted = post_advice(&shop.owner, shop.posting(matched)).await;
        at(ProblemCode::WrongState, "adviceId", posted);
        let later = format!("{},297.00,,,EFT-2\n", claim.number);
        let looked = shop.upload(&payer, &later, Purpose::TakeIn).await.unwrap();
        assert_eq!(looked.rows[0].sight, Sight::TakesNoMoney);
        let row = shop.advice_rows(looked.advice_id.unwrap()).await[0].clone();
        assert_eq!(row.claim_id, None);
        let by_hand = match_advice_row(&shop.owner, shop.matching(row.id, claim.id)).await;
        at(ProblemCode::WrongState, "claimId", by_hand);
        let nobodys = match_advice_row(&shop.owner, shop.matching(row.id, 99)).await;
        at(ProblemCode::NotFound, "claimId", nobodys);
    }
}

#[tokio::test]
async fn an_advice_that_only_refuses_makes_no_payment() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let rows = format!("{},,,NWR,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &rows).await;
        let posted = shop.post(advice_id).await;
        assert_eq!((posted.total_cents, posted.payment_id), (0, None));
        assert_eq!(shop.claim_now(claim.id).await, (ClaimState::Denied, 29_700));
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn a_layout_names_its_columns_and_is_changed_by_the_version_that_was_read() {
    let shop = Desk::open().await;
    let payer = shop.payer().await;
    let stale = set_advice_layout(&shop.owner, layout(payer.row.id)).await;
    at(ProblemCode::Conflict, "version", stale);
    let mut wrong = layout(payer.row.id);
    wrong.version = Some(1);
    wrong.has_header = false;
    wrong.columns.claim = "1".to_owned();
    wrong.columns.paid = "1".to_owned();
    wrong.columns.refused = Some("Refused".to_owned());
    wrong.columns.reason = None;
    wrong.columns.reference = None;
    let outcome = set_advice_layout(&shop.owner, wrong).await;
    assert_eq!(
        refusals(outcome),
        [
            (ProblemCode::Malformed, "columns.refused".to_owned()),
            (ProblemCode::Malformed, "columns.paid".to_owned()),
        ]
    );
    let unnamed = (payer.row.id, Said::default());
    let file = "Claim,Paid,Refused,Why,Payment\nX-1,1.00,,,\n";
    let outcome = import_advice(&shop.owner, unnamed, file.as_bytes(), Purpose::TakeIn).await;
    at(ProblemCode::Missing, "reference", outcome);
}

#[tokio::test]
async fn money_that_waits_for_its_claim_is_free_for_no_other_until_it_is_set_aside() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let first = shop.claim(&payer, 10_000).await;
        let rows = format!(
            "{},297.00,,,EFT-1\nX-1,5.00,,,EFT-1\nX-2,2.00,,,EFT-1\n",
            first.number
        );
        let advice_id = shop.take_in(&payer, &rows).await;
        let posted = shop.post(advice_id).await;
        let second = shop.claim(&payer, 5_000).await;
        let apply = |amount| ApplyCredit {
            idempotency_key: shop.key(),
            customer_id: payer.row.customer_id,
            invoice_id: second.invoice_id,
            amount: Cents(amount),
        };
        let held = apply_credit(&shop.owner, apply(1)).await;
        at(ProblemCode::TooMuch, "amount", held);
        let rows = shop.advice_rows(advice_id).await;
        let aside = SetAdviceRowAside {
            row_id: rows[2].id,
            reason: "Nobody knows it".to_owned(),
        };
        set_advice_row_aside(&shop.owner, aside).await.unwrap();
        apply_credit(&shop.owner, apply(200)).await.unwrap();
        let still_held = apply_credit(&shop.owner, apply(1)).await;
        at(ProblemCode::TooMuch, "amount", still_held);
        let order = shop.matching(rows[1].id, second.id);
        match_advice_row(&shop.owner, order).await.unwrap();
        assert_eq!(shop.claim_now(second.id).await, (ClaimState::Paid, 23_600));
        let payment = shop.payment_of(&posted).await;
        assert_eq!((payment.unallocated_cents, payment.held_cents), (0, 0));
        let late = match_advice_row(&shop.owner, shop.matching(rows[2].id, second.id)).await;
        at(ProblemCode::TooMuch, "rowId", late);
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn a_claim_of_another_payer_is_told_and_not_matched() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let other = shop.payer().await;
        let rows = format!("{},297.00,,,EFT-1\n", claim.number);
        let looked = shop.upload(&other, &rows, Purpose::TakeIn).await.unwrap();
        let payers = Sight::OtherPayer("Halvorsen Claims".to_owned());
        assert_eq!(looked.rows[0].sight, payers);
        let row = shop.advice_rows(looked.advice_id.unwrap()).await[0].clone();
        let by_hand = match_advice_row(&shop.owner, shop.matching(row.id, claim.id)).await;
        at(ProblemCode::NotFound, "claimId", by_hand);
        assert_eq!(shop.broken().await, Vec::<String>::new());
    }
}

#[tokio::test]
async fn one_payment_comes_in_once_and_a_line_that_is_too_wide_is_no_amount_of_one() {
    for shop in Desk::everywhere().await {
        let payer = shop.payer().await;
        let claim = shop.claim(&payer, 10_000).await;
        let first = format!("{},200.00,97.00,ELR,EFT-1\n", claim.number);
        let advice_id = shop.take_in(&payer, &first).await;
        let mended = format!("{},201.00,96.00,ELR,EFT-1\n", claim.number);
        for purpose in [Purpose::LookAt, Purpose::TakeIn] {
            let again = shop.upload(&payer, &mended, purpose).await;
            at(ProblemCode::Taken, "reference", again);
        }
        drop_advice(&shop.owner, advice_id).await.unwrap();
        shop.take_in(&payer, &mended).await;

        let file = format!("{HEAD}{},1,234.50,,,EFT-2\n", claim.number);
        let asked = (payer.row.id, Said::default());
        let wide = import_advice(&shop.owner, asked, file.as_bytes(), Purpose::TakeIn).await;
        let Imported::Refused(faults) = wide.unwrap() else {
            panic!("thousands apart by a comma are two columns");
        };
        assert_eq!((faults.len(), faults[0].line), (1, 2));
    }
}
