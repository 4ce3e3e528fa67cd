//! How letters leave: over SMTP to a relay, or into a folder for a shop that tries the program out.
//!
//! What stays true: a try ends within its time whatever the relay does, the same Message-ID goes out on every
//! try, and the caller learns whether to try again. What a relay's silence means nobody can know: the mail may
//! have been taken, so it counts as "later", and readers recognise a second copy by its Message-ID.

mod folder;
mod message;
mod smtp;

use chrono::{DateTime, Utc};

use crate::base::config::Config;
use crate::base::letter::Outgoing;

use folder::Folder;
use smtp::Relay;

/// The way out.
pub enum Transport {
    Smtp(Relay),
    Folder(Folder),
}

/// What stands on the outside of a mail.
pub struct Envelope {
    /// Ours, with angle brackets, the same on every try.
    pub message_id: String,
    pub from_email: String,
    pub from_name: String,
    /// Where answers go; empty for the sender's own address.
    pub reply_to: String,
    pub to_email: String,
    pub to_name: String,
    pub at: DateTime<Utc>,
    /// Name of the file in a folder, without ending; the same on every try.
    pub file_name: String,
}

/// Why a mail did not leave. The text is for the desk: it may hold what a relay said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SendFault {
    /// It may leave later, or may even have left.
    Later(String),
    /// It will never leave as it is.
    Never(String),
}

impl Transport {
    /// The way out that the settings ask for.
    ///
    /// # Errors
    /// A sentence that names the setting that does not work.
    pub fn of(config: &Config) -> Result<Self, String> {
        match config.smtp.host.as_deref().filter(|host| !host.is_empty()) {
            Some(host) => Ok(Self::Smtp(Relay::new(host, &config.smtp, &config.mail)?)),
            None => Ok(Self::Folder(Folder::new(config.mail.folder.clone()))),
        }
    }

    /// Where mail goes, in a sentence for the start of the log.
    pub fn describe(&self) -> String {
        match self {
            Self::Smtp(relay) => format!("mail goes to the relay {}", relay.address()),
            Self::Folder(folder) => format!(
                "mail is not sent but written to the folder {}",
                folder.path().display()
            ),
        }
    }

    /// Makes the message and hands it over.
    ///
    /// # Errors
    /// Whether to try again, and why it did not leave.
    pub async fn send(&self, envelope: &Envelope, mail: &Outgoing) -> Result<(), SendFault> {
        let message = message::build(envelope, mail).map_err(SendFault::Never)?;
        match self {
            Self::Smtp(relay) => relay.send(message).await,
            Self::Folder(folder) => folder
                .keep(&envelope.file_name, &message.formatted())
                .await
                .map_err(|error| {
                    SendFault::Later(format!("the mail folder cannot be written: {error}"))
                }),
        }
    }
}
