//! Who pays is decided from what is on record, and kept; through the program's own acts.

use chrono::NaiveDate;
use nameplate_entities::kinds::{CustomerKind, ProgrammeRank};
use nameplate_entities::{coverage_decision, warranty_programme};
use nameplate_rules::coverage::{
    Answer, Covers, Evidence, Exclusion, Missing, RestBearer, StartEvent,
};
use nameplate_rules::dates::Term;
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;

use super::graph_tests::ask;
use super::testing::TestShop;
use crate::appliances::{self, ChangeAppliance, PlateChange};
use crate::base::testing::refusals;
use crate::base::{Change, ProblemCode};
use crate::closeout;
use crate::coverage::{self, DecideCoverage, Outlook, OutlookLine, Said};
use crate::customers::{self, AddCustomer};
use crate::graphql::ids::Kind;
use crate::warranty::{
    self, AddProgramme, KeepPart, NewSegment, NewTerms, PayerWays, RegisterCover,
};

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// A year of everything from purchase, for cover that begins in these years.
pub(super) fn a_year(evidence: Vec<Evidence>) -> NewTerms {
    NewTerms {
        applies_from: day("2020-01-01"),
        stays_with_machine: true,
        days_to_file: Some(30),
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
        exclusions: vec![Exclusion::Misuse, Exclusion::CommercialUse],
        evidence,
        deductible: Cents::ZERO,
        labour_rate: None,
        distance_rate: None,
        out_of_use: None,
        failed_repair_days: None,
        rest_borne_by: None,
    }
}

impl TestShop {
    /// The programme of the maker of the shop's machine.
    pub(super) async fn makers_year(&self, evidence: Vec<Evidence>) -> warranty_programme::Model {
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
            claim_mail: None,
            claim_days_move_on: true,
            may_bill_rest: false,
            days_to_pay: Some(45),
        };
        let payer = warranty::add_warranty_payer(&self.owner, (maker.id, ways)).await;
        let new = AddProgramme {
            payer_id: payer.unwrap().id,
            name: "First year".to_owned(),
            rank: ProgrammeRank::ApplianceMaker,
            make: Some("halvorsen".to_owned()),
            appliance_type_id: None,
            model_pattern: Some("HW-*".to_owned()),
            terms: a_year(evidence),
        };
        warranty::add_programme(&self.owner, new).await.unwrap()
    }

    pub(super) async fn bought(&self, on: &str) {
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
                bought_on: Change::To(day(on)),
                ..PlateChange::default()
            },
            built_in: None,
        };
        crate::callbacks::change_appliance(&self.owner, change)
            .await
            .unwrap();
    }

    pub(super) fn decision(&self, call_id: i64) -> DecideCoverage {
        DecideCoverage {
            idempotency_key: self.key(),
            call_id,
            option_id: None,
            failed_on: None,
            finding_id: None,
            distance: None,
            hours: Vec::new(),
            said: Said::default(),
        }
    }

    pub(super) async fn decide(&self, order: DecideCoverage) -> coverage_decision::Model {
        closeout::decide_coverage(&self.owner, order).await.unwrap()
    }
}

#[tokio::test]
async fn a_makers_year_pays_all_once_the_day_of_purchase_is_known_and_every_decision_is_kept() {
    for shop in TestShop::everywhere().await {
        shop.makers_year(Vec::new()).await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        let first = shop.decision(call.id);
        let unsure = shop.decide(first.clone()).await;
        assert!(!unsure.is_sure);
        assert_eq!(
            (unsure.customer_cents, unsure.at_most_cents),
            (0, unsure.total_cents)
        );
        let event = StartEvent::Purchase;
        let missing = Answer::PaysOnce(vec![Missing::Start { event }]);
        assert_eq!(coverage::kept(&unsure).unwrap().decision.answers, [missing]);
        let again = shop.decide(first).await;
        assert_eq!(again.id, unsure.id, "asked twice with one key");

        shop.bought("2025-06-02").await;
        let sure = shop.decide(shop.decision(call.id)).await;
        assert!(sure.is_sure);
        assert_eq!((sure.customer_cents, sure.at_most_cents), (0, 0));
        let db = shop.bench.app.db.read();
        let portions = coverage::portions_of(db, sure.id).await.unwrap();
        let paid: i64 = portions.iter().map(|portion| portion.cents).sum();
        assert_eq!(paid, sure.total_cents);
        let standing = coverage::standing_of_call(db, call.id).await.unwrap();
        assert_eq!(standing.unwrap().id, sure.id);

        shop.bought("2025-05-31").await;
        let late = shop.decide(shop.decision(call.id)).await;
        assert_eq!(late.customer_cents, late.total_cents, "a day too late");
    }
}

