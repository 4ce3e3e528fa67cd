//! The shape of the sources, kept by a test: the floor plan of imports, words that must not ship, the length of files
//! and functions, and files that nobody names.
//!
//! Sources are read as tokens, so that a word in a string or a comment is not taken for code.

mod source;

use std::collections::BTreeSet;

use source::{Code, Source, all_sources, declared_files, sources_of};

/// What lies in `api/src`, from the ground up. A module may name those of earlier lines and its own, never later ones.
const FLOORS: &[&[&str]] = &[
    &["base"],
    &["shop"],
    &["customers"],
    &["appliances"],
    &["recalls"],
    &["pricing"],
    &["local_rules"],
    &["books"],
    &["calls"],
    &["attachments"],
    &["stock"],
    &["payables"],
    &["warranty"],
    &["estimates"],
    &["coverage"],
    &["invoices"],
    &["banking"],
    &["claims"],
    &["remittances"],
    &["callbacks"],
    &["closeout"],
    &["reserve"],
    &["track_record"],
    &["reports"],
    &["summaries"],
    &["brief"],
    ROOF,
];

/// May name anything. A capability's `graphql.rs` (or folder `graphql`) belongs here wherever it lies.
const ROOF: &[&str] = &["graphql", "http", "jobs", "mail", "cli", "verify"];

/// The crates of this workspace that each one may name.
const CRATES: &[(&str, &[&str])] = &[
    ("api/rules/src", &[]),
    ("api/documents/src", &[]),
    ("api/pictures/src", &[]),
    ("entities/src", &[]),
    ("migration/src", &[]),
];

const OUR_CRATES: &[&str] = &[
    "nameplate",
    "nameplate_rules",
    "nameplate_documents",
    "nameplate_pictures",
    "nameplate_entities",
    "nameplate_migration",
];

/// Where the compiler begins to read the program and what it is made of.
const PROGRAM_ROOTS: [&str; 7] = [
    "api/src/lib.rs",
    "api/src/main.rs",
    "api/rules/src/lib.rs",
    "api/documents/src/lib.rs",
    "api/pictures/src/lib.rs",
    "entities/src/lib.rs",
    "migration/src/lib.rs",
];

/// Where it begins to read these tests.
const TEST_ROOTS: [&str; 2] = ["tests/acceptance/main.rs", "tests/acceptance/lib.rs"];

const FILE_LINES_MAX: usize = 500;
const FUNCTION_LINES_MAX: usize = 70;

/// Functions longer than that which are there already: file, name, lines. This list may only shrink, line by line and
/// number by number: a function that got shorter is entered with its new length, or taken out.
const LONG_FUNCTIONS: &[(&str, &str, usize)] = &[];

fn files_below(roots: &[&str], code: Code) -> BTreeSet<String> {
    let mut files = BTreeSet::new();
    for root in roots {
        declared_files(root, code, &mut files);
    }
    files
}

/// Fails with every finding at once, one a line.
#[track_caller]
fn nothing_found(findings: &[String], rule: &str) {
    assert!(findings.is_empty(), "{rule}\n{}", findings.join("\n"));
}

fn floor_of(module: &str) -> Option<usize> {
    FLOORS.iter().position(|floor| floor.contains(&module))
}

/// The floor a file of `api/src` stands on; `None` for a file that has no place in the plan.
fn floor_of_file(file: &Source) -> Option<usize> {
    let Some(module) = file.modules.first() else {
        return Some(FLOORS.len());
    };
    if file.modules.iter().any(|name| name == "graphql") {
        return floor_of("graphql");
    }
    floor_of(module)
}

