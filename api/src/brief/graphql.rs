//! The brief in the graph.
