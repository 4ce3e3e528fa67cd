//! What comes back: callbacks, flags, and the acts that raise them.
