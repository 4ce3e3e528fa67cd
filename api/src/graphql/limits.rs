//! Limits that must hold before the library looks at a document.
//!
//! Its parser descends once a bracket, so ten thousand brackets would overflow the stack; its own checks
//! walk a fragment anew at each spread, so thirty fragments that each spread the next one twice would keep
//! it busy for minutes; and it multiplies the cost of lists inside one another before it looks at their depth, so that
//! lists deep enough would cost nothing again. Cost, aliases and directives are the schema's own limits (`schema.rs`).

use std::collections::HashMap;

use async_graphql::parser::types::{
    ExecutableDocument, FragmentDefinition, Selection, SelectionSet,
};
use async_graphql::{Name, Positioned};

use super::schema::DEPTH_MAX;

/// Words and signs in one document.
const TOKENS_MAX: usize = 2_000;
/// Letters of one word outside of texts.
const WORD_MAX: usize = 200;
/// Brackets of any kind inside one another.
const NESTING_MAX: usize = 60;
/// Fields and spreads once every fragment is written out.
const SELECTIONS_MAX: usize = 5_000;
/// Lists of the schema's own shape (types, fields and such) in one document, and such lists inside one another. Tools that
/// read the whole schema ask for five, two deep; a fourth inside would name every field of every type for each field.
const SHAPES_MAX: usize = 12;
const SHAPES_DEPTH_MAX: usize = 3;

/// Checks a document's text.
///
/// # Errors
/// A sentence that says which limit it passes.
pub fn of_text(text: &str) -> Result<(), &'static str> {
    let mut token_count = 0_usize;
    let mut nesting = 0_usize;
    let mut ahead = text.chars().peekable();
    let mut was_word = false;
    let mut letters = 0_usize;
    while let Some(sign) = ahead.next() {
        let is_word = sign.is_alphanumeric() || matches!(sign, '_' | '.' | '-' | '+');
        letters = if is_word { letters + 1 } else { 0 };
        if letters > WORD_MAX {
            return Err("The document has a word of more than 200 letters.");
        }
        if is_word && was_word {
            continue;
        }
        was_word = is_word;
        match sign {
            ' ' | '\t' | '\n' | '\r' | ',' | '\u{feff}' => continue,
            '#' => {
                while ahead.next_if(|next| !matches!(next, '\n' | '\r')).is_some() {}
                continue;
            }
            '"' => skip_text(&mut ahead),
            '{' | '(' | '[' => nesting += 1,
            '}' | ')' | ']' => nesting = nesting.saturating_sub(1),
            _ => {}
        }
        token_count += 1;
        if nesting > NESTING_MAX {
            return Err("The document is nested too deep. Ask in smaller steps.");
        }
        if token_count > TOKENS_MAX {
            return Err("The document has more than 2000 words and signs. Ask in smaller steps.");
        }
    }
    Ok(())
}

/// Passes over the rest of a text in quotes, in one line or in a block of three quotes.
fn skip_text(rest: &mut std::iter::Peekable<std::str::Chars<'_>>) {
    if rest.next_if_eq(&'"').is_some() {
        if rest.next_if_eq(&'"').is_none() {
            return;
        }
        let mut quotes = 0;
        while let Some(sign) = rest.next() {
            quotes = if sign == '"' { quotes + 1 } else { 0 };
            if quotes == 3 {
                return;
            }
            if sign == '\\' {
                // Inside a block only three quotes can be escaped, and they end nothing.
                while rest.next_if_eq(&'"').is_some() {}
            }
        }
        return;
    }
    while let Some(sign) = rest.next() {
        match sign {
            '"' | '\n' | '\r' => return,
            '\\' => {
                rest.next();
            }
            _ => {}
        }
    }
}

/// Whether a message is one with which the library refuses what passes a limit of the schema; it gives them no code.
pub fn is_passed(message: &str) -> bool {
    let beginnings = [
        "Query is too complex.",
        "The recursion depth of the query cannot be greater than",
        "The number of directives on the field",
        "The amount of aliases of the query cannot be greater than",
    ];
    beginnings.iter().any(|start| message.starts_with(start))
}

/// Checks how large and how deep a document is with every fragment written out where it is spread.
///
/// # Errors
/// A sentence that says which limit it passes.
pub fn of_document(document: &ExecutableDocument) -> Result<(), &'static str> {
    let mut sizes = Sizes {
        fragments: &document.fragments,
        known: HashMap::new(),
    };
    let (mut total, mut shapes) = (0_usize, 0_usize);
    for (_, operation) in document.operations.iter() {
        let size = sizes.of(&operation.node.selection_set.node, false);
        if size.depth > DEPTH_MAX {
            return Err("The document is nested too deep. Ask in smaller steps.");
        }
        total = total.saturating_add(size.selections);
        shapes = shapes.saturating_add(size.shapes);
        if size.shapes_depth > SHAPES_DEPTH_MAX {
            return Err("The shape of the schema is asked for too deep. Ask in smaller steps.");
        }
    }
    if shapes > SHAPES_MAX {
        return Err("The shape of the schema is asked for too often. Ask in smaller steps.");
    }
    if total > SELECTIONS_MAX {
        return Err("The document asks for too much once its fragments are written out.");
    }
    Ok(())
}

/// Of what is selected.
#[derive(Clone, Copy, Default)]
struct Size {
    /// Fields and spreads.
    selections: usize,
    /// Fields inside one another.
    depth: usize,
    /// Lists of the schema's own shape.
    shapes: usize,
    /// Such lists inside one another.
    shapes_depth: usize,
}

