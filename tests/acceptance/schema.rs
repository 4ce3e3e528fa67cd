//! The schema as committed: whoever changes it sees the change in review, and clients are made from the file.

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
