//! What fails again, what is registered or promised more than once, and what was found beside it.

use nameplate_entities::shop_warranty;
use nameplate_rules::coverage::{Answer, Exclusion, Reason};
use nameplate_rules::flags::ComponentClass;
use rust_decimal::Decimal;
use sea_orm::sea_query::Expr;
use sea_orm::{ActiveModelTrait, ActiveValue::Set};

use super::*;
use crate::coverage::{DecideCoverage, LineHours};
use crate::warranty::EndCover;

impl TestShop {
    /// A maker's year, after which a repair that did not hold is covered for sixty days; it ends with 10 June 2026.
    async fn sixty_days_after_a_repair(&mut self) {
        self.turn_to("2026-06-01");
        let programme = self.makers_year(Vec::new()).await;
        let terms = NewTerms {
            applies_from: day("2025-01-01"),
            failed_repair_days: Some(60),
            ..a_year(Vec::new())
        };
        self.terms_from(&programme, terms).await;
        self.bought("2025-06-10").await;
    }

    /// What the customer owes of an hour of labor if the same component is worn again on this day.
    async fn owed_again(&self, failed_on: &str) -> Cents {
        let component = self.components().await.swap_remove(0);
        let ask = Outlook {
            appliance_id: self.machine_id(),
            failed_on: Some(day(failed_on)),
            component_id: Some(component.id),
            failure_mode_id: Some(self.worn().await.id),
            said: Said::default(),
            lines: vec![OutlookLine {
                covers: Covers::Labour,
                amount: Cents(12_000),
                hours: None,
                distance: None,
            }],
        };
        let sight = coverage::outlook(&self.owner, &ask).await.unwrap();
        sight.decision.customer
    }

    /// The shop promises nothing of its own.
    async fn no_promises(&self) {
        let tx = self.bench.app.db.write().await.unwrap();
        shop_warranty::Entity::delete_many()
            .exec(&tx)
            .await
            .unwrap();
        tx.commit().await.unwrap();
    }
}

/// Told of on 9 June and decided so, though the call was opened two days after the year had ended; done on the 12th, so that
/// sixty days end with 11 August.
#[tokio::test]
async fn a_repair_that_the_programme_paid_and_that_did_not_hold_is_covered_for_its_days() {
    for mut shop in TestShop::everywhere().await {
        shop.sixty_days_after_a_repair().await;
        shop.turn_to("2026-06-12");
        let call = shop.accepted_call(Cents(10_000), None).await;
        let order = DecideCoverage {
            failed_on: Some(day("2026-06-09")),
            ..shop.decision(call.id)
        };
        assert_eq!(shop.decide(order).await.customer_cents, 0);
        shop.adjusted(&call).await;
        shop.no_promises().await;
        shop.turn_to("2026-08-20");
        assert_eq!(shop.owed_again("2026-08-11").await, Cents::ZERO);
        assert_eq!(shop.owed_again("2026-08-12").await, Cents(12_000));
    }
}

#[tokio::test]
async fn what_was_not_repaired_or_not_paid_by_the_programme_is_no_repair_that_did_not_hold() {
    for way in ["not decided", "misused", "looked at"] {
        for mut shop in TestShop::everywhere().await {
            shop.sixty_days_after_a_repair().await;
            let call = shop.accepted_call(Cents(10_000), None).await;
            let mut order = shop.decision(call.id);
            if way == "misused" {
                order.said.circumstances.push(Exclusion::Misuse);
            }
            if way != "not decided" {
                shop.decide(order).await;
            }
            if way == "looked at" {
                shop.mended(&call, 0, Method::None).await;
                shop.completed(&call).await;
            } else {
                shop.adjusted(&call).await;
            }
            shop.no_promises().await;
            shop.turn_to("2026-06-20");
            assert_eq!(shop.owed_again("2026-06-10").await, Cents::ZERO, "{way}");
            assert_eq!(shop.owed_again("2026-06-11").await, Cents(12_000), "{way}");
        }
    }
}

/// The maker voided the warranty: the make does not bring the programme back, but what failed by the last day is paid.
#[tokio::test]
async fn cover_that_was_ended_does_not_come_back_by_the_make() {
    for shop in TestShop::everywhere().await {
        let programme = shop.makers_year(Vec::new()).await;
        shop.bought("2026-01-10").await;
        let register = RegisterCover {
            appliance_id: shop.machine_id(),
            programme_id: programme.id,
            held: true,
            contract_number: None,
            begins_on: None,
            repair_call_id: None,
            component_id: None,
            note: None,
        };
        let cover = warranty::register_cover(&shop.owner, register).await;
        let cover = cover.unwrap();
        let end = EndCover {
            cover_id: cover.id,
            version: cover.version,
            ended_on: day("2026-05-20"),
            because: "the maker voided it".to_owned(),
        };
        warranty::end_cover(&shop.owner, end).await.unwrap();
        assert_eq!(shop.foreseen("2026-05-20").await.customer, Cents::ZERO);
        assert_eq!(shop.foreseen("2026-05-21").await.customer, Cents(12_000));
    }
}

