//! The schema as a graph: how to reach each type, and what to send where an argument is asked for.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use async_graphql::parser::parse_schema;
use async_graphql::parser::types::{
    BaseType, FieldDefinition, InputValueDefinition, Type, TypeKind, TypeSystemDefinition,
};
use serde_json::Value;

/// One field of one type on the way to another.
#[derive(Clone, Debug)]
pub struct Step {
    pub kind: String,
    pub field: String,
}

/// Fields that are no way to another type, as what lies behind them is often nothing.
const NO_WAY: [(&str, &str); 3] = [
    ("ClaimDue", "invoice"),
    ("CoverageOutlook", "reading"),
    ("RateGroup", "drawn"),
];

/// The schema, and values for arguments by their name.
pub struct Graph {
    objects: BTreeMap<String, Vec<FieldDefinition>>,
    inputs: BTreeMap<String, Vec<InputValueDefinition>>,
    enums: BTreeMap<String, String>,
    abstract_types: BTreeSet<String>,
    known: BTreeMap<String, Value>,
}

impl Graph {
    pub fn of_the_schema() -> Self {
        let document = parse_schema(nameplate::graphql::schema::sdl()).expect("the SDL parses");
        let mut graph = Self {
            objects: BTreeMap::new(),
            inputs: BTreeMap::new(),
            enums: BTreeMap::new(),
            abstract_types: BTreeSet::new(),
            known: BTreeMap::new(),
        };
        for definition in document.definitions {
            let TypeSystemDefinition::Type(definition) = definition else {
                continue;
            };
            let name = definition.node.name.node.to_string();
            match definition.node.kind {
                TypeKind::Object(object) => {
                    let fields = object.fields.into_iter().map(|field| field.node).collect();
                    graph.objects.insert(name, fields);
                }
                TypeKind::InputObject(input) => {
                    let fields = input.fields.into_iter().map(|field| field.node).collect();
                    graph.inputs.insert(name, fields);
                }
                TypeKind::Enum(kind) => {
                    let first = kind.values.first().expect("an enum has values");
                    graph.enums.insert(name, first.node.value.node.to_string());
                }
                TypeKind::Interface(_) | TypeKind::Union(_) => {
                    graph.abstract_types.insert(name);
                }
                TypeKind::Scalar => {}
            }
        }
        graph
    }

    /// The same with values for arguments of these names.
    pub fn knowing(mut self, values: &[(&str, Value)]) -> Self {
        for (name, value) in values {
            self.known.insert((*name).to_owned(), value.clone());
        }
        self
    }

    pub fn has(&self, kind: &str, field: &str) -> bool {
        self.field(kind, field).is_some() || (self.abstract_types.contains(kind) && field == "id")
    }

    /// Every type but the mutations, with its fields.
    pub fn fields_by_kind(&self) -> impl Iterator<Item = (String, Vec<Step>)> {
        self.objects
            .iter()
            .filter(|(kind, _)| *kind != "Mutation")
            .map(|(kind, fields)| {
                let fields = fields.iter().map(|field| Step {
                    kind: kind.clone(),
                    field: field.name.node.to_string(),
                });
                (kind.clone(), fields.collect())
            })
    }

    /// Every field of every type but the mutations.
    pub fn fields(&self) -> impl Iterator<Item = (String, String)> {
        self.fields_by_kind()
            .flat_map(|(_, fields)| fields)
            .map(|step| (step.kind, step.field))
    }

    pub fn mutations(&self) -> impl Iterator<Item = String> {
        self.objects["Mutation"]
            .iter()
            .map(|field| field.name.node.to_string())
    }

    /// Only a mutation's answer holds these; the test of mutations reads them.
    pub fn is_payload_of_a_mutation(kind: &str) -> bool {
        kind.ends_with("Payload") || ["Problem", "ClaimSubmission"].contains(&kind)
    }

    fn field(&self, kind: &str, field: &str) -> Option<&FieldDefinition> {
        self.objects
            .get(kind)?
            .iter()
            .find(|candidate| candidate.name.node == field)
    }

    /// The shortest way from the root to a type, over fields whose arguments can be given.
    pub fn path_to(&self, wanted: &str) -> Option<Vec<Step>> {
        let mut seen = BTreeSet::from(["Query".to_owned()]);
        let mut queue = VecDeque::from([("Query".to_owned(), Vec::new())]);
        while let Some((kind, path)) = queue.pop_front() {
            if kind == wanted {
                return Some(path);
            }
            for field in self.objects.get(&kind).into_iter().flatten() {
                let next = base(&field.ty.node);
                if NO_WAY.contains(&(kind.as_str(), field.name.node.as_str())) {
                    continue;
                }
                if self.arguments(field).is_none() || !seen.insert(next.clone()) {
                    continue;
                }
                let mut path: Vec<Step> = path.clone();
                path.push(Step {
                    kind: kind.clone(),
                    field: field.name.node.to_string(),
                });
                queue.push_back((next, path));
            }
        }
        None
    }

