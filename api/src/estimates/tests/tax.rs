//! Offers under tax rules with conditions, with prices that hold the tax, and for customers with a certificate.

use nameplate_entities::kinds::{ChargeKind, LevelKind, StatedAs, TaxBasis, TripServes};
use nameplate_entities::{estimate_line, estimate_option, service_call};
use nameplate_rules::estimate::Content;
use nameplate_rules::money::Cents;
use nameplate_rules::tax::{Prices, Purchases, Serves, StatedAs as Stated, Treatment, When};
use rust_decimal::Decimal;
use sea_orm::{EntityTrait, Iterable};

use crate::base::ProblemCode::{Malformed, Missing, Superseded, Taken};
use crate::base::testing::refusals;
use crate::estimates::shown::page::ShopView;
use crate::estimates::shown::printed;
use crate::estimates::tests::testing::World;
use crate::estimates::writing::tax_facts::{LineFacts, OptionFacts};
use crate::estimates::*;
use crate::pricing::{self, AddTaxJurisdiction, NewLevel, NewTaxability};

fn rule(kind: ChargeKind, treatment: Treatment, when: When) -> NewTaxability {
    NewTaxability {
        treatment,
        when,
        ..NewTaxability::plain(kind, true, "as the rule says")
    }
}

/// Parts of up to a tenth in one amount are free, trips follow what they serve, all else is free.
fn by_share() -> Vec<NewTaxability> {
    let lump = || When {
        stated: Some(Stated::LumpSum),
        ..When::default()
    };
    let serves = |what| When {
        trip_serves: Some(what),
        ..When::default()
    };
    let never = |kind| NewTaxability::plain(kind, false, "not taxed here");
    vec![
        NewTaxability {
            parts_share_at_most: Some(Decimal::TEN),
            ..rule(ChargeKind::Part, Treatment::NotTaxed, lump())
        },
        NewTaxability {
            parts_apart: true,
            ..rule(ChargeKind::Part, Treatment::Taxed, When::default())
        },
        never(ChargeKind::Labour),
        rule(ChargeKind::Trip, Treatment::Taxed, serves(Serves::Parts)),
        rule(
            ChargeKind::Trip,
            Treatment::ProratedByParts,
            serves(Serves::Both),
        ),
        never(ChargeKind::Trip),
        never(ChargeKind::Diagnostic),
        never(ChargeKind::Freight),
        never(ChargeKind::Fee),
    ]
}

/// New rules for the place of the call's address, at 7.25 %.
pub(in crate::estimates) async fn rules(
    world: &World,
    taxability: Vec<NewTaxability>,
    prices: Prices,
) {
    let levels = vec![NewLevel::plain(
        "State",
        LevelKind::State,
        Decimal::new(725, 2),
    )];
    let from = "2026-05-01".parse().unwrap();
    let new = AddTaxJurisdiction {
        prices,
        ..AddTaxJurisdiction::plain("Pell", TaxBasis::Invoice, from, (levels, taxability))
    };
    pricing::add_tax_jurisdiction(&world.owner(), new)
        .await
        .unwrap();
}

fn part(price: i64) -> NewLine {
    NewLine {
        description: Some("Part".to_owned()),
        unit_price: Some(Cents(price)),
        ..NewLine::of(ChargeKind::Part)
    }
}

fn fee(price: i64) -> NewLine {
    NewLine {
        description: Some("Disposal".to_owned()),
        unit_price: Some(Cents(price)),
        ..NewLine::of(ChargeKind::Fee)
    }
}

/// An hour at this rate.
fn labour(price: i64) -> NewLine {
    NewLine {
        minutes: Some(60),
        unit_price: Some(Cents(price)),
        ..NewLine::of(ChargeKind::Labour)
    }
}

fn trip(price: i64, serves: Option<TripServes>) -> NewLine {
    NewLine {
        unit_price: Some(Cents(price)),
        facts: LineFacts {
            trip_serves: serves,
            ..LineFacts::default()
        },
        ..NewLine::of(ChargeKind::Trip)
    }
}

type Drafted = (i64, estimate_option::Model, Vec<estimate_line::Model>);

async fn draft(world: &mut World, option: NewOption) -> crate::base::Result<Drafted> {
    let command = DraftEstimate {
        idempotency_key: world.key(),
        call_id: world.call_id,
        offer: Offer {
            options: vec![NewOption {
                title: "Repair".to_owned(),
                ..option
            }],
            ..Offer::default()
        },
    };
    let revision = draft_estimate(&world.owner(), command).await?;
    let db = world.app.db.read();
    let option = store::options_of(db, revision.id).await?.remove(0);
    let lines = store::lines_of(db, &[option.id]).await?;
    Ok((revision.id, option, lines))
}

