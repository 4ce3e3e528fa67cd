use proptest::prelude::*;

use super::*;
use crate::worked::rows;

#[test]
fn a_document_that_leaves_obeys_each_rule_to_the_cent() {
    for row in rows::<Document, Vec<Broken>>(include_str!(
        "../../../../../fixtures/worked/e-invoice.json"
    )) {
        assert_eq!(broken(&row.input), Ok(row.expected), "{}", row.source);
    }
}

#[derive(Deserialize)]
struct Asked {
    taxable: Cents,
    rate: Decimal,
    tax: Cents,
}

#[test]
fn the_tax_of_a_group_is_rounded_once_away_from_zero() {
    for row in rows::<Asked, bool>(include_str!(
        "../../../../../fixtures/worked/e-invoice-groups.json"
    )) {
        let Asked { taxable, rate, tax } = row.input;
        let fits = group_tax(taxable, rate) == Ok(tax);
        assert_eq!(fits, row.expected, "{}", row.source);
    }
}

#[test]
fn sales_tax_is_told_by_combined_rate_and_restated_only_where_it_was_rounded_otherwise() {
    for row in rows::<Vec<SalesLine>, Mapped>(include_str!(
        "../../../../../fixtures/worked/e-invoice-mapping.json"
    )) {
        assert_eq!(mapped(&row.input), Ok(row.expected), "{}", row.source);
    }
}

fn line(amount: i64, taxable: i64, tax: i64, rate: &str) -> SalesLine {
    SalesLine {
        amount: Cents(amount),
        taxable: Cents(taxable),
        tax: Cents(tax),
        rate: rate.parse().unwrap(),
        reason: "as the rules say".to_owned(),
    }
}

#[test]
fn what_no_rate_can_tell_is_refused() {
    assert_eq!(
        mapped(&[line(100, 101, 8, "8")]),
        Err(MappingRefusal::TaxedOnMore { line: 0 })
    );
    assert_eq!(
        mapped(&[line(100, -100, -8, "8")]),
        Err(MappingRefusal::TaxedOnMore { line: 0 })
    );
    let no_rate = |taxable, tax| MappingRefusal::NoRate {
        taxable: Cents(taxable),
        tax: Cents(tax),
    };
    assert_eq!(mapped(&[line(100, 0, 8, "8")]), Err(no_rate(0, 8)));
    assert_eq!(mapped(&[line(100, 100, -8, "8")]), Err(no_rate(100, -8)));
    // The second group is rounded to the first one's rate.
    let twice = [line(100, 100, 8, "8"), line(100, 100, 8, "9")];
    let rate = Decimal::from(8);
    assert_eq!(mapped(&twice), Err(MappingRefusal::SameRate { rate }));
}

fn priced(quantity: &str, price: &str, less: &[(i64, &str)]) -> Priced {
    let adjustment = |(amount, reason): &(i64, &str)| Adjustment {
        amount: Cents(*amount),
        reason: (*reason).to_owned(),
    };
    Priced {
        quantity: quantity.parse().unwrap(),
        price: price.parse().unwrap(),
        allowances: less.iter().map(adjustment).collect(),
        charges: Vec::new(),
    }
}

/// A document of one line at 8 %, of 20.00.
fn one_line(priced: Option<Priced>) -> Document {
    let group = Group {
        category: Category::S,
        rate: Decimal::from(8),
    };
    Document {
        lines: vec![Item {
            amount: Cents(2_000),
            group,
            reason: String::new(),
            priced,
        }],
        subtotals: vec![Subtotal {
            group,
            taxable: Cents(2_000),
            tax: Cents(160),
            reason: String::new(),
        }],
        totals: Totals {
            lines: Cents(2_000),
            without_tax: Cents(2_000),
            tax: Cents(160),
            with_tax: Cents(2_160),
            due: Cents(2_160),
            ..Totals::default()
        },
        ..Document::default()
    }
}

