//! Reads the finished files back with poppler (`pdftotext`, `pdfinfo`, `pdffonts`), as a customer's reader would.

use std::io::Write;
use std::process::{Command, Stdio};

use super::*;

mod claim;

type Outcome = Result<(), Box<dyn std::error::Error>>;

fn estimate() -> Result<EstimateDocument, serde_json::Error> {
    serde_json::from_str(include_str!("../samples/estimate.json"))
}

fn invoice() -> Result<InvoiceDocument, serde_json::Error> {
    serde_json::from_str(include_str!("../samples/invoice.json"))
}

/// What a poppler tool says about a file.
fn ask(tool: &str, arguments: &[&str], pdf: &[u8]) -> Result<String, Box<dyn std::error::Error>> {
    let mut child = Command::new(tool)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .map_err(|error| format!("{tool} (package poppler-utils) did not start: {error}"))?;
    let mut input = child.stdin.take().ok_or("no standard input")?;
    let bytes = pdf.to_vec();
    let feeder = std::thread::spawn(move || input.write_all(&bytes));
    let output = child.wait_with_output()?;
    feeder.join().map_err(|_| "the feeding thread died")??;
    if !output.status.success() {
        return Err(format!("{tool} refused the file").into());
    }
    Ok(String::from_utf8(output.stdout)?)
}

/// The text of a file with line ends, places to break and runs of spaces made one space.
fn text_of(pdf: &[u8]) -> Result<String, Box<dyn std::error::Error>> {
    let raw = ask("pdftotext", &["-layout", "-", "-"], pdf)?;
    Ok(raw
        .replace('\u{200B}', "")
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" "))
}

fn pages_of(pdf: &[u8]) -> Result<u32, Box<dyn std::error::Error>> {
    let info = ask("pdfinfo", &["-"], pdf)?;
    let line = info
        .lines()
        .find(|line| line.starts_with("Pages:"))
        .ok_or("no page count")?;
    Ok(line.trim_start_matches("Pages:").trim().parse()?)
}

/// Every text of the fields named, at any depth.
fn texts_under<'a>(value: &'a Value, names: &[&str], found: &mut Vec<&'a str>) {
    match value {
        Value::Object(fields) => {
            for (name, field) in fields {
                match field {
                    Value::String(text) if names.contains(&name.as_str()) => found.push(text),
                    other => texts_under(other, names, found),
                }
            }
        }
        Value::Array(items) => items
            .iter()
            .for_each(|item| texts_under(item, names, found)),
        _ => {}
    }
}

const FIGURES: [&str; 11] = [
    "quantity",
    "unit_price",
    "amount",
    "rate",
    "subtotal",
    "discount",
    "total",
    "paid",
    "open",
    "number",
    "value",
];

fn every_figure_is_printed(document: &impl Serialize, pdf: &[u8]) -> Outcome {
    let data = serde_json::to_value(document)?;
    let mut figures = Vec::new();
    texts_under(&data, &FIGURES, &mut figures);
    assert!(
        figures.len() > 20,
        "the sample holds too few figures to judge by"
    );
    // Without spaces: the reader decides by distance whether "2 h" is one word or two.
    let text = text_of(pdf)?.replace(' ', "");
    for figure in figures {
        assert!(
            text.contains(&figure.replace(' ', "")),
            "{figure} is missing from:\n{text}"
        );
    }
    Ok(())
}

#[test]
fn every_figure_of_an_estimate_is_printed() -> Outcome {
    let document = estimate()?;
    every_figure_is_printed(&document, &estimate_pdf(&document)?)
}

#[test]
fn sections_deposit_changes_and_figures_to_weigh_are_printed() -> Outcome {
    let document = estimate()?;
    let text = text_of(&estimate_pdf(&document)?)?;
    for part in [
        "What changed since revision 1",
        "now includes Trip to Pell Harbor",
        "At your home",
        "Deposit wanted before the work begins: USD 53.01 (25 % of the total)",
        "We keep the old element",
        "Repair or replace: figures to weigh",
        "This one has used 82 % of that.",
        "February 2007",
    ] {
        assert!(text.contains(part), "{part} is missing from:\n{text}");
    }
    Ok(())
}

