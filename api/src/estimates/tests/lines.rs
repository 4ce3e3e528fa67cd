//! Single lines: discounts of their own, whether parts are new, and what a place wants of them in writing.

use chrono::TimeDelta;
use nameplate_entities::kinds::{
    AnswerWay, ChargeKind, ConsentHow, PartCondition, StatedAs, WhenMissing, WorkOutcome,
};
use nameplate_entities::{customer, estimate_line, estimate_option, estimate_revision};
use nameplate_rules::local_rules::Element;
use nameplate_rules::money::Cents;
use nameplate_rules::pricing::labour::WorkHours;
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, EntityTrait, IntoActiveModel};

use crate::base::Change;
use crate::base::ProblemCode::{Malformed, SettingMissing, Taken, TooMuch};
use crate::base::testing::refusals;
use crate::estimates::more_work::consents;
use crate::estimates::shown::page::{LineView, ShopView};
use crate::estimates::shown::{local, printed};
use crate::estimates::tests::testing::{World, by_telephone};
use crate::estimates::*;
use crate::local_rules::{AddLocalRules, add_local_rules};
use crate::pricing;

fn hour() -> NewLine {
    NewLine {
        minutes: Some(60),
        ..NewLine::of(ChargeKind::Labour)
    }
}

fn repair(lines: Vec<NewLine>) -> NewOption {
    NewOption {
        title: "Repair".to_owned(),
        lines,
        ..NewOption::default()
    }
}

type Drafted = (
    estimate_revision::Model,
    estimate_option::Model,
    Vec<estimate_line::Model>,
);

impl World {
    async fn draft_option(&mut self, option: NewOption) -> crate::base::Result<Drafted> {
        let command = DraftEstimate {
            idempotency_key: self.key(),
            call_id: self.call_id,
            offer: Offer {
                options: vec![option],
                ..Offer::default()
            },
        };
        let revision = draft_estimate(&self.owner(), command).await?;
        let db = self.app.db.read();
        let option = store::options_of(db, revision.id).await?.remove(0);
        let lines = store::lines_of(db, &[option.id]).await?;
        Ok((revision, option, lines))
    }

    /// Sends a revision, and gives the lines on its page and the notes beside them in its PDF.
    async fn sent_lines(&mut self, revision_id: i64) -> (Vec<LineView>, Vec<Option<String>>) {
        self.send(revision_id).await.unwrap();
        let db = self.app.db.read();
        let sent = store::get_revision(db, "", revision_id).await.unwrap();
        let content = printed::content(&sent).unwrap();
        let page = printed::page(content.clone(), ShopView::default(), "", "");
        let paper = printed::document(content, Vec::new(), (true, None));
        let notes = paper.options[0].lines.iter().map(|line| line.note.clone());
        let notes = notes.collect();
        (page.options.into_iter().next().unwrap().lines, notes)
    }

    async fn local_rules(&self, estimate: Vec<Element>, when_missing: WhenMissing) {
        let rules = AddLocalRules {
            country: "US".to_owned(),
            region: "OH".to_owned(),
            name: "Repairs".to_owned(),
            effective_from: "2026-01-01".parse().unwrap(),
            estimate,
            bill: Vec::new(),
            when_missing,
            consent_percent: None,
            consent_limit_inside: true,
            consent_counts_tax: false,
            written_over: Some(Cents(5_000)),
            note_oral_consent: true,
            offer_removed_parts: false,
            labour_warranty_days: None,
            wording: None,
        };
        add_local_rules(&self.owner(), rules).await.unwrap();
    }

    async fn pump(&self, new: pricing::AddPart) -> nameplate_entities::part::Model {
        let new = pricing::AddPart {
            description: "Pump".to_owned(),
            cost: Cents(4_000),
            ..new
        };
        pricing::add_part(&self.owner(), new).await.unwrap()
    }
}

