//! Whether a request's variables fit the types it declares for them, before anything runs.
//!
//! The library would find out field by field, half-way through the answer. What fits is read once from the
//! schema itself, so a new input type needs no line here; a new scalar with a form of its own does.

use std::collections::{HashMap, HashSet};

use async_graphql::parser::parse_schema;
use async_graphql::parser::types::{
    BaseType, ExecutableDocument, InputObjectType, Type, TypeDefinition, TypeKind,
    TypeSystemDefinition,
};
use async_graphql::{InputType, Name, Value, Variables};
use chrono::{DateTime, NaiveDate, Utc};

use super::omitted::Arguments;
use super::operation;
use super::scalars::{ExactDecimal, Money};

/// What may be sent, type by type.
pub struct Inputs {
    types: HashMap<Name, Shape>,
    /// The arguments whose variables may be left out.
    pub arguments: Arguments,
}

enum Shape {
    Enum(HashSet<Name>),
    Object(Object),
}

struct Object {
    fields: HashMap<Name, Field>,
    /// Exactly one field is given (`@oneOf`).
    takes_one: bool,
}

struct Field {
    of: Type,
    has_default: bool,
}

/// What does not fit: a path like `$input.lines.0.quantity`, and why.
type Misfit = String;

impl Inputs {
    /// Reads a schema's SDL.
    ///
    /// # Errors
    /// When it is none, which only a mistake of the library that wrote it can do.
    pub fn read(sdl: &str) -> Result<Self, async_graphql::parser::Error> {
        let mut types = HashMap::new();
        let mut arguments = Arguments::default();
        for definition in parse_schema(sdl)?.definitions {
            if let TypeSystemDefinition::Type(of) = definition {
                arguments.learn(&of.node);
                types.extend(shape(of.node));
            }
        }
        Ok(Self { types, arguments })
    }

    /// Checks the variables of the operation that is asked for.
    ///
    /// # Errors
    /// A sentence on the first that does not fit.
    pub fn check(
        &self,
        document: &ExecutableDocument,
        operation_name: Option<&str>,
        variables: &Variables,
    ) -> Result<(), Misfit> {
        // That it is not told which one to run says the library.
        let Some(operation) = operation::run(document, operation_name) else {
            return Ok(());
        };
        for definition in &operation.variable_definitions {
            let definition = &definition.node;
            let path = format!("${}", definition.name.node);
            let of = &definition.var_type.node;
            match variables.get(&definition.name.node) {
                Some(value) => self.fits(of, value, &path)?,
                None if definition.default_value.is_none() && !of.nullable => {
                    return Err(format!("{path} must be given: it is of type {of}."));
                }
                None => {}
            }
        }
        Ok(())
    }

    fn fits(&self, of: &Type, value: &Value, path: &str) -> Result<(), Misfit> {
        match (&of.base, value) {
            (_, Value::Null) if of.nullable => Ok(()),
            (_, Value::Null) => Err(format!("{path} must not be null: it is of type {of}.")),
            (BaseType::List(element), Value::List(values)) => {
                for (number, value) in values.iter().enumerate() {
                    self.fits(element, value, &format!("{path}.{number}"))?;
                }
                Ok(())
            }
            // One value stands for a list of one.
            (BaseType::List(element), value) => self.fits(element, value, path),
            (BaseType::Named(name), value) => self.fits_named(name, value, path),
        }
    }

    fn fits_named(&self, name: &Name, value: &Value, path: &str) -> Result<(), Misfit> {
        match (self.types.get(name), value) {
            (Some(Shape::Object(object)), Value::Object(values)) => {
                object.fits(name, values.iter().collect(), path)?;
                for (key, value) in values {
                    if let Some(field) = object.fields.get(key) {
                        self.fits(&field.of, value, &format!("{path}.{key}"))?;
                    }
                }
                Ok(())
            }
            (Some(Shape::Enum(values)), Value::String(text)) if values.contains(text.as_str()) => {
                Ok(())
            }
            (Some(Shape::Enum(values)), Value::Enum(text)) if values.contains(text) => Ok(()),
            (Some(_), _) => Err(format!("{path} is no {name}.")),
            (None, value) => {
                scalar(name, value).map_err(|why| format!("{path} is no {name}. {why}"))
            }
        }
    }
}

impl Object {
    fn fits(&self, name: &Name, values: HashMap<&Name, &Value>, path: &str) -> Result<(), Misfit> {
        if let Some(unknown) = values.keys().find(|key| !self.fields.contains_key(**key)) {
            return Err(format!(
                "{path}.{unknown} is unknown: {name} has no such field."
            ));
        }
        let missing = self.fields.iter().find(|(key, field)| {
            !field.of.nullable && !field.has_default && !values.contains_key(key)
        });
        if let Some((key, field)) = missing {
            return Err(format!(
                "{path}.{key} must be given: it is of type {}.",
                field.of
            ));
        }
        let given = values.values().filter(|value| ***value != Value::Null);
        if self.takes_one && (values.len() != 1 || given.count() != 1) {
            return Err(format!("{path} takes exactly one of its fields."));
        }
        Ok(())
    }
}

