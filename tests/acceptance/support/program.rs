//! The built program: where it is, and how to run it without anything leaking in from the developer's own settings.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;

const BUILD: &str = "cargo build --workspace --all-targets";

/// Whether the program was held against its sources already.
static LOOKED: OnceLock<()> = OnceLock::new();

/// The program under test: `NAMEPLATE_BIN`, or the one in the target folder that this test binary lies in.
///
/// # Panics
/// When there is none, or it is older than its sources. Building the tests alone does not build it.
pub fn binary() -> PathBuf {
    if let Some(given) = std::env::var_os("NAMEPLATE_BIN") {
        let path = PathBuf::from(given);
        assert!(
            path.is_file(),
            "NAMEPLATE_BIN names {}, which is no file",
            path.display()
        );
        return path;
    }
    let test_binary = std::env::current_exe().expect("a running test knows its own path");
    let path = test_binary
        .ancestors()
        .skip(1)
        .map(|folder| folder.join("nameplate"))
        .find(|path| path.is_file())
        .unwrap_or_else(|| {
            panic!(
                "no program `nameplate` above {}: run `{BUILD}` first, or set NAMEPLATE_BIN",
                test_binary.display()
            )
        });
    LOOKED.get_or_init(|| insist_on_a_current_build(&path));
    path
}

/// Fails when a source of the program is newer than the program: building the tests does not build it, and a test of
/// yesterday's program says nothing. Cargo lists the sources beside the program, in `nameplate.d`.
fn insist_on_a_current_build(program: &Path) {
    let changed = |path: &Path| std::fs::metadata(path).and_then(|about| about.modified());
    let built = changed(program).expect("the program can be looked at");
    let list = std::fs::read_to_string(program.with_extension("d"))
        .expect("Cargo leaves the list of its sources beside a program");
    let (_, sources) = list
        .split_once(": ")
        .expect("the list of sources begins with the program");
    // A blank inside a path is written with a backslash before it.
    let sources = sources.trim_end().replace("\\ ", "\0");
    for source in sources.split(' ').map(|path| path.replace('\0', " ")) {
        let is_current = changed(Path::new(&source)).is_ok_and(|time| time <= built);
        assert!(
            is_current,
            "{source} has changed since {} was built: run `{BUILD}`, or name a program by NAMEPLATE_BIN",
            program.display()
        );
    }
}

/// The root of the workspace.
pub fn workspace() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .expect("the tests lie in a folder of the workspace")
}

/// A command of the program with an empty environment but for `PATH` and the database, in a folder of its own,
/// so that no settings file and no variable of the machine takes part.
pub fn command(database_url: &str, folder: &Path) -> Command {
    let mut command = Command::new(binary());
    command
        .env_clear()
        .env("PATH", std::env::var_os("PATH").unwrap_or_default())
        .env("HOME", folder)
        .env("RUST_BACKTRACE", "1")
        .env("DATABASE_URL", database_url)
        .current_dir(folder)
        .stdin(Stdio::null());
    command
}

/// Runs a command to its end, with `input` on its standard input.
pub fn run_with_input(mut command: Command, input: &str) -> Output {
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{command:?} did not start: {error}"));
    child
        .stdin
        .take()
        .expect("standard input is piped")
        .write_all(input.as_bytes())
        .expect("the program reads its standard input");
    child
        .wait_with_output()
        .expect("a started program can be waited for")
}

/// Everything a finished command printed, for messages.
pub fn printed(output: &Output) -> String {
    format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    )
}

/// Insists that a command succeeded.
///
/// # Panics
/// When it did not, with what it printed.
#[track_caller]
pub fn succeeded(what: &str, output: &Output) {
    assert!(
        output.status.success(),
        "{what} failed ({}):\n{}",
        output.status,
        printed(output)
    );
}