/// The first promise ran until May 2027; the second, given when the shop promised less, is over in July 2026 but for parts.
#[tokio::test]
async fn a_newer_promise_does_not_hide_an_older_one_that_runs_longer() {
    for mut shop in TestShop::everywhere().await {
        let mut calls = Vec::new();
        for _ in 0..2 {
            let call = shop.accepted_call(Cents(10_000), None).await;
            if calls.is_empty() {
                shop.adjusted(&call).await;
            } else {
                let component = shop.components().await.swap_remove(0);
                shop.found_worn(&call, component.id).await;
            }
            calls.push(call);
        }
        let tx = shop.bench.app.db.write().await.unwrap();
        let first = shop_warranty::Entity::find().one(&tx).await.unwrap();
        let first = first.expect("a promise on what was adjusted");
        shop_warranty::Entity::update_many()
            .col_expr(
                shop_warranty::Column::LabourThrough,
                Expr::value(day("2027-05-01")),
            )
            .col_expr(
                shop_warranty::Column::PartsThrough,
                Expr::value(day("2026-06-30")),
            )
            .exec(&tx)
            .await
            .unwrap();
        let second = shop_warranty::ActiveModel {
            call_id: Set(calls[1].id),
            appliance_id: Set(first.appliance_id),
            component_id: Set(first.component_id),
            written_on: Set(first.written_on),
            labour_through: Set(Some(day("2026-07-01"))),
            parts_through: Set(Some(day("2027-06-01"))),
            ..Default::default()
        };
        second.insert(&tx).await.unwrap();
        tx.commit().await.unwrap();
        shop.turn_to("2026-09-01");
        assert_eq!(shop.owed_again("2026-08-01").await, Cents::ZERO);
        let seen = shop.foreseen("2027-05-02").await;
        assert_eq!(seen.customer, Cents(12_000), "both are over");
    }
}

/// Two components failed; terms for one kind of component wait until somebody says which finding counts.
#[tokio::test]
async fn of_two_components_found_the_decision_asks_which_and_the_reasons_name_both() {
    for shop in TestShop::everywhere().await {
        let components = shop.components().await;
        let class = |component: &component::Model| ComponentClass::named(&component.name);
        let first = &components[0];
        let other = components.iter().find(|other| class(other) != class(first));
        let other = other.expect("a component of another class");
        let programme = shop.makers_year(Vec::new()).await;
        let mut terms = a_year(Vec::new());
        terms.applies_from = day("2025-01-01");
        for segment in &mut terms.segments {
            segment.component_class = Some(class(first).key().to_owned());
        }
        shop.terms_from(&programme, terms).await;
        shop.bought("2026-01-10").await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        shop.found_worn(&call, first.id).await;
        let of_other = shop.found_worn(&call, other.id).await;
        let unsaid = shop.decide(shop.decision(call.id)).await;
        assert!(!unsaid.is_sure);
        let made = coverage::kept(&unsaid).unwrap().decision;
        assert_eq!(made.answers, [Answer::PaysOnce(vec![Missing::OneFinding])]);
        let expected = Reason::AlsoFound {
            component: first.name.clone(),
            others: vec![other.name.clone()],
            is_named: false,
        };
        assert_eq!(made.steps[0].reason, expected);
        let named = DecideCoverage {
            finding_id: Some(of_other.id),
            ..shop.decision(call.id)
        };
        let named = shop.decide(named).await;
        assert!(named.is_sure);
        assert_eq!(named.customer_cents, named.total_cents);
        shop.is_in_order().await;
    }
}

/// A maker who pays by distance and by the hour: nothing is sure of a trip until its distance is said.
#[tokio::test]
async fn a_trip_whose_distance_nobody_said_makes_the_decision_wait_for_it() {
    for shop in TestShop::everywhere().await {
        let programme = shop.makers_year(Vec::new()).await;
        let terms = NewTerms {
            applies_from: day("2025-01-01"),
            labour_rate: Some(Cents(9_000)),
            distance_rate: Some(Cents(100)),
            ..a_year(Vec::new())
        };
        shop.terms_from(&programme, terms).await;
        shop.bought("2026-01-10").await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        let waiting = shop.decide(shop.decision(call.id)).await;
        assert!(!waiting.is_sure);
        assert_eq!(waiting.at_most_cents, 0, "the shop bears what rates leave");
        let answers = coverage::kept(&waiting).unwrap().decision.answers;
        let missing = vec![Missing::Distance { line: 2 }];
        assert_eq!(answers, [Answer::PaysOnce(missing)]);
        let said = DecideCoverage {
            distance: Some(Decimal::from(12)),
            ..shop.decision(call.id)
        };
        assert!(shop.decide(said).await.is_sure);
        let hours = |line, hours| LineHours {
            line,
            hours: Decimal::from(hours),
        };
        let wrong = DecideCoverage {
            hours: vec![hours(1, 1), hours(2, 1), hours(4, -1)],
            ..shop.decision(call.id)
        };
        let outcome = closeout::decide_coverage(&shop.owner, wrong).await;
        assert_eq!(
            refusals(outcome),
            [
                (ProblemCode::NotFound, "hours.0.line".to_owned()),
                (ProblemCode::WrongState, "hours.1.line".to_owned()),
                (ProblemCode::OutOfRange, "hours.2.hours".to_owned()),
                (ProblemCode::NotFound, "hours.2.line".to_owned()),
            ]
        );
    }
}