fn lump_sum(lines: Vec<NewLine>) -> NewOption {
    NewOption {
        lines,
        facts: OptionFacts {
            stated_as: StatedAs::LumpSum,
            ..OptionFacts::default()
        },
        ..NewOption::default()
    }
}

fn stated(lines: Vec<NewLine>) -> NewOption {
    NewOption {
        lines,
        ..NewOption::default()
    }
}

/// CDTFA annotation 315.0206: parts 120.00, labour 180.00, truck charge 25.00 for both, 9.43 of tax.
#[tokio::test]
async fn a_trip_is_taxed_by_what_it_serves_and_nobody_may_leave_that_out() {
    for mut world in World::everywhere().await {
        rules(&world, by_share(), Prices::BeforeTax).await;
        let job = |serves| stated(vec![part(12_000), labour(18_000), trip(2_500, serves)]);
        let refused = draft(&mut world, job(None)).await;
        let missing = (Missing, "options.0.lines.2.tripServes".to_owned());
        assert_eq!(refusals(refused), [missing]);
        let (id, option, lines) = draft(&mut world, job(Some(TripServes::Both)))
            .await
            .unwrap();
        assert_eq!((option.tax_cents, lines[2].taxable_cents), (943, 1_000));
        assert_eq!(
            taxed_words(&mut world, id).await,
            ["taxed", "", "taxed on 10.00"]
        );
        assert_eq!(lines[2].trip_serves, Some(TripServes::Both));
        let why = "Taxed at 7.25 % on 10.00 of 25.00 in Pell: as the rule says.";
        assert_eq!(lines[2].tax_reason, why);
        assert_eq!(lines[1].tax_reason, "Not taxed in Pell: not taxed here.");
    }
}

/// 18 CCR 1546(b): not more than a tenth in one amount is no sale of parts; more must be stated apart.
#[tokio::test]
async fn one_amount_is_printed_as_one_unless_its_parts_must_be_stated() {
    for mut world in World::everywhere().await {
        rules(&world, by_share(), Prices::BeforeTax).await;
        let small = lump_sum(vec![part(1_000), labour(9_000)]);
        let (id, option, _) = draft(&mut world, small).await.unwrap();
        assert_eq!((option.tax_cents, option.parts_to_be_stated), (0, false));
        assert_eq!(printed_lines(&mut world, id).await, 1);
        let large = lump_sum(vec![part(1_001), labour(9_000)]);
        let (id, option, lines) = draft(&mut world, large).await.unwrap();
        assert_eq!(
            (lines[0].taxable_cents, option.parts_to_be_stated),
            (1_001, true)
        );
        assert_eq!(printed_lines(&mut world, id).await, 2);
    }
}

/// Sends the revision and gives what it says.
async fn sent(world: &mut World, revision_id: i64) -> Content {
    world.send(revision_id).await.unwrap();
    let revisions = world.revisions().await;
    let sent = revisions.iter().find(|row| row.id == revision_id).unwrap();
    let frozen = sent.content_json.as_deref().unwrap();
    serde_json::from_str(frozen).unwrap()
}

/// What the page says of each line's tax.
async fn taxed_words(world: &mut World, revision_id: i64) -> Vec<String> {
    let content = sent(world, revision_id).await;
    let page = printed::page(content, ShopView::default(), "", "");
    let lines = page.options.into_iter().flat_map(|option| option.lines);
    lines.map(|line| line.taxed).collect()
}

/// Counts what the revision's first option prints.
async fn printed_lines(world: &mut World, revision_id: i64) -> usize {
    let content = sent(world, revision_id).await;
    let option = content.options.into_iter().next().unwrap();
    option.as_printed().unwrap().0.lines.len()
}

