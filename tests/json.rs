//! docs/json.md and the JSON itself say the same: every word that is printed is described, and
//! every word that is described is printed by some session.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod support;

use std::collections::BTreeSet;

use serde_json::Value;
use support::{Desk, tiff};

const PAGE: &str = include_str!("../docs/json.md");

/// Words that stand in back quotes in a piece of the page.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('`').skip(1).step_by(2)
}

/// First cells of the rows of all tables with this head.
fn first_cells(head: &str) -> BTreeSet<String> {
    let mut cells = BTreeSet::new();
    let mut inside = false;
    for line in PAGE.lines() {
        if line.starts_with(&format!("| {head} |")) {
            inside = true;
        } else if !line.starts_with('|') {
            inside = false;
        } else if inside {
            let cell = line.trim_start_matches('|').split('|').next().unwrap();
            cells.extend(quoted(cell).map(str::to_owned));
        }
    }
    assert!(!cells.is_empty(), "no table begins with {head}");
    cells
}

/// Every key of an object, at any depth.
fn keys(value: &Value, into: &mut BTreeSet<String>) {
    match value {
        Value::Object(object) => {
            for (key, value) in object {
                into.insert(key.clone());
                keys(value, into);
            }
        }
        Value::Array(list) => list.iter().for_each(|value| keys(value, into)),
        _ => {}
    }
}

fn parsed(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

/// The keys of several sessions: answered, without an answer, bare, and with nothing on it.
fn printed() -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    let desk = Desk::new();
    for (folder, twist) in [
        ("a", None),
        ("b", Some("never-reached")),
        ("c", Some("jpeg:50")),
    ] {
        let mut arguments = vec![
            "simulate", folder, "--level", "easy", "--seed", "20101", "--dpi", "120", "--quiet",
        ];
        if let Some(twist) = twist {
            arguments.extend(["--twist", twist]);
        }
        let made = desk.run(&arguments);
        assert_eq!(made.code, 0, "{}", made.err);
        let session = format!("{folder}/session.ron");
        let ran = desk.run(&["solve", &session, "--json"]);
        assert!([0, 4].contains(&ran.code), "{}", ran.err);
        keys(&parsed(&ran.out), &mut all);
        let ran = desk.run(&["measure", &session, "--json"]);
        let measured = parsed(&ran.out);
        assert!(measured.get("pairs").is_none() && measured["task"] == "measure");
        keys(&measured, &mut all);
    }
    calibrated(&desk, &mut all);
    planned(&desk, &mut all);
    profiles(&desk, &mut all);
    printing(&desk, &mut all);
    compared(&desk, &mut all);
    desk.put_scan("white.tif", tiff(), 1.0);
    desk.put(
        "session.ron",
        b"Session(version: 1, scans: [\"white.tif\"])",
    );
    for asked in [["measure", "white.tif"], ["solve", "session.ron"]] {
        let ran = desk.run(&[&asked[..], &["--json"]].concat());
        assert_eq!(ran.code, 4, "{}", ran.err);
        let said = parsed(&ran.out);
        assert_eq!(said["answered"], false);
        keys(&said, &mut all);
    }
    all
}

/// The keys of a plan by the first of these sessions.
fn planned(desk: &Desk, all: &mut BTreeSet<String>) {
    let recipe = "10s grade 2 factor 1.2 at f/8, magnified 4x, lens 80mm; burn sky: 1/2 stop; \
                  dodge boat: 2s, to 0.9";
    let ran = desk.run(&[
        "plan",
        "a/session.ron",
        "--recipe",
        recipe,
        "--height",
        "20mm",
        "--rise",
        "2mm",
        "--json",
        "--quiet",
    ]);
    assert_eq!(ran.code, 0, "{}{}", ran.err, ran.out);
    let said = parsed(&ran.out);
    assert_eq!(said["task"], "plan");
    keys(&said, all);
}

