//! The search box finds letters with and without their accents, and part orders, refunds and write-offs too.

use sea_orm_migration::prelude::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

/// Letters as written, and as they are looked for.
const FOLDED: [(&str, &str); 22] = [
    ("áàâäãåāăą", "a"),
    ("çćčĉċ", "c"),
    ("ďđð", "d"),
    ("éèêëēėęěĕ", "e"),
    ("ğģĝġ", "g"),
    ("ĥħ", "h"),
    ("íìîïīįıĩ", "i"),
    ("ĵ", "j"),
    ("ķ", "k"),
    ("łľļĺ", "l"),
    ("ñńňņ", "n"),
    ("óòôöõøōőŏ", "o"),
    ("řŕŗ", "r"),
    ("śšşșŝ", "s"),
    ("ťţț", "t"),
    ("úùûüūůűųũŭ", "u"),
    ("ŵ", "w"),
    ("ýÿŷ", "y"),
    ("źžż", "z"),
    ("æ", "ae"),
    ("œ", "oe"),
    ("ß", "ss"),
];

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let connection = manager.get_connection();
        let number = |column: &str| {
            format!(
                "lower(replace({column}, '-', ' ')) || ' ' || lower(replace({column}, '-', ''))"
            )
        };
        let named = |kind: &str, table: &str, on: &str| {
            format!(
                "INSERT INTO search_entry (subject_kind, subject_id, title, body) \
                 SELECT '{kind}', r.id, r.number || ', ' || o.{on}, {} || ' ' || lower(o.{on}) FROM {table}",
                number("r.number")
            )
        };
        let added = [
            named(
                "refund",
                "refund r JOIN customer o ON o.id = r.customer_id",
                "name",
            ),
            named(
                "part_order",
                "part_order r JOIN part o ON o.id = r.part_id",
                "description",
            ),
            format!(
                "INSERT INTO search_entry (subject_kind, subject_id, title, body) \
                 SELECT 'write_off', r.id, r.number || ', ' || i.number || ', ' || o.name, {} || ' ' || lower(o.name) \
                 FROM write_off r JOIN invoice i ON i.id = r.invoice_id JOIN customer o ON o.id = i.customer_id",
                number("r.number")
            ),
        ];
        for statement in added.into_iter().chain(folded()) {
            connection.execute_unprepared(&statement).await?;
        }
        Ok(())
    }
}

/// Takes the accents off what is there, as `base/search.rs` does with what comes: a statement for each plain letter.
fn folded() -> Vec<String> {
    let one = |(letters, plain): (&str, &str)| {
        let mut body = "body".to_owned();
        for letter in letters.chars() {
            body = format!("replace({body}, '{letter}', '{plain}')");
        }
        format!("UPDATE search_entry SET body = {body} WHERE body <> {body}")
    };
    FOLDED.into_iter().map(one).collect()
}
