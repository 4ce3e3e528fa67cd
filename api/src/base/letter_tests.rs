//! The mails: figures in both parts, typed text never markup, subjects of one line.

use super::*;

const HOSTILE: &str = "<img src=x onerror=alert(1)>\r\nBcc: x@y.example\u{0}";

fn shop() -> MailShop {
    MailShop {
        name: "Tern & Lantern Appliance Repair".to_owned(),
        address_lines: vec![
            "418 Quarry Road".to_owned(),
            "Brightwater, OH 43999".to_owned(),
        ],
        phone: "(555) 010-0142".to_owned(),
        email: "desk@ternlantern.example".to_owned(),
    }
}

pub(super) fn estimate() -> EstimateMail {
    let option = |title: &str, total: &str| MailOption {
        title: title.to_owned(),
        total: total.to_owned(),
        deposit: String::new(),
    };
    EstimateMail {
        shop: shop(),
        customer_name: "Odalys Fenwick".to_owned(),
        number: "E-2026-0187".to_owned(),
        revision: "2".to_owned(),
        appliance_line: "Electric water heater, Halvorsen HWE-50-2T, serial 7Q04-118823".to_owned(),
        problem_told: "Hot water runs out after about five minutes.".to_owned(),
        message: "Thank you for waiting while we asked for the price of the part.".to_owned(),
        currency: "USD".to_owned(),
        options: vec![
            option("Repair: new upper element and feed terminal", "212.03"),
            option(
                "Better repair: both elements and both thermostats",
                "413.64",
            ),
        ],
        valid_until: "December 25, 2026".to_owned(),
        link: "https://desk.ternlantern.example/e/kQ7zTt0v9x3w5r8yB2mN4a".to_owned(),
        changed_since: String::new(),
        changes: Vec::new(),
    }
}

pub(super) fn invoice() -> InvoiceMail {
    InvoiceMail {
        shop: shop(),
        customer_name: "Odalys Fenwick".to_owned(),
        number: "I-2026-0203".to_owned(),
        appliance_line: "Electric water heater, Halvorsen HWE-50-2T, serial 7Q04-118823".to_owned(),
        issued_on: "December 2, 2026".to_owned(),
        due_on: "December 16, 2026".to_owned(),
        currency: "USD".to_owned(),
        total: "205.08".to_owned(),
        paid: "50.00".to_owned(),
        open: "155.08".to_owned(),
        how_to_pay: "By card over the telephone, or by check to the address below.".to_owned(),
        ..InvoiceMail::default()
    }
}

pub(super) fn notice() -> NoticeMail {
    NoticeMail {
        shop_name: "Tern & Lantern Appliance Repair".to_owned(),
        headline: "A mail could not be delivered".to_owned(),
        sentences: vec![
            "The estimate E-2026-0187 came back from the receiving server.".to_owned(),
            "Check the customer's address and send it again.".to_owned(),
        ],
    }
}

fn fit_to_send(mail: &RenderedMail) {
    assert!(mail.html.len() < 100_000);
    for banned in ["<img", "<script", "url(", "<link", "@import"] {
        assert!(!mail.html.contains(banned), "{banned} in:\n{}", mail.html);
    }
    assert!(
        !mail.subject.chars().any(char::is_control),
        "{:?}",
        mail.subject
    );
    assert!(!mail.subject.is_empty());
    for part in [&mail.text, &mail.html] {
        assert!(part.chars().all(|c| c == '\n' || !c.is_control()));
        assert!(!part.contains("{{") && !part.contains("{%"));
    }
    assert!(!mail.text.contains("\n\n\n"), "gaps in:\n{}", mail.text);
}

#[test]
fn an_estimate_mail_is_complete_in_both_parts() -> askama::Result<()> {
    let mail = estimate().render()?;
    fit_to_send(&mail);
    assert_eq!(
        mail.subject,
        "Estimate E-2026-0187 from Tern & Lantern Appliance Repair"
    );
    for part in [
        "E-2026-0187",
        "revision 2",
        "Halvorsen HWE-50-2T",
        "Hot water runs out",
        "Thank you for waiting",
        "212.03",
        "413.64",
        "December 25, 2026",
        "https://desk.ternlantern.example/e/kQ7zTt0v9x3w5r8yB2mN4a",
        "(555) 010-0142",
        "Quarry Road",
    ] {
        assert!(
            mail.text.contains(part),
            "{part} is missing from the text:\n{}",
            mail.text
        );
        assert!(mail.html.contains(part), "{part} is missing from the HTML");
    }
    Ok(())
}

