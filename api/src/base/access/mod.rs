//! What each role may do: the one place where it is declared.
//!
//! Two tables: `rights` (acts, each one mutation) and `fields` (every field of every type). The gate in
//! `graphql/gate.rs` asks them for each field it resolves, and operations ask again for the act. What
//! is in neither table is refused to everybody, and a test walks the schema to find it.

mod fields;
mod rights;

use std::collections::HashMap;
use std::sync::LazyLock;

pub use nameplate_entities::kinds::Role;
pub use rights::Right;

/// The least a caller must be. Each includes those after it: what staff may, desk and owner may too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Least {
    /// Nobody signed in is needed.
    Anyone,
    /// Owner, office or technician.
    Staff,
    /// Owner or office.
    Desk,
    /// The owner alone.
    Owner,
}

impl Least {
    /// Whether somebody with this role (or nobody) is enough.
    pub fn admits(self, role: Option<Role>) -> bool {
        match self {
            Self::Anyone => true,
            Self::Staff => role.is_some(),
            Self::Desk => matches!(role, Some(Role::Owner | Role::Office)),
            Self::Owner => role == Some(Role::Owner),
        }
    }
}

impl Right {
    /// Whether `role` holds this right.
    pub fn is_held_by(self, role: Role) -> bool {
        self.least().admits(Some(role))
    }
}

static DECIDED: LazyLock<HashMap<(&'static str, &'static str), Least>> = LazyLock::new(|| {
    let acts = Right::ALL
        .iter()
        .filter(|right| !right.is_of_upload())
        .map(|right| (("Mutation", right.mutation()), right.least()));
    let fields = fields::FIELDS
        .iter()
        .copied()
        .flatten()
        .flat_map(|(kind, least, names)| {
            names
                .split_whitespace()
                .map(move |name| ((*kind, name), *least))
        });
    acts.chain(fields).collect()
});

/// Every type and field that something was decided about, for the test that looks for stale rows.
pub fn table() -> impl Iterator<Item = (&'static str, &'static str)> {
    DECIDED.keys().copied()
}

/// What was decided for a field of a GraphQL type; `None` if nobody decided, which means refused.
pub fn decided(type_name: &str, field: &str) -> Option<Least> {
    if let Some(least) = DECIDED.get(&(type_name, field)) {
        return Some(*least);
    }
    // Lists by page are shaped by the Relay convention; what they hold is decided by its own type.
    (type_name.ends_with("Connection") || type_name.ends_with("Edge") || type_name == "PageInfo")
        .then_some(Least::Staff)
        // A refusal may be read by whoever was refused.
        .or((type_name == "Problem").then_some(Least::Anyone))
        // A payload may be read by whoever may send the mutation.
        .or_else(|| payload(type_name))
}

fn payload(type_name: &str) -> Option<Least> {
    let mutation = type_name.strip_suffix("Payload")?;
    Right::ALL
        .iter()
        .find(|right| right.mutation().eq_ignore_ascii_case(mutation))
        .map(|right| right.least())
}
