//! Invoices and payments in the graph.
