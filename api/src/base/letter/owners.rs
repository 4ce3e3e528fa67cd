//! What owners are told by mail: in the morning what came back, and each month how the shop did.
//!
//! Both are kept as they were made (`owner_letter`), so that a mail that leaves late says what was so then.

use askama::Template;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::{Deserialize, Serialize};

use super::{Picture, RenderedMail, parts};

/// What came back, of a day.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DigestMail {
    /// Whose service writes.
    pub shop_name: String,
    /// The day, in words.
    pub day: String,
    /// What is new, in one line: "2 flags raised, 1 callback to decide". Also the subject.
    pub headline: String,
    /// From when on something counts as new, in words.
    pub since: String,
    /// What there is to tell, each with something in it.
    pub sections: Vec<DigestSection>,
}

/// One kind of thing to tell.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DigestSection {
    /// What these have in common.
    pub title: String,
    /// One each, in the order in which to read them.
    pub entries: Vec<DigestEntry>,
    /// How many more there are; empty for none.
    pub more: String,
}

/// One flag, or one callback.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DigestEntry {
    /// Call and machine.
    pub headline: String,
    /// What to know of it.
    pub sentences: Vec<String>,
}

impl DigestMail {
    /// The mail in its three parts.
    ///
    /// # Errors
    /// Only if the template engine fails to write.
    pub fn render(&self) -> askama::Result<RenderedMail> {
        parts(
            &DigestSubject { mail: self },
            &DigestText { mail: self },
            &DigestHtml { mail: self },
        )
    }
}

/// How the shop did, of a month.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SummaryMail {
    /// Whose service writes.
    pub shop_name: String,
    /// The month, in words.
    pub month: String,
    /// Figures, in the order in which to read them.
    pub figures: Vec<SummaryFigure>,
    /// What to worry about first, a sentence or two each: flags, and then groups of repairs.
    pub worries: Vec<String>,
    /// Pictures, each beside its text alternative.
    pub pictures: Vec<SummaryPicture>,
}

/// One figure of a month.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SummaryFigure {
    /// What is counted.
    pub label: String,
    /// The figure, as it is read.
    pub value: String,
    /// What it rests on, such as its interval; empty for nothing.
    pub basis: String,
}

/// A picture of a month.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SummaryPicture {
    /// What it shows, as its heading.
    pub title: String,
    /// The same in words, for whoever does not see it.
    pub alternative: String,
    /// The PNG, as base64.
    pub png: String,
}

impl SummaryMail {
    /// The mail in its three parts, with its pictures.
    ///
    /// # Errors
    /// If the template engine fails to write.
    pub fn render(&self) -> askama::Result<RenderedMail> {
        let mail = parts(
            &SummarySubject { mail: self },
            &SummaryText { mail: self },
            &SummaryHtml { mail: self },
        )?;
        let pictures = (self.shown().into_iter())
            .filter_map(|(content_id, picture)| {
                Some(Picture {
                    content_id,
                    content_type: "image/png".to_owned(),
                    bytes: STANDARD.decode(&picture.png).ok()?,
                })
            })
            .collect();
        Ok(RenderedMail { pictures, ..mail })
    }

    /// Each picture with the name by which the HTML shows it.
    fn shown(&self) -> Vec<(String, &SummaryPicture)> {
        (self.pictures.iter().enumerate())
            .map(|(at, picture)| (format!("picture-{at}@nameplate"), picture))
            .collect()
    }
}

impl SummaryPicture {
    /// A picture of these bytes.
    pub fn new(title: &str, alternative: &str, png: &[u8]) -> Self {
        Self {
            title: title.to_owned(),
            alternative: alternative.to_owned(),
            png: STANDARD.encode(png),
        }
    }
}

part!(DigestSubject, DigestMail, "mail/digest/subject.txt");
part!(DigestText, DigestMail, "mail/digest/body.txt");
part!(DigestHtml, DigestMail, "mail/digest/body.html");
part!(SummarySubject, SummaryMail, "mail/summary/subject.txt");
part!(SummaryText, SummaryMail, "mail/summary/body.txt");
part!(SummaryHtml, SummaryMail, "mail/summary/body.html");

#[cfg(test)]
#[path = "owners_tests.rs"]
mod tests;