    /// A query along a path, ending in fields or, without any, in a mark that the type was reached.
    pub fn query(&self, path: &[Step], fields: &[&Step]) -> String {
        let named = fields.iter().enumerate();
        let mut inner = named
            .map(|(index, step)| format!("f{index}: {}", self.selected(&step.kind, &step.field)))
            .collect::<Vec<_>>()
            .join(" ");
        if fields.is_empty() {
            "reached: __typename".clone_into(&mut inner);
        }
        let body = path.iter().rev().fold(inner, |inner, step| {
            let definition = self
                .field(&step.kind, &step.field)
                .expect("a step is a field");
            let arguments = self
                .arguments(definition)
                .expect("a step has its arguments");
            format!("{}{arguments} {{ {inner} }}", step.field)
        });
        format!("{{ {body} }}")
    }

    fn selected(&self, kind: &str, field: &str) -> String {
        let definition = self.field(kind, field).expect("the field exists");
        let arguments = self
            .arguments(definition)
            .unwrap_or_else(|| self.made_up_arguments(definition));
        let next = base(&definition.ty.node);
        let is_composite = self.objects.contains_key(&next) || self.abstract_types.contains(&next);
        let selection = if is_composite { " { __typename }" } else { "" };
        format!("{field}{arguments}{selection}")
    }

    /// The arguments a field cannot do without, if they are known.
    fn arguments(&self, field: &FieldDefinition) -> Option<String> {
        let given = field
            .arguments
            .iter()
            .map(|argument| &argument.node)
            .filter(|argument| is_needed(argument))
            .map(|argument| {
                let name = argument.name.node.as_str();
                // What one field alone means by a name goes before what all the others do.
                let own = format!("{}.{name}", field.name.node);
                let value = self.known.get(&own).or_else(|| self.known.get(name))?;
                let is_word = self.enums.contains_key(&base(&argument.ty.node));
                let word = value.as_str().filter(|_| is_word);
                Some(format!(
                    "{name}: {}",
                    word.map_or_else(|| literal(value), str::to_owned)
                ))
            })
            .collect::<Option<Vec<_>>>()?;
        Some(in_brackets(&given))
    }

    fn made_up_arguments(&self, field: &FieldDefinition) -> String {
        let given = field
            .arguments
            .iter()
            .map(|argument| &argument.node)
            .filter(|argument| is_needed(argument))
            .map(|argument| {
                format!(
                    "{}: {}",
                    argument.name.node,
                    self.made_up(&argument.ty.node)
                )
            })
            .collect::<Vec<_>>();
        in_brackets(&given)
    }

    pub fn mutation_with_made_up_input(&self, mutation: &str) -> String {
        let definition = self
            .field("Mutation", mutation)
            .expect("the mutation exists");
        let arguments = self.made_up_arguments(definition);
        format!("mutation {{ {mutation}{arguments} {{ problems {{ code message path }} }} }}")
    }

    /// A value of the right form that stands for nothing that exists.
    fn made_up(&self, ty: &Type) -> String {
        let name = match &ty.base {
            BaseType::List(inner) => return format!("[{}]", self.made_up(inner)),
            BaseType::Named(name) => name.as_str(),
        };
        if let Some(first) = self.enums.get(name) {
            return first.clone();
        }
        if let Some(fields) = self.inputs.get(name) {
            let needed = fields
                .iter()
                .filter(|field| is_needed(field))
                .map(|field| format!("{}: {}", field.name.node, self.made_up(&field.ty.node)))
                .collect::<Vec<_>>();
            return format!("{{ {} }}", needed.join(", "));
        }
        match name {
            "Int" => "1",
            "Boolean" => "false",
            "ID" => "\"bm90aGluZw\"",
            "Money" => "\"1.00\"",
            "ExactDecimal" => "\"1\"",
            "NaiveDate" => "\"2026-01-05\"",
            "DateTime" => "\"2026-01-05T12:00:00Z\"",
            _ => "\"made up\"",
        }
        .to_owned()
    }
}

fn is_needed(argument: &InputValueDefinition) -> bool {
    !argument.ty.node.nullable && argument.default_value.is_none()
}

fn in_brackets(given: &[String]) -> String {
    if given.is_empty() {
        String::new()
    } else {
        format!("({})", given.join(", "))
    }
}

/// The type without its list and non-null marks.
fn base(ty: &Type) -> String {
    match &ty.base {
        BaseType::Named(name) => name.to_string(),
        BaseType::List(inner) => base(inner),
    }
}

/// JSON as a GraphQL literal: the same but for the names of an object's fields.
fn literal(value: &Value) -> String {
    match value {
        Value::Object(fields) => {
            let fields = fields
                .iter()
                .map(|(name, value)| format!("{name}: {}", literal(value)))
                .collect::<Vec<_>>();
            format!("{{ {} }}", fields.join(", "))
        }
        other => other.to_string(),
    }
}
