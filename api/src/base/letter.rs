//! What our mails say: one struct per mail, rendered to a subject, a plain text and an HTML part.
//!
//! What stays true: the text part is complete without the HTML part; nothing is loaded from the network
//! when a mail is opened, pictures come with it; texts of people are escaped in HTML and printed as they are in text; a subject is
//! one line, whatever was typed into the names in it. Amounts and dates arrive as finished text.

use askama::Template;

/// A mail ready to send.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RenderedMail {
    /// One line without control characters.
    pub subject: String,
    /// The `text/plain` part.
    pub text: String,
    /// The `text/html` part.
    pub html: String,
    /// Pictures that the HTML part shows by `cid:`; most mails have none.
    pub pictures: Vec<Picture>,
}

/// A picture inside a mail, so that nothing is loaded when it is opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// The name by which the HTML part shows it, such as `picture-0@nameplate`.
    pub content_id: String,
    /// Media type, such as `image/png`.
    pub content_type: String,
    /// The picture itself.
    pub bytes: Vec<u8>,
}

/// A file that goes with a mail.
#[derive(Clone, PartialEq, Eq)]
pub struct Attachment {
    /// Name as the reader saves it, such as `estimate-E-000012.pdf`.
    pub file_name: String,
    /// Media type, such as `application/pdf`.
    pub content_type: String,
    /// The file itself.
    pub bytes: Vec<u8>,
}

/// A rendered mail with its files: what a transport is given.
#[derive(Clone, PartialEq, Eq)]
pub struct Outgoing {
    /// Subject and both parts.
    pub rendered: RenderedMail,
    /// Its files, in order; may be empty.
    pub attachments: Vec<Attachment>,
    /// Why a file that its reader wants is not among them; the desk is told.
    pub without: Option<String>,
}

/// The shop as it signs a mail.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct MailShop {
    /// Trading name.
    pub name: String,
    /// Postal address, a line each.
    pub address_lines: Vec<String>,
    /// Telephone in national form.
    pub phone: String,
    /// E-mail address.
    pub email: String,
}

/// One option of an estimate, as far as the mail shows it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct MailOption {
    /// Short name.
    pub title: String,
    /// What the customer would pay.
    pub total: String,
    /// What is wanted before the work begins; empty for nothing.
    pub deposit: String,
}

/// Carries an estimate and the link to answer it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct EstimateMail {
    /// Who offers.
    pub shop: MailShop,
    /// To whom; empty leaves the greeting out.
    pub customer_name: String,
    /// Number of the estimate.
    pub number: String,
    /// Its revision; empty shows none.
    pub revision: String,
    /// The machine in one line: type, make, model, serial.
    pub appliance_line: String,
    /// The problem in the customer's own words; empty shows none.
    pub problem_told: String,
    /// A few words from the desk; empty shows none.
    pub message: String,
    /// The revision `changes` compares with.
    pub changed_since: String,
    /// What is different from that revision, one sentence each.
    pub changes: Vec<String>,
    /// ISO 4217 code of every amount.
    pub currency: String,
    /// The alternatives, in order.
    pub options: Vec<MailOption>,
    /// Last day it can be accepted, in words; empty shows none.
    pub valid_until: String,
    /// The whole address of the link, secret included.
    pub link: String,
}

/// Which of the two an [`InvoiceMail`] carries.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum InvoiceMailKind {
    /// Asks for money.
    #[default]
    Invoice,
    /// Takes back all or part of an invoice.
    CreditNote,
    /// Reminds of an invoice that is overdue.
    Reminder,
}

/// Carries an invoice or a credit note.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct InvoiceMail {
    /// Which of the two it is.
    pub kind: InvoiceMailKind,
    /// Who issues it.
    pub shop: MailShop,
    /// To whom; empty leaves the greeting out.
    pub customer_name: String,
    /// Number of the document.
    pub number: String,
    /// Credit note: number of the invoice it corrects; empty shows none.
    pub corrects: String,
    /// The machine in one line; empty shows none.
    pub appliance_line: String,
    /// A few words from the desk; empty shows none.
    pub message: String,
    /// Day of issue, in words.
    pub issued_on: String,
    /// Day the money is due, in words; empty shows none.
    pub due_on: String,
    /// ISO 4217 code of every amount.
    pub currency: String,
    /// Total with tax.
    pub total: String,
    /// Sum received.
    pub paid: String,
    /// What credit notes gave back; empty for nothing.
    pub credited: String,
    /// What was written off; empty for nothing.
    pub written_off: String,
    /// What is still owed.
    pub open: String,
    /// How to pay; empty shows none.
    pub how_to_pay: String,
}

/// Carries the desk's answer to what a customer asked about an estimate.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct AnswerMail {
    /// Who answers.
    pub shop: MailShop,
    /// To whom; empty leaves the greeting out.
    pub customer_name: String,
    /// Number of the estimate.
    pub number: String,
    /// The question in the customer's own words.
    pub question: String,
    /// The answer.
    pub answer: String,
    /// Where the estimate can be answered; empty once it cannot.
    pub link: String,
}

/// Tells a customer something in plain sentences, with a link or without.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CustomerMail {
    /// Who writes.
    pub shop: MailShop,
    /// To whom; empty leaves the greeting out.
    pub customer_name: String,
    /// What it is about, in one line. Also the subject.
    pub headline: String,
    /// A paragraph each.
    pub sentences: Vec<String>,
    /// The whole address of a link, secret included; empty for none.
    pub link: String,
    /// What the link does.
    pub link_label: String,
    /// Where reminders are stopped; empty for mail that is none.
    pub stop_link: String,
}

