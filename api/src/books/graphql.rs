//! The books in the graph.
