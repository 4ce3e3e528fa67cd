//! Machines, known by make and serial, and where each one stood.
