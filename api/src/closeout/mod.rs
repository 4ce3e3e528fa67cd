//! Closing a call: the shop's warranty, what was used, and what it cost.
