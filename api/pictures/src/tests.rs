use super::*;
use proptest::prelude::*;
use resvg::usvg::roxmltree::{Document, Node};

mod properties;

fn caption() -> Caption {
    Caption {
        title: "Callbacks by technician".to_owned(),
        subtitle: "212 calls, as of Nov 29, 2026".to_owned(),
        note: "Intervals are 95 %.".to_owned(),
    }
}

fn row(label: &str, rate: f64, judgement: Judgement) -> RateRow {
    RateRow {
        label: label.to_owned(),
        n: 24,
        returned: 7,
        rate,
        low: 10.0,
        high: 40.0,
        judgement,
    }
}

fn rates(rows: Vec<RateRow>) -> Rates {
    Rates {
        caption: caption(),
        axis: "Came back, in percent".to_owned(),
        rows,
        shop: Some(20.0),
    }
}

fn month(name: &str, rate: f64) -> Month {
    Month {
        name: name.to_owned(),
        counts: "4 of 40".to_owned(),
        rate: Some(rate),
        lower: None,
        upper: Some(25.0),
        alarm: None,
        mature: true,
    }
}

/// Numbers of an attribute of every element of a name, in order.
fn numbers(svg: &str, element: &str, attribute: &str) -> Vec<f64> {
    let document = Document::parse(svg).expect("an SVG parses");
    document
        .descendants()
        .filter(|node| node.has_tag_name(element))
        .filter_map(|node| node.attribute(attribute)?.parse().ok())
        .collect()
}

fn texts(svg: &str) -> Vec<String> {
    let document = Document::parse(svg).expect("an SVG parses");
    let texts = document
        .descendants()
        .filter(|node| node.has_tag_name("text"));
    texts
        .map(|node| node.text().unwrap_or_default().to_owned())
        .collect()
}

#[test]
fn a_picture_names_itself_and_says_in_words_what_it_shows() {
    let chart = rates(vec![row("R. Moss", 29.2, Judgement::Worse)]);
    let picture = chart.picture();
    let document = Document::parse(&picture.svg).expect("an SVG parses");
    let root = document.root_element();
    assert_eq!(root.attribute("role"), Some("img"));
    assert_eq!(root.attribute("lang"), Some("en-US"));
    let of = |name| {
        root.children()
            .find(|node: &Node| node.has_tag_name(name))
            .expect("it is there")
    };
    let ids = format!(
        "{} {}",
        of("title").attribute("id").unwrap(),
        of("desc").attribute("id").unwrap()
    );
    assert_eq!(root.attribute("aria-labelledby"), Some(ids.as_str()));
    assert_eq!(of("title").text(), Some("Callbacks by technician"));
    assert_eq!(of("desc").text(), Some(chart.alternative().as_str()));
    assert_eq!(
        picture.alternative,
        "Callbacks by technician. 212 calls, as of Nov 29, 2026. The shop is at 20 %. \
         Worse than expected: R. Moss 29.2 % (7 of 24, 10 % to 40 %)."
    );
}

#[test]
fn every_text_is_escaped_and_a_long_label_is_whole_in_the_rows_title() {
    let label = "<script>alert(\"1\")</script> & a label that is far too long for its column, even where it \
                 goes on in a second line below the first";
    let svg = rates(vec![row(label, 20.0, Judgement::AsExpected)])
        .picture()
        .svg;
    assert!(!svg.contains("<script"), "{svg}");
    let document = Document::parse(&svg).expect("an SVG parses");
    let row = document
        .descendants()
        .find(|node| node.has_tag_name("g"))
        .expect("a row");
    let title = row.first_element_child().and_then(|node| node.text());
    assert!(title.is_some_and(|title| title.starts_with(label)));
    let said = texts(&svg);
    assert!(said.iter().any(|text| text.starts_with("<script>")));
    assert!(said.iter().any(|text| text.ends_with('…')));
}