#[test]
fn every_figure_of_an_invoice_is_printed() -> Outcome {
    let document = invoice()?;
    every_figure_is_printed(&document, &invoice_pdf(&document)?)
}

#[test]
fn a_bill_names_shop_customer_machine_and_problem() -> Outcome {
    let text = text_of(&invoice_pdf(&invoice()?)?)?;
    for part in [
        "Tern & Lantern Appliance Repair",
        "418 Quarry Road",
        "(555) 010-0142",
        "State registration 41877",
        "Odalys Fenwick",
        "Halvorsen",
        "HWE-50-2T",
        "7Q04-118823",
        "Hot water runs out after about five minutes.",
        "December 2, 2026",
        "R. Adeyemi (07)",
        "State tax, Ohio",
        "To pay",
        "Page 1 of",
    ] {
        assert!(text.contains(part), "{part} is missing from:\n{text}");
    }
    Ok(())
}

#[test]
fn files_are_tagged_titled_and_in_english() -> Outcome {
    for (pdf, title) in [
        (
            estimate_pdf(&estimate()?)?,
            "Estimate E-2026-0187, Tern & Lantern Appliance Repair",
        ),
        (
            invoice_pdf(&invoice()?)?,
            "Invoice I-2026-0203, Tern & Lantern Appliance Repair",
        ),
    ] {
        let info = ask("pdfinfo", &["-"], &pdf)?;
        let words = info.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains("Tagged: yes"), "{info}");
        assert!(words.contains(&format!("Title: {title}")), "{info}");
        assert!(words.contains("JavaScript: no"), "{info}");
        assert!(
            words.contains("Page size: 612 x 792 pts (letter)"),
            "{info}"
        );
        let bytes = String::from_utf8_lossy(&pdf);
        assert!(bytes.contains("/Lang"), "no language");
        assert!(bytes.contains("pdfuaid"), "no mark of PDF/UA");
    }
    Ok(())
}

#[test]
fn fonts_are_embedded() -> Outcome {
    let fonts = ask("pdffonts", &["-"], &estimate_pdf(&estimate()?)?)?;
    let rows: Vec<&str> = fonts.lines().skip(2).collect();
    assert!(rows.len() >= 2, "{fonts}");
    for row in rows {
        // Columns end in: embedded, subset, Unicode map, object number and generation.
        let mut columns = row.split_whitespace().rev().skip(2);
        assert_eq!(columns.next(), Some("yes"), "no Unicode map: {row}");
        assert_eq!(columns.next(), Some("yes"), "not subset: {row}");
        assert_eq!(columns.next(), Some("yes"), "not embedded: {row}");
    }
    Ok(())
}

#[test]
fn amounts_are_read_in_the_order_of_their_lines() -> Outcome {
    let document = estimate()?;
    let raw = ask("pdftotext", &["-raw", "-", "-"], &estimate_pdf(&document)?)?;
    let mut rest = raw.as_str();
    for part in [
        "Heating element, screw-in",
        "46.80",
        "135.00",
        "35.00",
        "223.30",
        "-15.00",
        "3.06",
        "0.67",
        "212.03",
        "93.60",
        "413.64",
    ] {
        let (_, after) = rest
            .split_once(part)
            .ok_or_else(|| format!("{part} is out of order in:\n{raw}"))?;
        rest = after;
    }
    Ok(())
}

