//! Keeps the rooms of the house apart, and the house tidy: scans the sources for words that a
//! room must not use, and says file and line.
#![expect(
    clippy::disallowed_methods,
    reason = "this test reads the sources themselves"
)]

use std::fs;
use std::path::{Path, PathBuf};

/// Most lines that a source file may have.
const LONGEST_FILE: usize = 500;

/// All that may stand at the top level beside dotfiles and the build's own folder.
const TOP_LEVEL: [&str; 8] = [
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "README.md",
    "docs",
    "src",
    "testdata",
    "tests",
];

/// A room, the rooms it must not know, and words it must not use.
struct Room {
    name: &'static str,
    unknown: &'static [&'static str],
    words: &'static [&'static str],
}

const ROOMS: [Room; 6] = [
    Room {
        name: "measure",
        unknown: &["document", "files", "headless", "simulate", "window"],
        words: &[
            "egui",
            "std::fs",
            "std::io",
            "std::env",
            "std::net",
            "std::process",
            "std::thread",
            "println!",
            "print!",
            "Instant",
            "SystemTime",
        ],
    },
    Room {
        name: "document",
        unknown: &["files", "headless", "simulate", "window"],
        words: &[
            "egui",
            "std::fs",
            "println!",
            "print!",
            "Instant",
            "SystemTime",
        ],
    },
    Room {
        name: "files",
        unknown: &["headless", "simulate", "window"],
        words: &["egui", "println!", "print!"],
    },
    Room {
        name: "headless",
        unknown: &["window"],
        words: &["egui"],
    },
    Room {
        name: "window",
        unknown: &["headless", "simulate"],
        words: &["std::fs", "println!", "print!", "Instant", "SystemTime"],
    },
    Room {
        name: "simulate",
        unknown: &["document", "files", "headless", "window"],
        words: &[
            "egui",
            "std::fs",
            "println!",
            "print!",
            "Instant",
            "SystemTime",
        ],
    },
];

#[test]
fn every_room_knows_only_the_rooms_below_it() {
    let mut seen = vec![];
    for room in &ROOMS {
        for path in sources(&root().join("src").join(room.name)) {
            for (number, line) in program_lines(&path) {
                for other in room.unknown {
                    if names_room(&line, other) {
                        seen.push(place(
                            &path,
                            number,
                            &format!("{} knows {other}", room.name),
                        ));
                    }
                }
                for word in room.words {
                    if has_word(&line, word) {
                        seen.push(place(&path, number, &format!("{} uses {word}", room.name)));
                    }
                }
            }
        }
    }
    assert_none(&seen);
}

#[test]
fn nothing_is_left_undone_or_waved_through() {
    let banned = [
        concat!("todo", "!"),
        concat!("unimplemented", "!"),
        concat!("#[", "allow"),
        concat!("#![", "allow"),
        concat!("#[", "ignore"),
    ];
    let mut seen = vec![];
    for path in every_source() {
        for (number, line) in lines(&path) {
            for word in banned {
                if line.contains(word) {
                    seen.push(place(&path, number, word));
                }
            }
        }
    }
    assert_none(&seen);
}

#[test]
fn no_source_file_is_too_long_to_read() {
    let seen: Vec<String> = every_source()
        .into_iter()
        .filter_map(|path| {
            let count = lines(&path).count();
            (count > LONGEST_FILE)
                .then(|| place(&path, count, &format!("longer than {LONGEST_FILE} lines")))
        })
        .collect();
    assert_none(&seen);
}

#[test]
fn the_top_level_holds_only_what_belongs_there() {
    let seen: Vec<String> = entries(&root())
        .iter()
        .filter_map(|path| path.file_name().and_then(|name| name.to_str()))
        .filter(|name| !name.starts_with('.') && *name != "target" && !TOP_LEVEL.contains(name))
        .map(|name| format!("{name}: does not belong at the top level"))
        .collect();
    assert_none(&seen);
}

#[test]
fn no_file_names_a_place_on_somebodys_machine() {
    let places = [
        concat!("/wo", "rk/"),
        concat!("/ro", "ot/"),
        concat!("/ho", "me/"),
        concat!("/tm", "p/"),
    ];
    let mut seen = vec![];
    let mut paths = vec![];
    walk(&root(), &mut paths);
    for path in paths {
        // Scans and other pictures aren't text.
        if fs::read_to_string(&path).is_err() {
            continue;
        }
        for (number, line) in lines(&path) {
            for word in places {
                if line.contains(word) {
                    seen.push(place(&path, number, word));
                }
            }
        }
    }
    assert_none(&seen);
}

