//! What work costs the customer: price books, parts and tax.
