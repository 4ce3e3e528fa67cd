//! The shop itself: its settings, its people, and who is signed in.
//!
//! Words: the *shop* is one row of settings; *staff* sign in; a *session* is a signed-in device.
//! What must stay true: an unknown e-mail and a wrong password look alike and take as long; a session
//! ends at once when it is signed out or its person leaves; no secret is kept, only its hash.

pub mod graphql;
mod operations;
mod passwords;
mod sessions;
mod store;

pub use operations::{AddStaff, ChangeShop, add_staff, change_shop, end_staff, open};
pub use sessions::{SignIn, forget_sessions, holder_of, recognise, sign_in, sign_out};
pub use store::{Settings, close_books_through, get_technician, settings};