/// The keys of profiles: of a shelf whose emulsion fogs, and fed by the first of these sessions.
fn profiles(desk: &Desk, all: &mut BTreeSet<String>) {
    let made = desk.run(&[
        "simulate",
        "repeats",
        "--sessions",
        "4",
        "--coupons",
        "1",
        "--level",
        "easy",
        "--dpi",
        "100",
        "--seed",
        "20103",
        "--fog",
        "0.05",
        "--quiet",
    ]);
    assert_eq!((made.code, made.err.as_str()), (0, ""));
    let slates = "slate, one coat (invented data)";
    let ran = desk.run(&[
        "profile",
        "--shelf",
        "repeats/shelf",
        "--json",
        "pool",
        slates,
    ]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let pooled = parsed(&ran.out);
    let fog = |trend: &Value| trend["quantity"] == "dmin" && trend["against"] == "remelts";
    let trends = pooled["drift"].as_array().unwrap();
    assert!(trends.iter().any(fog), "{trends:?}");
    keys(&pooled, all);
    let mut asked = |words: &[&str]| {
        let ran = desk.run(&[&["profile", "--shelf", "shelf", "--json"], words].concat());
        assert!([0, 4].contains(&ran.code), "{words:?}: {}", ran.err);
        if !ran.out.is_empty() {
            keys(&parsed(&ran.out), all);
        }
    };
    let keep = ["keep", "a/session.ron", "slates", "--new", "--quiet"];
    asked(&keep);
    asked(&["copy", "slates", "more slates"]);
    asked(&["say", "more slates", "batch=8"]);
    asked(&["export", "slates", "out.ron"]);
    asked(&["say", "slates", "batch=7"]);
    asked(&["import", "out.ron"]);
    asked(&["export", "more slates", "more.ron"]);
    // Two batches for one profile: a conflict.
    asked(&["import", "more.ron", "--name", "slates"]);
    asked(&["show", "slates", "--anew"]);
    asked(&["beside", "slates", "more slates"]);
    asked(&["pool", "slates"]);
    asked(&["pool", "more slates"]);
    asked(&["list"]);
}

/// The keys of a bench sheet and of a tone preview with the first of these sessions.
fn printing(desk: &Desk, all: &mut BTreeSet<String>) {
    let recipe = "10s at f/8, magnified 4x, lens 80mm; burn sky: 1/2 stop";
    let ran = desk.run(&["sheet", "a/session.ron", "--recipe", recipe, "--json"]);
    assert_eq!(ran.code, 0, "{}{}", ran.err, ran.out);
    keys(&parsed(&ran.out), all);
    let scan = [
        "preview",
        "a/session.ron",
        "--print",
        "a/scan-1.tif",
        "--json",
    ];
    let ran = desk.run(&scan);
    assert_eq!(ran.code, 0, "{}{}", ran.err, ran.out);
    let said = parsed(&ran.out);
    assert_eq!(said["task"], "preview");
    keys(&said, all);
}

/// The keys of a calibration made from the first of these sessions.
fn calibrated(desk: &Desk, all: &mut BTreeSet<String>) {
    let session = twinstrip::files::text::read_text(&desk.path("a/session.ron")).unwrap();
    let between = |from: &str, to: char| {
        let rest = session.split(from).nth(1).unwrap();
        rest.split(to).next().unwrap().to_owned()
    };
    let encoding = between("encoding: ", ',')
        .replace('(', ":")
        .replace(')', "");
    let wedge = between("densities: [", ']');
    let ran = desk.run(&[
        "calibrate",
        "flatbed.ron",
        "--scan",
        "a/scan-1.tif",
        "--wedge",
        &wedge,
        "--encoding",
        &encoding,
        "--scanner",
        "flatbed",
        "--json",
        "--quiet",
    ]);
    assert_eq!(ran.code, 0, "{}{}", ran.err, ran.out);
    keys(&parsed(&ran.out), all);
}

/// The keys of three coatings held against each other.
fn compared(desk: &Desk, all: &mut BTreeSet<String>) {
    let made = desk.run(&[
        "simulate",
        "d",
        "--level",
        "easy",
        "--seed",
        "20102",
        "--dpi",
        "120",
        "--coupons",
        "3",
        "--slate",
        "--quiet",
    ]);
    assert_eq!(made.code, 0, "{}", made.err);
    let ran = desk.run(&[
        "compare",
        "d/session.ron",
        "--coats",
        "1,2,3",
        "--wet",
        "1.1 ml,2.0 ml,2.9 ml",
        "--price",
        "80 EUR/l",
        "--piece",
        "6",
        "--json",
        "--quiet",
    ]);
    assert_eq!(ran.code, 0, "{}{}", ran.err, ran.out);
    let said = parsed(&ran.out);
    let tables = said["tables"].as_array().unwrap();
    assert_eq!(tables.len(), 4);
    for table in tables {
        assert_eq!(
            table["together"]["differences"].as_array().unwrap().len(),
            3
        );
    }
    // 6 square decimetres at 1.1 ml and 0.08 a millilitre.
    let price = said["coatings"][0]["piece"]["price"].as_f64().unwrap();
    assert!((price - 0.528).abs() < 1e-9, "{price}");
    keys(&said, all);
}

#[test]
fn every_word_that_is_printed_is_described_and_every_one_described_is_printed() {
    let printed = printed();
    let described: BTreeSet<&str> = PAGE
        .lines()
        .flat_map(quoted)
        .chain(["value", "standard_error", "lower", "upper", "at", "open"])
        .collect();
    let missing: Vec<&String> = printed
        .iter()
        .filter(|key| !described.contains(key.as_str()))
        .collect();
    assert!(
        missing.is_empty(),
        "printed, but not described: {missing:?}"
    );
    let idle: Vec<String> = first_cells("word")
        .into_iter()
        .filter(|word| !printed.contains(word))
        .collect();
    assert!(idle.is_empty(), "described, but never printed: {idle:?}");
}

/// The variants of an enum in the sources, as they stand in the JSON.
fn variants(source: &str, name: &str) -> BTreeSet<String> {
    let body = source.split(&format!("pub enum {name} {{")).nth(1).unwrap();
    let body = body.split("\n}").next().unwrap();
    body.lines()
        .map(str::trim)
        .filter(|line| line.ends_with(',') && !line.starts_with("//"))
        .map(|line| {
            let mut word = String::new();
            for letter in line.trim_end_matches(',').chars() {
                if letter.is_uppercase() && !word.is_empty() {
                    word.push('-');
                }
                word.extend(letter.to_lowercase());
            }
            word
        })
        .collect()
}

#[test]
fn reasons_kinds_and_sources_are_listed_as_the_program_knows_them() {
    let gaps = variants(include_str!("../src/measure/estimate.rs"), "Gap");
    assert_eq!(first_cells("reason"), gaps);
    let kinds = variants(include_str!("../src/measure/finding.rs"), "Kind");
    assert!(kinds.contains("clipped-blacks") && kinds.len() > 30);
    assert_eq!(first_cells("kind"), kinds);
    let sources = variants(include_str!("../src/measure/compare/mod.rs"), "Source");
    let row = PAGE
        .lines()
        .find(|line| line.starts_with("| `budget`"))
        .unwrap();
    for source in sources {
        assert!(quoted(row).any(|word| word == source), "{source}");
    }
}
