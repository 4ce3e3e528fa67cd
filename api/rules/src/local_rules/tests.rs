//! Places as their law reads, held against documents with and without what they ask for.

use super::*;
use crate::estimate::Condition;
use crate::percent::Percent;
use crate::worked::rows;
use Element::*;

#[derive(Deserialize)]
struct Case {
    place: String,
    paper: String,
    without: Vec<String>,
}

/// The rules of a place, for its tests alone.
fn place(name: &str) -> LocalRules {
    let tolerance = |percent: &str, limit_inside| {
        Some(Tolerance {
            percent: Percent::parse(percent).unwrap(),
            limit_inside,
        })
    };
    match name {
        // 16 CCR 2722 and 2725.
        "california" => LocalRules {
            estimate: vec![LinesItemised, TaxApart],
            bill: vec![
                ShopName,
                ShopAddress,
                ShopTelephone,
                RegistrationNumber,
                CustomerName,
                Make,
                Model,
                Serial,
                CustomersWords,
                LinesItemised,
                PartClass,
                PreparedBy,
            ],
            tolerance: tolerance("0", true),
            ..LocalRules::default()
        },
        // MCL 445.833 and 445.834.
        "michigan" => LocalRules {
            estimate: vec![
                ShopName,
                ShopAddress,
                ShopTelephone,
                CustomersWords,
                LinesItemised,
                LabourRate,
                RemovalCharge,
            ],
            tolerance: tolerance("10", true),
            offers_removed_parts: true,
            labour_warranty_days: Some(30),
            ..LocalRules::default()
        },
        // R152-11-5.
        "utah" => LocalRules {
            estimate: vec![LinesItemised, RemovalCharge, PromisedOn],
            tolerance: tolerance("10", false),
            written_over: Some(Cents(5_000)),
            ..LocalRules::default()
        },
        other => place_in_the_east(other),
    }
}

fn place_in_the_east(name: &str) -> LocalRules {
    match name {
        // Commercial Law 13-307.
        "maryland" => LocalRules {
            bill: vec![LabourRate, LabourTime, LinesItemised, PartClass],
            ..LocalRules::default()
        },
        // 16 DCMR 633 and 637.
        "columbia" => LocalRules {
            estimate: vec![
                ShopName,
                CustomerName,
                CustomersWords,
                RepairsNeeded,
                LinesItemised,
                EstimateFee,
                TaxInside,
                ReceivedOn,
                PromisedOn,
                PreparedBy,
            ],
            bill: vec![LabourTime, PartClass],
            counts_tax: true,
            ..LocalRules::default()
        },
        other => panic!("no place {other}"),
    }
}

struct Desk {
    shop: ShopBlock,
    customer: CustomerBlock,
    appliance: ApplianceBlock,
    lines: Vec<Line>,
}

fn desk() -> Desk {
    let text = str::to_owned;
    let line = |kind, description: &str| Line {
        kind,
        description: text(description),
        quantity: text("1"),
        unit_price: Cents(8_000),
        net: Cents(8_000),
        discount: Cents::ZERO,
        taxable: Cents::ZERO,
        tax: Cents::ZERO,
        tax_reason: text("Because the sample says so."),
        section: String::new(),
        condition: (kind == ChargeKind::Part).then_some(Condition::New),
        own_discount: None,
    };
    Desk {
        shop: ShopBlock {
            name: text("Sample Repair"),
            address: vec![text("1 Row")],
            phone: text("(555) 010-0142"),
            email: text("desk@shop.example"),
            registration: text("Registration 41877"),
        },
        customer: CustomerBlock {
            name: text("A. Household"),
            ..CustomerBlock::default()
        },
        appliance: ApplianceBlock {
            kind: text("Range"),
            make: text("Halvorsen"),
            model: text("R-1"),
            serial: text("7Q04"),
            ..ApplianceBlock::default()
        },
        lines: vec![
            line(ChargeKind::Part, "Terminal block"),
            line(ChargeKind::Labour, "Labor"),
            line(ChargeKind::Diagnostic, "Diagnosis"),
        ],
    }
}

