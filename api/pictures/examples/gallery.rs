//! Draws every kind of chart with little, usual and much data, as SVG and PNG: `cargo run -p nameplate-pictures
//! --example gallery -- <folder>`. To look at them, on a screen and printed grey.

use nameplate_pictures::{
    AgeUnit, Bar, Caption, Chart, Curve, Judgement, Lines, Moment, Money, Month, Months, RateRow,
    Rates, Series, Visits,
};
use std::error::Error;
use std::fs;
use std::path::Path;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args().nth(1).ok_or("name a folder")?;
    let folder = Path::new(&folder);
    fs::create_dir_all(folder)?;
    for (size, count) in [("small", 1), ("usual", 8), ("much", 34)] {
        let charts: [(&str, Box<dyn Chart>); 5] = [
            ("rates", Box::new(rates(count))),
            ("months", Box::new(months(count))),
            ("visits", Box::new(visits(count))),
            ("money", Box::new(money(count))),
            ("lines", Box::new(lines(count))),
        ];
        for (kind, chart) in charts {
            let picture = chart.picture();
            let name = folder.join(format!("{kind}-{size}"));
            fs::write(name.with_extension("svg"), &picture.svg)?;
            fs::write(name.with_extension("png"), picture.png()?)?;
            println!("{kind}, {size}: {}\n", picture.alternative);
        }
    }
    let empty = Rates {
        caption: caption("Callbacks by technician"),
        ..Rates::default()
    };
    fs::write(folder.join("empty.png"), empty.picture().png()?)?;
    Ok(())
}

fn caption(title: &str) -> Caption {
    Caption {
        title: title.to_owned(),
        subtitle: "1,284 completed calls from Jan 2024 to Oct 2026, each with its full 30 days to come back; as of Nov 29, 2026"
            .to_owned(),
        note: "The bar around a mark is its 95 % interval. A group with fewer than 20 calls is not judged. \
               What stands out may still be chance: look at the calls before you look at people."
            .to_owned(),
    }
}

/// The same fractions each time: a walk through 0 to 1 that looks irregular.
fn wobble(index: u32, salt: u32) -> f64 {
    f64::from((index * 37 + salt * 61 + index * index * 11) % 101) / 101.0
}

fn rates(count: u32) -> Rates {
    let names = [
        "R. Moss",
        "T. Alder",
        "Whirling dryer heating element terminals, upper block",
        "J. Fenn",
        "L. Quill & Sons <night shift>",
    ];
    let rows = (0..count).zip(names.iter().cycle()).map(|(index, name)| {
        let n = 6 + (index * 53) % 190;
        let rate = 3.0 + 22.0 * wobble(index, 1);
        let spread = 60.0 / f64::from(n).sqrt();
        RateRow {
            label: (*name).to_owned(),
            n,
            returned: n / 9,
            rate,
            low: (rate - spread).max(0.0),
            high: rate + spread,
            judgement: match (n, index % 5) {
                (..20, _) => Judgement::TooFew,
                (_, 1) => Judgement::Better,
                (_, 2) => Judgement::Worse,
                _ => Judgement::AsExpected,
            },
        }
    });
    Rates {
        caption: caption("Callbacks by technician"),
        axis: "Calls that came back within 30 days, in percent".to_owned(),
        rows: rows.collect(),
        shop: Some(9.4),
    }
}

fn names(count: u32) -> impl Iterator<Item = String> {
    let months = [
        "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
    ];
    (24..)
        .flat_map(move |year| months.map(|month| format!("{month} {year}")))
        .take(usize::try_from(count).unwrap_or(0))
}

fn months(count: u32) -> Months {
    let months = names(count).zip(0u32..).map(|(name, index)| {
        let n = 25 + (index * 31) % 30;
        let rate = if index % 9 == 5 {
            27.0
        } else {
            14.0 * wobble(index, 3)
        };
        Month {
            name,
            counts: format!("{} of {n}", n / 8),
            rate: Some(rate),
            lower: None,
            upper: Some(9.4 + 90.0 / f64::from(n).sqrt()),
            alarm: (index % 9 == 5).then(|| "above its limit".to_owned()),
            mature: index + 2 < count,
        }
    });
    Months {
        caption: caption("Callbacks by month of completion"),
        axis: "Calls that came back within 30 days, in percent".to_owned(),
        months: months.collect(),
        centre: Some(9.4),
    }
}

fn visits(count: u32) -> Visits {
    let labels = [
        "WTW-48 washer",
        "Plain dryer D200",
        "Frost & Sons cooler, side by side",
        "Range R-7",
    ];
    let curves = labels
        .iter()
        .zip(0u32..)
        .take(usize::try_from((count / 4).clamp(1, 4)).unwrap_or(1));
    let curves = curves.map(|(label, salt)| {
        let mut mean = 0.0;
        let moments = (0..count.min(24) + 3).map(|index| {
            let age = f64::from(index) * 0.42;
            mean += 0.12 * wobble(index, salt + 2) * (1.0 + f64::from(salt) * 0.5);
            let half = mean * 0.25 + 0.02 * f64::from(index);
            Moment {
                age,
                mean,
                limits: Some(((mean - half).max(0.0), mean + half)),
                units: 28u32.saturating_sub(index),
            }
        });
        Curve {
            label: (*label).to_owned(),
            moments: moments.collect(),
        }
    });
    Visits {
        caption: caption("Repairs over the life of a machine"),
        age_axis: "Age in years".to_owned(),
        age_unit: AgeUnit::Years,
        mean_axis: "Repairs per machine up to that age, mean".to_owned(),
        curves: curves.collect(),
    }
}

fn money(count: u32) -> Money {
    let bars = (0..count).map(|index| {
        let cents = 129_900 / (index + 1) + 1_250;
        Bar {
            label: format!("Component {index} of a rather long name, with more"),
            amount: format!("${}.{:02}", cents / 100, cents % 100),
            length: f64::from(cents),
        }
    });
    Money {
        caption: caption("What callbacks cost by component"),
        bars: bars.collect(),
    }
}

fn lines(count: u32) -> Lines {
    let values = |salt: u32, least: f64| {
        (0..count)
            .map(|index| (index % 7 != 4).then(|| least + 25.0 * wobble(index, salt)))
            .collect()
    };
    Lines {
        caption: caption("Calls completed at the first visit"),
        axis: "Completed at the first visit, in percent".to_owned(),
        months: names(count).collect(),
        series: vec![
            Series {
                label: "Parts on the truck".to_owned(),
                values: values(4, 66.0),
            },
            Series {
                label: "All calls".to_owned(),
                values: values(5, 52.0),
            },
        ],
    }
}