impl Size {
    /// Of a field with what is selected of it; `in_shape` where it is the schema's own shape that is asked for.
    fn with(self, field: &Name, in_shape: bool) -> Self {
        let lists = [
            "types",
            "fields",
            "inputFields",
            "interfaces",
            "possibleTypes",
        ];
        let is_list = usize::from(in_shape && lists.contains(&field.as_str()));
        Self {
            selections: self.selections,
            depth: self.depth.saturating_add(1),
            shapes: self.shapes.saturating_add(is_list),
            shapes_depth: self.shapes_depth.saturating_add(is_list),
        }
    }

    /// With what is selected beside it.
    fn and(self, other: Self) -> Self {
        Self {
            selections: (self.selections.saturating_add(1)).saturating_add(other.selections),
            depth: self.depth.max(other.depth),
            shapes: self.shapes.saturating_add(other.shapes),
            shapes_depth: self.shapes_depth.max(other.shapes_depth),
        }
    }
}

struct Sizes<'a> {
    fragments: &'a HashMap<Name, Positioned<FragmentDefinition>>,
    /// A fragment that is being measured counts as nothing: circles are refused by validation. What is the schema's own shape
    /// is told by the type that a fragment is on.
    known: HashMap<&'a Name, Size>,
}

impl<'a> Sizes<'a> {
    fn of(&mut self, set: &'a SelectionSet, in_shape: bool) -> Size {
        let mut size = Size::default();
        for selection in &set.items {
            let inner = match &selection.node {
                Selection::Field(field) => {
                    let name = &field.node.name.node;
                    let in_shape = in_shape || matches!(name.as_str(), "__schema" | "__type");
                    let inner = self.of(&field.node.selection_set.node, in_shape);
                    inner.with(name, in_shape)
                }
                Selection::InlineFragment(inline) => {
                    self.of(&inline.node.selection_set.node, in_shape)
                }
                Selection::FragmentSpread(spread) => {
                    self.of_fragment(&spread.node.fragment_name.node)
                }
            };
            size = size.and(inner);
        }
        size
    }

    fn of_fragment(&mut self, name: &'a Name) -> Size {
        if let Some(size) = self.known.get(name) {
            return *size;
        }
        let Some(fragment) = self.fragments.get(name) else {
            return Size::default();
        };
        self.known.insert(name, Size::default());
        let on = fragment.node.type_condition.node.on.node.as_str();
        let size = self.of(&fragment.node.selection_set.node, on.starts_with("__"));
        self.known.insert(name, size);
        size
    }
}

#[cfg(test)]
mod tests {
    use async_graphql::parser::parse_query;

    use super::*;

    #[test]
    fn words_in_texts_and_remarks_do_not_count() {
        let many = "{ a ".repeat(5_000);
        for text in [
            format!("{{ a(text: \"{many}\") }}"),
            format!("{{ a(text: \"{many}\\\" {many}\") }}"),
            format!("{{ a(text: \"\"\"{many} \"\" \\\"\"\" {many}\"\"\") }}"),
            format!("{{ a #{many}\n }}"),
            "{ a(text: \"\") b(text: \"\"\"\"\"\") }".to_owned(),
        ] {
            of_text(&text).unwrap();
        }
        of_text(&many).unwrap_err();
        of_text(&format!("{{ a(text: \"\") {many} }}")).unwrap_err();
        of_text(&"a ".repeat(2_001)).unwrap_err();
        of_text(&"a".repeat(200)).unwrap();
        of_text(&"a".repeat(201)).unwrap_err();
    }

    #[test]
    fn fragments_count_as_often_as_they_are_spread() {
        let doubling = |levels: usize| {
            let fragments = (0..levels)
                .map(|n| format!("fragment f{n} on Query {{ ...f{} ...f{} }}", n + 1, n + 1))
                .collect::<Vec<_>>()
                .join(" ");
            format!("{{ ...f0 }} {fragments} fragment f{levels} on Query {{ a }}")
        };
        of_document(&parse_query(doubling(3)).unwrap()).unwrap();
        of_document(&parse_query(doubling(100)).unwrap()).unwrap_err();
        let circle = "{ ...a } fragment a on Query { ...b } fragment b on Query { ...a }";
        of_document(&parse_query(circle).unwrap()).unwrap();
    }

    #[test]
    fn depth_counts_through_fragments() {
        let nested = |depth: usize| "{ a ".repeat(depth) + &"}".repeat(depth);
        of_document(&parse_query(nested(16)).unwrap()).unwrap();
        of_document(&parse_query(nested(17)).unwrap()).unwrap_err();
        let spread = |depth: usize| {
            let fields = nested(depth);
            format!("{{ a {{ ...f }} }} fragment f on Query {{ ... on Query {fields} }}")
        };
        of_document(&parse_query(spread(15)).unwrap()).unwrap();
        of_document(&parse_query(spread(16)).unwrap()).unwrap_err();
    }

    #[test]
    fn the_schemas_own_shape_is_asked_for_once_and_not_inside_itself() {
        let refused = |text: &str| of_document(&parse_query(text).unwrap()).is_err();
        let fields = "fields { type { fields { type { name } } } }";
        assert!(!refused(&format!(
            "{{ __schema {{ types {{ {fields} }} }} }}"
        )));
        assert!(!refused(&format!(
            "{{ __type(name: \"Call\") {{ {fields} }} }}"
        )));
        let deeper = "fields { type { ...f } } } } } fragment f on __Type { fields { type { possibleTypes { name } } } }";
        assert!(refused(&format!("{{ __schema {{ types {{ {deeper}")));
        let again = (0..13).map(|n| format!("a{n}: __schema {{ types {{ name }} }}"));
        assert!(refused(&format!("{{ {} }}", again.collect::<String>())));
        // Fields of the shop that are called so are none of the schema's shape.
        let own = "fields { types { fields { types { fields { name } } } } }";
        assert!(!refused(&format!("{{ {own} }}")));
    }
}
