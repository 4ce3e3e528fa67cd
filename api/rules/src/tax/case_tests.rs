//! The published cases, each place's rules a configuration of its own: no place's name stands in the rules.

use std::collections::BTreeMap;

use super::*;
use crate::worked::rows;

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

#[derive(Deserialize)]
struct Place {
    source: String,
    name: String,
    rate: Percent,
    rules: BTreeMap<ChargeKind, Vec<Rule>>,
}

fn places() -> BTreeMap<String, Jurisdiction> {
    let places: BTreeMap<String, Place> =
        serde_json::from_str(include_str!("../../../../fixtures/worked/tax-places.json")).unwrap();
    let jurisdiction = |(key, place): (String, Place)| {
        assert!(place.source.len() > 5, "{key} names no source");
        let level = Level {
            name: "State".to_owned(),
            kind: LevelKind::State,
            rate: place.rate,
            from_on: None,
            until_on: None,
            exempts: Vec::new(),
        };
        let jurisdiction = Jurisdiction {
            name: place.name,
            levels: vec![level],
            rules: place.rules,
            basis: Basis::Invoice,
            methods: Vec::new(),
            prices: Prices::BeforeTax,
        };
        (key, jurisdiction)
    };
    places.into_iter().map(jurisdiction).collect()
}

#[derive(Deserialize)]
struct Case {
    #[serde(rename = "case")]
    rule: String,
    place: String,
    on: NaiveDate,
    facts: Facts,
    lines: Vec<TaxLine>,
}

#[derive(Deserialize)]
struct Answer {
    taxable: Cents,
    tax: Option<Cents>,
    parts_to_be_stated: bool,
}

/// Runs the cases of one name, and the credit of each, which must be its mirror.
fn holds(case: &str) {
    let places = places();
    let rows = rows::<Case, Answer>(include_str!("../../../../fixtures/worked/tax-cases.json"));
    let mut seen = 0;
    for row in rows.into_iter().filter(|row| row.input.rule == case) {
        seen += 1;
        let place = places
            .get(&row.input.place)
            .expect("a place of the fixture");
        let sale = Sale {
            on: row.input.on,
            facts: row.input.facts,
        };
        let result = tax(&row.input.lines, place, None, &sale).unwrap();
        let at = format!("{} {}: {}", row.input.place, row.input.on, row.source);
        assert_eq!(result.taxable_cents, row.expected.taxable, "{at}");
        assert_eq!(
            result.parts_to_be_stated, row.expected.parts_to_be_stated,
            "{at}"
        );
        if let Some(expected) = row.expected.tax {
            assert_eq!(result.total_cents, expected, "{at}");
        }
        let turned: Vec<TaxLine> = row
            .input
            .lines
            .iter()
            .map(|line| TaxLine {
                net: Cents(-line.net.0),
                ..*line
            })
            .collect();
        let credit = tax(&turned, place, None, &sale).unwrap();
        assert_eq!(credit.total_cents.0, -result.total_cents.0, "{at}");
        assert_eq!(credit.taxable_cents.0, -result.taxable_cents.0, "{at}");
    }
    assert!(seen > 0, "no case {case}");
}

#[test]
fn a_total_charge_is_taxed_whole_unless_a_disaster_sets_stated_labour_free() {
    holds("disaster");
}

#[test]
fn a_repair_is_taxed_whole_unless_records_prove_that_nothing_was_furnished() {
    holds("nothing_furnished");
}

#[test]
fn parts_of_up_to_a_tenth_in_one_amount_are_the_repairers_own_use() {
    holds("small_share_of_parts");
}

#[test]
fn a_trip_is_taxed_with_the_parts_it_serves() {
    holds("trip");
}

#[test]
fn testing_a_machine_without_repairing_it_can_be_taxed() {
    holds("testing_alone");
}

#[test]
fn labour_and_trip_can_be_taxed_without_any_part() {
    holds("labour_without_parts");
}

#[test]
fn one_amount_for_all_is_taxed_and_stated_labour_is_not_and_a_law_changes_by_its_day() {
    holds("stated_labour");
}

#[test]
fn work_on_a_built_in_machine_is_work_on_the_house() {
    holds("built_in");
}

#[test]
fn one_job_has_seven_answers_by_seven_configurations() {
    holds("seven_places");
}

#[test]
fn delivery_is_taxed_when_the_goods_are() {
    holds("delivery");
}

#[test]
fn an_independent_carriers_actual_cost_is_not_taxed() {
    holds("carriage");
}

#[test]
fn a_warranty_swap_is_taxed_on_what_is_paid_in_addition() {
    holds("warranty_swap");
}