#[test]
fn the_name_of_a_part_goes_on_in_a_second_line_and_is_whole() {
    let name = "WH23X27574, Drain pump and motor assembly, 120 V";
    let money = Money {
        caption: caption(),
        bars: vec![Bar {
            label: name.to_owned(),
            amount: "$20.00".to_owned(),
            length: 2000.0,
        }],
    };
    let table = rates(vec![row(name, 20.0, Judgement::Worse)]);
    for svg in [table.picture().svg, money.picture().svg] {
        let said = texts(&svg);
        assert!(!said.iter().any(|text| text.ends_with('…')), "{said:?}");
        let begin = said.iter().position(|text| text.starts_with("WH23X27574"));
        let begin = begin.expect("the name");
        assert_eq!(said[begin..begin + 2].join(" "), name);
    }
}

/// Arithmetic: with one short label the plot reaches from 96 to 538; 0, 20 and 40 % lie at 96, 317 and 538.
#[test]
fn a_rate_lies_where_its_share_of_the_axis_is() {
    let svg = rates(vec![row("Moss", 20.0, Judgement::AsExpected)])
        .picture()
        .svg;
    assert_eq!(numbers(&svg, "circle", "cx").first(), Some(&317.0));
    let whiskers: Vec<f64> = numbers(&svg, "line", "x2");
    assert!(whiskers.contains(&538.0), "{whiskers:?}");
}

#[test]
fn judgements_differ_by_shape_and_by_words() {
    use Judgement::{AsExpected, Better, TooFew, Worse};
    let rows = [TooFew, AsExpected, Better, Worse];
    let shapes = rows.map(|judgement| {
        let svg = rates(vec![row("A", 20.0, judgement)]).picture().svg;
        let document = Document::parse(&svg).expect("an SVG parses");
        let group = document
            .descendants()
            .find(|node| node.has_tag_name("g"))
            .expect("a row");
        let drawn = group.last_element_child().expect("a mark");
        (
            drawn.tag_name().name().to_owned(),
            drawn.attribute("points").map(str::to_owned),
            drawn.attribute("fill") == Some("#ffffff"),
        )
    });
    for (place, shape) in shapes.iter().enumerate() {
        assert!(!shapes[..place].contains(shape), "{shape:?}");
    }
    let svg = rates(rows.map(|judgement| row("A", 20.0, judgement)).to_vec())
        .picture()
        .svg;
    let said = texts(&svg);
    for words in [
        "7 of 24",
        "7 of 24, worse",
        "7 of 24, better",
        "7 of 24, too few",
    ] {
        assert!(said.iter().any(|text| text == words), "{words}");
    }
}

/// Arithmetic: 12 months over 520 units; the first lies at 54 + 520 / 24, the limit steps at 54 + 520 / 12.
#[test]
fn months_lie_side_by_side_and_an_immature_one_is_hollow_and_an_alarm_another_shape() {
    let mut months: Vec<Month> = (0..12).map(|_| month("Jan 26", 10.0)).collect();
    months[10].alarm = Some("above its limit".to_owned());
    (months[11].lower, months[11].upper) = (Some(2.5), Some(62.5));
    months[11].mature = false;
    let chart = Months {
        caption: caption(),
        axis: "percent".to_owned(),
        months,
        centre: Some(10.0),
    };
    let svg = chart.picture().svg;
    let first = numbers(&svg, "circle", "cx")[0];
    assert!((first - (54.0 + 520.0 / 24.0)).abs() < 0.01, "{first}");
    let document = Document::parse(&svg).expect("an SVG parses");
    let marks = |name: &str, fill: &str| {
        document
            .descendants()
            .filter(|node| node.has_tag_name("g"))
            .filter_map(|node| node.last_element_child())
            .filter(|node| node.has_tag_name(name) && node.attribute("fill") == Some(fill))
            .count()
    };
    assert_eq!(marks("circle", "#ffffff"), 1);
    assert_eq!(marks("polygon", "#9a3412"), 1);
    for words in ["above its limit", "upper limit 62.5 %", "lower limit 2.5 %"] {
        assert!(texts(&svg).iter().any(|text| text == words), "{words}");
    }
    assert!(
        chart
            .alternative()
            .contains("1 month has not had its full time yet")
    );
}

