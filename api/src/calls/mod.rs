//! Service calls, visits, readings, findings and remedies.
