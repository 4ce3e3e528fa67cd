//! The text whose hash chains the journal, so that an entry changed, taken out, put in or moved behind the program's back
//! no longer fits the ones after it.
//!
//! What must stay true: two entries that differ in anything give two texts, and the same entry gives the same text on
//! every database. So the text is JSON of a fixed order of fields without spaces, instants are cut to microseconds
//! (PostgreSQL keeps no more), and whoever keeps an entry names its records by keys that never change.

use chrono::{DateTime, NaiveDate, SecondsFormat, Utc};
use serde::{Serialize, Serializer};

/// The layout of the text; another layout gets another number, and old hashes keep theirs.
const LAYOUT: &str = "journal 1";

/// One entry as it is chained. The order of the fields is the order in the text.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Link<'a> {
    /// Number of the entry.
    pub number: &'a str,
    /// The day it counts for.
    pub on: NaiveDate,
    /// What happened.
    pub memo: &'a str,
    /// Kind and key of its document; the key is none for an entry by hand.
    pub document: (&'a str, Option<i64>),
    /// Key of the entry that it undoes.
    pub reverses: Option<i64>,
    /// The fiscal year that it closes or opens again.
    pub closes_year: Option<i32>,
    /// Key of who posted it; none for the program.
    pub posted_by: Option<i64>,
    /// When it was posted.
    #[serde(serialize_with = "to_the_microsecond")]
    pub posted_at: DateTime<Utc>,
    /// Its postings, in order.
    pub postings: Vec<LinkPosting>,
}

/// One posting as it is chained.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct LinkPosting {
    /// Key of the account, which stays when the account is renumbered.
    pub account: i64,
    pub debit_cents: i64,
    pub credit_cents: i64,
    /// Key of the tax level.
    pub tax_level: Option<i64>,
}

/// The text that an entry is hashed by: layout, hash before it (empty for the first), and the entry.
///
/// # Errors
/// None that these values can give; a writer of JSON has an error in its signature.
///
/// # Example
/// ```
/// use nameplate_rules::books::chain::{Link, LinkPosting, canonical};
/// let link = Link {
///     number: "J-000001", on: "2026-03-02".parse()?, memo: "Capital", document: ("manual", None), reverses: None,
///     closes_year: None, posted_by: Some(1), posted_at: "2026-03-02T15:04:05.123456Z".parse()?,
///     postings: vec![LinkPosting { account: 1, debit_cents: 500, credit_cents: 0, tax_level: None }],
/// };
/// assert_eq!(
///     canonical("ab12", &link)?,
///     "[\"journal 1\",\"ab12\",{\"number\":\"J-000001\",\"on\":\"2026-03-02\",\"memo\":\"Capital\",\
///      \"document\":[\"manual\",null],\"reverses\":null,\"closes_year\":null,\"posted_by\":1,\
///      \"posted_at\":\"2026-03-02T15:04:05.123456Z\",\"postings\":[{\"account\":1,\"debit_cents\":500,\
///      \"credit_cents\":0,\"tax_level\":null}]}]"
/// );
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn canonical(hash_before: &str, link: &Link<'_>) -> Result<String, serde_json::Error> {
    serde_json::to_string(&(LAYOUT, hash_before, link))
}

fn to_the_microsecond<S: Serializer>(at: &DateTime<Utc>, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&at.to_rfc3339_opts(SecondsFormat::Micros, true))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn link() -> Link<'static> {
        let posting = |debit_cents, credit_cents, account| LinkPosting {
            account,
            debit_cents,
            credit_cents,
            tax_level: None,
        };
        Link {
            number: "J-000007",
            on: NaiveDate::from_ymd_opt(2026, 3, 2).unwrap(),
            memo: "Capital",
            document: ("payment", Some(4)),
            reverses: None,
            closes_year: None,
            posted_by: Some(1),
            posted_at: DateTime::from_timestamp(1_780_315_200, 123_456_000).unwrap(),
            postings: vec![posting(500, 0, 1), posting(0, 500, 2)],
        }
    }

    #[test]
    fn an_entry_that_differs_in_anything_gives_another_text() {
        let changed: [fn(&mut Link<'_>); 14] = [
            |link| link.number = "J-000008",
            |link| link.on = link.on.succ_opt().unwrap(),
            |link| link.memo = "Capital ",
            |link| link.document = ("invoice", Some(4)),
            |link| link.document = ("payment", Some(5)),
            |link| link.document = ("payment", None),
            |link| link.reverses = Some(7),
            |link| link.closes_year = Some(2026),
            |link| link.posted_by = None,
            |link| link.posted_at = DateTime::from_timestamp(1_780_315_200, 123_457_000).unwrap(),
            |link| link.postings.swap(0, 1),
            |link| link.postings[0].account = 3,
            |link| link.postings[1].tax_level = Some(1),
            |link| {
                link.postings.pop();
            },
        ];
        let mut texts = vec![canonical("ab", &link()).unwrap()];
        texts.push(canonical("ac", &link()).unwrap());
        for change in changed {
            let mut other = link();
            change(&mut other);
            texts.push(canonical("ab", &other).unwrap());
        }
        let all = texts.len();
        texts.sort();
        texts.dedup();
        assert_eq!(texts.len(), all);
    }

    #[test]
    fn what_a_database_cuts_off_an_instant_is_not_in_the_text() {
        let mut finer = link();
        finer.posted_at = DateTime::from_timestamp(1_780_315_200, 123_456_789).unwrap();
        assert_eq!(
            canonical("ab", &finer).unwrap(),
            canonical("ab", &link()).unwrap()
        );
    }

    #[test]
    fn words_of_a_memo_cannot_pass_for_other_fields() {
        let mut quoted = link();
        quoted.memo = "x\",\"document\":[\"manual\",null],\"y\":\"";
        let text = canonical("", &quoted).unwrap();
        let read: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(read[2]["memo"], quoted.memo);
        assert_eq!(read[2]["document"][0], "payment");
    }
}