/// Arithmetic: the highest is 41 percent, the axis ends a tenth above it at 45.1 and not at 50.
#[test]
fn the_axis_of_months_ends_just_above_the_highest_value() {
    let chart = Months {
        caption: caption(),
        axis: "percent".to_owned(),
        months: (0..12).map(|_| month("Jan 26", 41.0)).collect(),
        centre: Some(10.0),
    };
    let svg = chart.picture().svg;
    // The ground of the plane, 250 units high, is the lowest line across it.
    let ground = numbers(&svg, "line", "y1").into_iter().fold(0.0, f64::max);
    let point = numbers(&svg, "circle", "cy")[0];
    assert!(
        (ground - point - 250.0 / 1.1).abs() < 0.1,
        "{ground} {point}"
    );
}

fn visits(curves: Vec<Curve>) -> Visits {
    Visits {
        caption: caption(),
        age_axis: "Age in years".to_owned(),
        age_unit: AgeUnit::Years,
        mean_axis: "Repairs".to_owned(),
        curves,
    }
}

fn moment(age: f64, mean: f64, limits: Option<(f64, f64)>) -> Moment {
    Moment {
        age,
        mean,
        limits,
        units: 7,
    }
}

fn curve(label: &str, moments: Vec<Moment>) -> Curve {
    Curve {
        label: label.to_owned(),
        moments,
    }
}

#[test]
fn a_curve_says_its_last_step_with_its_age_and_limits_only_where_there_are_some() {
    let one = curve(
        "D100",
        vec![
            moment(0.0, 0.0, None),
            moment(0.027, 1.0, None),
            moment(2.0, 1.0, None),
        ],
    );
    let two = curve(
        "D200",
        vec![
            moment(0.0, 0.0, Some((0.0, 0.0))),
            moment(1.0, 0.5, Some((0.25, 1.0))),
            moment(3.24, 0.5, Some((0.25, 1.0))),
        ],
    );
    let none = curve("D300", vec![moment(0.0, 0.0, None), moment(1.0, 0.0, None)]);
    let told = visits(vec![one, two, none]).alternative();
    for said in [
        "D100: 1 repair per machine at 0.03 years, watched for 2 years.",
        "D200: 0.5 repairs per machine (0.25 to 1) at 1 year, watched for 3.2 years.",
        "D300: 0 repairs per machine, watched for 1 year.",
    ] {
        assert!(told.contains(said), "no {said:?} in {told}");
    }
}

#[test]
fn a_curve_of_a_single_point_is_a_mark() {
    let svg = visits(vec![curve("D100", vec![moment(0.0, 1.0, None)])])
        .picture()
        .svg;
    assert_eq!(numbers(&svg, "circle", "cx").len(), 1);
    assert!(numbers(&svg, "polyline", "stroke-width").is_empty());
}

#[test]
fn four_curves_have_whole_names_and_intervals_only_where_there_are_limits() {
    let names = [
        "Hearthline HX-30 double oven range, built in",
        "Frost & Sons side by side cooler with ice maker",
        "Copperleaf CL-30",
        "Range R-7",
    ];
    let four = |limits: Option<(f64, f64)>| {
        let curves = names.map(|name| {
            curve(
                name,
                vec![moment(0.0, 0.0, limits), moment(1.0, 1.0, limits)],
            )
        });
        visits(curves.to_vec()).picture().svg
    };
    let bare = four(None);
    assert!(!texts(&bare).iter().any(|text| text == "intervals"));
    assert!(numbers(&bare, "circle", "cx").is_empty());
    let svg = four(Some((0.5, 1.5)));
    assert!(texts(&svg).iter().any(|text| text == "intervals"));
    assert_eq!(numbers(&svg, "circle", "cx").len(), 4);
    for svg in [bare, svg] {
        let said = texts(&svg);
        assert!(!said.iter().any(|text| text.contains('…')), "{said:?}");
        let said = said.join(" ");
        assert!(names.iter().all(|name| said.contains(name)), "{said}");
    }
}

