//! Letting somebody sign in, from the shell of the machine: how a shop gets its first owner.

use std::io::BufRead;
use std::process::ExitCode;
use std::sync::Arc;

use clap::{Args, Subcommand, ValueEnum};
use nameplate_entities::kinds;

use crate::base::{App, Caller, Error};
use crate::shop::{self, AddStaff};

use super::{Failure, Outcome};

#[derive(Subcommand)]
pub enum Command {
    /// Let somebody sign in.
    Add(Add),
}

#[derive(Args)]
pub struct Add {
    /// What this person may do.
    #[arg(long, value_enum)]
    role: Role,
    /// Name as colleagues use it.
    #[arg(long)]
    name: String,
    /// The address this person signs in with.
    #[arg(long)]
    email: String,
    /// Read the password from standard input, so that it is in no list of processes.
    #[arg(long, required = true)]
    password_stdin: bool,
}

#[derive(Clone, Copy, ValueEnum)]
enum Role {
    Owner,
    Office,
    Technician,
}

pub async fn run(app: &Arc<App>, command: Command) -> Outcome {
    let Command::Add(add) = command;
    let mut password = String::new();
    std::io::stdin()
        .lock()
        .read_line(&mut password)
        .map_err(|error| Failure::new("the password cannot be read", &error))?;
    let new = AddStaff {
        name: add.name,
        email: add.email,
        role: match add.role {
            Role::Owner => kinds::Role::Owner,
            Role::Office => kinds::Role::Office,
            Role::Technician => kinds::Role::Technician,
        },
        password: password.trim_end_matches(['\r', '\n']).to_owned(),
    };
    match shop::add_staff(&app.act(Caller::Program), new).await {
        Ok(staff) => {
            println!("{} can now sign in as {}.", staff.name, staff.email);
            Ok(ExitCode::SUCCESS)
        }
        Err(Error::Refused(problems)) => Err(Failure(
            problems
                .iter()
                .map(|problem| format!("{}: {}", problem.path, problem.message))
                .collect::<Vec<_>>()
                .join(" "),
        )),
        Err(error) => Err(Failure::new("nobody was added", &error)),
    }
}
