//! The HTTP edge.
