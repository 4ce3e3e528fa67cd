//! A source file as tokens.

use std::collections::BTreeSet;
use std::path::Path;
use std::str::FromStr;

use proc_macro2::{Delimiter, Group, TokenStream, TokenTree};

use crate::support::program::workspace;

/// Folders with sources of ours.
const FOLDERS: &[&str] = &[
    "api/src",
    "api/rules/src",
    "api/documents/src",
    "api/pictures/src",
    "entities/src",
    "migration/src",
    "tests/acceptance",
];

pub struct Source {
    /// From the workspace's root, with `/`.
    pub path: String,
    pub text: String,
    /// The module this file is, from its crate's root down; empty for the root itself.
    pub modules: Vec<String>,
    tokens: Vec<TokenTree>,
}

/// Every source of the workspace, in the order of their paths.
pub fn all_sources() -> Vec<Source> {
    FOLDERS
        .iter()
        .flat_map(|folder| sources_of(folder))
        .collect()
}

/// Every source in a folder of the workspace and below.
pub fn sources_of(folder: &str) -> Vec<Source> {
    let mut paths = Vec::new();
    collect(&workspace().join(folder), folder, &mut paths);
    paths.sort();
    paths.iter().map(|path| Source::read(path)).collect()
}

fn collect(folder: &Path, name: &str, paths: &mut Vec<String>) {
    let entries = std::fs::read_dir(folder)
        .unwrap_or_else(|error| panic!("{} cannot be read: {error}", folder.display()));
    for entry in entries {
        let entry = entry.expect("an entry of a folder can be read");
        let file_name = entry
            .file_name()
            .into_string()
            .expect("our file names are plain text");
        let name = format!("{name}/{file_name}");
        if entry.path().is_dir() {
            collect(&entry.path(), &name, paths);
        } else if entry
            .path()
            .extension()
            .is_some_and(|ending| ending == "rs")
        {
            paths.push(name);
        }
    }
}

/// Which part of the code counts.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Code {
    All,
    /// Without what stands under `#[cfg(test)]`.
    Shipped,
}

/// Adds `path` and every file that its `mod` lines lead to.
pub fn declared_files(path: &str, code: Code, named: &mut BTreeSet<String>) {
    if !named.insert(path.to_owned()) {
        return;
    }
    let source = Source::read(path);
    let (folder, file) = path.rsplit_once('/').expect("a source lies in a folder");
    let stem = file.trim_end_matches(".rs");
    let children = match stem {
        "lib" | "main" | "mod" => folder.to_owned(),
        _ => format!("{folder}/{stem}"),
    };
    for declaration in source.declared_modules(code) {
        let candidates = match declaration {
            Declaration::Named(module) => vec![
                format!("{children}/{module}.rs"),
                format!("{children}/{module}/mod.rs"),
            ],
            Declaration::At(file) => vec![format!("{folder}/{file}")],
        };
        let is_there = |name: &&String| workspace().join(name).is_file();
        if let Some(found) = candidates.iter().find(is_there) {
            declared_files(found, code, named);
        }
    }
}

/// How a `mod` line says where its file is.
enum Declaration {
    Named(String),
    /// By `#[path = ".."]`, from the folder of the file it stands in.
    At(String),
}

impl Source {
    fn read(path: &str) -> Self {
        let text = std::fs::read_to_string(workspace().join(path))
            .unwrap_or_else(|error| panic!("{path} cannot be read: {error}"));
        Self::from_text(path, &text)
    }

    pub fn from_text(path: &str, text: &str) -> Self {
        let tokens = TokenStream::from_str(text)
            .unwrap_or_else(|error| panic!("{path} is not Rust: {error}"));
        let inside = path.split_once("/src/").map_or(path, |(_, inside)| inside);
        let mut modules: Vec<String> = inside
            .trim_end_matches(".rs")
            .split('/')
            .map(str::to_owned)
            .collect();
        if modules
            .last()
            .is_some_and(|last| ["mod", "lib", "main"].contains(&last.as_str()))
        {
            modules.pop();
        }
        Self {
            path: path.to_owned(),
            text: text.to_owned(),
            modules,
            tokens: tokens.into_iter().collect(),
        }
    }

    /// Every name in the code, with its line.
    pub fn names(&self) -> Vec<(usize, String)> {
        let mut names = Vec::new();
        visit(&self.tokens, &mut |tokens| {
            if let Some(name) = ident(tokens, 0) {
                names.push((line(tokens), name));
            }
        });
        names
    }

