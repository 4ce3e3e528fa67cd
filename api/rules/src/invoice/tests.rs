use chrono::NaiveDate;
use proptest::prelude::*;

use super::*;
use crate::percent::Percent;
use crate::pricing::discount::{Discount, discount_lines};
use crate::tax::{
    Basis, ChargeKind, Jurisdiction, Level, LevelKind, Prices, Rule, Sale, TaxLine, Treatment, tax,
};
use crate::worked::rows;

fn day() -> NaiveDate {
    "2025-03-14".parse().unwrap()
}

fn place(rates: &[&str]) -> Jurisdiction {
    let level = |rate: &&str| Level {
        name: format!("Level at {rate}"),
        kind: LevelKind::State,
        rate: Percent::parse(rate).unwrap(),
        from_on: None,
        until_on: None,
        exempts: Vec::new(),
    };
    let rule = |kind| (kind, vec![Rule::always(Treatment::Taxed, "a taxed sale")]);
    Jurisdiction {
        name: "Sample County".to_owned(),
        levels: rates.iter().map(level).collect(),
        rules: ChargeKind::ALL.into_iter().map(rule).collect(),
        basis: Basis::Invoice,
        methods: Vec::new(),
        prices: Prices::BeforeTax,
    }
}

/// Parts at these prices under a discount on all of them, with the tax on what remains, as a document.
fn document(prices: &[i64], discount: Discount, place: &Jurisdiction) -> InvoiceDraft {
    let each: Vec<Cents> = prices.iter().copied().map(Cents).collect();
    let given = discount_lines(&each, discount).unwrap();
    let lines: Vec<_> = prices
        .iter()
        .zip(&given.by_line)
        .map(|(price, off)| (ChargeKind::Part, *price, off.0))
        .collect();
    with_discounts(&lines, place)
}

const NO_DISCOUNT: Discount = Discount::Amount(Cents::ZERO);

/// Parts and freight taxed at one rate, labour at another.
fn two_rates(of_goods: &str, of_labour: &str) -> Jurisdiction {
    let mut place = place(&[of_goods, of_labour]);
    place.levels[0].exempts = vec![ChargeKind::Labour];
    place.levels[1].exempts = vec![ChargeKind::Part, ChargeKind::Freight];
    place
}

/// A document of lines with their discounts.
fn with_discounts(lines: &[(ChargeKind, i64, i64)], place: &Jurisdiction) -> InvoiceDraft {
    let tax_lines: Vec<TaxLine> = lines
        .iter()
        .map(|(kind, price, off)| TaxLine::new(*kind, Cents(price - off)))
        .collect();
    let result = tax(&tax_lines, place, None, &Sale::of_day(day())).unwrap();
    let printed = lines
        .iter()
        .zip(&result.lines)
        .map(|((kind, price, off), tax)| Line {
            kind: *kind,
            description: "A part".to_owned(),
            quantity: "1".to_owned(),
            unit_price: Cents(*price),
            net: Cents(*price),
            discount: Cents(*off),
            taxable: tax.taxable_cents,
            tax: tax.tax_cents,
            tax_reason: tax.reason.clone(),
            section: String::new(),
            condition: None,
            own_discount: None,
        });
    let levels = result.levels.iter().map(|level| TaxLevel {
        name: level.name.clone(),
        kind: level.kind,
        rate: level.rate,
        taxable: level.taxable_cents,
        tax: level.tax_cents,
    });
    InvoiceDraft::new(Payer::Customer, printed.collect(), levels.collect()).unwrap()
}

/// CEN EN 16931 guide-example1.xml as one document, printed: 229.60 without tax, 10.99 and 9.74, 250.33 due.
#[test]
fn one_document_of_two_rates_rounds_each_once() {
    let low = [
        1_990, 985, 829, 1_446, 3_500, 3_500, 1_065, 155, 1_437, 829, 1_658, 995, 330, 390, 10_212,
        -10_998,
    ];
    let high = [1_080, 760, 934, 1_863];
    let lines: Vec<_> = low
        .map(|net| (ChargeKind::Part, net, 0))
        .into_iter()
        .chain(high.map(|net| (ChargeKind::Labour, net, 0)))
        .collect();
    let document = with_discounts(&lines, &two_rates("6", "21"));
    let Totals {
        subtotal,
        tax,
        total,
        ..
    } = document.totals();
    assert_eq!(
        (subtotal, tax, total),
        (Cents(22_960), Cents(2_073), Cents(25_033))
    );
    let levels = document.tax_levels().iter().map(|level| level.tax.0);
    assert_eq!(levels.collect::<Vec<_>>(), [1_099, 974]);
}

/// CEN EN 16931 ubl-tc434-example5.xml, printed: allowances and charges on a line and on the document, 375.00 and
/// 300.00 of tax, 4,675.00 in all; what was paid before is no line of it.
#[test]
fn allowances_and_charges_change_what_is_taxed_at_their_rate() {
    let document = with_discounts(
        &[
            (ChargeKind::Part, 100_000, 10_000 + 10_000),
            (ChargeKind::Freight, 10_000, 0),
            (ChargeKind::Part, 50_000, 5_000),
            (ChargeKind::Freight, 15_000, 0),
            (ChargeKind::Labour, 250_000, 0),
        ],
        &two_rates("25", "12"),
    );
    let levels = document.tax_levels().iter();
    let levels: Vec<_> = levels.map(|level| (level.taxable.0, level.tax.0)).collect();
    assert_eq!(levels, [(150_000, 37_500), (250_000, 30_000)]);
    assert_eq!(document.totals().total, Cents(467_500));
}

