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

proptest! {
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
        let items: Vec<Item> = mapped.lines.into_iter().flatten().collect();
        let without = Cents(items.iter().map(|item| item.amount.0).sum());
        let tax = Cents(lines.iter().map(|line| line.tax.0).sum());
        let document = Document {
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
        };
        prop_assert_eq!(broken(&document), Ok(Vec::new()));
    }
}