fn shape(of: TypeDefinition) -> Option<(Name, Shape)> {
    let takes_one = of
        .directives
        .iter()
        .any(|directive| directive.node.name.node == "oneOf");
    let shape = match of.kind {
        TypeKind::Enum(values) => Shape::Enum(
            values
                .values
                .into_iter()
                .map(|value| value.node.value.node)
                .collect(),
        ),
        TypeKind::InputObject(input) => Shape::Object(Object {
            fields: fields(input),
            takes_one,
        }),
        _ => return None,
    };
    Some((of.name.node, shape))
}

fn fields(input: InputObjectType) -> HashMap<Name, Field> {
    let fields = input.fields.into_iter().map(|field| {
        let field = field.node;
        let has_default = field.default_value.is_some();
        let of = field.ty.node;
        (field.name.node, Field { of, has_default })
    });
    fields.collect()
}

/// Asks the scalar itself. One that is unknown here is asked when it is used.
fn scalar(name: &Name, value: &Value) -> Result<(), String> {
    match name.as_str() {
        "Int" => parse::<i32>(value),
        "Float" => parse::<f64>(value),
        "String" => parse::<String>(value),
        "Boolean" => parse::<bool>(value),
        "ID" => parse::<async_graphql::ID>(value),
        "Money" => parse::<Money>(value),
        "ExactDecimal" => parse::<ExactDecimal>(value),
        "DateTime" => parse::<DateTime<Utc>>(value),
        "NaiveDate" => parse::<NaiveDate>(value),
        _ => Ok(()),
    }
}

fn parse<T: InputType>(value: &Value) -> Result<(), String> {
    T::parse(Some(value.clone())).map(|_| ()).map_err(|error| {
        error
            .into_server_error(async_graphql::Pos::default())
            .message
    })
}

#[cfg(test)]
mod tests {
    use async_graphql::parser::parse_query;
    use serde_json::json;

    use super::*;

    const SDL: &str = "
        scalar Money scalar NaiveDate
        enum Kind { HEAT COLD }
        input Line { cost: Money! kind: Kind = HEAT on: NaiveDate }
        input By @oneOf { id: ID serial: String }
        input Ask { lines: [Line!]! by: By count: Int sure: Boolean! = true }
        type Query { a: Int }";

    fn said(variables: serde_json::Value) -> Result<(), String> {
        let inputs = Inputs::read(SDL).unwrap();
        let document = parse_query("query($input: Ask!, $more: [Int!] = [1]) { a }").unwrap();
        inputs.check(&document, None, &Variables::from_json(variables))
    }

    #[test]
    fn only_the_operation_that_is_run_is_held_against_its_variables() {
        let inputs = Inputs::read(SDL).expect("a schema");
        let several = "query A($count: Int!) { a } query B { a }";
        let document = parse_query(several).expect("a document");
        let check = |name| inputs.check(&document, name, &Variables::default());
        check(Some("B")).expect("B asks for nothing");
        check(Some("A")).expect_err("A asks for a number");
        check(None).expect("which one to run says the library");
    }

    #[test]
    fn what_fits_passes() {
        let line = json!({ "cost": "12.50", "kind": "COLD", "on": "2026-11-25" });
        for ask in [
            json!({ "lines": [] }),
            json!({ "lines": [line], "by": { "id": 7 }, "count": 3, "sure": false }),
            json!({ "lines": line, "by": null }),
        ] {
            said(json!({ "input": ask, "more": null })).unwrap();
        }
    }

    #[test]
    fn what_does_not_fit_is_named_by_its_path() {
        let line = |line| json!({ "lines": [line] });
        for (ask, path) in [
            (json!(null), "$input "),
            (json!([]), "$input.lines "),
            (json!({}), "$input.lines "),
            (json!({ "lines": null }), "$input.lines "),
            (json!({ "lines": [null] }), "$input.lines.0 "),
            (json!({ "lines": ["x"] }), "$input.lines.0 "),
            (line(json!({ "cost": 12.5 })), "$input.lines.0.cost "),
            (line(json!({ "cost": "1.005" })), "$input.lines.0.cost "),
            (
                line(json!({ "cost": "1", "kind": "WARM" })),
                "$input.lines.0.kind ",
            ),
            (
                line(json!({ "cost": "1", "on": "2026-02-30" })),
                "$input.lines.0.on ",
            ),
            (
                line(json!({ "cost": "1", "price": "1" })),
                "$input.lines.0.price ",
            ),
            (json!({ "lines": [], "by": {} }), "$input.by "),
            (
                json!({ "lines": [], "by": { "id": "a", "serial": "b" } }),
                "$input.by ",
            ),
            (json!({ "lines": [], "by": { "id": null } }), "$input.by "),
            (json!({ "lines": [], "count": "3" }), "$input.count "),
            (
                json!({ "lines": [], "count": 3_000_000_000_i64 }),
                "$input.count ",
            ),
            (json!({ "lines": [], "sure": null }), "$input.sure "),
        ] {
            let sentence = said(json!({ "input": ask })).unwrap_err();
            if ask != json!([]) {
                assert!(sentence.starts_with(path), "{ask}: {sentence}");
            }
        }
        assert!(said(json!({})).is_err());
        assert!(said(json!({ "input": { "lines": [] }, "more": ["x"] })).is_err());
    }
}
