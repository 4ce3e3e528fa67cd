//! The link pages: everything typed by people is text, errors are tied to their fields, nothing runs.

use super::*;

const HOSTILE: &str = "<script>alert(1)</script>\" onfocus='x' & {{ x }}";

pub(in crate::estimates) fn sample_page() -> EstimatePage {
    let text = str::to_owned;
    let figure = |label: &str, value: &str| PlateFigure {
        label: text(label),
        value: text(value),
    };
    EstimatePage {
        token: text("kQ7zTt0v9x3w5r8yB2mN4a"),
        shop: ShopView {
            name: text("Tern & Lantern Appliance Repair"),
            phone: text("(555) 010-0142"),
            phone_link: text("+15550100142"),
        },
        number: text("E-2026-0187"),
        revision: text("2"),
        issued_on: text("November 25, 2026"),
        valid_until: text("December 25, 2026"),
        customer_name: text("Odalys Fenwick"),
        appliance: PlateView {
            appliance_type: text("Electric water heater"),
            make: text("Halvorsen"),
            model: text("HWE-50-2T"),
            serial: text("7Q04-118823"),
            is_shop_tag: false,
            ratings: vec![
                figure("Rated voltage", "240 V ~ 60 Hz"),
                figure("Rated power", "4,500 W"),
                figure("Current", "18.75 A"),
            ],
        },
        problem_told: text(
            "Hot water runs out after about five minutes. There was a burning smell near the tank last week.",
        ),
        found: text("The upper heating element is open. The terminal on its feed wire is burnt."),
        currency: text("USD"),
        options: sample_options(),
        notes: vec![text(
            "The diagnostic charge of 89.00 is not asked for if you accept a repair.",
        )],
        warranty: text("Labor on the repaired part: 90 days. Parts we fit: 12 months."),
        terms: text("We do no work beyond the option you accept without asking you first."),
        cautions: vec![text(
            "Leave the breaker of the water heater off until the burnt terminal has been repaired.",
        )],
        consent: text(
            "By accepting I ask the shop to do the work of the chosen option at the total shown. My name, the time and my network address are recorded with this answer.",
        ),
        content_hash: text("9f2c"),
        ..EstimatePage::default()
    }
}

/// A charged line: kind, description, quantity, price of one and amount, in this order.
fn line([kind, description, quantity, unit_price, amount]: [&str; 5], taxed: bool) -> LineView {
    LineView {
        kind: kind.to_owned(),
        description: description.to_owned(),
        quantity: quantity.to_owned(),
        unit_price: unit_price.to_owned(),
        amount: amount.to_owned(),
        taxed: if taxed { "taxed" } else { "" }.to_owned(),
        note: String::new(),
        section: String::new(),
    }
}

fn sample_options() -> Vec<OptionView> {
    vec![plain_repair(), better_repair()]
}

fn tax(level: &str, rate: &str, amount: &str) -> TaxView {
    TaxView {
        level: level.to_owned(),
        rate: rate.to_owned(),
        amount: amount.to_owned(),
    }
}

fn plain_repair() -> OptionView {
    let text = str::to_owned;
    OptionView {
        id: text("1"),
        title: text("Repair: new upper element and feed terminal"),
        summary: text("Replaces the open element and cuts the damaged wire back to sound copper."),
        lines: vec![
            line(
                [
                    "Part",
                    "Heating element, screw-in, 4,500 W 240 V",
                    "1",
                    "46.80",
                    "46.80",
                ],
                true,
            ),
            line(
                [
                    "Labor",
                    "Drain, replace element, re-terminate, refill and test",
                    "1.25 h",
                    "108.00",
                    "135.00",
                ],
                false,
            ),
        ],
        subtotal: text("181.80"),
        discount: text("-15.00"),
        tax_lines: vec![
            tax("State tax, Ohio", "5.75 %", "2.69"),
            tax("County tax, Pell", "1.25 %", "0.59"),
        ],
        total: text("170.08"),
        ..OptionView::default()
    }
}

fn better_repair() -> OptionView {
    let text = str::to_owned;
    OptionView {
        id: text("2"),
        title: text("Better repair: both elements and both thermostats"),
        summary: text("Doing all four in one visit saves a second trip."),
        lines: vec![LineView {
            note: text("Rebuilt part, tested by its maker"),
            ..line(
                [
                    "Part",
                    "Thermostat set, upper with limit and lower",
                    "1",
                    "58.40",
                    "58.40",
                ],
                true,
            )
        }],
        subtotal: text("403.00"),
        discount: String::new(),
        tax_lines: vec![tax("State tax, Ohio", "5.75 %", "8.74")],
        total: text("413.64"),
        ..OptionView::default()
    }
}

fn nothing_runs(html: &str) {
    for banned in [
        "<script",
        "style=",
        "<style",
        "javascript:",
        " onfocus='",
        "http://",
        "https://",
    ] {
        assert!(!html.contains(banned), "{banned} in:\n{html}");
    }
}

#[test]
fn the_page_shows_every_figure() -> askama::Result<()> {
    let page = sample_page();
    let html = page.render()?;
    for option in &page.options {
        for figure in [&option.subtotal, &option.total] {
            assert!(html.contains(figure.as_str()), "{figure} is missing");
        }
        for line in &option.lines {
            assert!(html.contains(&format!("{} × {}", line.quantity, line.unit_price)));
            assert!(html.contains(&line.amount));
        }
        for tax in &option.tax_lines {
            assert!(html.contains(&format!("{} {}", tax.level, tax.rate)));
        }
    }
    nothing_runs(&html);
    Ok(())
}

