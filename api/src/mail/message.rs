//! Putting a mail together: text and HTML as alternatives, the HTML with its pictures, then its files.

use std::time::SystemTime;

use lettre::message::header::{ContentType, HeaderName, HeaderValue};
use lettre::message::{Attachment, Mailbox, MultiPart, SinglePart};
use lettre::{Address, Message};

use crate::base::letter::{Outgoing, RenderedMail};

use super::Envelope;

/// The finished message.
///
/// # Errors
/// A sentence on what makes this mail impossible, such as an address that is none.
pub fn build(envelope: &Envelope, mail: &Outgoing) -> Result<Message, String> {
    let mut builder = Message::builder()
        .date(SystemTime::from(envelope.at))
        .from(mailbox(&envelope.from_name, &envelope.from_email)?)
        .to(mailbox(&envelope.to_name, &envelope.to_email)?)
        .message_id(Some(
            one_line("Message-ID", &envelope.message_id)?.to_owned(),
        ))
        .subject(one_line("subject", &mail.rendered.subject)?)
        .raw_header(HeaderValue::new(
            HeaderName::new_from_ascii_str("Auto-Submitted"),
            "auto-generated".to_owned(),
        ));
    // A shop that has not entered its address yet answers under the sender's.
    if let Ok(reply_to) = mailbox(&envelope.from_name, &envelope.reply_to) {
        builder = builder.reply_to(reply_to);
    }
    let bodies = bodies(&mail.rendered)?;
    let message = if mail.attachments.is_empty() {
        builder.multipart(bodies)
    } else {
        let mut whole = MultiPart::mixed().multipart(bodies);
        for file in &mail.attachments {
            let content_type = media_type(&file.content_type)?;
            let name = one_line("file name", &file.file_name)?.to_owned();
            whole = whole.singlepart(Attachment::new(name).body(file.bytes.clone(), content_type));
        }
        builder.multipart(whole)
    };
    message.map_err(|error| format!("the message cannot be made: {error}"))
}

/// Text and HTML as alternatives; pictures go with the HTML (RFC 2387), so that who reads the text is sent past them.
fn bodies(mail: &RenderedMail) -> Result<MultiPart, String> {
    let alternatives = MultiPart::alternative().singlepart(SinglePart::plain(mail.text.clone()));
    let html = SinglePart::html(mail.html.clone());
    if mail.pictures.is_empty() {
        return Ok(alternatives.singlepart(html));
    }
    let mut related = MultiPart::related().singlepart(html);
    for picture in &mail.pictures {
        let name = one_line("name of a picture", &picture.content_id)?.to_owned();
        let content_type = media_type(&picture.content_type)?;
        related = related
            .singlepart(Attachment::new_inline(name).body(picture.bytes.clone(), content_type));
    }
    Ok(alternatives.multipart(related))
}

fn media_type(text: &str) -> Result<ContentType, String> {
    ContentType::parse(text).map_err(|_| format!("\"{text}\" is no media type"))
}

/// A name and an address. A line end in a name would begin a header of its own, so it becomes a blank.
fn mailbox(name: &str, email: &str) -> Result<Mailbox, String> {
    let address: Address = one_line("address", email)?
        .parse()
        .map_err(|_| format!("\"{email}\" is no mail address"))?;
    let name: String = name
        .chars()
        .map(|sign| if sign.is_control() { ' ' } else { sign })
        .collect();
    let name = Some(name.trim().to_owned()).filter(|name| !name.is_empty());
    Ok(Mailbox::new(name, address))
}

