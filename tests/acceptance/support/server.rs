//! The running program.

use std::fs::{File, OpenOptions};
use std::path::PathBuf;
use std::process::{Child, Command, ExitStatus};
use std::time::Duration;

use serde_json::{Value, json};
use tempfile::TempDir;

use super::database::{TestDatabase, Verdict};
use super::mail::{Mail, mails_in};
use super::smtp::SmtpServer;
use super::wait::{PATIENCE, eventually};
use super::{graphql, program};

/// Where the shop says it can be reached; links in mails begin with it.
pub const PUBLIC_URL: &str = "https://nameplate.test";

/// What a member of staff may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Role {
    Owner,
    Office,
    Technician,
}

impl Role {
    pub const ALL: [Self; 3] = [Self::Owner, Self::Office, Self::Technician];

    /// The word of the command line.
    pub fn word(self) -> &'static str {
        match self {
            Self::Owner => "owner",
            Self::Office => "office",
            Self::Technician => "technician",
        }
    }
}

/// A member of staff that a test has added.
#[derive(Clone, Debug)]
pub struct Staff {
    pub name: String,
    pub email: String,
    pub password: String,
    pub role: Role,
}

/// How the server is started. The default is a development server that leaves its mail in a folder.
#[derive(Clone, Debug, Default)]
pub struct ServerOptions {
    settings: Vec<(String, String)>,
}

impl ServerOptions {
    /// Adds a setting by the name of its environment variable; a later one wins.
    #[must_use]
    pub fn set(mut self, name: &str, value: impl Into<String>) -> Self {
        self.settings.push((name.to_owned(), value.into()));
        self
    }

    /// As in a shop: without introspection and the query page.
    #[must_use]
    pub fn production(self) -> Self {
        self.set("NAMEPLATE_MODE", "production")
    }

    /// Sends its mail through this server, impatiently enough for a test.
    #[must_use]
    pub fn smtp(mut self, smtp: &SmtpServer) -> Self {
        self.settings.extend(smtp.settings());
        self.set("NAMEPLATE_MAIL__SEND_TIMEOUT_MS", "2000")
            .set("NAMEPLATE_MAIL__RETRY_FIRST_MS", "100")
            .set("NAMEPLATE_MAIL__POLL_MS", "50")
    }
}

/// What one request asks for.
#[derive(Clone, Debug, Default)]
pub struct Ask<'a> {
    pub token: Option<&'a str>,
    pub query: &'a str,
    pub variables: Value,
    pub headers: Vec<(&'static str, String)>,
}

/// An answer with what HTTP said about it.
#[derive(Clone, Debug)]
pub struct Reply {
    pub status: u16,
    pub body: Value,
}

/// A running `nameplate serve`; it ends when the value is dropped.
pub struct Server {
    child: Option<Child>,
    base_url: String,
    database_url: String,
    options: ServerOptions,
    folder: TempDir,
    http: reqwest::Client,
    staff_count: usize,
}

impl Server {
    /// Starts the program on a free port and waits until it listens.
    pub async fn start(db: &TestDatabase, options: ServerOptions) -> Self {
        let folder = tempfile::Builder::new()
            .prefix("nameplate-server-")
            .tempdir()
            .expect("a temporary folder can be made");
        let http = reqwest::Client::builder()
            .timeout(PATIENCE)
            .redirect(reqwest::redirect::Policy::none())
            .build()
            .expect("an HTTP client");
        let mut server = Self {
            child: None,
            base_url: String::new(),
            database_url: db.url().to_owned(),
            options,
            folder,
            http,
            staff_count: 0,
        };
        server.spawn().await;
        server
    }

    /// `http://127.0.0.1:PORT`
    pub fn base_url(&self) -> &str {
        &self.base_url
    }

    /// The client that requests are made with, for those that are not GraphQL.
    pub fn http(&self) -> &reqwest::Client {
        &self.http
    }

    /// A link from a mail, made to lead to this server.
    ///
    /// # Panics
    /// When the link does not begin with [`PUBLIC_URL`].
    #[track_caller]
    pub fn local(&self, link: &str) -> String {
        let path = link
            .strip_prefix(PUBLIC_URL)
            .unwrap_or_else(|| panic!("the link {link} does not begin with {PUBLIC_URL}"));
        format!("{}{path}", self.base_url)
    }

    /// Asks, and returns the answer whether or not it carries errors.
    ///
    /// # Panics
    /// When there is no answer, or it is no JSON.
    pub async fn graphql(&self, token: Option<&str>, query: &str, variables: Value) -> Value {
        let ask = Ask {
            token,
            query,
            variables,
            headers: Vec::new(),
        };
        self.ask(ask)
            .await
            .unwrap_or_else(|error| panic!("no answer to {query}: {error:?}"))
            .body
    }

    /// Asks, and returns the answer with its status.
    ///
    /// # Errors
    /// When the connection fails: the server may be about to be killed.
    pub async fn ask(&self, ask: Ask<'_>) -> Result<Reply, reqwest::Error> {
        let body = json!({ "query": ask.query, "variables": ask.variables });
        let mut request = self
            .http
            .post(format!("{}/graphql", self.base_url))
            .header("Accept", "application/graphql-response+json")
            .json(&body);
        if let Some(token) = ask.token {
            request = request.bearer_auth(token);
        }
        for (name, value) in ask.headers {
            request = request.header(name, value);
        }
        let response = request.send().await?;
        let status = response.status().as_u16();
        let text = response.text().await?;
        let body = serde_json::from_str(&text)
            .unwrap_or_else(|error| panic!("HTTP {status} without JSON ({error}): {text}"));
        Ok(Reply { status, body })
    }