/// Publication 862: work that is a capital improvement, under its certificate (form ST-124), bears no tax.
#[test]
fn a_capital_improvement_under_its_certificate_bears_no_tax() {
    let place = places().remove("new_york").expect("a place of the fixture");
    let held = Certificate {
        number: "ST-124".to_owned(),
        reason: "capital improvement".to_owned(),
        purchases: Purchases::Single,
        ..certificate(&Held {
            sale: day("2025-03-14"),
            received: Some(day("2025-03-14")),
            last: None,
            blank: Vec::new(),
            single: true,
        })
    };
    let lines = [TaxLine::new(ChargeKind::Labour, Cents(12_000))];
    let sale = Sale::of_day(day("2025-03-14"));
    let taxed = |held| tax(&lines, &place, held, &sale).unwrap().taxable_cents;
    assert_eq!((taxed(None), taxed(Some(&held))), (Cents(12_000), Cents(0)));
}

/// 34 TAC 3.292(d): a contract that only reimburses what repairs cost is not taxed itself, though repairs are.
#[test]
fn a_contract_that_only_reimburses_is_not_taxed_where_repairs_are() {
    let mut place = places().remove("texas").expect("a place of the fixture");
    let contract = Rule::always(Treatment::NotTaxed, "a contract that only reimburses");
    place.rules.insert(ChargeKind::Fee, vec![contract]);
    let lines = [
        TaxLine::new(ChargeKind::Labour, Cents(12_000)),
        TaxLine::new(ChargeKind::Fee, Cents(9_900)),
    ];
    let result = tax(&lines, &place, None, &Sale::of_day(day("2025-03-14"))).unwrap();
    assert_eq!(result.taxable_cents, Cents(12_000));
}

/// Tax Bulletin ST-838 (14 May 2012): taxed part 100.00 and untaxed goods 50.00, delivery 15.00.
#[test]
fn delivery_of_mixed_goods_is_taxed_whole_or_divided_by_its_share() {
    let mut place = places().remove("new_york").expect("a place of the fixture");
    let exempt = Rule::always(Treatment::NotTaxed, "exempt goods");
    place.rules.insert(ChargeKind::Fee, vec![exempt]);
    let taxable = |divided| {
        let delivery = Delivery {
            by: Carrier::Shop,
            actual_cost: None,
            divided,
        };
        let lines = [
            TaxLine::new(ChargeKind::Part, Cents(10_000)),
            TaxLine::new(ChargeKind::Fee, Cents(5_000)),
            TaxLine {
                delivery: Some(delivery),
                ..TaxLine::new(ChargeKind::Freight, Cents(1_500))
            },
        ];
        let result = tax(&lines, &place, None, &Sale::of_day(day("2025-03-14")));
        result.unwrap().taxable_cents
    };
    assert_eq!(
        (taxable(false), taxable(true)),
        (Cents(11_500), Cents(11_000))
    );
}

#[test]
fn every_place_of_the_cases_has_rules_without_fault() {
    for (key, place) in places() {
        for kind in ChargeKind::ALL {
            let rules = place.rules.get(&kind).expect("a rule for every kind");
            assert_eq!(check_rules(kind, rules), [], "{key}, {kind}");
        }
    }
}

#[test]
fn a_rule_that_asks_what_nobody_said_refuses_the_line_by_its_place() {
    let place = places()
        .remove("california")
        .expect("a place of the fixture");
    let lines = [
        TaxLine::new(ChargeKind::Part, Cents(12_000)),
        TaxLine::new(ChargeKind::Trip, Cents(2_500)),
    ];
    let result = tax(&lines, &place, None, &Sale::of_day(day("2025-03-14")));
    let missing = TaxRefusal::FactMissing {
        line: 1,
        fact: LineFact::TripServes,
    };
    assert_eq!(result, Err(missing));
}

#[derive(Deserialize)]
struct Ceiling {
    ceiling: Percent,
    levels: Vec<(LevelKind, Percent)>,
}

#[test]
fn local_levels_together_stay_under_their_ceiling() {
    for row in
        rows::<Ceiling, Option<usize>>(include_str!("../../../../fixtures/worked/tax-ceiling.json"))
    {
        let levels: Vec<Level> = row
            .input
            .levels
            .iter()
            .map(|(kind, rate)| Level {
                name: "Level".to_owned(),
                kind: *kind,
                rate: *rate,
                from_on: None,
                until_on: None,
                exempts: Vec::new(),
            })
            .collect();
        let over = over_ceiling(
            &levels,
            Counted::Local,
            row.input.ceiling,
            day("2025-01-01"),
        );
        assert_eq!(over.map(|over| over.level), row.expected, "{}", row.source);
    }
}

