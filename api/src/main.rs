//! The program. Everything it does is in the library (`cli`).

use std::process::ExitCode;

fn main() -> ExitCode {
    nameplate::cli::run()
}