#[test]
fn typed_text_never_becomes_markup() -> askama::Result<()> {
    let text = || HOSTILE.to_owned();
    let mut page = sample_page();
    page.number = text();
    page.customer_name = text();
    page.appliance.serial = text();
    page.problem_told = text();
    page.notes = vec![text()];
    page.content_hash = text();
    page.typed_name = text();
    page.typed_reason = text();
    page.shop.phone_link = text();
    page.problem = Some(PageProblem {
        place: ProblemPlace::Name,
        message: text(),
    });
    for option in &mut page.options {
        option.id = text();
        option.title = text();
        option
            .lines
            .iter_mut()
            .for_each(|line| line.description = text());
    }
    let html = page.render()?;
    assert!(!html.contains("<script"), "{html}");
    assert!(!html.contains("\" onfocus"), "{html}");
    assert!(html.contains("&#60;script&#62;"), "{html}");

    let answered = AnsweredPage {
        shop: ShopView {
            name: text(),
            ..ShopView::default()
        },
        number: text(),
        answered_at: text(),
        answer: Answer::Accepted {
            name: text(),
            option_title: text(),
            total: text(),
            first: Some(text()),
            consent: text(),
        },
    };
    assert!(!answered.render()?.contains("<script"));
    Ok(())
}

#[test]
fn a_missing_name_is_said_at_the_top_and_at_the_field() -> askama::Result<()> {
    let mut page = sample_page();
    page.chosen_option = "2".to_owned();
    page.problem = Some(PageProblem {
        place: ProblemPlace::Name,
        message: "Type your full name.".to_owned(),
    });
    let html = page.render()?;
    assert!(html.contains("<title>Please check your answer: Estimate E-2026-0187"));
    assert!(html.contains("<a href=\"#name\">Type your full name.</a>"));
    assert!(html.contains("aria-invalid=\"true\" aria-describedby=\"name-problem consent\""));
    assert!(html.contains("id=\"name-problem\">Type your full name."));
    assert!(html.contains("value=\"2\" required checked"));
    assert!(!html.contains("value=\"1\" required checked"));
    Ok(())
}

#[test]
fn only_a_single_option_is_chosen_from_the_start() -> askama::Result<()> {
    let mut page = sample_page();
    assert!(!page.render()?.contains(" checked"));
    page.options.truncate(1);
    assert!(page.render()?.contains(" checked"));
    Ok(())
}

#[test]
fn the_forms_post_what_the_service_reads() -> askama::Result<()> {
    let html = sample_page().render()?;
    for part in [
        "method=\"post\" action=\"/e/kQ7zTt0v9x3w5r8yB2mN4a/accept\"",
        "method=\"post\" action=\"/e/kQ7zTt0v9x3w5r8yB2mN4a/decline\"",
        "name=\"option\"",
        "name=\"name\"",
        "name=\"content_hash\" value=\"9f2c\"",
        "name=\"reason\"",
        "href=\"/e/kQ7zTt0v9x3w5r8yB2mN4a/estimate.pdf\"",
        "href=\"tel:+15550100142\"",
    ] {
        assert!(html.contains(part), "{part} is missing");
    }
    Ok(())
}

#[test]
fn each_answer_has_its_own_page() -> askama::Result<()> {
    let page = |answer| AnsweredPage {
        shop: sample_page().shop,
        number: "E-2026-0187".to_owned(),
        answered_at: "November 26, 2026, 9:14 AM".to_owned(),
        answer,
    };
    let agreed = |first: Option<&str>| Answer::Accepted {
        name: "Odalys Fenwick".to_owned(),
        option_title: "Repair".to_owned(),
        total: "USD 170.08".to_owned(),
        first: first.map(str::to_owned),
        consent: "I ask the shop to do the work.".to_owned(),
    };
    let deposit = "Before the work begins we ask for a deposit of USD 50.00.";
    for (page, part) in [
        (page(agreed(None)), "USD 170.08"),
        (page(agreed(None)), "You need to do nothing more"),
        (page(agreed(None)), "I ask the shop to do the work."),
        (page(agreed(Some(deposit))), deposit),
        (page(Answer::Declined), "You declined"),
    ] {
        assert!(!(part == deposit && page.render()?.contains("nothing more")));
        let html = page.render()?;
        assert!(html.contains(part), "{part} is missing");
        nothing_runs(&html);
    }
    Ok(())
}

#[test]
fn a_link_that_does_not_open_says_nothing_of_any_estimate() -> askama::Result<()> {
    for is_used in [false, true] {
        let html = GonePage {
            shop: sample_page().shop,
            is_used,
        }
        .render()?;
        assert!(!html.to_lowercase().contains("estimate "), "{html}");
        assert!(!html.contains("E-2026"));
        assert_eq!(html.contains("This link was used"), is_used);
        nothing_runs(&html);
    }
    Ok(())
}

#[test]
fn the_style_sheet_loads_nothing() {
    for banned in ["url(", "@import", "http"] {
        assert!(!STYLE_SHEET.contains(banned), "{banned} in the style sheet");
    }
}

#[test]
fn the_page_that_asks_to_wait_tells_nothing_but_whom_to_call() {
    let page = WaitPage {
        shop: ShopView {
            name: "Tern & Lantern".to_owned(),
            phone: "(217) 555-0100".to_owned(),
            phone_link: "+12175550100".to_owned(),
        },
    };
    let html = page.render().unwrap();
    assert!(html.contains("Please wait a minute") && html.contains("tel:+12175550100"));
    assert!(!html.contains("stimate E-"));
}
