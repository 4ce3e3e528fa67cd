//! Differences by example, and what must hold for any two revisions.

use proptest::prelude::*;

use super::*;
use crate::estimate::deposit::Deposit;
use crate::estimate::{ApplianceBlock, Around, CustomerBlock, ShopBlock, TaxLevel};
use crate::percent::Percent;
use crate::tax::{ChargeKind, LevelKind};

fn line(kind: ChargeKind, description: &str, (net, discount, tax): (i64, i64, i64)) -> Line {
    Line {
        kind,
        description: description.to_owned(),
        quantity: "1".to_owned(),
        unit_price: Cents(net),
        net: Cents(net),
        discount: Cents(discount),
        taxable: Cents(if tax == 0 { 0 } else { net - discount }),
        tax: Cents(tax),
        tax_reason: "Because.".to_owned(),
        section: String::new(),
        condition: None,
        own_discount: None,
    }
}

fn option(title: &str, lines: Vec<Line>) -> OfferOption {
    let sum = |amount: fn(&Line) -> Cents| Cents::sum(lines.iter().map(amount)).unwrap();
    let (net, discount, tax) = (sum(|l| l.net), sum(|l| l.discount), sum(|l| l.tax));
    OfferOption {
        title: title.to_owned(),
        summary: String::new(),
        subtotal: net,
        discount,
        tax_levels: vec![TaxLevel {
            name: "State".to_owned(),
            kind: LevelKind::State,
            rate: Percent::parse("6").unwrap(),
            taxable: Cents(0),
            tax,
        }],
        tax,
        total: Cents(net.0 - discount.0 + tax.0),
        lines,
        notes: String::new(),
        deposit: None,
        printed_as: crate::estimate::PrintedAs::default(),
    }
}

fn content(revision: u32, options: Vec<OfferOption>) -> Content {
    Content {
        number: "E-000007".to_owned(),
        revision,
        sent_on: "2026-06-01".parse().unwrap(),
        valid_until: "2026-07-01".parse().unwrap(),
        shop: ShopBlock::default(),
        customer: CustomerBlock::default(),
        appliance: ApplianceBlock::default(),
        ratings: Vec::new(),
        complaint: "No heat".to_owned(),
        found: "The element is open.".to_owned(),
        currency: "USD".to_owned(),
        options,
        price_book: "2026".to_owned(),
        notes: String::new(),
        warranty: String::new(),
        terms: String::new(),
        changes: None,
        weighing: None,
        around: Around::default(),
    }
}

#[test]
fn a_clerk_can_read_out_what_changed_since_the_first_revision() {
    let part = |net| line(ChargeKind::Part, "Element", (net, 0, net / 10));
    let labour = || line(ChargeKind::Labour, "Labor", (12_000, 0, 0));
    let before = content(1, vec![option("Repair", vec![part(8_000), labour()])]);
    let mut after = content(
        2,
        vec![
            option(
                "Repair",
                vec![part(9_000), line(ChargeKind::Trip, "Trip", (3_500, 0, 0))],
            ),
            option("Replace", vec![labour()]),
        ],
    );
    after.valid_until = "2026-07-15".parse().unwrap();
    after.options[0].deposit = Some(Deposit {
        percent: None,
        amount: Cents(5_000),
    });
    assert_eq!(
        difference(&before, &after).sentences(),
        [
            "Valid until: 2026-07-15 instead of 2026-07-01.",
            "\"Repair\" no longer includes Labor.",
            "\"Repair\", Element: price of one 90.00 instead of 80.00, amount 90.00 instead of 80.00, \
             tax 9.00 instead of 8.00.",
            "\"Repair\" now includes Trip at 35.00.",
            "Deposit wanted for \"Repair\": 50.00, before none.",
            "New option \"Replace\" at 120.00.",
            "The total of \"Repair\" falls from 208.00 to 134.00.",
        ]
    );
}

#[test]
fn an_option_with_another_name_in_the_same_place_is_the_same_option() {
    let lines = || vec![line(ChargeKind::Labour, "Labor", (12_000, 0, 0))];
    let before = content(1, vec![option("Repair", lines()), option("Wait", lines())]);
    let after = content(
        2,
        vec![option("Full repair", lines()), option("Wait", lines())],
    );
    let found = difference(&before, &after);
    assert_eq!(found.totals, []);
    assert_eq!(
        found.sentences(),
        ["Option \"Repair\" is now called \"Full repair\"."]
    );
}

#[test]
fn a_rate_that_changed_is_named_with_the_tax_it_moved() {
    let before = content(
        1,
        vec![option(
            "Repair",
            vec![line(ChargeKind::Part, "Element", (10_000, 0, 600))],
        )],
    );
    let mut after = content(
        2,
        vec![option(
            "Repair",
            vec![line(ChargeKind::Part, "Element", (10_000, 0, 650))],
        )],
    );
    after.options[0].tax_levels[0].rate = Percent::parse("6.5").unwrap();
    let whats: Vec<What> = difference(&before, &after)
        .changes
        .iter()
        .map(|change| change.what)
        .collect();
    assert_eq!(whats, [What::Tax, What::TaxRate]);
}

