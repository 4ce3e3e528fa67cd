//! A message as its reader sees it, taken apart by a parser that has nothing to do with the one that wrote it.

use std::path::Path;

use mail_parser::{Address, MessageParser, MimeHeaders};

#[derive(Clone, Debug)]
pub struct Mail {
    /// Addresses of the `To` header.
    pub to: Vec<String>,
    /// Recipients that the mail server was told; empty for a message from a mail folder.
    pub envelope_to: Vec<String>,
    pub from: String,
    pub subject: String,
    /// Without the angle brackets.
    pub message_id: String,
    /// The plain text part.
    pub text: String,
    /// The HTML part; empty when there is none.
    pub html: String,
    pub attachments: Vec<Attachment>,
    /// The message as it was handed over.
    pub raw: Vec<u8>,
}

#[derive(Clone, Debug)]
pub struct Attachment {
    pub name: String,
    /// For instance `application/pdf`.
    pub content_type: String,
    pub content: Vec<u8>,
}

impl Mail {
    /// Takes a message apart.
    ///
    /// # Panics
    /// When it is no message, or lacks what every message of ours must have.
    pub fn parse(raw: Vec<u8>) -> Self {
        let message = MessageParser::default()
            .parse(&raw)
            .unwrap_or_else(|| panic!("not a mail message: {}", String::from_utf8_lossy(&raw)));
        let attachments = message
            .attachments()
            .map(|part| Attachment {
                name: part.attachment_name().unwrap_or_default().to_owned(),
                content_type: part.content_type().map_or_else(String::new, |kind| {
                    let subtype = kind.subtype().unwrap_or_default();
                    format!("{}/{subtype}", kind.ctype())
                }),
                content: part.contents().to_vec(),
            })
            .collect();
        // The parser makes one body out of the other when a message has only one; a reader of the test must know.
        let html = message
            .html_part(0)
            .filter(|part| part.is_text_html())
            .and_then(|part| part.text_contents());
        Self {
            to: addresses(message.to()),
            envelope_to: message
                .header_values("X-Envelope-To")
                .filter_map(|value| value.as_text().map(str::to_owned))
                .collect(),
            from: addresses(message.from()).join(", "),
            subject: message.subject().expect("a mail has a subject").to_owned(),
            message_id: message
                .message_id()
                .expect("a mail has a Message-ID")
                .to_owned(),
            text: message
                .text_part(0)
                .filter(|part| !part.is_text_html())
                .and_then(|part| part.text_contents())
                .unwrap_or_default()
                .to_owned(),
            html: html.unwrap_or_default().to_owned(),
            attachments,
            raw,
        }
    }
}

/// Every `.eml` file of a folder, in the order of their names; none when the folder is not there.
pub fn mails_in(folder: &Path) -> Vec<Mail> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut files: Vec<_> = entries
        .map(|entry| entry.expect("a mail folder can be read").path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "eml"))
        .collect();
    files.sort();
    files
        .iter()
        .map(|file| Mail::parse(std::fs::read(file).expect("a mail file can be read")))
        .collect()
}

fn addresses(header: Option<&Address>) -> Vec<String> {
    header.map_or_else(Vec::new, |address| {
        address
            .iter()
            .filter_map(|one| one.address().map(str::to_owned))
            .collect()
    })
}