#[test]
fn text_that_looks_like_markup_is_printed_as_typed() -> Outcome {
    let typed = [
        "[*#not markup*]",
        "#panic(\"x\") $a^2$ _b_ `c` <d> @e = f",
        "\"quoted\" 'single' -- --- ... \\n // /* */",
        "{{ template }} ${shell} %s %n ../../etc/passwd",
        "Ærøskøbing Żółć Ελλάδα Київ",
    ];
    for text in typed {
        let mut document = estimate()?;
        document.customer.name = text.to_owned();
        document.appliance.serial = text.to_owned();
        document.notes = vec![text.to_owned()];
        for option in &mut document.options {
            option.title = text.to_owned();
            option
                .lines
                .iter_mut()
                .for_each(|line| line.description = text.to_owned());
        }
        let printed = text_of(&estimate_pdf(&document)?)?;
        assert!(printed.contains(text), "{text} became:\n{printed}");
    }
    Ok(())
}

#[test]
fn a_character_without_a_glyph_becomes_a_box() -> Outcome {
    let mut document = invoice()?;
    document.customer.name = "Ada \u{1F9F0} \u{5317}\u{4EAC} Lowe".to_owned();
    document.technician = Some("R\u{0489}e\u{0301}\u{0489} \u{0627}\u{064E}".to_owned());
    let text = text_of(&invoice_pdf(&document)?)?;
    assert!(
        text.contains("Ada \u{25A1} \u{25A1}\u{25A1} Lowe"),
        "{text}"
    );
    assert_eq!(
        unprintable_characters("Ada \u{1F9F0}\u{1F9F0}\n\u{5317}é"),
        vec!['\u{1F9F0}', '\u{5317}']
    );
    assert!(unprintable_characters("Zoë “quoted” – 12 Ω 240 V~ ½ €").is_empty());
    Ok(())
}

#[test]
fn control_characters_neither_break_nor_reverse_a_document() -> Outcome {
    let mut document = invoice()?;
    document.customer.name = "Ada\u{0} \u{202E}Lowe\u{7}\u{1B}[31m".to_owned();
    document.problem_told = "first\r\nsecond\u{2028}third\tfourth".to_owned();
    let pdf = invoice_pdf(&document)?;
    let text = text_of(&pdf)?;
    assert!(text.contains("Ada Lowe[31m"), "{text}");
    assert!(text.contains("first second third fourth"), "{text}");
    Ok(())
}

#[test]
fn very_long_words_stay_on_the_page() -> Outcome {
    let word = "Unterbrechungsfrei".repeat(20);
    let mut document = estimate()?;
    document.customer.name.clone_from(&word);
    document.appliance.model.clone_from(&word);
    document.problem_told.clone_from(&word);
    document.options.iter_mut().for_each(|option| {
        option.summary.clone_from(&word);
        option
            .lines
            .iter_mut()
            .for_each(|line| line.description.clone_from(&word));
    });
    let pdf = estimate_pdf(&document)?;
    let words = ask("pdftotext", &["-bbox", "-", "-"], &pdf)?;
    for edge in words.split("xMax=\"").skip(1) {
        let (value, _) = edge.split_once('"').ok_or("no end of a coordinate")?;
        assert!(
            value.parse::<f32>()? < 612.0 - 50.0,
            "a word reaches x = {value}"
        );
    }
    let printed = text_of(&pdf)?.replace(' ', "");
    assert!(
        printed.contains(&"Unterbrechungsfrei".repeat(2)),
        "{printed}"
    );
    Ok(())
}

#[test]
fn sixty_lines_run_over_pages_with_the_column_names_on_each() -> Outcome {
    let mut document = invoice()?;
    let line = document
        .lines
        .first()
        .cloned()
        .ok_or("the sample has no line")?;
    document.lines = (1..=60)
        .map(|n| DocumentLine {
            description: format!("Line {n} of sixty"),
            ..line.clone()
        })
        .collect();
    let pdf = invoice_pdf(&document)?;
    let pages = pages_of(&pdf)?;
    assert!(pages >= 3, "only {pages} pages");
    let text = text_of(&pdf)?;
    assert!(text.contains(&format!("Page {pages} of {pages}")), "{text}");
    assert!(text.contains("Line 60 of sixty"), "{text}");
    assert!(
        text.to_lowercase()
            .matches("kind description quantity")
            .count()
            >= 2,
        "{text}"
    );
    assert!(text.contains("Invoice I-2026-0203 "), "no running head");
    Ok(())
}