/// CEN EN 16931 sample-discount-price.xml, printed: 100 at 0.1212 are 12.12, and 3.03 of tax at 25 %. A price below a
/// cent is kept by its line's amount alone.
#[test]
fn the_amount_of_a_line_is_taxed_and_not_the_price_of_one() {
    let totals = document(&[1_212], NO_DISCOUNT, &place(&["25"])).totals();
    assert_eq!((totals.tax, totals.total), (Cents(303), Cents(1_515)));
}

/// CEN EN 16931 guide-example1.xml, printed: 229.60 without tax, 20.73 tax, 250.33 due.
#[test]
fn two_rates_are_rounded_once_each_and_added() {
    let six = [
        1_990, 985, 829, 1_446, 3_500, 3_500, 1_065, 155, 1_437, 829, 1_658, 995, 330, 390, 10_212,
        -10_998,
    ];
    let twenty_one = [1_080, 760, 934, 1_863];
    let food = document(&six, NO_DISCOUNT, &place(&["6"])).totals();
    let other = document(&twenty_one, NO_DISCOUNT, &place(&["21"])).totals();
    assert_eq!((food.subtotal, food.tax), (Cents(18_323), Cents(1_099)));
    assert_eq!((other.subtotal, other.tax), (Cents(4_637), Cents(974)));
    assert_eq!(Cents::sum([food.total, other.total]), Ok(Cents(25_033)));
}

/// CEN EN 16931 BIS3_Invoice_positive.XML and BIS3_Invoice_negativ.XML, printed.
#[test]
fn the_credit_of_an_exact_half_cent_is_the_exact_negative() {
    let invoice = document(&[62_574_354], NO_DISCOUNT, &place(&["25"]));
    assert_eq!(invoice.totals().tax, Cents(15_643_589));
    assert_eq!(invoice.totals().total, Cents(78_217_943));
    let credit = mirror(&invoice).unwrap();
    assert_eq!(credit.totals().tax, Cents(-15_643_589));
    assert_eq!(credit.totals().total, Cents(-78_217_943));
    assert_eq!(credit.lines()[0].quantity, "-1");
    assert_eq!(credit.lines()[0].unit_price, Cents(62_574_354));
}

#[derive(Deserialize)]
struct Settled {
    total: Cents,
    paid: Cents,
    rounding: Cents,
}

#[test]
fn what_is_due_follows_the_worked_cases() {
    for row in rows::<Settled, Cents>(include_str!("../../../../fixtures/worked/amount-due.json")) {
        let Settled {
            total,
            paid,
            rounding,
        } = row.input;
        assert_eq!(
            amount_due(total, paid, rounding),
            Ok(row.expected),
            "{}",
            row.source
        );
    }
}

#[test]
fn a_document_whose_levels_miss_its_lines_by_a_cent_is_refused() {
    let invoice = document(&[10_000], NO_DISCOUNT, &place(&["6.25", "1.5"]));
    let mut levels = invoice.tax_levels().to_vec();
    levels[1].tax = Cents(151);
    assert_eq!(
        InvoiceDraft::new(Payer::Customer, invoice.lines().to_vec(), levels),
        Err(InvoiceRefusal::LevelsDiffer {
            by_line: Cents(775),
            by_level: Cents(776)
        })
    );
    assert_eq!(
        InvoiceDraft::new(Payer::Shop, vec![], vec![]),
        Err(InvoiceRefusal::NoLines)
    );
}

proptest! {
    #[test]
    fn an_invoice_and_its_credit_add_up_to_nothing_everywhere(
        prices in prop::collection::vec(0_i64..500_000, 1..10), hundredths in 0_i64..=10_000,
    ) {
        let percent = Percent::new(rust_decimal::Decimal::new(hundredths, 2)).unwrap();
        let invoice = document(&prices, Discount::Percent(percent), &place(&["6.25", "1.5", "0.5"]));
        let credit = mirror(&invoice).unwrap();
        let totals = |d: &InvoiceDraft| {
            let Totals { subtotal, discount, tax, total } = d.totals();
            [subtotal, discount, tax, total]
        };
        for (a, b) in totals(&invoice).into_iter().zip(totals(&credit)) {
            prop_assert_eq!(a.checked_add(b), Some(Cents::ZERO));
        }
        for (a, b) in invoice.lines().iter().zip(credit.lines()) {
            prop_assert_eq!((a.net.0, a.discount.0), (-b.net.0, -b.discount.0));
            prop_assert_eq!((a.taxable.0, a.tax.0), (-b.taxable.0, -b.tax.0));
        }
        for (a, b) in invoice.tax_levels().iter().zip(credit.tax_levels()) {
            prop_assert_eq!((a.taxable.0, a.tax.0), (-b.taxable.0, -b.tax.0));
        }
        prop_assert_eq!(mirror(&credit).unwrap(), invoice);
    }
}
