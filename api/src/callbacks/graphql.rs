//! Callbacks and flags in the graph.
