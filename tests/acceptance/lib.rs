//! Nothing: this package only holds tests.