/// 10 % off 108.00 of labor, then 10 % off the 132.20 that is left; 7 % of tax on the 87.48 that labor comes to.
#[tokio::test]
async fn a_discount_on_one_line_comes_before_that_on_the_whole_and_tax_after_both() {
    for mut world in World::everywhere().await {
        let labour = NewLine {
            discount_percent: Some(Decimal::TEN),
            ..hour()
        };
        let whole = NewOption {
            discount_percent: Some(Decimal::TEN),
            ..repair(vec![labour, NewLine::of(ChargeKind::Trip)])
        };
        let (revision, option, lines) = world.draft_option(whole).await.unwrap();
        let shown = |line: &estimate_line::Model| {
            (
                line.net_cents,
                line.own_discount_cents,
                line.discount_cents,
                line.taxable_cents,
            )
        };
        assert_eq!(shown(&lines[0]), (10_800, 1_080, 2_052, 8_748));
        assert_eq!(shown(&lines[1]), (3_500, 0, 350, 0));
        assert_eq!((option.discount_cents, option.tax_cents), (2_402, 612));
        assert_eq!(option.total_cents, 14_300 - 2_402 + 612);
        let (page, paper) = world.sent_lines(revision.id).await;
        assert_eq!(page[0].note, "Discount on this line 10.80");
        assert_eq!(page[0].taxed, "taxed");
        assert_eq!(paper[0].as_deref(), Some("Discount on this line 10.80"));
        assert_eq!((page[1].note.as_str(), &paper[1]), ("", &None));
    }
}

#[tokio::test]
async fn a_discount_on_one_line_is_never_more_than_the_line_and_leaves_alone_what_comes_with_a_part()
 {
    let mut world = World::new().await;
    let off = |amount| NewLine {
        discount_amount: Some(Cents(amount)),
        ..hour()
    };
    let refused = world
        .draft_option(repair(vec![hour(), off(10_801)]))
        .await
        .map(|_| ());
    let path = "options.0.lines.1.discountAmount".to_owned();
    assert_eq!(refusals(refused), [(TooMuch, path)]);
    let both = NewLine {
        discount_percent: Some(Decimal::TEN),
        ..off(100)
    };
    let refused = world.draft_option(repair(vec![both])).await.map(|_| ());
    let path = "options.0.lines.0.discountAmount".to_owned();
    assert_eq!(refusals(refused), [(Malformed, path)]);
    let pump = pricing::AddPart {
        number: "PU-77".to_owned(),
        core_deposit: Some(Cents(1_500)),
        ..pricing::AddPart::default()
    };
    let free = NewLine {
        part_id: Some(world.pump(pump).await.id),
        discount_percent: Some(Decimal::ONE_HUNDRED),
        ..NewLine::of(ChargeKind::Part)
    };
    let (_, _, lines) = world.draft_option(repair(vec![free])).await.unwrap();
    let off = lines
        .iter()
        .map(|line| (line.net_cents, line.discount_cents));
    assert_eq!(off.collect::<Vec<_>>(), [(8_000, 8_000), (1_500, 0)]);
}

/// 89.00 of diagnosis less 20.00 of its own; only the 69.00 that is left is credited with the repair.
#[tokio::test]
async fn a_diagnosis_with_a_discount_is_credited_for_what_is_left_of_it() {
    let mut world = World::new().await;
    let diagnosis = NewLine {
        discount_amount: Some(Cents(2_000)),
        ..NewLine::of(ChargeKind::Diagnostic)
    };
    let option = repair(vec![hour(), diagnosis]);
    let (_, _, lines) = world.draft_option(option).await.unwrap();
    assert_eq!(
        (lines[1].own_discount_cents, lines[1].discount_cents),
        (2_000, 8_900)
    );
}

#[tokio::test]
async fn an_option_that_comes_to_nothing_asks_for_no_deposit() {
    let mut world = World::new().await;
    let given = |percent| NewOption {
        discount_percent: Some(Decimal::ONE_HUNDRED),
        deposit_percent: Some(percent),
        ..repair(vec![hour()])
    };
    let refused = world.draft_option(given(Decimal::TEN)).await.map(|_| ());
    let path = "options.0.depositPercent".to_owned();
    assert_eq!(refusals(refused), [(TooMuch, path)]);
    assert!(world.draft_option(given(Decimal::ZERO)).await.is_ok());
}

