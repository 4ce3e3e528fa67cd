//! Pricing one alternative of 50 lines: markup, labor, trip, discount spread over the lines, and tax by level.
//!
//! `cargo bench -p nameplate`; figures are in DEVELOPERS.md.

use std::collections::{BTreeMap, HashMap};

use chrono::NaiveDate;
use divan::{Bencher, black_box};
use nameplate::estimates::{Destination, NewLine, NewOption, Terms};
use nameplate::pricing::{Book, BookRows, Jurisdiction};
use nameplate_entities::kinds::{
    BookState, ChargeKind, MarkupKind, PriceEnding, TaxBasis, TaxPrices,
};
use nameplate_entities::{markup_bracket, part, price_book, tax_jurisdiction};
use nameplate_rules::percent::Percent;
use nameplate_rules::tax::{self, Basis, Level, LevelKind, Prices, Rule, Treatment};
use rust_decimal::Decimal;

const LINES: usize = 50;

fn main() {
    divan::main();
}

fn day() -> NaiveDate {
    NaiveDate::default()
}

fn book() -> Book {
    let row = price_book::Model {
        id: 1,
        name: "Benchmark".to_owned(),
        effective_from: day(),
        state: BookState::Adopted,
        hourly_rate_cents: 11_800,
        first_hour_minimum: true,
        minimum_minutes: 60,
        increment_minutes: 15,
        after_hours_multiplier: Decimal::new(15, 1).into(),
        second_technician_share: Decimal::ONE.into(),
        trip_cents: 4_500,
        distance_unit: None,
        diagnostic_cents: 8_500,
        diagnostic_credited: true,
        markup_kind: MarkupKind::Graduated,
        minimum_markup_cents: 300,
        maximum_markup_cents: Some(40_000),
        price_ending: PriceEnding::Up95,
        adopted_at: None,
        version: 1,
    };
    let edges = [1_000, 5_000, 20_000, 50_000].map(Some);
    let brackets = (1..).zip(edges.into_iter().chain([None]));
    let brackets = brackets.map(|(position, up_to_cents)| markup_bracket::Model {
        id: position.into(),
        price_book_id: 1,
        position,
        up_to_cents,
        multiplier: Decimal::new(325 - i64::from(position) * 25, 2).into(),
    });
    let below = BookRows {
        brackets: brackets.collect(),
        rates: Vec::new(),
        zones: Vec::new(),
    };
    Book::of_rows(row, below).expect("the book is sound")
}

fn parts() -> HashMap<i64, part::Model> {
    let part = |id: i64| part::Model {
        id,
        number: format!("P-{id}"),
        description: "A part".to_owned(),
        supplier_id: None,
        cost_cents: id * 1_337,
        fixed_price_cents: None,
        list_price_cents: (id % 3 == 0).then_some(id * 2_500),
        maker_warranty_months: None,
        superseded_by_id: None,
        component_class: None,
        core_deposit_cents: None,
        freight_cents: None,
        condition: None,
        version: 1,
    };
    (1..=40).map(|id| (id, part(id))).collect()
}

fn jurisdiction() -> Jurisdiction {
    let level = |name: &str, kind, hundredths| Level {
        name: name.to_owned(),
        kind,
        rate: Percent::new(Decimal::new(hundredths, 2)).expect("a rate"),
        from_on: None,
        until_on: None,
        exempts: Vec::new(),
    };
    let rule = |kind| {
        let treatment = match kind {
            tax::ChargeKind::Part | tax::ChargeKind::Freight => Treatment::Taxed,
            _ => Treatment::NotTaxed,
        };
        (kind, vec![Rule::always(treatment, "the rule of the place")])
    };
    let row = tax_jurisdiction::Model {
        id: 1,
        name: "Benchmark".to_owned(),
        basis: TaxBasis::Item,
        effective_from: day(),
        prices: TaxPrices::BeforeTax,
        local_ceiling_percent: None,
    };
    Jurisdiction {
        row,
        levels: Vec::new(),
        rules: tax::Jurisdiction {
            name: "Benchmark".to_owned(),
            levels: vec![
                level("State", LevelKind::State, 550),
                level("County", LevelKind::County, 125),
                level("City", LevelKind::City, 50),
            ],
            rules: tax::ChargeKind::ALL
                .map(rule)
                .into_iter()
                .collect::<BTreeMap<_, _>>(),
            basis: Basis::Item,
            methods: Vec::new(),
            prices: Prices::BeforeTax,
        },
    }
}

fn terms() -> Terms {
    Terms {
        book: book(),
        parts: parts(),
        tasks: HashMap::new(),
        grades: HashMap::new(),
        destination: Destination::default(),
        jurisdiction: jurisdiction(),
        certificate: None,
        built_in: false,
        on: day(),
    }
}

fn option() -> NewOption {
    let parts = (1..=40).map(|id| NewLine {
        part_id: Some(id),
        quantity: Some(Decimal::TWO),
        ..NewLine::of(ChargeKind::Part)
    });
    let labour = (1..=8).map(|quarter| NewLine {
        minutes: Some(quarter * 20),
        ..NewLine::of(ChargeKind::Labour)
    });
    let rest = [ChargeKind::Trip, ChargeKind::Diagnostic].map(NewLine::of);
    let lines = parts.chain(labour).chain(rest).collect::<Vec<_>>();
    assert_eq!(lines.len(), LINES);
    NewOption {
        title: "Repair".to_owned(),
        lines,
        discount_percent: Some(Decimal::TEN),
        ..NewOption::default()
    }
}

#[divan::bench]
fn an_alternative_of_fifty_lines(bencher: Bencher<'_, '_>) {
    let terms = terms();
    bencher
        .with_inputs(option)
        .bench_values(|option| terms.price(black_box(option), "options.0"));
}