#[test]
fn a_difference_that_has_no_name_of_its_own_is_not_passed_over() {
    let before = content(1, vec![option("Repair", Vec::new())]);
    let mut after = before.clone();
    after.appliance.serial = "7Q04".to_owned();
    assert_eq!(
        difference(&before, &after).sentences(),
        ["Details of the document are changed."]
    );
}

fn some_lines() -> impl Strategy<Value = Vec<Line>> {
    let kinds = prop_oneof![Just(ChargeKind::Part), Just(ChargeKind::Labour)];
    let one = (kinds, 0_u8..3, 0_i64..4, 0_i64..2, 0_i64..3, 0_u8..3);
    prop::collection::vec(one, 0..6).prop_map(|lines| {
        lines
            .into_iter()
            .map(|(kind, name, net, discount, tax, section)| Line {
                section: ["", "Today", "Later"][usize::from(section)].to_owned(),
                ..line(
                    kind,
                    ["Element", "Labor", "Gasket"][usize::from(name)],
                    (net * 1_000, discount * 100, tax),
                )
            })
            .collect()
    })
}

fn some_content() -> impl Strategy<Value = Content> {
    let one = (0_u8..3, some_lines(), 0_u8..2, prop::option::of(0_i64..3));
    let options = prop::collection::vec(one, 0..4);
    (options, "[ab]{0,1}", "[ab]{0,1}", 0_u64..2).prop_map(|(options, found, notes, days)| {
        let options = options.into_iter().map(|(title, lines, notes, deposit)| {
            let title = ["Repair", "Better repair", "Replace"][usize::from(title)];
            OfferOption {
                notes: ["", "Ask first."][usize::from(notes)].to_owned(),
                deposit: deposit.map(|amount| Deposit {
                    percent: None,
                    amount: Cents(amount),
                }),
                ..option(title, lines)
            }
        });
        let mut made = content(1, options.collect());
        made.valid_until = made.valid_until + chrono::Days::new(days);
        (made.found, made.notes) = (found, notes);
        made
    })
}

proptest! {
    #[test]
    fn a_revision_differs_in_nothing_from_itself(one in some_content()) {
        prop_assert!(difference(&one, &one).is_empty());
        let later = Content { revision: 2, sent_on: one.valid_until, ..one.clone() };
        prop_assert!(difference(&one, &later).is_empty());
    }

    #[test]
    fn two_that_read_differently_are_never_told_to_be_the_same(one in some_content(), other in some_content()) {
        let found = difference(&one, &other);
        prop_assert_eq!(found.changes.is_empty(), printed(&one) == printed(&other));
        prop_assert_eq!(found.sentences().is_empty(), found.changes.is_empty());
    }

    #[test]
    fn a_total_that_moved_has_a_cause_in_its_option(one in some_content(), other in some_content()) {
        let found = difference(&one, &other);
        for moved in &found.totals {
            let explained = found.changes.iter().any(|change| {
                change.option.as_deref() == Some(moved.option.as_str()) && matches!(
                    change.what,
                    What::OptionAdded | What::OptionRemoved | What::LineAdded | What::LineRemoved
                        | What::Amount | What::Discount | What::Tax
                )
            });
            prop_assert!(explained, "{moved:?} of {:?}", found.changes);
        }
    }
}

#[test]
fn other_pictures_are_named_and_a_reason_that_is_a_sentence_ends_once() {
    let before = content(
        1,
        vec![option(
            "Repair",
            vec![line(ChargeKind::Part, "Element", (8_000, 0, 0))],
        )],
    );
    let mut after = before.clone();
    after.revision = 2;
    after.around.pictures = vec![Picture {
        words: "A burnt terminal".to_owned(),
        sha256: "00".repeat(32),
    }];
    after.options[0].lines[0].tax_reason = "Not taxed in Pell.".to_owned();
    assert_eq!(
        difference(&before, &after).sentences(),
        [
            "The pictures are changed.",
            "\"Repair\", Element: reason for its tax Not taxed in Pell instead of Because.",
        ]
    );
}

#[test]
fn prices_that_hold_the_tax_are_compared_as_the_customer_reads_them() {
    let trip = |net, tax| {
        let mut option = option(
            "Repair",
            vec![line(ChargeKind::Trip, "Trip", (net, 0, tax))],
        );
        option.total = Cents(4_500);
        option.printed_as.with_tax = vec![crate::estimate::Shown {
            net: Cents(4_500),
            discount: Cents::ZERO,
        }];
        option
    };
    let before = content(1, vec![trip(4_119, 381)]);
    let mut after = content(2, vec![trip(4_500, 0)]);
    after.options[0].lines[0].unit_price = before.options[0].lines[0].unit_price;
    let told = difference(&before, &after).sentences().join(" ");
    assert!(!told.contains("41.19"), "{told}");
    assert!(told.contains("tax 0.00 instead of 3.81"), "{told}");
}