/// 16 CCR 2725, Commercial Law 13-307 and 16 DCMR 637 want the class of each part on the paper.
#[tokio::test]
async fn a_place_that_wants_the_class_of_each_part_gets_it_and_no_paper_says_what_nobody_recorded()
{
    for mut world in World::everywhere().await {
        let pump = pricing::AddPart {
            number: "PU-77".to_owned(),
            ..pricing::AddPart::default()
        };
        let pump = world.pump(pump).await;
        let one = || NewLine {
            part_id: Some(pump.id),
            ..NewLine::of(ChargeKind::Part)
        };
        // Where nobody asks, nothing is demanded and nothing is said.
        let (revision, _, _) = world.draft_option(repair(vec![one()])).await.unwrap();
        let (page, paper) = world.sent_lines(revision.id).await;
        assert_eq!((page[0].note.as_str(), &paper[0]), ("", &None));
        let asked = vec![Element::PartClass];
        world.local_rules(asked, WhenMissing::Refuse).await;
        let (revision, _, _) = world.draft_option(repair(vec![one()])).await.unwrap();
        let today = revision.drafted_at.date_naive();
        let missing = local::missing_of(world.app.db.read(), &revision, today).await;
        let missing = missing.unwrap();
        assert_eq!(missing[0].element, Element::PartClass);
        let wanted = [(SettingMissing, "revisionId".to_owned())];
        assert_eq!(refusals(world.send(revision.id).await), wanted);
        let change = pricing::ChangePart {
            part_id: pump.id,
            version: pump.version,
            change: pricing::PartChange {
                condition: Change::To(PartCondition::Rebuilt),
                ..pricing::PartChange::default()
            },
        };
        pricing::change_part(&world.owner(), change).await.unwrap();
        let used = NewLine {
            part_condition: Some(PartCondition::Used),
            ..one()
        };
        let option = repair(vec![one(), used]);
        let (revision, _, _) = world.draft_option(option).await.unwrap();
        let (page, paper) = world.sent_lines(revision.id).await;
        let notes = page.iter().map(|line| line.note.as_str());
        assert_eq!(notes.collect::<Vec<_>>(), ["Rebuilt part", "Used part"]);
        assert_eq!(paper[1].as_deref(), Some("Used part"));
        let wrong = NewLine {
            part_condition: Some(PartCondition::New),
            ..hour()
        };
        let refused = world.draft_option(repair(vec![wrong])).await.map(|_| ());
        let path = "options.0.lines.0.partCondition".to_owned();
        assert_eq!(refusals(refused), [(Malformed, path)]);
    }
}

/// A customer who can only be called.
async fn without_mail(world: &World) {
    let tx = world.app.db.write().await.unwrap();
    let row = customer::Entity::find().one(&tx).await.unwrap().unwrap();
    let mut row = row.into_active_model();
    row.email = Set(None);
    row.update(&tx).await.unwrap();
    tx.commit().await.unwrap();
}

/// R152-11-5: a written copy over 50.00.
#[tokio::test]
async fn above_its_amount_a_place_takes_no_acceptance_by_telephone_of_what_was_only_shown() {
    for mut world in World::everywhere().await {
        world.local_rules(Vec::new(), WhenMissing::Refuse).await;
        without_mail(&world).await;
        let (revision, option, _) = world.draft_option(repair(vec![hour()])).await.unwrap();
        world.present(revision.id).await.unwrap();
        let refused = world.accept_by_telephone(revision.id).await;
        assert_eq!(refusals(refused), [(SettingMissing, "by".to_owned())]);
        let signed = RecordAcceptance {
            idempotency_key: world.key(),
            revision_id: revision.id,
            option_id: option.id,
            told: Told {
                way: AnswerWay::Signature,
                ..by_telephone()
            },
        };
        record_acceptance(&world.owner(), signed).await.unwrap();
    }
}

#[tokio::test]
async fn where_a_place_only_tells_an_acceptance_by_telephone_is_marked_unless_it_is_confirmed_by_mail()
 {
    for has_mail in [true, false] {
        let mut world = World::new().await;
        world.local_rules(Vec::new(), WhenMissing::Tell).await;
        if !has_mail {
            without_mail(&world).await;
        }
        let (revision, _, _) = world.draft_option(repair(vec![hour()])).await.unwrap();
        world.present(revision.id).await.unwrap();
        let accepted = world.accept_by_telephone(revision.id).await.unwrap();
        let today = revision.drafted_at.date_naive();
        let missing = local::missing_of(world.app.db.read(), &accepted, today).await;
        let missing = missing.unwrap().into_iter().map(|missing| missing.element);
        let wanted = if has_mail {
            Vec::new()
        } else {
            vec![Element::WrittenCopy]
        };
        assert_eq!(missing.collect::<Vec<_>>(), wanted);
    }
}