#[test]
fn a_level_that_begins_later_is_held_against_the_ceiling_on_its_day() {
    let level = |rate: &str, from: Option<&str>, until: Option<&str>| Level {
        name: "City".to_owned(),
        kind: LevelKind::City,
        rate: Percent::parse(rate).unwrap(),
        from_on: from.map(day),
        until_on: until.map(day),
        exempts: Vec::new(),
    };
    let two = Percent::parse("2").unwrap();
    let start = day("2025-01-01");
    let followed = [
        level("1.5", None, Some("2025-06-30")),
        level("1.75", Some("2025-07-01"), None),
    ];
    assert_eq!(over_ceiling(&followed, Counted::Local, two, start), None);
    let overlapping = [
        level("1.5", None, Some("2025-07-01")),
        level("1.75", Some("2025-07-01"), None),
    ];
    let over =
        over_ceiling(&overlapping, Counted::All, two, start).expect("a day above the ceiling");
    assert_eq!((over.level, over.on), (1, day("2025-07-01")));
}

#[derive(Deserialize)]
struct Held {
    sale: NaiveDate,
    received: Option<NaiveDate>,
    last: Option<NaiveDate>,
    #[serde(default)]
    blank: Vec<String>,
    #[serde(default)]
    single: bool,
}

fn certificate(held: &Held) -> Certificate {
    let unless_blank = |field: &str| {
        let blank = held.blank.iter().any(|name| name == field);
        if blank {
            String::new()
        } else {
            field.to_owned()
        }
    };
    Certificate {
        number: "EX-77".to_owned(),
        reason: unless_blank("reason"),
        buyer: Buyer {
            name: unless_blank("name"),
            address: unless_blank("address"),
            tax_id: unless_blank("tax_id"),
            business_type: unless_blank("business_type"),
        },
        received_on: held.received,
        purchases: if held.single {
            Purchases::Single
        } else {
            Purchases::Blanket
        },
        from_on: day("2020-01-01"),
        until_on: None,
        last_purchase_on: held.last,
    }
}

#[test]
fn a_certificate_counts_when_it_is_whole_in_time_and_not_lapsed() {
    for row in rows::<Held, String>(include_str!(
        "../../../../fixtures/worked/tax-certificates.json"
    )) {
        let standing = certificate(&row.input).standing(row.input.sale);
        assert_eq!(standing.to_string(), row.expected, "{}", row.source);
        assert_eq!(standing == Standing::Counts, row.expected == "counts");
    }
}

#[derive(Deserialize)]
struct Amount {
    taxable: Cents,
    rate: Percent,
}

#[test]
fn the_tax_that_a_price_holds_is_worked_out_backwards() {
    for row in rows::<Amount, Cents>(include_str!("../../../../fixtures/worked/tax-inside.json")) {
        let tax = contained(row.input.taxable, row.input.rate);
        assert_eq!(tax, Ok(row.expected), "{}", row.source);
    }
}

/// CEN EN 16931 example `guide-example1.xml`: two rates, each group rounded once, 20.73 in all.
#[test]
fn each_group_of_one_rate_is_rounded_once_and_the_groups_are_added() {
    let level = |rate: &str, exempts: ChargeKind| Level {
        name: format!("at {rate}"),
        kind: LevelKind::State,
        rate: Percent::parse(rate).unwrap(),
        from_on: None,
        until_on: None,
        exempts: vec![exempts],
    };
    let taxed = |kind| (kind, vec![Rule::always(Treatment::Taxed, "sold")]);
    let place = Jurisdiction {
        name: "Sample".to_owned(),
        levels: vec![
            level("6", ChargeKind::Labour),
            level("21", ChargeKind::Part),
        ],
        rules: [ChargeKind::Part, ChargeKind::Labour].map(taxed).into(),
        basis: Basis::Invoice,
        methods: Vec::new(),
        prices: Prices::BeforeTax,
    };
    let low = [
        1990, 985, 829, 1446, 3500, 3500, 1065, 155, 1437, 829, 1658, 995, 330, 390, 10212, -10998,
    ];
    let high = [1080, 760, 934, 1863];
    let lines: Vec<TaxLine> = low
        .iter()
        .map(|net| TaxLine::new(ChargeKind::Part, Cents(*net)))
        .chain(
            high.iter()
                .map(|net| TaxLine::new(ChargeKind::Labour, Cents(*net))),
        )
        .collect();
    let result = tax(&lines, &place, None, &Sale::of_day(day("2025-03-14"))).unwrap();
    let levels: Vec<(i64, i64)> = result
        .levels
        .iter()
        .map(|level| (level.taxable_cents.0, level.tax_cents.0))
        .collect();
    assert_eq!(levels, [(18_323, 1_099), (4_637, 974)]);
    assert_eq!(result.total_cents, Cents(2_073));
    let reason = &result.lines.first().expect("a line").reason;
    assert_eq!(reason, "Taxed at 6 % in Sample: sold; not taxed by at 21.");
}