/// What is wrong with the imports of one file of `api/src`.
fn import_findings(file: &Source) -> Vec<String> {
    let Some(floor) = floor_of_file(file) else {
        return vec![format!(
            "{}: its module has no place in FLOORS of tidy.rs",
            file.path
        )];
    };
    let own = file.modules.first().map_or("", String::as_str);
    let roof = floor_of("graphql");
    let mut findings = Vec::new();
    for (line, path) in file.crate_paths() {
        let mut complain = |why: &str| {
            findings.push(format!(
                "{}:{line}: `crate::{}` {why}",
                file.path,
                path.join("::")
            ));
        };
        let Some(module) = path.first() else {
            continue;
        };
        if module == own {
            continue;
        }
        match floor_of(module) {
            None if Some(floor) < roof => {
                complain(
                    "names no module of FLOORS in tidy.rs: name things by the module they live in",
                );
            }
            Some(other) if other > floor => complain("looks upward"),
            _ => {}
        }
        let reads_for_a_graph = file.modules.iter().any(|name| name == "graphql");
        if path.get(1).is_some_and(|name| name == "store") && !reads_for_a_graph {
            complain("reaches into another capability's store: use a name of its mod.rs");
        }
    }
    for line in file.supers_to_the_crate_root() {
        findings.push(format!(
            "{}:{line}: `super` leads to the crate's root: write `crate::` and the module",
            file.path
        ));
    }
    findings
}

#[test]
fn imports_run_down_only() {
    let files = sources_of("api/src");
    assert!(!files.is_empty(), "api/src has sources");
    let mut findings: Vec<_> = files.iter().flat_map(import_findings).collect();
    for (folder, allowed) in CRATES {
        for file in sources_of(folder) {
            for (line, name) in file.names() {
                if OUR_CRATES.contains(&name.as_str()) && !allowed.contains(&name.as_str()) {
                    findings.push(format!(
                        "{}:{line}: {folder} may not name `{name}`",
                        file.path
                    ));
                }
            }
        }
    }
    nothing_found(&findings, "imports run down only, see FLOORS in tidy.rs:");
}

#[test]
fn the_plan_finds_what_it_forbids() {
    let upward = Source::from_text(
        "api/src/customers/store.rs",
        "use crate::{base::db::Db, invoices};\nfn f() { crate::estimates::send(); }\n",
    );
    assert_eq!(
        import_findings(&upward).len(),
        2,
        "{:?}",
        import_findings(&upward)
    );

    let below = "use crate::base::{clock, db};\nuse crate::shop::Shop;\nuse super::Customer;\n";
    let down = Source::from_text("api/src/customers/store.rs", below);
    assert_eq!(import_findings(&down), Vec::<String>::new());

    let store = Source::from_text(
        "api/src/brief/operations.rs",
        "use crate::calls::{self, store};",
    );
    assert_eq!(import_findings(&store).len(), 1);
    let loader = Source::from_text(
        "api/src/brief/graphql.rs",
        "use crate::calls::store::by_ids;",
    );
    assert_eq!(import_findings(&loader), Vec::<String>::new());
    let upward_type = Source::from_text("api/src/shop/graphql.rs", "use crate::brief::Brief;");
    assert_eq!(import_findings(&upward_type), Vec::<String>::new());

    let hidden = Source::from_text("api/src/shop/mod.rs", "use super::invoices::Invoice;");
    assert_eq!(import_findings(&hidden).len(), 1);
    let inner = "mod tests { use super::*; }";
    let inner = Source::from_text("api/src/shop/mod.rs", inner);
    assert_eq!(import_findings(&inner), Vec::<String>::new());
    let unlisted = Source::from_text("api/src/gossip.rs", "");
    assert_eq!(import_findings(&unlisted).len(), 1);
}

/// Words that must not ship, put together so that this file does not hold them.
fn banned_words() -> Vec<String> {
    [("TO", "DO"), ("FIX", "ME"), ("XX", "X")]
        .iter()
        .map(|(start, end)| format!("{start}{end}"))
        .collect()
}

fn word_findings(file: &Source) -> Vec<String> {
    let mut findings = Vec::new();
    for (number, line) in file.text.lines().enumerate() {
        let mut words = line.split(|letter: char| !letter.is_alphanumeric() && letter != '_');
        if let Some(word) = words.find(|word| banned_words().iter().any(|banned| banned == word)) {
            findings.push(format!("{}:{}: `{word}`", file.path, number + 1));
        }
    }
    for (line, found) in file.unfinished_code() {
        findings.push(format!("{}:{line}: `{found}`", file.path));
    }
    findings
}

