//! Variables that are left out. By the specification (section 6.4.1) an argument whose variable is not given is not given
//! itself: it takes its default or stays absent, which is not null.
//!
//! The library refuses such a request ("Variable n is not defined") where the cost of a field hangs on the argument, as that
//! of every list of pages does, and where an argument that is never null has a default. So these arguments are taken out of
//! the document before the library looks at it; only such as some field of that name has, of the variable's own type: of any
//! other the library says what is wrong. Where one that is never null is given, its variable is said to be never null.

use std::collections::{HashMap, HashSet};
use std::convert::Infallible;
use std::fmt::Display;

use async_graphql::parser::types::{
    BaseType, Directive, DocumentOperations, ExecutableDocument, FragmentDefinition,
    OperationDefinition, Selection, SelectionSet, TypeDefinition, TypeKind, VariableDefinition,
};
use async_graphql::{Name, Positioned, Value, Variables};

use super::operation::{self, is_run};

/// The arguments that may be left out, with their types, field by field, whatever type the field belongs to.
#[derive(Default)]
pub struct Arguments(HashMap<Name, Vec<Argument>>);

struct Argument {
    name: Name,
    base: BaseType,
    /// It may be left out because it has a default, but not be null.
    is_never_null: bool,
}

impl Arguments {
    /// Learns those of one type of the schema.
    pub fn learn(&mut self, of: &TypeDefinition) {
        let fields = match &of.kind {
            TypeKind::Object(object) => &object.fields,
            TypeKind::Interface(interface) => &interface.fields,
            _ => return,
        };
        for field in fields {
            let optional = (field.node.arguments.iter())
                .map(|argument| &argument.node)
                .filter(|argument| argument.ty.node.nullable || argument.default_value.is_some())
                .map(|argument| Argument {
                    name: argument.name.node.clone(),
                    base: argument.ty.node.base.clone(),
                    is_never_null: !argument.ty.node.nullable,
                });
            let known = self.0.entry(field.node.name.node.clone()).or_default();
            known.extend(optional);
        }
    }

    fn find(&self, field: &Name, argument: &Name, base: &BaseType) -> Option<&Argument> {
        let known = self.0.get(field)?;
        let alike =
            || (known.iter()).filter(|known| known.name == *argument && known.base == *base);
        // Never null in one place is never null.
        alike().find(|known| known.is_never_null).or(alike().next())
    }
}

/// The document without the arguments whose variables are left out; none where it may stay as it is.
///
/// Operations that are not run are given values to stand in for what they lack, as the library reckons their cost too.
pub fn mended(
    arguments: &Arguments,
    document: &ExecutableDocument,
    operation_name: Option<&str>,
    variables: &Variables,
) -> Option<ExecutableDocument> {
    let run = operation::run(document, operation_name);
    let optional = run.map_or_else(HashMap::new, optional);
    let count = document.operations.iter().len();
    if optional.is_empty() && count == usize::from(run.is_some()) {
        return None;
    }
    let mut dropping = Dropping {
        arguments,
        variables,
        optional,
        never_null: HashSet::new(),
    };
    let mut mended = document.clone();
    let ExecutableDocument {
        operations,
        fragments,
    } = &mut mended;
    for fragment in fragments.values_mut() {
        dropping.in_set(&mut fragment.node.selection_set.node);
    }
    let operations: Vec<(bool, &mut OperationDefinition)> = match operations {
        DocumentOperations::Single(operation) => {
            vec![(is_run(None, operation_name, count), &mut operation.node)]
        }
        DocumentOperations::Multiple(named) => (named.iter_mut())
            .map(|(name, operation)| {
                let is_run = is_run(Some(name), operation_name, count);
                (is_run, &mut operation.node)
            })
            .collect(),
    };
    for (is_run, operation) in operations {
        let before = Uses::of(&document.fragments, operation);
        if is_run {
            dropping.in_set(&mut operation.selection_set.node);
            for definition in &mut operation.variable_definitions {
                let definition = &mut definition.node;
                if dropping.never_null.contains(&definition.name.node) {
                    definition.var_type.node.nullable = false;
                }
            }
        } else {
            for definition in &mut operation.variable_definitions {
                stand_in(&mut definition.node, variables);
            }
        }
        let after = Uses::of(fragments, operation);
        // One that nothing used from the start stays, so that the library says so.
        operation.variable_definitions.retain(|definition| {
            let name = &definition.node.name.node;
            after.contains(name) || !before.contains(name)
        });
    }
    Some(mended)
}

/// The variables of an operation that may be left out, with their types.
fn optional(operation: &OperationDefinition) -> HashMap<Name, BaseType> {
    (operation.variable_definitions.iter())
        .map(|definition| &definition.node)
        .filter(|definition| {
            definition.default_value.is_none() && definition.var_type.node.nullable
        })
        .map(|definition| {
            let base = definition.var_type.node.base.clone();
            (definition.name.node.clone(), base)
        })
        .collect()
}

fn is_lacking(definition: &VariableDefinition, variables: &Variables) -> bool {
    definition.default_value.is_none() && !variables.contains_key(&definition.name.node)
}

/// Gives a variable of an operation that is not run a value, if it lacks one that its cost may hang on.
fn stand_in(definition: &mut VariableDefinition, variables: &Variables) {
    if !is_lacking(definition, variables) {
        return;
    }
    let of = &definition.var_type.node;
    let value = match &of.base {
        _ if of.nullable => Value::Null,
        BaseType::Named(name) if name.as_str() == "Int" => Value::from(1_i32),
        _ => return,
    };
    definition.default_value = Some(definition.name.position_node(value));
}

