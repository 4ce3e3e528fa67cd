//! Mails to owners: complete in both parts, typed text never markup, pictures named where they are shown.

use super::*;

const HOSTILE: &str = "<script>alert(1)</script> & \"so\"";

fn digest() -> DigestMail {
    DigestMail {
        shop_name: "Tern & Lantern Appliance Repair".to_owned(),
        day: "November 29, 2026".to_owned(),
        headline: "1 flag raised".to_owned(),
        since: "November 28, 2026 at 7:12 AM".to_owned(),
        sections: vec![
            DigestSection {
                title: "Flags raised (21)".to_owned(),
                entries: vec![DigestEntry {
                    headline: format!("Call C-2026-0187: Halvorsen {HOSTILE}"),
                    sentences: vec!["The same failed twice.".to_owned(), HOSTILE.to_owned()],
                }],
                more: "And 20 more, newer than these.".to_owned(),
            },
            DigestSection {
                title: "Callbacks to decide (1)".to_owned(),
                entries: vec![DigestEntry {
                    headline: "Call C-2026-0190: Halvorsen".to_owned(),
                    sentences: vec!["It may be the return of C-2026-0150.".to_owned()],
                }],
                more: String::new(),
            },
        ],
    }
}

fn summary() -> SummaryMail {
    let figure = |label: &str, value: &str, basis: &str| SummaryFigure {
        label: label.to_owned(),
        value: value.to_owned(),
        basis: basis.to_owned(),
    };
    SummaryMail {
        shop_name: "Tern & Lantern Appliance Repair".to_owned(),
        month: "October 2026".to_owned(),
        figures: vec![
            figure("Repairs completed", "41", ""),
            figure(
                "Repairs that come back",
                "7.3 %",
                "3 of 41 so far; likely 2.5 to 19.4 %",
            ),
            figure("Cost of callbacks", "USD 412.80", ""),
        ],
        worries: vec![
            "Burnt terminals of HX-30 ranges came back 3 times of 8.".to_owned(),
            HOSTILE.to_owned(),
        ],
        pictures: vec![
            SummaryPicture::new(
                "Callbacks by month",
                "Seven percent in October.",
                b"\x89PNG one",
            ),
            SummaryPicture::new("Money lost", HOSTILE, b"\x89PNG two"),
        ],
    }
}

fn fit_to_send(mail: &RenderedMail) {
    for part in [&mail.text, &mail.html] {
        assert!(!part.contains("{{") && !part.contains("{%"), "{part}");
    }
    for banned in ["<script", "url(", "<link", "@import", "src=\"http"] {
        assert!(!mail.html.contains(banned), "{banned} in:\n{}", mail.html);
    }
    assert!(
        mail.text.contains(HOSTILE),
        "typed text is printed as it is"
    );
    assert!(!mail.text.contains("\n\n\n"), "gaps in:\n{}", mail.text);
    assert!(!mail.text.starts_with('\n'), "{}", mail.text);
}

#[test]
fn a_digest_is_complete_in_both_parts() -> askama::Result<()> {
    let mail = digest().render()?;
    fit_to_send(&mail);
    assert_eq!(mail.subject, "1 flag raised, November 29, 2026");
    for said in [
        "November 28, 2026 at 7:12 AM",
        "C-2026-0187",
        "The same failed twice.",
        "And 20 more, newer than these.",
        "It may be the return of C-2026-0150.",
    ] {
        assert!(mail.text.contains(said), "no {said:?} in\n{}", mail.text);
        assert!(mail.html.contains(said), "no {said:?} in\n{}", mail.html);
    }
    assert!(mail.pictures.is_empty());
    // Each entry begins a line of its own, under the title of its section.
    let entry = "FLAGS RAISED (21)\n\n- Call C-2026-0187: ";
    assert!(mail.text.contains(entry), "{}", mail.text);
    assert!(
        mail.text.contains("\n  The same failed twice.\n"),
        "{}",
        mail.text
    );
    Ok(())
}

#[test]
fn a_summary_shows_its_pictures_and_says_them_in_words() -> askama::Result<()> {
    let mail = summary().render()?;
    fit_to_send(&mail);
    assert_eq!(
        mail.subject,
        "How Tern & Lantern Appliance Repair did in October 2026"
    );
    for said in [
        "USD 412.80",
        "3 of 41 so far",
        "came back 3 times",
        "Seven percent in October.",
    ] {
        assert!(mail.text.contains(said), "no {said:?} in\n{}", mail.text);
        assert!(mail.html.contains(said), "no {said:?} in\n{}", mail.html);
    }
    let shown: Vec<String> = mail
        .pictures
        .iter()
        .map(|picture| format!("src=\"cid:{}\"", picture.content_id))
        .collect();
    assert_eq!(shown.len(), 2);
    for source in &shown {
        assert_eq!(mail.html.matches(source.as_str()).count(), 1, "{source}");
    }
    assert_eq!(mail.pictures[1].bytes, b"\x89PNG two");
    if let Ok(folder) = std::env::var("NAMEPLATE_TEST_SHOW") {
        std::fs::write(format!("{folder}/summary.html"), &mail.html).unwrap();
        std::fs::write(format!("{folder}/summary.txt"), &mail.text).unwrap();
    }
    Ok(())
}

#[test]
fn a_summary_without_worries_and_pictures_leaves_them_out() -> askama::Result<()> {
    let bare = SummaryMail {
        worries: Vec::new(),
        pictures: Vec::new(),
        ..summary()
    };
    let mail = bare.render()?;
    assert!(!mail.text.contains("LOOK AT") && !mail.html.contains("<img"));
    assert!(!mail.text.contains("\n\n\n"), "gaps in:\n{}", mail.text);
    Ok(())
}