#[test]
fn no_word_says_that_something_is_unfinished() {
    let findings: Vec<_> = all_sources().iter().flat_map(word_findings).collect();
    nothing_found(&findings, "finish it, or take it out:");
}

#[test]
fn shipped_code_does_not_unwrap() {
    let shipped = files_below(&PROGRAM_ROOTS, Code::Shipped);
    let findings: Vec<_> = all_sources()
        .iter()
        .filter(|file| shipped.contains(&file.path))
        .flat_map(|file| {
            file.unwraps()
                .into_iter()
                .map(|line| format!("{}:{line}", file.path))
        })
        .collect();
    nothing_found(
        &findings,
        "`.unwrap()` in shipped code: return the error, or `expect` with the reason why it cannot happen:",
    );
}

#[test]
fn the_words_are_found_in_code_and_not_in_strings() {
    let word = banned_words().remove(0);
    let text = format!(
        "// {word}: later\nfn f() {{ dbg!(1); todo!(); unimplemented!() }}\n#[ignore]\nfn g() {{}}\n"
    );
    assert_eq!(
        word_findings(&Source::from_text("api/src/shop/mod.rs", &text)).len(),
        5
    );
    let innocent = "fn f() { let dbg = \"dbg!\"; let ignored = \"#[ignore]\"; }";
    assert!(word_findings(&Source::from_text("api/src/shop/mod.rs", innocent)).is_empty());

    let text = "fn f() { x.unwrap(); }\n#[cfg(test)]\nmod tests { fn g() { x.unwrap(); } }\nfn h() { y.unwrap_or(1); z . unwrap ( ) }\n";
    let unwraps = Source::from_text("api/src/shop/mod.rs", text).unwraps();
    assert_eq!(unwraps, [1, 4]);
}

#[test]
fn no_file_grows_past_five_hundred_lines() {
    let findings: Vec<_> = all_sources()
        .iter()
        .map(|file| (file, file.text.lines().count()))
        .filter(|(_, lines)| *lines > FILE_LINES_MAX)
        .map(|(file, lines)| format!("{}: {lines} lines", file.path))
        .collect();
    nothing_found(&findings, "look for the second subject in:");
}

#[test]
fn functions_stay_short_and_long_ones_only_get_shorter() {
    let mut findings = Vec::new();
    let mut met = BTreeSet::new();
    for file in all_sources() {
        for (name, lines) in file.functions() {
            let entry = LONG_FUNCTIONS
                .iter()
                .find(|(path, function, _)| *path == file.path && *function == name);
            let met_before = entry.is_some() && !met.insert((file.path.clone(), name.clone()));
            match entry {
                Some((_, _, listed)) if !met_before && lines < *listed => findings.push(format!(
                    "{}: `{name}` has {lines} lines now, LONG_FUNCTIONS says {listed}: shorten the list too",
                    file.path
                )),
                Some((_, _, listed)) if !met_before && lines == *listed => {}
                _ if lines <= FUNCTION_LINES_MAX => {}
                _ => findings.push(format!("{}: `{name}` has {lines} lines", file.path)),
            }
        }
    }
    for (path, function, _) in LONG_FUNCTIONS {
        if !met.contains(&((*path).to_owned(), (*function).to_owned())) {
            findings.push(format!(
                "{path}: `{function}` is gone, take it out of LONG_FUNCTIONS"
            ));
        }
    }
    nothing_found(
        &findings,
        "look for the pure piece inside, see LONG_FUNCTIONS in tidy.rs:",
    );
}

#[test]
fn every_source_file_is_named_by_a_module() {
    let mut named = files_below(&PROGRAM_ROOTS, Code::All);
    named.extend(files_below(&TEST_ROOTS, Code::All));
    let findings: Vec<_> = all_sources()
        .into_iter()
        .map(|file| file.path)
        .filter(|path| !named.contains(path))
        .collect();
    nothing_found(
        &findings,
        "no `mod` names these files, so nobody compiles them:",
    );
}