fn held_against(case: &Case, rules: &LocalRules) -> Vec<Missing> {
    let mut desk = desk();
    let gone = |what: &str| case.without.iter().any(|gone| gone == what);
    let keep = |text: &mut String, what: &str| {
        if gone(what) {
            text.clear();
        }
    };
    keep(&mut desk.shop.registration, "registration");
    keep(&mut desk.shop.phone, "phone");
    keep(&mut desk.shop.name, "shop");
    keep(&mut desk.customer.name, "customer");
    keep(&mut desk.appliance.make, "make");
    keep(&mut desk.appliance.model, "model");
    keep(&mut desk.appliance.serial, "serial");
    if gone("condition") {
        for line in &mut desk.lines {
            line.condition = None;
        }
    }
    if gone("address") {
        desk.shop.address.clear();
    }
    let kept = |line: &&Line| match line.kind {
        ChargeKind::Labour => !gone("labour"),
        ChargeKind::Diagnostic => !gone("fee"),
        _ => true,
    };
    let day = |what: &str| (!gone(what)).then(|| "2025-03-14".parse().unwrap());
    let or_empty = |words, what: &str| if gone(what) { "" } else { words };
    let paper = Paper {
        shop: &desk.shop,
        customer: &desk.customer,
        appliance: &desk.appliance,
        complaint: or_empty("Does not heat", "complaint"),
        found: or_empty("The terminal is burnt.", "found"),
        lines: if gone("lines") {
            Vec::new()
        } else {
            desk.lines.iter().filter(kept).collect()
        },
        one_amount: gone("itemising"),
        tax_inside: gone("tax_apart"),
        received_on: day("received"),
        promised_on: day("promised"),
        prepared_by: Some("Ada, 7").filter(|_| !gone("prepared_by")),
        in_writing: !gone("writing"),
        total: Cents(24_000),
        labour_warranty_days: match (gone("warranty"), gone("warranty_over_thirty")) {
            (true, _) => 29,
            (false, true) => 30,
            (false, false) => 90,
        },
    };
    let kind = match case.paper.as_str() {
        "estimate" => PaperKind::Estimate,
        _ => PaperKind::Bill,
    };
    missing(rules, kind, &paper)
}

fn of_place(name: &str) {
    let cases =
        rows::<Case, Vec<String>>(include_str!("../../../../fixtures/worked/local_rules.json"));
    let mut met = 0;
    for row in cases.into_iter().filter(|row| row.input.place == name) {
        met += 1;
        let keys: Vec<String> = held_against(&row.input, &place(name))
            .into_iter()
            .map(|missing| missing.element.key().to_owned())
            .collect();
        assert_eq!(keys, row.expected, "{}", row.source);
    }
    assert!(met > 0, "no case of {name}");
}

/// 16 CCR 2722.
#[test]
fn a_california_estimate_itemises_its_work_and_keeps_tax_apart() {
    of_place("california");
}

/// MCL 445.833.
#[test]
fn a_michigan_estimate_names_the_rate_of_labour_and_grants_thirty_days() {
    of_place("michigan");
}

/// R152-11-5.
#[test]
fn a_utah_estimate_over_fifty_dollars_is_in_writing_and_names_a_day() {
    of_place("utah");
}

/// Commercial Law 13-307.
#[test]
fn a_maryland_bill_shows_the_rate_and_the_time_of_labour() {
    of_place("maryland");
}

/// 16 DCMR 633.
#[test]
fn a_columbia_estimate_names_days_fee_and_who_prepared_it() {
    of_place("columbia");
}

/// What an estimate offers in words, without tax, and what a bill adds to it.
fn untaxed(before_tax: i64) -> Amounts {
    Amounts {
        before_tax: Cents(before_tax),
        with_tax: Cents(before_tax),
    }
}

fn amounts(before_tax: i64) -> Amounts {
    Amounts {
        before_tax: Cents(before_tax),
        with_tax: Cents(before_tax + 580),
    }
}

/// 16 CCR 2722: an estimate of 240.00 may be billed at 240.00 and tax, and at not a cent more without consent.
#[test]
fn in_california_tax_on_top_needs_no_consent_and_a_cent_of_work_does() {
    let rules = place("california");
    // The estimate is without tax, the bill with it: only the work before tax is compared.
    let ask = |bill, consented| {
        let pair = (untaxed(24_000), amounts(bill));
        agreed(Some(&rules), Tolerance::default(), pair, Cents(consented))
    };
    assert_eq!(ask(24_000, 0), Ok(Agreed::Enough));
    let beyond = Cents(1);
    assert_eq!(ask(24_001, 0), Ok(Agreed::ConsentNeeded { beyond }));
    assert_eq!(ask(24_001, 1), Ok(Agreed::Enough));
}

/// MCL 445.833 and R152-11-5: at exactly 110 % one place still asks nothing and the other asks for consent.
#[test]
fn at_exactly_the_limit_the_place_decides() {
    let ask = |name: &str, bill| {
        let pair = (untaxed(24_000), amounts(bill));
        agreed(Some(&place(name)), Tolerance::default(), pair, Cents::ZERO)
    };
    assert_eq!(ask("michigan", 26_400), Ok(Agreed::Enough));
    let beyond = Cents(2_400);
    assert_eq!(ask("utah", 26_400), Ok(Agreed::ConsentNeeded { beyond }));
}

/// Where tax counts, a tax that grew is part of what must be agreed to (16 DCMR 633: tax inside the estimate).
#[test]
fn where_tax_is_inside_the_estimate_it_counts() {
    let accepted = amounts(24_000);
    let bill = Amounts {
        with_tax: Cents(24_581),
        ..accepted
    };
    let ask = |rules: Option<&LocalRules>| {
        agreed(rules, Tolerance::default(), (accepted, bill), Cents::ZERO)
    };
    let beyond = Cents(1);
    let columbia = place("columbia");
    assert_eq!(ask(Some(&columbia)), Ok(Agreed::ConsentNeeded { beyond }));
    assert_eq!(ask(None), Ok(Agreed::Enough));
}