#[tokio::test]
async fn reasons_name_lines_by_what_they_say() {
    for shop in TestShop::everywhere().await {
        shop.makers_year(Vec::new()).await;
        shop.bought("2026-01-10").await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        shop.decide(shop.decision(call.id)).await;
        let decided = "{ serviceCalls(first: 1) { edges { node { coverageDecisions { reading { reasons } } } } } }";
        let answer = ask(&shop.owner, decided).await;
        let reading = &answer["data"]["serviceCalls"]["edges"][0]["node"]["coverageDecisions"][0];
        let reasons = reading["reading"]["reasons"].as_array().unwrap();
        for sentence in [
            "First year pays 100.00 of Part (line 1).",
            "First year pays 144.00 of Labour (line 2).",
            "First year pays 45.00 of Trip (line 3).",
        ] {
            assert!(reasons.iter().any(|said| said == sentence), "{answer:#}");
        }
        let machine = Kind::Appliance.id(shop.machine_id());
        let ahead = format!(
            "{{ coverageOutlook(applianceId: \"{}\", lines: [{{ covers: LABOUR, amount: \"90.00\" }}]) {{ reading {{ \
             reasons }} }} }}",
            machine.as_str()
        );
        let answer = ask(&shop.owner, &ahead).await;
        let reasons = answer["data"]["coverageOutlook"]["reading"]["reasons"].as_array();
        let sentence = "First year pays 90.00 of Labor (line 1).";
        let is_said = reasons.is_some_and(|said| said.iter().any(|said| said == sentence));
        assert!(is_said, "{answer:#}");
    }
}

#[tokio::test]
async fn what_the_desk_says_and_keeps_decides() {
    for shop in TestShop::everywhere().await {
        shop.makers_year(vec![Evidence::OldPart]).await;
        shop.bought("2026-01-10").await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        let without = shop.decide(shop.decision(call.id)).await;
        assert!(!without.is_sure, "the old part is asked for");
        let kept = KeepPart {
            idempotency_key: shop.key(),
            call_id: call.id,
            part_id: None,
            description: "Pump".to_owned(),
            return_by: None,
        };
        let kept = warranty::keep_part(&shop.owner, kept).await.unwrap();
        assert_eq!(kept.number, "KP-000001");
        assert!(shop.decide(shop.decision(call.id)).await.is_sure);
        let misused = DecideCoverage {
            said: Said {
                circumstances: vec![Exclusion::Misuse],
                ..Said::default()
            },
            ..shop.decision(call.id)
        };
        let misused = shop.decide(misused).await;
        assert_eq!(misused.customer_cents, misused.total_cents);
    }
}

#[tokio::test]
async fn a_machine_kept_out_of_a_makers_programme_holds_it_no_more() {
    let shop = TestShop::open().await;
    let programme = shop.makers_year(Vec::new()).await;
    shop.bought("2026-01-10").await;
    let ask = Outlook {
        appliance_id: shop.machine_id(),
        failed_on: None,
        component_id: None,
        failure_mode_id: None,
        said: Said::default(),
        lines: vec![OutlookLine {
            covers: Covers::Labour,
            amount: Cents(12_000),
            hours: None,
            distance: None,
        }],
    };
    let before = coverage::outlook(&shop.owner, &ask).await.unwrap();
    assert_eq!(before.decision.customer, Cents::ZERO);
    let out = RegisterCover {
        appliance_id: shop.machine_id(),
        programme_id: programme.id,
        held: false,
        contract_number: None,
        begins_on: None,
        repair_call_id: None,
        component_id: None,
        note: Some("bought for parts".to_owned()),
    };
    warranty::register_cover(&shop.owner, out.clone())
        .await
        .unwrap();
    let after = coverage::outlook(&shop.owner, &ask).await.unwrap();
    assert_eq!(after.decision.customer, Cents(12_000));
    let twice = warranty::register_cover(&shop.owner, out).await;
    assert_eq!(
        refusals(twice),
        [(ProblemCode::Taken, "programmeId".to_owned())]
    );
}

#[tokio::test]
async fn terms_that_cannot_be_are_refused_with_every_field() {
    let shop = TestShop::open().await;
    let programme = shop.makers_year(Vec::new()).await;
    let mut terms = a_year(Vec::new());
    terms.applies_from = day("2021-01-01");
    terms.deductible = Cents(-1);
    terms.days_to_file = Some(0);
    terms.rest_borne_by = Some(RestBearer::Customer);
    if let Some(segment) = terms.segments.first_mut() {
        segment.covers.clear();
        segment.percent = Decimal::ZERO;
        segment.after = Some(Term::Months(12));
        segment.component_class = Some("nonsense".to_owned());
    }
    let outcome = warranty::add_programme_terms(&shop.owner, (programme.id, terms)).await;
    let paths: Vec<String> = refusals(outcome)
        .into_iter()
        .map(|(_, path)| path)
        .collect();
    assert_eq!(
        paths,
        [
            "terms.segments.0.covers",
            "terms.segments.0.componentClass",
            "terms.segments.0.after",
            "terms.segments.0.percent",
            "terms.deductible",
            "terms.daysToFile",
            "terms.restBorneBy",
        ]
    );
    let same_day = warranty::add_programme_terms(&shop.owner, (programme.id, a_year(Vec::new())));
    assert_eq!(
        refusals(same_day.await),
        [(ProblemCode::Taken, "terms.appliesFrom".to_owned())]
    );
}
