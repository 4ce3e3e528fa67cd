//! Those who ask: each role, and nobody.

use nameplate::base::access::{self, Least, Role as Rank};
use serde_json::{Value, json};

use super::graph::{Graph, Step};
use crate::support::graphql::error_codes;
use crate::support::shop::Shop;

/// Most fields that are asked for in one query.
const FIELDS_AT_ONCE: usize = 12;

/// What became of asking for all fields of a type.
pub struct Walked {
    pub was_reached: bool,
    pub wrong: Vec<String>,
}

/// One who asks: signed in with a role, or nobody.
pub struct Visitor {
    pub name: &'static str,
    rank: Option<Rank>,
    token: Option<String>,
}

pub fn visitors(shop: &Shop) -> [Visitor; 4] {
    let visitor = |name, rank, token: Option<&String>| Visitor {
        name,
        rank,
        token: token.cloned(),
    };
    [
        visitor("the owner", Some(Rank::Owner), Some(&shop.owner)),
        visitor("the office", Some(Rank::Office), Some(&shop.office)),
        visitor(
            "a technician",
            Some(Rank::Technician),
            Some(&shop.technician),
        ),
        visitor("nobody", None, None),
    ]
}

impl Visitor {
    pub fn may(&self, step: &Step) -> bool {
        access::decided(&step.kind, &step.field).is_some_and(|least: Least| least.admits(self.rank))
    }

    pub async fn ask(&self, shop: &Shop, query: &str) -> Value {
        shop.server
            .graphql(self.token.as_deref(), query, json!({}))
            .await
    }

    /// Fields of a type that this visitor may use are asked for together, and one by one where anything went wrong; each field
    /// that is not for this visitor is asked for alone.
    pub async fn walk(
        &self,
        (shop, graph): (&Shop, &Graph),
        (path, fields): (&[Step], &[Step]),
    ) -> Walked {
        let reached = self.ask(shop, &graph.query(path, &[])).await;
        let was_reached = reached.to_string().contains("\"reached\"");
        let may_come = path.iter().all(|step| self.may(step));
        let (open, closed): (Vec<&Step>, Vec<&Step>) =
            fields.iter().partition(|step| may_come && self.may(step));
        let mut wrong = Vec::new();
        for together in open.chunks(FIELDS_AT_ONCE) {
            let answer = self.ask(shop, &graph.query(path, together)).await;
            if answer.get("errors").is_none() {
                continue;
            }
            for step in together {
                let answer = self.ask(shop, &graph.query(path, &[step])).await;
                if was_refused(&answer) {
                    let (name, kind, field) = (self.name, &step.kind, &step.field);
                    wrong.push(format!("{name} was refused {kind}.{field}: {answer}"));
                }
            }
        }
        for step in closed {
            let answer = self.ask(shop, &graph.query(path, &[step])).await;
            if !was_refused(&answer) && (was_reached || path.is_empty()) {
                let (name, kind, field) = (self.name, &step.kind, &step.field);
                wrong.push(format!("{name} was shown {kind}.{field}"));
            }
        }
        Walked { was_reached, wrong }
    }
}

pub fn was_refused(answer: &Value) -> bool {
    error_codes(answer)
        .iter()
        .any(|code| *code == "FORBIDDEN" || *code == "UNAUTHENTICATED")
}