#[test]
fn the_same_document_gives_the_same_bytes() -> Outcome {
    let document = estimate()?;
    let first = estimate_pdf(&document)?;
    let between = invoice_pdf(&invoice()?)?;
    assert_ne!(first, between);
    assert_eq!(first, estimate_pdf(&document)?);
    Ok(())
}

#[test]
fn a_bare_document_prints() -> Outcome {
    let estimate = EstimateDocument {
        issued_on: "2026-01-05".to_owned(),
        ..EstimateDocument::default()
    };
    let invoice = InvoiceDocument {
        issued_on: "2026-01-05".to_owned(),
        ..InvoiceDocument::default()
    };
    assert!(text_of(&estimate_pdf(&estimate)?)?.contains("January 5, 2026"));
    assert!(text_of(&invoice_pdf(&invoice)?)?.contains("Invoice"));
    Ok(())
}

#[test]
fn a_credit_note_says_what_it_corrects() -> Outcome {
    let mut document = invoice()?;
    document.kind = InvoiceKind::CreditNote;
    document.number = "C-2026-0009".to_owned();
    document.corrects = Some("I-2026-0203".to_owned());
    let text = text_of(&invoice_pdf(&document)?)?;
    for part in [
        "Credit note",
        "C-2026-0009",
        "Corrects invoice",
        "I-2026-0203",
        "Total credited",
    ] {
        assert!(text.contains(part), "{part} is missing from:\n{text}");
    }
    assert!(!text.contains("How to pay"));
    Ok(())
}

#[test]
fn a_date_that_is_none_is_refused_by_name() -> Outcome {
    let mut document = estimate()?;
    document.valid_until = Some("2026-02-30".to_owned());
    let refused = estimate_pdf(&document).map_err(|error| error.to_string());
    assert_eq!(
        refused,
        Err("valid_until is \"2026-02-30\"; write a calendar day as YYYY-MM-DD".to_owned())
    );
    Ok(())
}

#[test]
fn large_sums_are_grouped_and_a_shop_tag_is_called_one() -> Outcome {
    let mut document = invoice()?;
    document.total = "1234567.89".to_owned();
    document.paid = "999.50".to_owned();
    document.written_off = Some("-12345.00".to_owned());
    if let Some(machine) = &mut document.appliance {
        machine.is_shop_tag = true;
        machine.serial = "TAG-000012".to_owned();
    }
    let text = text_of(&invoice_pdf(&document)?)?;
    for part in ["1,234,567.89", "999.50", "Written off", "-12,345.00"] {
        assert!(text.contains(part), "{part} is missing from:\n{text}");
    }
    let lower = text.to_lowercase();
    assert!(lower.contains("shop tag"), "{text}");
    assert!(!lower.contains("serial"), "{text}");
    Ok(())
}

#[test]
fn a_receipt_names_what_was_received_and_what_it_paid() -> Outcome {
    let document = ReceiptDocument {
        shop: invoice()?.shop,
        customer: invoice()?.customer,
        number: "P-000007".to_owned(),
        received_on: "2026-12-02".to_owned(),
        method: "Check".to_owned(),
        reference: Some("1042".to_owned()),
        currency: "USD".to_owned(),
        amount: "1205.08".to_owned(),
        lines: vec![ReceiptLine {
            what: "Invoice I-2026-0203".to_owned(),
            amount: "1205.08".to_owned(),
        }],
        notes: Vec::new(),
    };
    let text = text_of(&receipt_pdf(&document)?)?;
    for part in [
        "Receipt",
        "P-000007",
        "December 2, 2026",
        "1042",
        "Invoice I-2026-0203",
        "1,205.08",
    ] {
        assert!(text.contains(part), "{part} is missing from:\n{text}");
    }
    Ok(())
}
