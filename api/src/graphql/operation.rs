//! Which operation of a document is run. Asked here wherever something is said of a request before the library runs it, so
//! that all mean the operation that the library will run.

use async_graphql::Name;
use async_graphql::parser::types::{ExecutableDocument, OperationDefinition};

/// The operation of a document that is run; none if the request does not say which, or names one that is not there. The
/// library refuses such a request.
pub fn run<'a>(
    document: &'a ExecutableDocument,
    operation_name: Option<&str>,
) -> Option<&'a OperationDefinition> {
    let count = document.operations.iter().len();
    (document.operations.iter())
        .find(|(name, _)| is_run(*name, operation_name, count))
        .map(|(_, operation)| &operation.node)
}

/// Whether an operation of this name, one of so many, is the one that is asked for.
pub fn is_run(name: Option<&Name>, operation_name: Option<&str>, count: usize) -> bool {
    match (name, operation_name) {
        (None, None) => true,
        (Some(_), None) => count == 1,
        (Some(name), Some(wanted)) => name.as_str() == wanted,
        (None, Some(_)) => false,
    }
}

#[cfg(test)]
mod tests {
    use async_graphql::parser::parse_query;
    use async_graphql::parser::types::OperationType;

    use super::*;

    fn kind(document: &str, name: Option<&str>) -> Option<OperationType> {
        let document = parse_query(document).expect("a document");
        run(&document, name).map(|operation| operation.ty)
    }

    #[test]
    fn one_operation_runs_and_of_several_the_one_that_is_named() {
        let several = "query A { a } mutation B { b }";
        assert_eq!(kind("{ a }", None), Some(OperationType::Query));
        assert_eq!(
            kind("mutation B { b }", None),
            Some(OperationType::Mutation)
        );
        assert_eq!(kind(several, Some("A")), Some(OperationType::Query));
        assert_eq!(kind(several, Some("B")), Some(OperationType::Mutation));
    }

    #[test]
    fn none_runs_where_the_request_does_not_say_which_or_names_another() {
        assert_eq!(kind("query A { a } mutation B { b }", None), None);
        assert_eq!(kind("query A { a }", Some("B")), None);
        assert_eq!(kind("{ a }", Some("A")), None);
    }
}