#[test]
fn a_line_comes_to_what_its_quantity_price_and_allowances_say_and_each_of_these_says_why() {
    for (line, rules) in [
        (Some(priced("3", "7", &[(100, "Discount")])), &[][..]),
        (Some(priced("1.5", "13.333333", &[])), &[]),
        (Some(priced("3", "7", &[])), &["BT-131"]),
        (Some(priced("3", "7", &[(100, " ")])), &["BR-CO-23"]),
        (Some(priced("2", "10", &[(1, "Discount")])), &["BT-131"]),
    ] {
        let broken: Vec<String> = broken(&one_line(line.clone()))
            .unwrap()
            .iter()
            .map(ToString::to_string)
            .collect();
        assert_eq!(broken, rules, "{line:?}");
    }
    let mut charged = one_line(Some(priced("1", "19", &[])));
    let line = charged.lines.first_mut().unwrap();
    let unsaid = Adjustment {
        amount: Cents(100),
        reason: String::new(),
    };
    line.priced.as_mut().unwrap().charges.push(unsaid);
    assert_eq!(broken(&charged), Ok(vec![Broken("BR-CO-24".to_owned())]));
}

#[test]
fn a_line_of_nothing_stands_with_its_rate_and_as_exempt_only_where_nothing_is_taxed() {
    let credited = [line(10_000, 10_000, 800, "8"), line(0, 0, 0, "8")];
    let told = mapped(&credited).unwrap();
    assert_eq!(told.subtotals.len(), 1);
    assert_eq!(told.lines[1][0].group.category, Category::S);
    let alone = mapped(&[line(0, 0, 0, "8")]).unwrap();
    assert_eq!(alone.lines[0][0].group.category, Category::E);
}

/// Whether the figures of a mapped sale obey every rule.
fn obeys(lines: &[SalesLine], mapped: Mapped) -> Result<Vec<Broken>, MoneyRefusal> {
    let items: Vec<Item> = mapped.lines.into_iter().flatten().collect();
    let without = Cents(items.iter().map(|item| item.amount.0).sum());
    let tax = Cents(lines.iter().map(|line| line.tax.0).sum());
    broken(&Document {
        totals: Totals {
            lines: without,
            without_tax: without,
            tax,
            with_tax: Cents(without.0 + tax.0),
            due: Cents(without.0 + tax.0),
            ..Totals::default()
        },
        lines: items,
        subtotals: mapped.subtotals,
        ..Document::default()
    })
}

proptest! {
    #[test]
    fn what_was_rounded_once_is_always_told_and_at_the_rate_by_law(
        sales in prop::collection::vec((0_i64..90_000, 0_i64..=4, prop::sample::select(vec!["6.25", "8.375"])), 1..8),
    ) {
        let mut lines: Vec<SalesLine> = sales
            .iter()
            .map(|(amount, quarters, rate)| line(*amount, amount * quarters / 4, 0, rate))
            .collect();
        for rate in ["6.25", "8.375"] {
            let parsed: Decimal = rate.parse().unwrap();
            let of_rate = |sale: &&mut SalesLine| sale.rate == parsed && sale.taxable.0 > 0;
            let taxable: i64 = lines.iter_mut().filter(of_rate).map(|sale| sale.taxable.0).sum();
            let first = lines.iter_mut().find(|sale| sale.rate == parsed && sale.taxable.0 > 0);
            if let Some(first) = first {
                first.tax = group_tax(Cents(taxable), parsed).unwrap();
            }
        }
        let told = mapped(&lines);
        prop_assert!(told.is_ok(), "{:?}", told);
        let told = told.unwrap();
        prop_assert!(told.restated.is_empty(), "{:?}", told.restated);
        prop_assert_eq!(obeys(&lines, told), Ok(Vec::new()));
    }

    #[test]
    fn what_is_mapped_obeys_every_rule_however_it_was_rounded(
        sales in prop::collection::vec((-50_000_i64..90_000, 0_i64..=4, prop::sample::select(vec!["0", "6.25", "8.375"])), 1..8),
        odd in -1_i64..=1,
    ) {
        let mut lines = Vec::new();
        for (amount, quarters, rate) in sales {
            let taxable = amount * quarters / 4;
            let parsed: Decimal = rate.parse().unwrap();
            let tax = group_tax(Cents(taxable), parsed).unwrap().0;
            lines.push(line(amount, taxable, tax, rate));
        }
        if let Some(first) = lines.first_mut()
            && first.tax.0.abs() > 5
        {
            first.tax.0 += odd;
        }
        let Ok(mapped) = mapped(&lines) else {
            return Ok(());
        };
        prop_assert_eq!(obeys(&lines, mapped), Ok(Vec::new()));
    }
}
