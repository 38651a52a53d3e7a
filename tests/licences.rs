//! What the shipped program is made of, and under which licences: from cargo's own account.
//!
//! `TWINSTRIP_KEEP=1 cargo test --test licences` writes docs/licenses/third-party.txt anew.
#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "a test may fail where it stands, and files are what is tested"
)]

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

/// Licences that go with MIT or Apache-2.0 in one program: permissive, their texts passed on.
const ALLOWED: [&str; 14] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Unicode-DFS-2016",
    "Unlicense",
    "Zlib",
];

/// Crates that nobody looks after any more (RUSTSEC's word for it), and why they stay.
const UNMAINTAINED: [(&str, &str); 1] = [(
    "paste",
    "RUSTSEC-2024-0436: it runs while the program is built only, and nalgebra asks for it",
)];

struct Package {
    name: String,
    version: String,
    licence: String,
    source: Option<String>,
    folder: PathBuf,
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Everything that is linked into the program on any system: dependencies that aren't for tests or
/// for building alone.
fn shipped() -> Vec<Package> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let told = Command::new(cargo)
        .args(["metadata", "--locked", "--offline", "--format-version", "1"])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(
        told.status.success(),
        "{}",
        String::from_utf8_lossy(&told.stderr)
    );
    let told: Value = serde_json::from_slice(&told.stdout).unwrap();
    let nodes: BTreeMap<&str, &Value> = told["resolve"]["nodes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|node| (node["id"].as_str().unwrap(), node))
        .collect();
    let own = told["resolve"]["root"].as_str().unwrap();
    let (mut seen, mut open) = (BTreeSet::new(), vec![own]);
    while let Some(id) = open.pop() {
        if !seen.insert(id) {
            continue;
        }
        for dependency in nodes[id]["deps"].as_array().unwrap() {
            // What only fuzzing links is in no program that is shipped.
            let linked = |kind: &Value| kind["kind"].is_null() && kind["target"] != "cfg(fuzzing)";
            if dependency["dep_kinds"]
                .as_array()
                .unwrap()
                .iter()
                .any(linked)
            {
                open.push(dependency["pkg"].as_str().unwrap());
            }
        }
    }
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let mut packages: Vec<Package> = told["packages"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|package| {
            let id = package["id"].as_str().unwrap();
            id != own && seen.contains(id)
        })
        .map(|package| Package {
            name: text(&package["name"]),
            version: text(&package["version"]),
            licence: text(&package["license"]),
            source: package["source"].as_str().map(str::to_owned),
            folder: Path::new(package["manifest_path"].as_str().unwrap())
                .parent()
                .unwrap()
                .to_owned(),
        })
        .collect();
    packages.sort_by(|a, b| (&a.name, &a.version).cmp(&(&b.name, &b.version)));
    packages
}

/// Whether a licence expression (SPDX) can be fulfilled with what is allowed.
fn is_allowed(expression: &str) -> bool {
    let spaced = expression
        .replace('/', " OR ")
        .replace('(', " ( ")
        .replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut at = 0;
    let fulfilled = either(&words, &mut at);
    fulfilled && at == words.len()
}

fn either(words: &[&str], at: &mut usize) -> bool {
    let mut any = both(words, at);
    while words.get(*at) == Some(&"OR") {
        *at += 1;
        any |= both(words, at);
    }
    any
}

fn both(words: &[&str], at: &mut usize) -> bool {
    let mut all = one(words, at);
    while words.get(*at) == Some(&"AND") {
        *at += 1;
        all &= one(words, at);
    }
    all
}

fn one(words: &[&str], at: &mut usize) -> bool {
    let Some(&word) = words.get(*at) else {
        return false;
    };
    *at += 1;
    if word == "(" {
        let inside = either(words, at);
        *at += 1;
        return inside;
    }
    if words.get(*at) == Some(&"WITH") {
        let with = format!("{word} WITH {}", words.get(*at + 1).unwrap_or(&""));
        *at += 2;
        return ALLOWED.contains(&with.as_str());
    }
    ALLOWED.contains(&word)
}

#[test]
fn expressions_are_read_as_spdx_has_them() {
    for (expression, allowed) in [
        ("MIT OR Apache-2.0", true),
        ("MIT/Apache-2.0", true),
        ("GPL-3.0-only", false),
        ("GPL-3.0-only OR MIT", true),
        ("(MIT OR Apache-2.0) AND Unicode-3.0", true),
        ("(MIT OR Apache-2.0) AND GPL-2.0-only", false),
        ("Apache-2.0 WITH LLVM-exception", true),
        ("", false),
    ] {
        assert_eq!(is_allowed(expression), allowed, "{expression}");
    }
}

#[test]
fn every_part_of_the_program_is_freely_licensed_and_comes_from_the_registry() {
    let packages = shipped();
    assert!(packages.len() > 50, "{} packages", packages.len());
    for package in &packages {
        let Package {
            name,
            licence,
            source,
            ..
        } = package;
        assert!(is_allowed(licence), "{name}: {licence}");
        let registry = source
            .as_deref()
            .is_some_and(|source| source.starts_with("registry+"));
        assert!(registry, "{name}: {source:?}");
    }
    // One that is no longer there needs no excuse any more.
    let lock = std::fs::read_to_string(root().join("Cargo.lock")).unwrap();
    for (name, why) in UNMAINTAINED {
        assert!(
            lock.contains(&format!("name = \"{name}\"")),
            "{name}: {why}"
        );
    }
}

/// The licence texts of all parts, each text once, with the parts that it belongs to.
fn texts(packages: &[Package]) -> String {
    let mut by_text: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for package in packages {
        let part = format!("{} {} ({})", package.name, package.version, package.licence);
        let mut any = false;
        let mut files: Vec<PathBuf> = std::fs::read_dir(&package.folder)
            .map(|entries| {
                entries
                    .filter_map(|entry| Some(entry.ok()?.path()))
                    .collect()
            })
            .unwrap_or_default();
        files.sort();
        for file in files {
            let name = file.file_name().unwrap().to_string_lossy().to_uppercase();
            let is_licence = [
                "LICENSE",
                "LICENCE",
                "COPYING",
                "COPYRIGHT",
                "NOTICE",
                "UNLICENSE",
            ]
            .iter()
            .any(|start| name.starts_with(start));
            if let (true, Ok(text)) = (is_licence, std::fs::read_to_string(&file)) {
                // Line ends and blanks at ends of lines tell no licences apart.
                let plain: Vec<&str> = text.lines().map(str::trim_end).collect();
                let plain = plain.join("\n").trim().to_owned();
                by_text.entry(plain).or_default().insert(part.clone());
                any = true;
            }
        }
        if !any {
            let said = "(The part has no file of its licence; its name above says which it is.)";
            by_text.entry(said.to_owned()).or_default().insert(part);
        }
    }
    let mut out = String::from(
        "Licences of everything that is linked into twinstrip, on any system, beside its typefaces.\n\
         Made by `TWINSTRIP_KEEP=1 cargo test --test licences` from cargo's own account.\n",
    );
    for (name, why) in UNMAINTAINED {
        out.push_str(&format!("\nNo longer looked after: {name}. {why}.\n"));
    }
    let mut sections: Vec<_> = by_text.into_iter().collect();
    sections.sort_by(|a, b| a.1.cmp(&b.1));
    for (text, parts) in sections {
        out.push_str(&format!("\n{}\n", "=".repeat(80)));
        for part in parts {
            out.push_str(&format!("{part}\n"));
        }
        out.push_str(&format!("{}\n\n{text}\n", "-".repeat(80)));
    }
    out
}

#[test]
fn the_licences_of_all_parts_are_in_the_docs() {
    let packages = shipped();
    let path = root().join("docs/licenses/third-party.txt");
    if std::env::var_os("TWINSTRIP_KEEP").is_some() {
        std::fs::write(&path, texts(&packages)).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap();
    for package in &packages {
        let Package {
            name,
            version,
            licence,
            ..
        } = package;
        let part = format!("\n{name} {version} ({licence})\n");
        assert!(
            kept.contains(&part),
            "{part}is missing: TWINSTRIP_KEEP=1 writes the file anew"
        );
    }
}