/// Takes arguments out.
struct Dropping<'a> {
    arguments: &'a Arguments,
    variables: &'a Variables,
    optional: HashMap<Name, BaseType>,
    /// Those that were given where null cannot be.
    never_null: HashSet<Name>,
}

impl Dropping<'_> {
    fn in_set(&mut self, set: &mut SelectionSet) {
        for selection in &mut set.items {
            match &mut selection.node {
                Selection::Field(field) => {
                    let field = &mut field.node;
                    let name = &field.name.node;
                    field.arguments.retain(|(argument, value)| {
                        self.stays((name, &argument.node), &value.node)
                    });
                    self.in_set(&mut field.selection_set.node);
                }
                Selection::InlineFragment(inline) => {
                    self.in_set(&mut inline.node.selection_set.node);
                }
                Selection::FragmentSpread(_) => {}
            }
        }
    }

    /// Whether an argument of a field stays. The library keeps the type of values to itself; only a variable is written so.
    fn stays(&mut self, (field, argument): (&Name, &Name), value: &impl Display) -> bool {
        let written = value.to_string();
        let variable = written.strip_prefix('$');
        let Some((name, base)) = variable.and_then(|name| self.optional.get_key_value(name)) else {
            return true;
        };
        let Some(argument) = self.arguments.find(field, argument, base) else {
            return true;
        };
        let given = self.variables.get(name);
        if argument.is_never_null && given.is_some_and(|value| *value != Value::Null) {
            self.never_null.insert(name.clone());
        }
        given.is_some()
    }
}

/// What each variable of the operation stands for: what was sent, or else its default. The library looks only at what was sent
/// where it decides whether a field is skipped.
///
/// # Errors
/// The variable on which it hangs whether a field is skipped, and which is neither given nor has a default.
pub fn filled(
    document: &ExecutableDocument,
    operation: &OperationDefinition,
    mut variables: Variables,
) -> Result<Variables, Name> {
    for definition in &operation.variable_definitions {
        let definition = &definition.node;
        if let Some(default) = &definition.default_value {
            let name = definition.name.node.clone();
            variables
                .entry(name)
                .or_insert_with(|| default.node.clone());
        }
    }
    // Of one that the operation does not define the library says so.
    let is_defined = |name: &Name| {
        (operation.variable_definitions.iter()).any(|definition| definition.node.name.node == *name)
    };
    let mut conditions = Uses::new(&document.fragments);
    conditions.only_conditions = true;
    conditions.of_set(&operation.selection_set.node);
    let is_open = |name: &Name| {
        let given = variables.get(name);
        is_defined(name) && given.is_none_or(|value| *value == Value::Null)
    };
    match conditions.variables.into_iter().find(is_open) {
        Some(name) => Err(name),
        None => Ok(variables),
    }
}

/// Gathers the variables that an operation uses, in its fragments too.
struct Uses<'a> {
    fragments: &'a HashMap<Name, Positioned<FragmentDefinition>>,
    seen: HashSet<&'a Name>,
    variables: HashSet<Name>,
    /// Whether only those count on which it hangs whether a field is skipped.
    only_conditions: bool,
}

impl<'a> Uses<'a> {
    fn new(fragments: &'a HashMap<Name, Positioned<FragmentDefinition>>) -> Self {
        Self {
            fragments,
            seen: HashSet::new(),
            variables: HashSet::new(),
            only_conditions: false,
        }
    }

    fn of(
        fragments: &'a HashMap<Name, Positioned<FragmentDefinition>>,
        operation: &'a OperationDefinition,
    ) -> HashSet<Name> {
        let mut uses = Self::new(fragments);
        uses.of_directives(&operation.directives);
        uses.of_set(&operation.selection_set.node);
        uses.variables
    }

    fn of_set(&mut self, set: &'a SelectionSet) {
        for selection in &set.items {
            self.of_directives(selection.node.directives());
            match &selection.node {
                Selection::Field(field) => {
                    // Those of a field are gathered like those of a directive.
                    self.of_directive(&Directive {
                        name: field.node.name.clone(),
                        arguments: field.node.arguments.clone(),
                    });
                    self.of_set(&field.node.selection_set.node);
                }
                Selection::InlineFragment(inline) => self.of_set(&inline.node.selection_set.node),
                Selection::FragmentSpread(spread) => {
                    self.of_fragment(&spread.node.fragment_name.node);
                }
            }
        }
    }

    fn of_fragment(&mut self, name: &'a Name) {
        let Some(fragment) = self.fragments.get(name) else {
            return;
        };
        if self.seen.insert(name) {
            self.of_directives(&fragment.node.directives);
            self.of_set(&fragment.node.selection_set.node);
        }
    }

    fn of_directives(&mut self, directives: &[Positioned<Directive>]) {
        for directive in directives {
            self.of_directive(&directive.node);
        }
    }

    fn of_directive(&mut self, directive: &Directive) {
        let is_condition = matches!(directive.name.node.as_str(), "skip" | "include");
        if self.only_conditions && !is_condition {
            return;
        }
        for (_, value) in &directive.arguments {
            let _ = value.node.clone().into_const_with(|name| {
                self.variables.insert(name);
                Ok::<_, Infallible>(Value::Null)
            });
        }
    }
}

#[cfg(test)]
mod tests;
