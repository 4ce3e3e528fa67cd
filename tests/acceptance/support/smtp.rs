//! The test mail server of `tests/smtp/server.py`, whose head says which recipients make it behave in which way.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use serde::Deserialize;
use tempfile::TempDir;

use super::mail::{Mail, mails_in};
use super::program;
use super::wait::{PATIENCE, eventually};

/// How the connection is kept from being read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Encryption {
    #[default]
    None,
    StartTls,
    Implicit,
}

impl Encryption {
    /// The word that both the test server and `NAMEPLATE_SMTP__TLS` use.
    fn word(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::StartTls => "starttls",
            Self::Implicit => "implicit",
        }
    }
}

#[derive(Clone, Debug, Default)]
pub struct SmtpOptions {
    pub encryption: Encryption,
    /// User name and password, without which the server takes no mail.
    pub login: Option<(&'static str, &'static str)>,
}

/// One recipient of one try to hand over a message.
#[derive(Clone, Debug, Deserialize)]
pub struct Attempt {
    pub recipient: String,
    /// As written in the header, with angle brackets; unknown when the try ended before the message came.
    pub message_id: Option<String>,
    /// `accepted`, `deferred`, `rejected`, `refused`, `hung`, `dropped` or `answer lost`.
    pub outcome: String,
    /// Whether the connection was encrypted.
    pub tls: bool,
    /// The user name, when the client signed in.
    pub login: Option<String>,
}

/// A running mail server; it ends when the value is dropped.
pub struct SmtpServer {
    child: Option<Child>,
    port: u16,
    folder: TempDir,
    options: SmtpOptions,
}

impl SmtpServer {
    /// Starts a server on a free port and waits until it listens.
    pub fn start(options: SmtpOptions) -> Self {
        let folder = tempfile::Builder::new()
            .prefix("nameplate-smtp-")
            .tempdir()
            .expect("a temporary folder can be made");
        let mut server = Self {
            child: None,
            port: 0,
            folder,
            options,
        };
        server.start_again();
        server
    }

    /// Starts a stopped server again, on the port it had: what was accepted and how often was tried is kept.
    pub fn start_again(&mut self) {
        self.stop();
        let log = std::fs::File::create(self.folder.path().join("server.log"))
            .expect("a log file can be made");
        let mut command = Command::new(python());
        command
            .arg(program::workspace().join("tests/smtp/server.py"))
            .arg("--folder")
            .arg(self.folder.path())
            .args(["--port", &self.port.to_string()])
            .args(["--tls", self.options.encryption.word()])
            // The server ends when this pipe closes, so it outlives no test, however that one ends.
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(log);
        if let Some((username, password)) = self.options.login {
            command
                .env("SMTP_USERNAME", username)
                .env("SMTP_PASSWORD", password);
        }
        let mut child = command.spawn().expect("the test mail server starts");
        let mut line = String::new();
        let output = child.stdout.take().expect("standard output is piped");
        BufReader::new(output)
            .read_line(&mut line)
            .expect("the test mail server speaks");
        self.child = Some(child);
        self.port = line
            .trim()
            .strip_prefix("listening ")
            .and_then(|port| port.parse().ok())
            .unwrap_or_else(|| panic!("the test mail server did not start:\n{}", self.log()));
    }

    /// Takes the server away: connections to its port are refused from now on.
    pub fn stop(&mut self) {
        if let Some(mut child) = self.child.take() {
            // Already gone is as good as stopped.
            let _ = child.kill();
            let _ = child.wait();
        }
    }

    pub fn port(&self) -> u16 {
        self.port
    }

    /// The certificate authority that signed the server's certificate, as PEM.
    pub fn ca_file(&self) -> PathBuf {
        self.folder.path().join("ca.pem")
    }

    /// The settings with which `nameplate serve` sends through this server.
    pub fn settings(&self) -> Vec<(String, String)> {
        let mut settings = vec![
            ("NAMEPLATE_SMTP__HOST", "localhost".to_owned()),
            ("NAMEPLATE_SMTP__PORT", self.port.to_string()),
            (
                "NAMEPLATE_SMTP__TLS",
                self.options.encryption.word().to_owned(),
            ),
        ];
        if self.options.encryption != Encryption::None {
            let authority = self.ca_file().display().to_string();
            settings.push(("NAMEPLATE_SMTP__CA_FILE", authority));
        }
        if let Some((username, password)) = self.options.login {
            settings.push(("NAMEPLATE_SMTP__USERNAME", username.to_owned()));
            settings.push(("NAMEPLATE_SMTP__PASSWORD", password.to_owned()));
        }
        settings
            .into_iter()
            .map(|(name, value)| (name.to_owned(), value))
            .collect()
    }

    /// Every message the server keeps, in the order of arrival.
    pub fn messages(&self) -> Vec<Mail> {
        mails_in(&self.folder.path().join("messages"))
    }

    /// Messages kept for one recipient.
    pub fn messages_to(&self, recipient: &str) -> Vec<Mail> {
        let mut messages = self.messages();
        messages.retain(|mail| mail.envelope_to.iter().any(|to| to == recipient));
        messages
    }

    /// Every try so far.
    pub fn attempts(&self) -> Vec<Attempt> {
        let lines = std::fs::read_to_string(self.folder.path().join("attempts.jsonl"))
            .expect("the list of attempts can be read");
        lines
            .split_inclusive('\n')
            // The last line may be half written.
            .filter(|line| line.ends_with('\n'))
            .map(|line| serde_json::from_str(line).expect("an attempt is a line of JSON"))
            .collect()
    }

    /// Tries for one recipient.
    pub fn attempts_for(&self, recipient: &str) -> Vec<Attempt> {
        let mut attempts = self.attempts();
        attempts.retain(|attempt| attempt.recipient == recipient);
        attempts
    }

    /// Waits until at least `count` messages for this recipient are kept.
    pub async fn wait_for_messages(&self, recipient: &str, count: usize) -> Vec<Mail> {
        let what = format!("{count} messages to {recipient}");
        eventually(&what, PATIENCE, async || {
            Some(self.messages_to(recipient)).filter(|messages| messages.len() >= count)
        })
        .await
    }

    /// Waits until at least `count` tries for this recipient were made.
    pub async fn wait_for_attempts(&self, recipient: &str, count: usize) -> Vec<Attempt> {
        let what = format!("{count} tries to mail {recipient}");
        eventually(&what, PATIENCE, async || {
            Some(self.attempts_for(recipient)).filter(|attempts| attempts.len() >= count)
        })
        .await
    }

    fn log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("server.log")).unwrap_or_default()
    }
}

impl Drop for SmtpServer {
    fn drop(&mut self) {
        self.stop();
        if std::thread::panicking() {
            eprintln!("tries seen by the test mail server: {:#?}", self.attempts());
            eprintln!("log of the test mail server:\n{}", self.log());
        }
    }
}

/// The interpreter that has the mail server's library.
fn python() -> PathBuf {
    let python = std::env::var_os("NAMEPLATE_TEST_PYTHON").map_or_else(
        || program::workspace().join("target/tests-python/bin/python3"),
        PathBuf::from,
    );
    assert!(
        Path::new(&python).exists(),
        "no Python with the test mail server's library at {}: run `tests/run`, or `tests/run COMMAND` for one command",
        python.display()
    );
    python
}