/// 40.00 accepted and 10.00 more come to what a place still takes by word of mouth; another cent does not.
#[tokio::test]
async fn a_consent_that_was_only_spoken_is_told_once_all_that_was_agreed_to_passes_the_amount() {
    let mut world = World::new().await;
    world.local_rules(Vec::new(), WhenMissing::Refuse).await;
    let flat = NewLine {
        description: Some("Repair at a flat price".to_owned()),
        unit_price: Some(Cents(4_000)),
        ..NewLine::of(ChargeKind::Fee)
    };
    let (revision, _, _) = world.draft_option(repair(vec![flat])).await.unwrap();
    let token = world.send(revision.id).await.unwrap();
    world.accept(&token).await;
    world.app.clock.advance(TimeDelta::hours(1));
    let steps = [
        (1_000, ConsentHow::ByTelephone, 0),
        (1, ConsentHow::InPerson, 1),
        (1, ConsentHow::InWriting, 0),
    ];
    for (added, how, told) in steps {
        let act = world.owner();
        let new = RecordConsent {
            idempotency_key: world.key(),
            call_id: world.call_id,
            added_work: "A second block".to_owned(),
            added_total: Cents(added),
            authorised_by: "Odalys Fenwick".to_owned(),
            how,
            telephone: Some("(415) 555-0142".to_owned()),
            conditions: None,
            given_at: act.at,
        };
        let consent = record_consent(&act, new).await.unwrap();
        let missing = consents::missing_of(world.app.db.read(), &consent).await;
        let missing = missing.unwrap();
        assert_eq!(missing.len(), told, "{added} {how:?}");
        if let Some(missing) = missing.first() {
            assert!(missing.words.starts_with("With this, 50.01 is agreed to"));
        }
    }
}

#[tokio::test]
async fn what_contradicts_itself_in_an_offer_is_refused_at_its_field() {
    let mut world = World::new().await;
    let trip = NewLine {
        hours: WorkHours::AfterHours,
        ..NewLine::of(ChargeKind::Trip)
    };
    let hose = NewLine {
        description: Some("Hose".to_owned()),
        unit_price: Some(Cents(1_000)),
        ..NewLine::of(ChargeKind::Part)
    };
    let named = |title: &str, line: NewLine| NewOption {
        title: title.to_owned(),
        ..repair(vec![line])
    };
    let mut diagnosed = named("Look", hose);
    diagnosed.facts.outcome = WorkOutcome::OnlyDiagnosed;
    let command = |options| DraftEstimate {
        idempotency_key: "wrong".to_owned(),
        call_id: world.call_id,
        offer: Offer {
            options,
            ..Offer::default()
        },
    };
    let twins = command(vec![named("Repair", hour()), named(" repair ", hour())]);
    assert_eq!(
        refusals(draft_estimate(&world.owner(), twins).await),
        [(Taken, "options.1.title".to_owned())]
    );
    let wrong = command(vec![named("Trip", trip), diagnosed]);
    assert_eq!(
        refusals(draft_estimate(&world.owner(), wrong).await),
        [
            (Malformed, "options.0.lines.0.hours".to_owned()),
            (Malformed, "options.1.outcome".to_owned()),
        ]
    );
    world.key();
}

#[tokio::test]
async fn a_deposit_on_an_old_part_is_not_lowered_by_a_discount_on_the_whole() {
    let mut world = World::new().await;
    let pump = pricing::AddPart {
        number: "PU-78".to_owned(),
        core_deposit: Some(Cents(1_500)),
        ..pricing::AddPart::default()
    };
    let part = NewLine {
        part_id: Some(world.pump(pump).await.id),
        ..NewLine::of(ChargeKind::Part)
    };
    let option = NewOption {
        discount_percent: Some(Decimal::TEN),
        ..repair(vec![part])
    };
    let (_, _, lines) = world.draft_option(option).await.unwrap();
    let off = lines
        .iter()
        .map(|line| (line.net_cents, line.discount_cents));
    assert_eq!(off.collect::<Vec<_>>(), [(8_000, 800), (1_500, 0)]);
}

/// 16 CCR 2722 and MCL 445.833 want each part and the rate of labour on the paper; one amount for all names neither.
#[tokio::test]
async fn one_amount_is_not_sent_where_a_place_wants_each_charge_on_the_paper() {
    let mut world = World::new().await;
    let elements = vec![Element::LinesItemised, Element::LabourRate];
    world.local_rules(elements, WhenMissing::Refuse).await;
    let mut lump = repair(vec![hour()]);
    lump.facts.stated_as = StatedAs::LumpSum;
    let (revision, _, _) = world.draft_option(lump).await.unwrap();
    let missing = (SettingMissing, "revisionId".to_owned());
    assert_eq!(
        refusals(world.send(revision.id).await),
        [missing.clone(), missing]
    );
    let (revision, _, _) = world.draft_option(repair(vec![hour()])).await.unwrap();
    world.send(revision.id).await.unwrap();
}