#[tokio::test]
async fn a_price_that_holds_the_tax_is_what_the_customer_pays() {
    for mut world in World::everywhere().await {
        let kinds = [
            ChargeKind::Part,
            ChargeKind::Labour,
            ChargeKind::Trip,
            ChargeKind::Diagnostic,
            ChargeKind::Freight,
        ];
        let mut taxability = kinds
            .map(|kind| NewTaxability::plain(kind, true, "taxed"))
            .to_vec();
        taxability.push(NewTaxability::plain(
            ChargeKind::Fee,
            false,
            "not taxed here",
        ));
        rules(&world, taxability, Prices::WithTax).await;
        let job = NewOption {
            discount_percent: Some(Decimal::TEN),
            ..stated(vec![part(9_999), labour(12_001), fee(3_333)])
        };
        let (_, option, lines) = draft(&mut world, job).await.unwrap();
        // 253.33 less 25.33; of the 198.00 or so that is taxed, 7.25 in 107.25 is tax.
        assert_eq!(option.total_cents, 22_800);
        for line in &lines {
            let shown = line.shown_net_cents.unwrap() - line.shown_discount_cents.unwrap();
            assert_eq!(line.net_cents - line.discount_cents + line.tax_cents, shown);
            assert!(line.discount_cents >= 0);
        }
        assert_eq!((lines[2].tax_cents, lines[2].net_cents), (0, 3_333));
        let parts = option.net_cents - option.discount_cents + option.tax_cents;
        assert_eq!(parts, option.total_cents);
        let taxed: i64 = lines[..2].iter().map(|line| line.taxable_cents).sum();
        assert_eq!(taxed * 725 / 10_000, option.tax_cents);
    }
}

#[tokio::test]
async fn a_certificate_counts_once_it_is_complete_and_here() {
    for mut world in World::everywhere().await {
        let act = world.owner();
        let call = service_call::Entity::find_by_id(world.call_id)
            .one(world.app.db.read())
            .await
            .unwrap()
            .unwrap();
        let claimed = pricing::AddTaxExemption {
            customer_id: call.customer_id,
            certificate: "EX-7".to_owned(),
            reason: "resale".to_owned(),
            valid_from: "2026-01-01".parse().unwrap(),
            valid_until: None,
            purchases: Purchases::Single,
            details: pricing::CertificateDetails::default(),
        };
        let held = pricing::add_tax_exemption(&act, claimed).await.unwrap();
        let job = || stated(vec![labour(10_000)]);
        let (_, option, lines) = draft(&mut world, job()).await.unwrap();
        assert_eq!((option.tax_cents, option.tax_exemption_id), (700, None));
        assert!(
            lines[0]
                .tax_reason
                .ends_with("certificate EX-7 is claimed but not on file.")
        );
        let complete = pricing::CompleteTaxExemption {
            tax_exemption_id: held.id,
            version: held.version,
            valid_until: None,
            details: pricing::CertificateDetails {
                buyer_name: Some("Sample Rentals".to_owned()),
                business_address: Some("1 Sample Street".to_owned()),
                tax_id: Some("00-0000000".to_owned()),
                business_type: Some("lessor".to_owned()),
                received_on: Some("2026-05-30".parse().unwrap()),
            },
        };
        pricing::complete_tax_exemption(&act, complete)
            .await
            .unwrap();
        let (_, option, lines) = draft(&mut world, job()).await.unwrap();
        assert_eq!(
            (option.tax_cents, option.tax_exemption_id),
            (0, Some(held.id))
        );
        assert_eq!(
            lines[0].tax_reason,
            "Not taxed: exemption certificate EX-7 (resale)."
        );
        let tx = world.app.db.write().await.unwrap();
        let day = "2026-06-01".parse().unwrap();
        pricing::certificate_used(&tx, &act, ("test", held.id), Some(day))
            .await
            .unwrap();
        tx.commit().await.unwrap();
        let (_, option, lines) = draft(&mut world, job()).await.unwrap();
        assert_eq!(option.tax_cents, 700);
        assert!(
            lines[0]
                .tax_reason
                .ends_with("was for one purchase, made on 2026-06-01.")
        );
    }
}

#[tokio::test]
async fn facts_that_a_line_cannot_have_are_refused_and_a_warranty_swap_is_free() {
    let mut world = World::new().await;
    let swap = NewLine {
        facts: LineFacts {
            replaced_under_warranty: true,
            ..LineFacts::default()
        },
        unit_price: None,
        ..part(0)
    };
    let mut wrong = stated(vec![
        swap.clone(),
        NewLine {
            facts: swap.facts.clone(),
            ..fee(100)
        },
    ]);
    wrong.facts.material_evidence = Some("Nothing was used.".to_owned());
    let mut refused = refusals(draft(&mut world, wrong).await);
    refused.retain(|(code, _)| *code == Malformed);
    let paths: Vec<&str> = refused.iter().map(|(_, path)| path.as_str()).collect();
    let wanted = [
        "options.0.materialEvidence",
        "options.0.lines.1.replacedUnderWarranty",
    ];
    assert_eq!(paths, wanted);
}

