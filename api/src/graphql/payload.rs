//! The shape of every mutation's answer: the changed record, or the problems to mend.

/// Declares a payload type and how an operation's outcome becomes one.
///
/// ```ignore
/// payload! {
///     /// What recording a customer gave.
///     AddCustomerPayload { /** The customer as recorded. */ customer: Customer }
/// }
/// AddCustomerPayload::of(operations::add(act, command).await.map(Customer::from))
/// ```
#[macro_export]
macro_rules! payload {
    ($(#[$doc:meta])* $name:ident { $(#[$field_doc:meta])* $field:ident: $type:ty $(,)? }) => {
        $(#[$doc])*
        #[derive(async_graphql::SimpleObject)]
        pub struct $name {
            $(#[$field_doc])*
            ///
            /// Null when the mutation was refused.
            pub $field: Option<$type>,
            /// What to mend; empty when it was done.
            pub problems: Vec<$crate::graphql::error::Problem>,
        }

        impl $name {
            /// Refusals become problems; everything else goes to `errors`.
            pub fn of(outcome: $crate::base::Result<$type>) -> async_graphql::Result<Self> {
                match outcome {
                    Ok($field) => Ok(Self { $field: Some($field), problems: Vec::new() }),
                    Err($crate::base::Error::Refused(problems)) => Ok(Self {
                        $field: None,
                        problems: problems.into_iter().map(Into::into).collect(),
                    }),
                    Err(error) => Err($crate::graphql::error::edge(error)),
                }
            }
        }
    };
}