#[test]
fn the_text_of_an_estimate_mail_reads_as_a_letter() -> askama::Result<()> {
    let expected = "Dear Odalys Fenwick,

Here is our estimate E-2026-0187, revision 2, for your appliance:

Electric water heater, Halvorsen HWE-50-2T, serial 7Q04-118823

Problem as told:
Hot water runs out after about five minutes.

Thank you for waiting while we asked for the price of the part.

Option 1: Repair: new upper element and feed terminal
Total: USD 212.03

Option 2: Better repair: both elements and both thermostats
Total: USD 413.64

See all lines, accept or decline here:
https://desk.ternlantern.example/e/kQ7zTt0v9x3w5r8yB2mN4a

The estimate is valid until December 25, 2026. The link is meant for you alone; please do not pass it on. The estimate is also attached as PDF.

Questions? Call us at (555) 010-0142.

Tern & Lantern Appliance Repair
418 Quarry Road
Brightwater, OH 43999
(555) 010-0142
desk@ternlantern.example
";
    assert_eq!(estimate().render()?.text.trim_end(), expected.trim_end());
    Ok(())
}

#[test]
fn an_invoice_mail_is_complete_in_both_parts() -> askama::Result<()> {
    let mail = invoice().render()?;
    fit_to_send(&mail);
    for part in [
        "I-2026-0203",
        "USD 205.08",
        "USD 50.00",
        "USD 155.08",
        "December 16, 2026",
        "By card",
        "To pay",
    ] {
        assert!(
            mail.text.contains(part),
            "{part} is missing from the text:\n{}",
            mail.text
        );
        assert!(mail.html.contains(part), "{part} is missing from the HTML");
    }
    Ok(())
}

#[test]
fn a_credit_note_mail_names_the_invoice_it_corrects() -> askama::Result<()> {
    let credit = InvoiceMail {
        kind: InvoiceMailKind::CreditNote,
        number: "C-2026-0009".to_owned(),
        corrects: "I-2026-0203".to_owned(),
        due_on: String::new(),
        how_to_pay: String::new(),
        ..invoice()
    };
    let mail = credit.render()?;
    fit_to_send(&mail);
    assert_eq!(
        mail.subject,
        "Credit note C-2026-0009 from Tern & Lantern Appliance Repair"
    );
    assert!(
        mail.text.contains(
            "credit note C-2026-0009 of December 2, 2026, which corrects invoice I-2026-0203."
        ),
        "{}",
        mail.text
    );
    assert!(!mail.text.contains("How to pay") && !mail.text.contains("To pay"));
    Ok(())
}

#[test]
fn a_notice_is_complete_in_both_parts() -> askama::Result<()> {
    let mail = notice().render()?;
    fit_to_send(&mail);
    assert_eq!(mail.subject, "A mail could not be delivered");
    for part in ["came back from the receiving server.", "send it again."] {
        assert!(
            mail.text.contains(part) && mail.html.contains(part),
            "{part} is missing"
        );
    }
    Ok(())
}

#[test]
fn typed_text_is_escaped_in_html_and_cannot_begin_a_header() -> askama::Result<()> {
    let text = || HOSTILE.to_owned();
    let hostile_shop = MailShop {
        name: text(),
        address_lines: vec![text()],
        phone: text(),
        email: text(),
    };
    let estimate = EstimateMail {
        shop: hostile_shop.clone(),
        customer_name: text(),
        appliance_line: text(),
        problem_told: text(),
        message: text(),
        options: vec![MailOption {
            title: text(),
            total: text(),
            deposit: String::new(),
        }],
        link: "https://x.example/e/a\"><script>".to_owned(),
        ..estimate()
    };
    let invoice = InvoiceMail {
        shop: hostile_shop,
        customer_name: text(),
        how_to_pay: text(),
        message: text(),
        ..invoice()
    };
    let notice = NoticeMail {
        headline: text(),
        sentences: vec![text()],
        shop_name: text(),
    };
    for mail in [estimate.render()?, invoice.render()?, notice.render()?] {
        fit_to_send(&mail);
        assert!(mail.html.contains("&#60;img src=x"), "{}", mail.html);
    }
    Ok(())
}