#[test]
fn the_scan_itself_finds_what_it_looks_for() {
    assert!(names_room("use crate::files::disk;", "files"));
    assert!(names_room("use crate::{files, measure};", "files"));
    assert!(names_room("let x = super::super::files::read();", "files"));
    assert!(!names_room("let files = list.len();", "files"));
    assert!(!names_room("profiles::load()", "files"));
    assert!(has_word("eprintln!(\"x\")", "println!"));
    assert!(has_word("let t = Instant::now();", "Instant"));
    assert!(!has_word("let x = Instantaneous;", "Instant"));
    assert_eq!(without_comment("let x = 1; // files::x"), "let x = 1; ");
}

/// Whether a line of code names a room of the house.
fn names_room(line: &str, room: &str) -> bool {
    let imports = ["use crate::{", "use super::{", "use twinstrip::{"]
        .iter()
        .any(|start| line.trim_start().starts_with(start));
    words_at(line, room).any(|(before, after)| {
        imports
            || after.starts_with("::") && !before.ends_with('.')
            || ["crate::", "super::", "twinstrip::"]
                .iter()
                .any(|path| before.ends_with(path))
    })
}

/// Whether a word stands in a line; a macro's name may be the end of a longer one.
fn has_word(line: &str, word: &str) -> bool {
    if word.ends_with('!') {
        line.contains(word)
    } else {
        words_at(line, word).next().is_some()
    }
}

/// What stands before and after each place of a whole word.
fn words_at<'a>(line: &'a str, word: &'a str) -> impl Iterator<Item = (&'a str, &'a str)> {
    let of_a_name = |c: char| c.is_alphanumeric() || c == '_';
    line.match_indices(word)
        .map(move |(at, _)| (&line[..at], &line[at + word.len()..]))
        .filter(move |(before, after)| {
            !before.ends_with(of_a_name) && !after.starts_with(of_a_name)
        })
}

fn without_comment(line: &str) -> &str {
    line.split("//").next().unwrap_or_default()
}

/// Lines of code without comments and without the tests at the end of the file.
fn program_lines(path: &Path) -> Vec<(usize, String)> {
    if path.file_stem().is_some_and(|stem| stem == "tests") {
        return vec![];
    }
    let all: Vec<(usize, String)> = lines(path).collect();
    let tests = all
        .windows(2)
        .position(|pair| pair[0].1 == "#[cfg(test)]" && pair[1].1.starts_with("mod "))
        .unwrap_or(all.len());
    all.into_iter()
        .take(tests)
        .map(|(number, line)| (number, without_comment(&line).to_owned()))
        .collect()
}

fn lines(path: &Path) -> impl Iterator<Item = (usize, String)> + use<> {
    let text = fs::read_to_string(path).expect("a source file is readable text");
    let lines: Vec<String> = text.lines().map(str::to_owned).collect();
    (1..).zip(lines)
}

fn every_source() -> Vec<PathBuf> {
    let mut paths = sources(&root().join("src"));
    paths.extend(sources(&root().join("tests")));
    assert!(!paths.is_empty(), "no sources found");
    paths
}

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut paths = vec![];
    walk(folder, &mut paths);
    paths.retain(|path| path.extension().is_some_and(|extension| extension == "rs"));
    paths
}

/// Every file below a folder, without the build's own and the version control's.
fn walk(folder: &Path, into: &mut Vec<PathBuf>) {
    for path in entries(folder) {
        let name = path.file_name().and_then(|name| name.to_str());
        if matches!(name, Some("target" | ".git")) {
            continue;
        }
        if path.is_dir() {
            walk(&path, into);
        } else {
            into.push(path);
        }
    }
}

fn entries(folder: &Path) -> Vec<PathBuf> {
    let mut paths: Vec<PathBuf> = fs::read_dir(folder)
        .expect("the folder is there")
        .map(|entry| entry.expect("the folder can be read").path())
        .collect();
    paths.sort();
    paths
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn place(path: &Path, line: usize, what: &str) -> String {
    let path = path.strip_prefix(root()).unwrap_or(path);
    format!("{}:{line}: {what}", path.display())
}

fn assert_none(seen: &[String]) {
    assert!(seen.is_empty(), "\n{}", seen.join("\n"));
}
