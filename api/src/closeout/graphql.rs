//! Completing a call in the graph.