    /// Adds a member of staff by the command line, as a shop's first owner is added.
    pub fn add_staff(&mut self, role: Role) -> Staff {
        self.staff_count += 1;
        let number = self.staff_count;
        let staff = Staff {
            name: format!("Test {} {number}", role.word()),
            email: format!("{}{number}@nameplate.test", role.word()),
            password: format!("plum-kettle-{number}-orbit-lantern"),
            role,
        };
        let mut command = program::command(&self.database_url, self.folder.path());
        command
            .args(["staff", "add", "--role", role.word()])
            .args(["--name", &staff.name])
            .args(["--email", &staff.email])
            .arg("--password-stdin");
        let output = program::run_with_input(command, &format!("{}\n", staff.password));
        program::succeeded("`nameplate staff add`", &output);
        staff
    }

    /// Signs a member of staff in, and returns the token.
    ///
    /// # Panics
    /// When that is refused.
    pub async fn sign_in(&self, staff: &Staff) -> String {
        let query = "mutation($input: SignInInput!) {
            signIn(input: $input) { token expiresAt problems { code message path } }
        }";
        let input = json!({ "email": staff.email, "password": staff.password });
        let answer = self.graphql(None, query, json!({ "input": input })).await;
        graphql::done(&answer, "signIn");
        graphql::text(&answer, "data.signIn.token").to_owned()
    }

    /// A token of a new member of staff with this role.
    pub async fn token(&mut self, role: Role) -> String {
        let staff = self.add_staff(role);
        self.sign_in(&staff).await
    }

    /// The messages left in the mail folder, when no SMTP server was given.
    pub fn mail_folder(&self) -> Vec<Mail> {
        mails_in(&self.folder.path().join("mail"))
    }

    /// Runs `nameplate verify` on the server's database.
    pub fn verify(&self) -> Verdict {
        let output = program::command(&self.database_url, self.folder.path())
            .arg("verify")
            .output()
            .expect("`nameplate verify` starts");
        Verdict {
            code: output.status.code(),
            output: program::printed(&output),
        }
    }

    /// Ends the program at once, as a power cut would.
    pub fn kill_9(&mut self) {
        if let Some(mut child) = self.child.take() {
            child.kill().expect("a running program can be killed");
            child.wait().expect("a killed program can be waited for");
        }
    }

    /// Asks the program to end, and waits until it has.
    pub async fn stop(&mut self) -> ExitStatus {
        let mut child = self.child.take().expect("the server is running");
        let asked = Command::new("kill")
            .args(["-TERM", &child.id().to_string()])
            .status()
            .expect("`kill` runs");
        assert!(asked.success(), "the server was gone before it was stopped");
        eventually("the server to stop", PATIENCE, async || {
            child.try_wait().expect("the server can be waited for")
        })
        .await
    }

    /// Starts the program again on the same database and with the same settings, on a new port.
    pub async fn restart(&mut self) {
        self.kill_9();
        self.spawn().await;
    }

    /// Everything the program has printed so far, since its first start.
    pub fn log(&self) -> String {
        [self.output_file(), self.log_file()]
            .iter()
            .map(|file| std::fs::read_to_string(file).unwrap_or_default())
            .collect()
    }

    async fn spawn(&mut self) {
        let already_said = read(&self.output_file()).len();
        let mut command = program::command(&self.database_url, self.folder.path());
        command
            .arg("serve")
            .env("NAMEPLATE_LISTEN", "127.0.0.1:0")
            .env("NAMEPLATE_PUBLIC_URL", PUBLIC_URL)
            .env("NAMEPLATE_MODE", "development")
            .env("NAMEPLATE_MAIL__FOLDER", self.folder.path().join("mail"))
            .env("NAMEPLATE_MAIL__POLL_MS", "50")
            .envs(self.options.settings.iter().cloned())
            .stdout(append(&self.output_file()))
            .stderr(append(&self.log_file()));
        let child = command
            .spawn()
            .unwrap_or_else(|error| panic!("{command:?} did not start: {error}"));
        let child = self.child.insert(child);
        let output_file = self.folder.path().join("output");
        let address = eventually("the server to listen", Duration::from_mins(1), async || {
            if let Some(status) = child.try_wait().expect("the server can be waited for") {
                panic!("`nameplate serve` ended with {status} instead of listening");
            }
            let said = read(&output_file);
            let lines = said.get(already_said..)?.split_inclusive('\n');
            lines
                .filter_map(|line| line.strip_suffix('\n'))
                .find_map(|line| line.strip_prefix("nameplate listening on "))
                .map(|address| address.trim().trim_end_matches('/').to_owned())
        })
        .await;
        self.base_url = address;
    }

    fn output_file(&self) -> PathBuf {
        self.folder.path().join("output")
    }

    fn log_file(&self) -> PathBuf {
        self.folder.path().join("log")
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if let Some(mut child) = self.child.take() {
            // Already gone is as good as killed.
            let _ = child.kill();
            let _ = child.wait();
        }
        if std::thread::panicking() {
            let log = self.log();
            let lines: Vec<_> = log.lines().collect();
            let last = lines.len().saturating_sub(100);
            eprintln!("the server's last lines:\n{}", lines[last..].join("\n"));
        }
    }
}

fn read(file: &std::path::Path) -> String {
    std::fs::read_to_string(file).unwrap_or_default()
}

fn append(file: &std::path::Path) -> File {
    OpenOptions::new()
        .create(true)
        .append(true)
        .open(file)
        .expect("a log file can be made")
}
