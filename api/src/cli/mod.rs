//! The command line: serve, migrate, verify, print the schema, let somebody sign in.
//!
//! What goes wrong is said in one sentence on standard error, and the exit code is 1.

mod demo;
mod serve;
mod staff;

use std::process::ExitCode;
use std::sync::Arc;

use clap::{Parser, Subcommand};
use tracing_subscriber::EnvFilter;

use crate::base::clock::Clock;
use crate::base::config::Config;
use crate::base::db::Db;
use crate::base::{App, Caller};
use crate::graphql::error::chain;
use crate::graphql::schema;
use crate::{appliances, books, callbacks, estimates, shop, verify};

/// The stack of a thread that resolves requests: deep ones in an unoptimised build need more than 2 MiB.
const STACK_BYTES: usize = 8 * 1024 * 1024;

/// The back office of a small appliance-repair shop, as one GraphQL service.
///
/// Settings come from `nameplate.toml` in the working folder and from the environment: `DATABASE_URL`,
/// `NAMEPLATE_LISTEN`, `NAMEPLATE_PUBLIC_URL`, `NAMEPLATE_SMTP__HOST` and so on.
#[derive(Parser)]
#[command(name = "nameplate", version)]
struct Cli {
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    /// Answer requests and send mail until asked to end (the default).
    Serve,
    /// Bring the database up to date and open the shop, then end.
    Migrate,
    /// Hold every row against what must always be true; print what is not, or `clean`.
    Verify,
    /// Make an invented shop with two years of work, play one repair through, tell of it and serve it.
    Demo(demo::Command),
    /// Print the GraphQL schema.
    Schema,
    /// The people who sign in.
    #[command(subcommand)]
    Staff(staff::Command),
}

/// What the program cannot do, in one sentence.
pub struct Failure(String);

impl Failure {
    /// What was being done, and everything that is known about why it failed.
    fn new(doing: &str, error: &dyn std::error::Error) -> Self {
        Self(format!("{doing}: {}", chain(error)))
    }
}

type Outcome = Result<ExitCode, Failure>;

/// Runs the program with the arguments it was given.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    match start(cli.command.unwrap_or(Command::Serve)) {
        Ok(code) => code,
        Err(Failure(sentence)) => {
            eprintln!("nameplate: {sentence}");
            ExitCode::FAILURE
        }
    }
}

fn start(command: Command) -> Outcome {
    if matches!(command, Command::Schema) {
        print!("{}", schema::sdl());
        return Ok(ExitCode::SUCCESS);
    }
    log_to_standard_error(match command {
        Command::Demo(_) => "warn",
        _ => "info,actix_server=warn,sea_orm_migration=warn",
    });
    let config = Config::read().map_err(|error| Failure::new("a setting is wrong", &error))?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .thread_stack_size(STACK_BYTES)
        .build()
        .map_err(|error| Failure::new("the program cannot start", &error))?;
    runtime.block_on(carry_out(command, config))
}

async fn carry_out(command: Command, config: Config) -> Outcome {
    if let Command::Demo(command) = &command {
        return demo::run(command, config).await;
    }
    let db = Db::open(&config.database_url)
        .await
        .map_err(|error| Failure::new("the database cannot be opened", &error))?;
    if matches!(command, Command::Verify) {
        return verify(&db).await;
    }
    let app = App::new(db, config, Clock::System);
    prepare(&app)
        .await
        .map_err(|error| Failure::new("the shop cannot be opened", &error))?;
    let code = match command {
        Command::Serve => serve::serve(&app).await?,
        Command::Staff(command) => staff::run(&app, command).await?,
        Command::Migrate | Command::Verify | Command::Schema | Command::Demo(_) => {
            ExitCode::SUCCESS
        }
    };
    app.db
        .clone()
        .close()
        .await
        .map_err(|error| Failure::new("the database did not close well", &error))?;
    Ok(code)
}

/// Changes nothing beyond the migrations that opening the database brings.
async fn verify(db: &Db) -> Outcome {
    let findings = verify::run(db)
        .await
        .map_err(|error| Failure::new("the rows cannot be read", &error))?;
    if findings.is_empty() {
        println!("clean");
        return Ok(ExitCode::SUCCESS);
    }
    for finding in findings {
        println!("{finding}");
    }
    Ok(ExitCode::FAILURE)
}

/// What must be in a database before anybody works with it. Does nothing the second time.
///
/// # Errors
/// Internal only.
pub async fn prepare(app: &Arc<App>) -> crate::base::Result<()> {
    let act = app.act(Caller::Program);
    shop::open(&act).await?;
    appliances::open(&act).await?;
    books::open(&act).await?;
    callbacks::open(&act).await?;
    estimates::open(&act).await
}

/// `RUST_LOG` says how much; what answers print stays alone on standard output.
fn log_to_standard_error(usual: &str) {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new(usual));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(false)
        .init();
}
