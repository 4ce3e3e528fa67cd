//! The shop's warranty in the graph.