/// MCL 445.834.
#[test]
fn removed_parts_are_offered_where_the_place_asks() {
    let desk = desk();
    let paper = Paper {
        shop: &desk.shop,
        customer: &desk.customer,
        appliance: &desk.appliance,
        complaint: "",
        found: "",
        lines: desk.lines.iter().collect(),
        one_amount: false,
        tax_inside: false,
        received_on: None,
        promised_on: None,
        prepared_by: None,
        in_writing: true,
        total: Cents(24_000),
        labour_warranty_days: 90,
    };
    let printed = lines(&place("michigan"), PaperKind::Estimate, &paper).join(" ");
    for words in [
        "Parts we take out are yours.",
        "you decline it in writing",
        "core charge",
        "hazard",
        "maker's warranty",
    ] {
        assert!(printed.contains(words), "{words}: {printed}");
    }
    assert!(printed.contains("taking the appliance away"), "{printed}");
    let california = lines(&place("california"), PaperKind::Estimate, &paper).join(" ");
    assert!(california.contains("Sales tax is not part"), "{california}");
    assert!(!california.contains("Parts we take out"), "{california}");
}

/// R152-11-5: a written copy over 50.00, and none at it.
#[test]
fn above_its_amount_a_place_wants_the_work_in_writing() {
    let utah = place("utah");
    assert!(utah.wants_writing(Cents(5_001)));
    assert!(!utah.wants_writing(Cents(5_000)));
    assert!(!place("michigan").wants_writing(Cents(1_000_000)));
}

/// 16 CCR 2722.
#[test]
fn an_oral_consent_is_noted_with_everything_the_law_names() {
    let note = ConsentNote {
        given_at: "March 14, 2025 at 9:14 AM",
        authorised_by: "Odalys Fenwick",
        way: ConsentWay::ByTelephone,
        telephone: Some("(555) 010-0142"),
        received_by: "Ada",
        beyond_estimate: true,
        added_work: "Second terminal block and half an hour",
        added_total: "USD 95.00",
        conditions: Some("Only if done today."),
    };
    assert_eq!(
        note.sentence(),
        "On March 14, 2025 at 9:14 AM Odalys Fenwick agreed by telephone ((555) 010-0142) to added work: Second terminal \
         block and half an hour, for USD 95.00 more. Received by Ada. Conditions: Only if done today."
    );
}

#[test]
fn every_key_finds_its_element_again() {
    for element in Element::ALL {
        assert_eq!(Element::from_key(element.key()), Some(*element));
    }
    assert_eq!(Element::from_key("none such"), None);
}

/// 16 CCR 2722 with nothing accepted; R152-11-5: in writing over 50.00. A place without either asks nothing.
#[test]
fn work_without_an_estimate_is_agreed_to_first_where_the_place_limits_bills_by_one() {
    let bill = |before_tax| Amounts {
        before_tax: Cents(before_tax),
        with_tax: Cents(before_tax + 400),
    };
    let consented = |in_all, in_writing| Consented {
        in_all: Cents(in_all),
        in_writing: Cents(in_writing),
    };
    let limits = LocalRules {
        tolerance: Some(Tolerance {
            percent: Percent::ZERO,
            limit_inside: true,
        }),
        ..LocalRules::default()
    };
    let ask =
        |rules: &LocalRules, bill, consented| without_estimate(rules, bill, consented).unwrap();
    let needed = |beyond| WithoutEstimate::ConsentNeeded {
        beyond: Cents(beyond),
    };
    assert_eq!(ask(&limits, bill(9_000), consented(0, 0)), needed(9_000));
    assert_eq!(ask(&limits, bill(9_000), consented(8_999, 0)), needed(1));
    let enough = WithoutEstimate::Enough;
    assert_eq!(ask(&limits, bill(9_000), consented(9_000, 0)), enough);
    let taxed = LocalRules {
        counts_tax: true,
        ..limits.clone()
    };
    assert_eq!(ask(&taxed, bill(9_000), consented(9_000, 0)), needed(400));
    let written = LocalRules {
        written_over: Some(Cents(5_000)),
        ..limits
    };
    assert_eq!(ask(&written, bill(5_000), consented(5_000, 0)), enough);
    assert_eq!(
        ask(&written, bill(5_001), consented(5_001, 5_000)),
        WithoutEstimate::WritingNeeded { beyond: Cents(1) }
    );
    assert_eq!(ask(&written, bill(5_001), consented(5_001, 5_001)), enough);
    assert_eq!(
        ask(&LocalRules::default(), bill(9_000), consented(0, 0)),
        enough
    );
}