#[test]
fn a_curve_with_few_machines_goes_on_in_grey_from_where_the_ink_ends() {
    let moments = (0u32..6).map(|index| Moment {
        age: f64::from(index),
        mean: f64::from(index) * 0.2,
        limits: Some((0.0, f64::from(index) * 0.4)),
        units: 7 - index,
    });
    let chart = visits(vec![curve("D200", moments.collect())]);
    let svg = chart.picture().svg;
    let document = Document::parse(&svg).expect("an SVG parses");
    let lines: Vec<(String, String)> = document
        .descendants()
        .filter(|node| node.has_tag_name("polyline"))
        .map(|node| {
            let of = |name| node.attribute(name).unwrap_or_default().to_owned();
            (of("stroke"), of("points"))
        })
        .collect();
    assert_eq!(lines.len(), 2);
    assert_ne!(lines[0].0, lines[1].0);
    let end = lines[0].1.split(' ').next_back();
    assert_eq!(end, lines[1].1.split(' ').next());
    assert!(
        chart
            .alternative()
            .contains("fewer than 5 machines from 3 years on")
    );
}

/// Arithmetic: a bar of half the length is half as long.
#[test]
fn a_bar_is_as_long_as_its_share_of_the_longest_and_prints_its_amount() {
    let bar = |amount: &str, length| Bar {
        label: "Pump".to_owned(),
        amount: amount.to_owned(),
        length,
    };
    let chart = Money {
        caption: caption(),
        bars: vec![
            bar("$20.00", 2000.0),
            bar("$10.00", 1000.0),
            bar("-$5.00", -500.0),
        ],
    };
    let svg = chart.picture().svg;
    let widths = numbers(&svg, "rect", "width");
    assert!((widths[1] - 2.0 * widths[2]).abs() < 0.02, "{widths:?}");
    assert_eq!(widths.last(), Some(&0.0));
    assert!(
        chart
            .alternative()
            .contains("Pump $20.00, Pump $10.00 and Pump -$5.00")
    );
}

#[test]
fn a_month_without_a_figure_is_a_gap_in_the_line() {
    let series = |values: Vec<Option<f64>>| Lines {
        caption: caption(),
        axis: "percent".to_owned(),
        months: ["Jan", "Feb", "Mar", "Apr"].map(str::to_owned).to_vec(),
        series: vec![Series {
            label: "All calls".to_owned(),
            values,
        }],
    };
    let joins = |chart: &Lines| {
        let svg = chart.picture().svg;
        numbers(&svg, "line", "stroke-width").len()
    };
    assert_eq!(
        joins(&series(vec![
            Some(80.0),
            Some(82.0),
            Some(81.0),
            Some(90.0)
        ])),
        3
    );
    let gap = series(vec![Some(80.0), None, Some(81.0), Some(90.0)]);
    assert_eq!(joins(&gap), 1);
    assert!(
        gap.alternative()
            .contains("80 % in Jan, 90 % in Apr; lowest 80 % in Jan, highest 90 % in Apr")
    );
}

#[test]
fn the_name_of_a_series_is_not_cut() {
    let chart = Lines {
        caption: caption(),
        axis: "percent".to_owned(),
        months: vec!["Jan".to_owned()],
        series: vec![Series {
            label: "One visit".to_owned(),
            values: vec![Some(80.0)],
        }],
    };
    let said = texts(&chart.picture().svg);
    assert!(said.iter().any(|text| text == "One visit"), "{said:?}");
}

#[test]
fn without_data_a_picture_says_so() {
    let charts: [Box<dyn Chart>; 5] = [
        Box::new(Rates::default()),
        Box::new(Months::default()),
        Box::new(Visits::default()),
        Box::new(Money::default()),
        Box::new(Lines::default()),
    ];
    for chart in charts {
        let picture = chart.picture();
        assert!(
            texts(&picture.svg)
                .iter()
                .any(|text| text == "There is nothing to show yet")
        );
        assert_eq!(picture.alternative, "There is nothing to show yet.");
    }
}

#[test]
fn the_png_is_twice_the_size_and_shows_its_words() {
    let drawn = rates(vec![row("R. Moss", 29.2, Judgement::Worse)]).picture();
    let png = drawn.png().expect("a PNG");
    // Bytes 16 to 20 of a PNG are its width (W3C PNG specification, IHDR).
    assert_eq!(png[16..20], 1440u32.to_be_bytes());
    let silent = Picture {
        svg: drawn.svg.replace("R. Moss", "."),
        ..drawn
    };
    assert_ne!(png, silent.png().expect("a PNG"));
}
