//! What a technician knows before arriving.