    /// What follows `crate::`, with groups taken apart: `crate::{a::b, c}` gives `a::b` and `c`.
    pub fn crate_paths(&self) -> Vec<(usize, Vec<String>)> {
        let mut paths = Vec::new();
        visit(&self.tokens, &mut |tokens| {
            if is_ident(tokens, 0, "crate") && is_colons(tokens, 1) {
                let mut found = Vec::new();
                path_endings(&tokens[3..], &mut Vec::new(), &mut found);
                paths.extend(found.into_iter().map(|path| (line(tokens), path)));
            }
        });
        paths
    }

    /// Lines where a chain of `super::` goes up to the root of the crate.
    pub fn supers_to_the_crate_root(&self) -> Vec<usize> {
        let mut lines = Vec::new();
        supers(&self.tokens, self.modules.len(), &mut lines);
        lines
    }

    /// Lines of `.unwrap()` that are not under `#[cfg(test)]`.
    pub fn unwraps(&self) -> Vec<usize> {
        let mut lines = Vec::new();
        visit(&shipped(&self.tokens), &mut |tokens| {
            let empty_call = group(tokens, 2, Delimiter::Parenthesis)
                .is_some_and(|arguments| arguments.stream().is_empty());
            if is_punct(tokens, 0, '.') && is_ident(tokens, 1, "unwrap") && empty_call {
                lines.push(line(tokens));
            }
        });
        lines
    }

    /// Calls that only make sense while work goes on, and tests that are switched off.
    pub fn unfinished_code(&self) -> Vec<(usize, String)> {
        let mut found = Vec::new();
        visit(&self.tokens, &mut |tokens| {
            for name in ["dbg", "todo", "unimplemented"] {
                if is_ident(tokens, 0, name) && is_punct(tokens, 1, '!') {
                    found.push((line(tokens), format!("{name}!")));
                }
            }
            let attribute = group(tokens, 1, Delimiter::Bracket);
            if is_punct(tokens, 0, '#')
                && attribute.is_some_and(|inside| first_is(inside, "ignore"))
            {
                found.push((line(tokens), "#[ignore]".to_owned()));
            }
        });
        found
    }

    /// Functions with their length in lines, from `fn` to the closing brace.
    pub fn functions(&self) -> Vec<(String, usize)> {
        let mut functions = Vec::new();
        visit(&self.tokens, &mut |tokens| {
            let Some(name) = ident(tokens, 1).filter(|_| is_ident(tokens, 0, "fn")) else {
                return;
            };
            let body = tokens.iter().find_map(|token| match token {
                TokenTree::Punct(mark) if mark.as_char() == ';' => Some(None),
                TokenTree::Group(body) if body.delimiter() == Delimiter::Brace => Some(Some(body)),
                _ => None,
            });
            if let Some(Some(body)) = body {
                functions.push((name, body.span_close().end().line - line(tokens) + 1));
            }
        });
        functions
    }

    /// The `mod name;` lines, at any depth.
    fn declared_modules(&self, code: Code) -> Vec<Declaration> {
        let mut modules = Vec::new();
        let tokens = match code {
            Code::All => &self.tokens,
            Code::Shipped => &shipped(&self.tokens),
        };
        visit(tokens, &mut |tokens| {
            if is_ident(tokens, 0, "mod") && is_punct(tokens, 2, ';') {
                modules.extend(ident(tokens, 1).map(Declaration::Named));
            }
            let attribute = group(tokens, 1, Delimiter::Bracket);
            if is_punct(tokens, 0, '#') && attribute.is_some_and(|inside| first_is(inside, "path"))
            {
                let literal = attribute.and_then(|inside| list(inside).pop());
                modules
                    .extend(literal.map(|path| {
                        Declaration::At(path.to_string().trim_matches('"').to_owned())
                    }));
            }
        });
        modules
    }
}

/// Shows `look` the rest of the tokens at every position, inside groups too.
fn visit(tokens: &[TokenTree], look: &mut impl FnMut(&[TokenTree])) {
    for start in 0..tokens.len() {
        look(&tokens[start..]);
        if let TokenTree::Group(inside) = &tokens[start] {
            visit(&list(inside), look);
        }
    }
}

