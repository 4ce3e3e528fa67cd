//! The schema as committed: whoever changes it sees the change in review, and clients are made from the file.

use async_graphql::parser::parse_schema;
use async_graphql::parser::types::{TypeDefinition, TypeKind, TypeSystemDefinition};

use crate::support::program;

#[test]
fn the_committed_schema_is_the_running_one() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let output = program::command("sqlite://none.db", folder.path())
        .arg("schema")
        .output()
        .expect("`nameplate schema` starts");
    program::succeeded("`nameplate schema`", &output);
    let printed = String::from_utf8(output.stdout).expect("the schema is text");
    let committed = std::fs::read_to_string(program::workspace().join("api/schema.graphql"))
        .expect("api/schema.graphql can be read");
    assert!(
        printed == committed,
        "api/schema.graphql is not the schema of the program: \
         write it anew with `target/debug/nameplate schema > api/schema.graphql` and look at the difference"
    );
}

/// Names without a description, of a type and of everything in it.
fn undescribed(definition: &TypeDefinition) -> Vec<String> {
    let name = definition.name.node.to_string();
    let mut bare = Vec::new();
    let mut look = |what: String, described: bool| {
        if !described {
            bare.push(what);
        }
    };
    // Pages are built by the library after the Relay convention, which says what they are.
    let is_page = name.ends_with("Connection");
    look(name.clone(), is_page || definition.description.is_some());
    let fields = match &definition.kind {
        TypeKind::Object(kind) => kind.fields.as_slice(),
        TypeKind::Interface(kind) => kind.fields.as_slice(),
        _ => &[],
    };
    for field in fields {
        let path = format!("{name}.{}", field.node.name.node);
        look(path.clone(), field.node.description.is_some());
        for argument in &field.node.arguments {
            let path = format!("{path}({})", argument.node.name.node);
            look(path, argument.node.description.is_some());
        }
    }
    match &definition.kind {
        TypeKind::InputObject(kind) => kind.fields.iter().for_each(|field| {
            let path = format!("{name}.{}", field.node.name.node);
            look(path, field.node.description.is_some());
        }),
        TypeKind::Enum(kind) => kind.values.iter().for_each(|value| {
            let path = format!("{name}.{}", value.node.value.node);
            look(path, value.node.description.is_some());
        }),
        _ => {}
    }
    bare
}

#[test]
fn every_type_field_argument_and_value_is_described() {
    let schema = parse_schema(nameplate::graphql::schema::sdl()).expect("the SDL parses");
    let bare: Vec<String> = schema
        .definitions
        .iter()
        .filter_map(|definition| match definition {
            TypeSystemDefinition::Type(definition) => Some(undescribed(&definition.node)),
            _ => None,
        })
        .flatten()
        .collect();
    assert!(bare.is_empty(), "nothing is said of {bare:#?}");
}