/// Tells staff something in plain sentences.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct NoticeMail {
    /// Whose service writes.
    pub shop_name: String,
    /// What happened, in one line. Also the subject.
    pub headline: String,
    /// What to know and do, a paragraph each.
    pub sentences: Vec<String>,
}

impl EstimateMail {
    /// The mail in its three parts.
    ///
    /// # Errors
    /// Only if the template engine fails to write.
    pub fn render(&self) -> askama::Result<RenderedMail> {
        parts(
            &EstimateSubject { mail: self },
            &EstimateText { mail: self },
            &EstimateHtml { mail: self },
        )
    }
}

impl InvoiceMail {
    /// The mail in its three parts.
    ///
    /// # Errors
    /// Only if the template engine fails to write.
    pub fn render(&self) -> askama::Result<RenderedMail> {
        parts(
            &InvoiceSubject { mail: self },
            &InvoiceText { mail: self },
            &InvoiceHtml { mail: self },
        )
    }

    fn word(&self) -> &'static str {
        match self.kind {
            InvoiceMailKind::Reminder => "Reminder of invoice",
            _ => self.by_kind("Invoice", "Credit note"),
        }
    }

    fn word_inside(&self) -> &'static str {
        self.by_kind("invoice", "credit note")
    }

    fn total_label(&self) -> &'static str {
        self.by_kind("Total", "Total credited")
    }

    fn paid_label(&self) -> &'static str {
        self.by_kind("Paid", "Paid back or set off")
    }

    fn open_label(&self) -> &'static str {
        self.by_kind("To pay", "Still to be paid back")
    }

    fn by_kind(&self, invoice: &'static str, credit_note: &'static str) -> &'static str {
        match self.kind {
            InvoiceMailKind::Invoice | InvoiceMailKind::Reminder => invoice,
            InvoiceMailKind::CreditNote => credit_note,
        }
    }
}

impl AnswerMail {
    /// The mail in its three parts.
    ///
    /// # Errors
    /// Only if the template engine fails to write.
    pub fn render(&self) -> askama::Result<RenderedMail> {
        parts(
            &AnswerSubject { mail: self },
            &AnswerText { mail: self },
            &AnswerHtml { mail: self },
        )
    }
}

impl CustomerMail {
    /// The mail in its three parts.
    ///
    /// # Errors
    /// Only if the template engine fails to write.
    pub fn render(&self) -> askama::Result<RenderedMail> {
        parts(
            &CustomerSubject { mail: self },
            &CustomerText { mail: self },
            &CustomerHtml { mail: self },
        )
    }
}

impl NoticeMail {
    /// The mail in its three parts.
    ///
    /// # Errors
    /// Only if the template engine fails to write.
    pub fn render(&self) -> askama::Result<RenderedMail> {
        parts(
            &NoticeSubject { mail: self },
            &NoticeText { mail: self },
            &NoticeHtml { mail: self },
        )
    }
}

/// Names one template of one mail.
macro_rules! part {
    ($name:ident, $mail:ty, $path:literal) => {
        #[derive(Template)]
        #[template(path = $path)]
        struct $name<'a> {
            mail: &'a $mail,
        }
    };
}

mod owners;

pub use owners::{
    DigestEntry, DigestMail, DigestSection, SummaryFigure, SummaryMail, SummaryPicture,
};

part!(EstimateSubject, EstimateMail, "mail/estimate/subject.txt");
part!(EstimateText, EstimateMail, "mail/estimate/body.txt");
part!(EstimateHtml, EstimateMail, "mail/estimate/body.html");
part!(InvoiceSubject, InvoiceMail, "mail/invoice/subject.txt");
part!(InvoiceText, InvoiceMail, "mail/invoice/body.txt");
part!(InvoiceHtml, InvoiceMail, "mail/invoice/body.html");
part!(AnswerSubject, AnswerMail, "mail/answer/subject.txt");
part!(AnswerText, AnswerMail, "mail/answer/body.txt");
part!(AnswerHtml, AnswerMail, "mail/answer/body.html");
part!(CustomerSubject, CustomerMail, "mail/customer/subject.txt");
part!(CustomerText, CustomerMail, "mail/customer/body.txt");
part!(CustomerHtml, CustomerMail, "mail/customer/body.html");
part!(NoticeSubject, NoticeMail, "mail/notice/subject.txt");
part!(NoticeText, NoticeMail, "mail/notice/body.txt");
part!(NoticeHtml, NoticeMail, "mail/notice/body.html");

fn parts(
    subject: &impl Template,
    text: &impl Template,
    html: &impl Template,
) -> askama::Result<RenderedMail> {
    Ok(RenderedMail {
        subject: one_line(&subject.render()?),
        text: without_controls(&text.render()?),
        html: without_controls(&html.render()?),
        pictures: Vec::new(),
    })
}

/// A subject may hold names people typed; a line end in one would begin a header of its own.
fn one_line(text: &str) -> String {
    let spaced: String = text
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The text with `\n` as its only control character: the transport writes the line ends, and no NUL passes.
fn without_controls(text: &str) -> String {
    text.replace("\r\n", "\n")
        .chars()
        .filter(|c| *c == '\n' || !c.is_control())
        .collect()
}

#[cfg(test)]
#[path = "letter_tests.rs"]
mod tests;
