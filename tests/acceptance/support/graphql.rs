//! Reading GraphQL answers, with messages that show the answer when it is not what was expected.
//!
//! Paths are written with dots, list elements by number: `data.calls.edges.0.node.number`.

use serde_json::Value;

/// The value at a path.
///
/// # Panics
/// When the path leads nowhere, naming the step that failed.
#[track_caller]
pub fn at<'a>(answer: &'a Value, path: &str) -> &'a Value {
    let mut here = answer;
    for step in path.split('.') {
        let next = step
            .parse::<usize>()
            .map_or_else(|_| here.get(step), |number| here.get(number));
        here = next.unwrap_or_else(|| panic!("no `{step}` of `{path}` in {}", pretty(answer)));
    }
    here
}

/// The text at a path.
#[track_caller]
pub fn text<'a>(answer: &'a Value, path: &str) -> &'a str {
    at(answer, path)
        .as_str()
        .unwrap_or_else(|| panic!("`{path}` is no text in {}", pretty(answer)))
}

/// The whole number at a path.
#[track_caller]
pub fn int(answer: &Value, path: &str) -> i64 {
    at(answer, path)
        .as_i64()
        .unwrap_or_else(|| panic!("`{path}` is no whole number in {}", pretty(answer)))
}

/// The list at a path.
#[track_caller]
pub fn list<'a>(answer: &'a Value, path: &str) -> &'a [Value] {
    at(answer, path)
        .as_array()
        .unwrap_or_else(|| panic!("`{path}` is no list in {}", pretty(answer)))
}

/// Insists that an answer carries no errors, and returns its data.
#[track_caller]
pub fn data(answer: &Value) -> &Value {
    assert!(
        answer.get("errors").is_none(),
        "the answer has errors: {}",
        pretty(answer)
    );
    at(answer, "data")
}

/// Insists that a mutation was carried out, and returns its payload.
#[track_caller]
pub fn done<'a>(answer: &'a Value, mutation: &str) -> &'a Value {
    data(answer);
    let codes = problem_codes(answer, mutation);
    assert!(
        codes.is_empty(),
        "`{mutation}` was refused with {codes:?}: {}",
        pretty(answer)
    );
    at(answer, &format!("data.{mutation}"))
}

/// The codes of the problems with which a mutation refused; none when it was carried out.
#[track_caller]
pub fn problem_codes<'a>(answer: &'a Value, mutation: &str) -> Vec<&'a str> {
    let problems = format!("data.{mutation}.problems");
    list(answer, &problems)
        .iter()
        .map(|problem| text(problem, "code"))
        .collect()
}

/// Insists on a refusal with exactly this problem.
#[track_caller]
pub fn refused(answer: &Value, mutation: &str, code: &str) {
    assert_eq!(
        problem_codes(answer, mutation),
        [code],
        "in {}",
        pretty(answer)
    );
}

/// The codes of an answer's errors; none when it has no errors.
#[track_caller]
pub fn error_codes(answer: &Value) -> Vec<&str> {
    answer
        .get("errors")
        .map_or(&[][..], |_| list(answer, "errors"))
        .iter()
        .map(|error| text(error, "extensions.code"))
        .collect()
}

/// An answer as a message shows it.
pub fn pretty(answer: &Value) -> String {
    serde_json::to_string_pretty(answer).expect("JSON can be written")
}