fn one_line<'a>(what: &str, text: &'a str) -> Result<&'a str, String> {
    if text.chars().any(char::is_control) {
        return Err(format!("the {what} of this mail holds a line end"));
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use mail_parser::{MessageParser, MimeHeaders, PartType};

    use crate::base::letter::{self, Picture};

    fn envelope() -> Envelope {
        Envelope {
            message_id: "<one@nameplate.test>".to_owned(),
            from_email: "office@nameplate.test".to_owned(),
            from_name: "Küchen & Co".to_owned(),
            reply_to: String::new(),
            to_email: "ada@customer.test".to_owned(),
            to_name: "Ada Grün".to_owned(),
            at: "2026-11-25T10:00:00Z".parse().unwrap(),
            file_name: "one".to_owned(),
        }
    }

    fn mail() -> Outgoing {
        Outgoing {
            without: None,
            rendered: RenderedMail {
                subject: "Your estimate".to_owned(),
                text: "Hello".to_owned(),
                html: "<p>Hello</p>".to_owned(),
                pictures: Vec::new(),
            },
            attachments: vec![letter::Attachment {
                file_name: "kostenschätzung.pdf".to_owned(),
                content_type: "application/pdf".to_owned(),
                bytes: b"%PDF".to_vec(),
            }],
        }
    }

    fn text(envelope: &Envelope, mail: &Outgoing) -> String {
        String::from_utf8(build(envelope, mail).unwrap().formatted()).unwrap()
    }

    #[test]
    fn a_mail_says_who_when_and_that_a_program_wrote_it() {
        let text = text(&envelope(), &mail());
        for line in [
            "Message-ID: <one@nameplate.test>\r\n",
            "Auto-Submitted: auto-generated\r\n",
            "Date: Wed, 25 Nov 2026 10:00:00 +0000\r\n",
            "To: =?utf-8?b?",
            "Content-Type: multipart/mixed",
            "Content-Type: multipart/alternative",
        ] {
            assert!(text.contains(line), "no {line:?} in\n{text}");
        }
        assert!(!text.contains("Reply-To"));
        assert!(text.split("\r\n").all(|line| line.len() < 998));
    }

    #[test]
    fn answers_go_to_the_shop() {
        let mut envelope = envelope();
        envelope.reply_to = "desk@nameplate.test".to_owned();
        assert!(text(&envelope, &mail()).contains("<desk@nameplate.test>\r\n"));
    }

    #[test]
    fn no_line_end_begins_a_header_of_its_own() {
        for bad in [
            "a@customer.test\r\nBcc: b@x.test",
            "no address",
            "",
            "a@b\0.test",
        ] {
            let mut envelope = envelope();
            envelope.to_email = bad.to_owned();
            assert!(build(&envelope, &mail()).is_err(), "{bad:?}");
        }
        let mut named = envelope();
        named.to_name = "Ada\r\nBcc: b@x.test".to_owned();
        assert!(!text(&named, &mail()).contains("\nBcc"));
        let mut mail = mail();
        mail.rendered.subject = "Hi\r\nBcc: b@x.test".to_owned();
        assert!(build(&envelope(), &mail).is_err());
    }
    #[test]
    fn pictures_come_with_the_html_that_shows_them() {
        let png = [0x89, b'P', b'N', b'G', 0, 13, 10, 255];
        let picture = |content_id: &str| Picture {
            content_id: content_id.to_owned(),
            content_type: "image/png".to_owned(),
            bytes: png.to_vec(),
        };
        let mut mail = mail();
        mail.rendered.html = "<img src=\"cid:picture-0@nameplate\" alt=\"Two of ten\">".to_owned();
        mail.rendered.pictures = vec![
            picture("picture-0@nameplate"),
            picture("picture-1@nameplate"),
        ];
        let raw = build(&envelope(), &mail).unwrap().formatted();
        let read = MessageParser::default().parse(&raw).unwrap();
        assert_eq!(read.body_text(0).unwrap(), "Hello");
        assert_eq!(read.body_html(0).unwrap(), mail.rendered.html);
        let parts = |at: u32| match &read.parts.get(usize::try_from(at).unwrap()).unwrap().body {
            PartType::Multipart(inside) => inside.clone(),
            _ => Vec::new(),
        };
        let kind = |at: u32| {
            let part = read.part(at).unwrap();
            let kind = part.content_type().unwrap();
            format!("{}/{}", kind.ctype(), kind.subtype().unwrap_or_default())
        };
        let [bodies, file] = parts(0)[..] else {
            panic!("not two parts: {:?}", parts(0))
        };
        assert_eq!(
            (kind(bodies), kind(file)),
            ("multipart/alternative".into(), "application/pdf".into())
        );
        let [text, related] = parts(bodies)[..] else {
            panic!("not two alternatives: {:?}", parts(bodies))
        };
        assert_eq!(
            (kind(text), kind(related)),
            ("text/plain".into(), "multipart/related".into())
        );
        let [html, first, second] = parts(related)[..] else {
            panic!("not a page and two pictures: {:?}", parts(related))
        };
        assert_eq!(kind(html), "text/html");
        for (at, name) in [
            (first, "picture-0@nameplate"),
            (second, "picture-1@nameplate"),
        ] {
            let part = read.part(at).unwrap();
            assert_eq!(part.content_id(), Some(name));
            assert_eq!(part.contents(), png);
            assert!(part.content_disposition().unwrap().is_inline());
            assert_eq!(kind(at), "image/png");
        }

        mail.rendered.pictures[0].content_id = "a\r\nBcc: b@x.test".to_owned();
        assert!(build(&envelope(), &mail).is_err());
    }
}
