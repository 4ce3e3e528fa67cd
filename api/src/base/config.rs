//! Settings of this installation: a file, then the environment. Settings of the shop are in its database.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Duration;

use figment::Figment;
use figment::providers::{Env, Format, Serialized, Toml};
use serde::{Deserialize, Serialize};

/// Everything the program is told from outside.
///
/// Read from `nameplate.toml` in the working folder, then from variables such as
/// `NAMEPLATE_SMTP__HOST`; `DATABASE_URL` stands alone because other tools use it too.
#[derive(Clone, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    /// `sqlite://file?mode=rwc` or `postgres://…`.
    pub database_url: String,
    /// Address and port to listen on; port 0 takes a free one.
    pub listen: String,
    /// Where customers reach the server; links in mails begin with it.
    pub public_url: Option<String>,
    /// Whether a proxy of ours stands in front and names the client in `X-Forwarded-For`. Without one anybody
    /// could write that header, so it is believed only then.
    pub behind_proxy: bool,
    /// Development shows `GraphiQL` and the schema to everybody.
    pub mode: Mode,
    /// The relay that takes our mail. Without a host, mails are written to a folder.
    pub smtp: Smtp,
    /// How mail is made and retried.
    pub mail: Mail,
    /// How long a session lasts.
    pub session: Session,
}

/// Whether strangers may see the schema.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mode {
    Development,
    Production,
}

/// How to reach the mail relay.
#[derive(Clone, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Smtp {
    pub host: Option<String>,
    pub port: Option<u16>,
    pub tls: Tls,
    pub username: Option<String>,
    pub password: Option<String>,
    /// A further root certificate to trust, PEM.
    pub ca_file: Option<PathBuf>,
}

/// How the connection to the relay is protected.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Tls {
    /// Start in the clear, then require TLS before anything else.
    #[default]
    Starttls,
    /// TLS from the first byte.
    Implicit,
    /// No TLS: only for a relay on the same machine.
    None,
}

/// How mail is made and retried.
#[derive(Clone, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Mail {
    /// Where mails are written when no relay is set.
    pub folder: PathBuf,
    /// The address mails come from; its domain is that of our Message-IDs.
    pub from: String,
    pub send_timeout_ms: u64,
    /// The first wait after a relay said "later"; it doubles up to four hours.
    pub retry_first_ms: u64,
    /// How long a mail is tried before it counts as failed (RFC 5321 section 4.5.4.1 asks for 4 to 5 days).
    pub give_up_hours: u32,
    pub poll_ms: u64,
}

impl Default for Mail {
    fn default() -> Self {
        Self {
            folder: PathBuf::from("outbox"),
            from: "office@nameplate.invalid".to_owned(),
            send_timeout_ms: 30_000,
            retry_first_ms: 60_000,
            give_up_hours: 120,
            poll_ms: 2_000,
        }
    }
}

impl Mail {
    /// The longest one try may take.
    pub fn send_timeout(&self) -> Duration {
        Duration::from_millis(self.send_timeout_ms)
    }
}

/// How long a session lasts.
#[derive(Clone, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Session {
    /// Ends this long after sign-in, whatever happens.
    pub absolute_hours: u32,
    /// Ends this long after its last use.
    pub idle_hours: u32,
}

impl Default for Session {
    fn default() -> Self {
        Self {
            absolute_hours: 24 * 7,
            idle_hours: 12,
        }
    }
}

impl Default for Config {
    fn default() -> Self {
        Self {
            database_url: "sqlite://nameplate.db?mode=rwc".to_owned(),
            listen: "127.0.0.1:8080".to_owned(),
            public_url: None,
            behind_proxy: false,
            mode: Mode::Production,
            smtp: Smtp::default(),
            mail: Mail::default(),
            session: Session::default(),
        }
    }
}

/// Settings whose variables are texts whatever they look like: a password may be `0123` or `true`.
const AS_TYPED: [&str; 2] = ["smtp__username", "smtp__password"];

fn as_typed() -> BTreeMap<&'static str, BTreeMap<&'static str, String>> {
    let mut smtp = BTreeMap::new();
    for (variable, setting) in [
        ("NAMEPLATE_SMTP__USERNAME", "username"),
        ("NAMEPLATE_SMTP__PASSWORD", "password"),
    ] {
        if let Ok(text) = std::env::var(variable) {
            smtp.insert(setting, text);
        }
    }
    BTreeMap::from([("smtp", smtp)])
}

impl Config {
    /// Reads file and environment.
    ///
    /// # Errors
    /// Names the setting that is unknown or of the wrong form.
    pub fn read() -> Result<Self, Box<figment::Error>> {
        Figment::from(Serialized::defaults(Self::default()))
            .merge(Toml::file("nameplate.toml"))
            .merge(
                Env::prefixed("NAMEPLATE_")
                    .ignore(&["test_pg", "test_python", "bin"])
                    .ignore(&AS_TYPED)
                    .split("__"),
            )
            .merge(Serialized::defaults(as_typed()))
            .merge(Env::raw().only(&["DATABASE_URL"]))
            .extract()
            .map_err(Box::new)
    }
}
