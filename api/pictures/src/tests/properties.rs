//! What holds of any data, however odd.

use super::*;

fn figure() -> impl Strategy<Value = f64> {
    prop_oneof![
        6 => -10.0f64..150.0,
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(f64::NEG_INFINITY),
        1 => Just(f64::MAX),
        1 => Just(f64::MIN_POSITIVE),
        1 => Just(-0.0),
    ]
}

/// Any characters, forbidden ones too.
fn text() -> impl Strategy<Value = String> {
    prop_oneof![any::<String>(), "[<>&'\"a-zA-Z ]{0,80}"]
}

fn some_figure() -> impl Strategy<Value = Option<f64>> {
    proptest::option::of(figure())
}

fn caption() -> impl Strategy<Value = Caption> {
    (text(), text(), text()).prop_map(|(title, subtitle, note)| Caption {
        title,
        subtitle,
        note,
    })
}

fn judgement() -> impl Strategy<Value = Judgement> {
    use Judgement::{AsExpected, Better, TooFew, Worse};
    prop::sample::select(vec![TooFew, AsExpected, Better, Worse])
}

fn any_rates() -> impl Strategy<Value = Rates> {
    let row = (
        text(),
        any::<u32>(),
        any::<u32>(),
        figure(),
        figure(),
        figure(),
        judgement(),
    )
        .prop_map(|(label, n, returned, rate, low, high, judgement)| RateRow {
            label,
            n,
            returned,
            rate,
            low,
            high,
            judgement,
        });
    let rows = prop::collection::vec(row, 0..40);
    (caption(), text(), rows, some_figure()).prop_map(|(caption, axis, rows, shop)| Rates {
        caption,
        axis,
        rows,
        shop,
    })
}

fn any_months() -> impl Strategy<Value = Months> {
    let alarm = proptest::option::of(text());
    let month = (
        text(),
        text(),
        some_figure(),
        some_figure(),
        some_figure(),
        alarm,
        any::<bool>(),
    )
        .prop_map(|(name, counts, rate, lower, upper, alarm, mature)| Month {
            name,
            counts,
            rate,
            lower,
            upper,
            alarm,
            mature,
        });
    let months = prop::collection::vec(month, 0..50);
    (caption(), text(), months, some_figure()).prop_map(|(caption, axis, months, centre)| Months {
        caption,
        axis,
        months,
        centre,
    })
}

fn any_visits() -> impl Strategy<Value = Visits> {
    let limits = proptest::option::of((figure(), figure()));
    let moment =
        (figure(), figure(), limits, 0u32..12).prop_map(|(age, mean, limits, units)| Moment {
            age,
            mean,
            limits,
            units,
        });
    let curve = (text(), prop::collection::vec(moment, 0..20))
        .prop_map(|(label, moments)| Curve { label, moments });
    let curves = prop::collection::vec(curve, 0..6);
    let unit = prop::sample::select(vec![AgeUnit::Days, AgeUnit::Years]);
    (caption(), text(), unit, text(), curves).prop_map(
        |(caption, age_axis, age_unit, mean_axis, curves)| Visits {
            caption,
            age_axis,
            age_unit,
            mean_axis,
            curves,
        },
    )
}

fn any_money() -> impl Strategy<Value = Money> {
    let bar = (text(), text(), figure()).prop_map(|(label, amount, length)| Bar {
        label,
        amount,
        length,
    });
    (caption(), prop::collection::vec(bar, 0..40))
        .prop_map(|(caption, bars)| Money { caption, bars })
}

fn any_lines() -> impl Strategy<Value = Lines> {
    let series = (text(), prop::collection::vec(some_figure(), 0..40))
        .prop_map(|(label, values)| Series { label, values });
    let months = prop::collection::vec(text(), 0..40);
    (
        caption(),
        text(),
        months,
        prop::collection::vec(series, 0..4),
    )
        .prop_map(|(caption, axis, months, series)| Lines {
            caption,
            axis,
            months,
            series,
        })
}

/// Parses, is named, has only numbers for places, all of them inside the picture, and is the same each time.
fn sound(chart: &dyn Chart) -> Result<(), TestCaseError> {
    let picture = chart.picture();
    prop_assert_eq!(&picture, &chart.picture());
    let document = Document::parse(&picture.svg);
    prop_assert!(document.is_ok(), "{:?}\n{}", document.err(), picture.svg);
    let document = Document::parse(&picture.svg).expect("just parsed");
    let height: f64 = document
        .root_element()
        .attribute("height")
        .unwrap()
        .parse()
        .unwrap();
    for name in ["title", "desc"] {
        let named = document
            .root_element()
            .children()
            .find(|node| node.has_tag_name(name));
        prop_assert!(
            named
                .and_then(|node| node.text())
                .is_some_and(|text| !text.trim().is_empty())
        );
    }
    for node in document.descendants().filter(Node::is_element) {
        for (names, limit) in [
            (["x", "x1", "x2", "cx"], 720.0),
            (["y", "y1", "y2", "cy"], height),
        ] {
            for place in names.iter().filter_map(|name| node.attribute(*name)) {
                let place: f64 = place.parse().unwrap();
                prop_assert!((0.0..=limit).contains(&place), "{}", picture.svg);
            }
        }
        for place in node
            .attribute("points")
            .unwrap_or_default()
            .split([' ', ','])
            .filter(|text| !text.is_empty())
        {
            prop_assert!(place.parse::<f64>().is_ok_and(f64::is_finite));
        }
        let outside = node
            .attributes()
            .any(|attribute| attribute.name().ends_with("href"));
        prop_assert!(!outside && !node.has_tag_name("script"));
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn any_rates_make_a_sound_picture(chart in any_rates()) {
        sound(&chart)?;
    }

    #[test]
    fn any_months_make_a_sound_picture(chart in any_months()) {
        sound(&chart)?;
    }

    #[test]
    fn any_visits_make_a_sound_picture(chart in any_visits()) {
        sound(&chart)?;
    }

    #[test]
    fn any_money_makes_a_sound_picture(chart in any_money()) {
        sound(&chart)?;
    }

    #[test]
    fn any_lines_make_a_sound_picture(chart in any_lines()) {
        sound(&chart)?;
    }
}