/// The tokens without items under `#[cfg(test)]`.
fn shipped(tokens: &[TokenTree]) -> Vec<TokenTree> {
    let mut kept = Vec::new();
    let mut start = 0;
    while start < tokens.len() {
        let rest = &tokens[start..];
        if is_punct(rest, 0, '#') && group(rest, 1, Delimiter::Bracket).is_some_and(is_test_only) {
            let item_end = rest.iter().position(|token| match token {
                TokenTree::Punct(mark) => mark.as_char() == ';',
                TokenTree::Group(body) => body.delimiter() == Delimiter::Brace,
                _ => false,
            });
            start += item_end.map_or(rest.len(), |end| end + 1);
            continue;
        }
        kept.push(match &tokens[start] {
            TokenTree::Group(inside) => {
                let stream = shipped(&list(inside)).into_iter().collect();
                let mut cleaned = Group::new(inside.delimiter(), stream);
                cleaned.set_span(inside.span());
                TokenTree::Group(cleaned)
            }
            other => other.clone(),
        });
        start += 1;
    }
    kept
}

fn is_test_only(attribute: &Group) -> bool {
    let text = attribute.stream().to_string();
    text.split_whitespace().collect::<String>() == "cfg(test)"
}

/// Follows a path, branching at `{..}`, and adds each way it ends. Two steps are enough for the rules.
fn path_endings(tokens: &[TokenTree], taken: &mut Vec<String>, found: &mut Vec<Vec<String>>) {
    if let Some(name) = ident(tokens, 0) {
        taken.push(name);
        if is_colons(tokens, 1) && taken.len() < 3 {
            path_endings(&tokens[3..], taken, found);
        } else {
            found.push(taken.clone());
        }
        taken.pop();
    } else if let Some(inside) = group(tokens, 0, Delimiter::Brace) {
        let inside = list(inside);
        let branches =
            inside.split(|token| matches!(token, TokenTree::Punct(mark) if mark.as_char() == ','));
        for branch in branches.filter(|branch| !branch.is_empty()) {
            path_endings(branch, taken, found);
        }
    } else if is_punct(tokens, 0, '*') {
        let mut path = taken.clone();
        path.push("*".to_owned());
        found.push(path);
    }
}

fn supers(tokens: &[TokenTree], depth: usize, lines: &mut Vec<usize>) {
    let mut start = 0;
    while start < tokens.len() {
        let rest = &tokens[start..];
        let mut steps = 0;
        while is_ident(rest, 3 * steps, "super") && is_colons(rest, 3 * steps + 1) {
            steps += 1;
        }
        if steps > 0 {
            if steps >= depth {
                lines.push(line(rest));
            }
            start += 3 * steps;
            continue;
        }
        if is_ident(rest, 0, "mod")
            && let Some(body) = group(rest, 2, Delimiter::Brace)
        {
            supers(&list(body), depth + 1, lines);
            start += 3;
            continue;
        }
        if let TokenTree::Group(inside) = &tokens[start] {
            supers(&list(inside), depth, lines);
        }
        start += 1;
    }
}

fn list(group: &Group) -> Vec<TokenTree> {
    group.stream().into_iter().collect()
}

fn line(tokens: &[TokenTree]) -> usize {
    tokens.first().map_or(0, |token| token.span().start().line)
}

fn ident(tokens: &[TokenTree], at: usize) -> Option<String> {
    match tokens.get(at) {
        Some(TokenTree::Ident(name)) => Some(name.to_string()),
        _ => None,
    }
}

fn is_ident(tokens: &[TokenTree], at: usize, name: &str) -> bool {
    matches!(tokens.get(at), Some(TokenTree::Ident(found)) if found == name)
}

fn is_punct(tokens: &[TokenTree], at: usize, mark: char) -> bool {
    matches!(tokens.get(at), Some(TokenTree::Punct(found)) if found.as_char() == mark)
}

fn is_colons(tokens: &[TokenTree], at: usize) -> bool {
    is_punct(tokens, at, ':') && is_punct(tokens, at + 1, ':')
}

fn group(tokens: &[TokenTree], at: usize, delimiter: Delimiter) -> Option<&Group> {
    match tokens.get(at) {
        Some(TokenTree::Group(found)) if found.delimiter() == delimiter => Some(found),
        _ => None,
    }
}

fn first_is(group: &Group, name: &str) -> bool {
    is_ident(&list(group), 0, name)
}
