//! How letters leave: SMTP, or a folder.