/// A certificate that is complete and here, for the customer of the call at hand.
async fn certificate(world: &World, number: &str, valid_until: &str) -> crate::base::Result<()> {
    let call = service_call::Entity::find_by_id(world.call_id)
        .one(world.app.db.read())
        .await
        .unwrap()
        .unwrap();
    let held = pricing::AddTaxExemption {
        customer_id: call.customer_id,
        certificate: number.to_owned(),
        reason: "resale".to_owned(),
        valid_from: "2026-01-01".parse().unwrap(),
        valid_until: Some(valid_until.parse().unwrap()),
        purchases: Purchases::Blanket,
        details: pricing::CertificateDetails {
            buyer_name: Some("Sample Rentals".to_owned()),
            business_address: Some("1 Sample Street".to_owned()),
            tax_id: Some("00-0000000".to_owned()),
            business_type: Some("lessor".to_owned()),
            received_on: Some("2026-05-30".parse().unwrap()),
        },
    };
    pricing::add_tax_exemption(&world.owner(), held).await?;
    Ok(())
}

#[tokio::test]
async fn one_certificate_is_recorded_once() {
    let world = World::new().await;
    certificate(&world, "EX-8", "2026-12-31").await.unwrap();
    let twice = certificate(&world, " ex-8 ", "2027-12-31").await;
    assert_eq!(refusals(twice), [(Taken, "certificate".to_owned())]);
}

#[tokio::test]
async fn a_draft_whose_tax_changed_by_the_day_it_is_sent_is_revised_first() {
    for mut world in World::everywhere().await {
        let next_day = chrono::TimeDelta::days(1);
        let changed = [(Superseded, "revisionId".to_owned())];
        let job = || stated(vec![labour(10_000)]);

        // A district tax that begins on the second of June, within the rules of May.
        let mut levels = vec![NewLevel::plain(
            "State",
            LevelKind::State,
            Decimal::new(725, 2),
        )];
        levels.push(NewLevel {
            from_on: Some("2026-06-02".parse().unwrap()),
            ..NewLevel::plain("Transit", LevelKind::District, Decimal::new(25, 2))
        });
        let taxability = ChargeKind::iter()
            .map(|kind| NewTaxability::plain(kind, true, "taxed"))
            .collect();
        let from = "2026-05-01".parse().unwrap();
        let new = AddTaxJurisdiction::plain("Pell", TaxBasis::Invoice, from, (levels, taxability));
        pricing::add_tax_jurisdiction(&world.owner(), new)
            .await
            .unwrap();
        let (yesterday, option, _) = draft(&mut world, job()).await.unwrap();
        assert_eq!(option.tax_cents, 725);
        world.app.clock.advance(next_day);
        assert_eq!(refusals(world.send(yesterday).await), changed);
        let (today, option, _) = draft(&mut world, job()).await.unwrap();
        assert_eq!(option.tax_cents, 750);

        // A certificate that comes in after the draft, and ends that day.
        certificate(&world, "EX-8", "2026-06-02").await.unwrap();
        assert_eq!(refusals(world.send(today).await), changed);
        let (free, option, _) = draft(&mut world, job()).await.unwrap();
        assert_eq!(option.tax_cents, 0);
        world.app.clock.advance(next_day);
        assert_eq!(refusals(world.send(free).await), changed);
        let (taxed, ..) = draft(&mut world, job()).await.unwrap();
        world.send(taxed).await.unwrap();
    }
}

/// SSUTA section 310, rule 2 (ARSD 64:06:01:63): a repair at home is taxed where the customer receives it. And a draft
/// made before somebody put that place right is not sent.
#[tokio::test]
async fn a_repair_is_taxed_where_the_machine_stands() {
    for mut world in World::everywhere().await {
        let job = || stated(vec![labour(10_000)]);
        let (at_pell, option, _) = draft(&mut world, job()).await.unwrap();
        assert_eq!(option.tax_cents, 700);

        let level = NewLevel::plain("State", LevelKind::State, Decimal::new(5, 0));
        let taxability = ChargeKind::iter()
            .map(|kind| NewTaxability::plain(kind, true, "taxed"))
            .collect();
        let from = "2026-01-01".parse().unwrap();
        let other =
            AddTaxJurisdiction::plain("Orme", TaxBasis::Invoice, from, (vec![level], taxability));
        let other = pricing::add_tax_jurisdiction(&world.owner(), other)
            .await
            .unwrap();
        world.is_taxed_in(other.id).await;
        assert_eq!(
            refusals(world.send(at_pell).await),
            [(Superseded, "revisionId".to_owned())]
        );
        let (at_orme, option, _) = draft(&mut world, job()).await.unwrap();
        assert_eq!(option.tax_cents, 500);
        world.send(at_orme).await.unwrap();
    }
}
