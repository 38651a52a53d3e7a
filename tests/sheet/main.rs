//! The bench sheet's page, opened by another program (poppler's pdftotext, pdffonts, pdfinfo
//! and pdftoppm).
//!
//! `TWINSTRIP_KEEP_SHEETS=FOLDER cargo test --test sheet` keeps the pages and pictures of them.

#![expect(
    clippy::disallowed_methods,
    clippy::unwrap_used,
    reason = "what fails here fails a test, and files are what is tested"
)]

#[path = "../support/words.rs"]
mod words;

use std::path::Path;
use std::process::Command;

use twinstrip::document::sheet::cautions::{CAUTIONS, FIRST};
use twinstrip::document::sheet::{ChangeRow, ExposureRow, Hardener, Process, Sheet};
use twinstrip::files::sheet::{PaperSize, Thumbnail, pdf, plain_text};
use words::{flat, says};

/// Invented: a printmaker's slate.
fn usual() -> Sheet {
    let fact = |name: &str, what: &str| (name.to_owned(), what.to_owned());
    let row = |time: &str, against: &str| ExposureRow {
        time: time.into(),
        aperture: "f/8".into(),
        against: against.into(),
    };
    let mut sheet = Sheet {
        picture: "Harbour at low tide".into(),
        facts: vec![
            fact("Piece", "slate 3, 240 x 300 mm, 6 mm high, rises by 1.5 mm"),
            fact("Coating", "roof slate, two coats (tested 2026-11-20)"),
            fact(
                "Paper",
                "warm paper; 10 s at f/11, magnified 4x, lens 80 mm",
            ),
            fact("Made", "2026-11-25"),
        ],
        exposures: vec![
            row("21.4 s", "1/6 stop less"),
            row("24 s", "as planned"),
            row("26.9 s", "1/6 stop more"),
        ],
        chance: vec![
            "The planned exposure holds within 20.1 to 28.6 s for 95 of 100 pieces.".into(),
            "Of three pieces at these exposures at least one comes within 1/6 stop with a \
             chance of 91 %."
                .into(),
        ],
        changes: vec![
            ChangeRow {
                way: "burn".into(),
                part: "sky".into(),
                stops: "2/3 stop".into(),
                time: "14 s".into(),
                note: String::new(),
            },
            ChangeRow {
                way: "dodge".into(),
                part: "left quay".into(),
                stops: "1/3 stop".into(),
                time: "5 s".into(),
                note: "the coating doesn't come to this tone".into(),
            },
        ],
        placing: vec![
            "Focus on the face itself: the lens moves 0.4 mm towards it.".into(),
            "The picture has 98.3 % of its size on paper; the head 6 mm higher restores it.".into(),
        ],
        warnings: vec!["26.9 s lie outside the 2 to 25 s that the coating was tested with.".into()],
        process: vec![],
    };
    sheet.set_process(
        &Process::read(
            "hardener 3min; rinse 1min; developer 2min; stop bath 30s; first fixing bath 4min; \
             second fixing bath 4min; rinse; washing aid 5min; wash 40min",
        )
        .unwrap(),
    );
    sheet
}

/// Everything long, and as much of it as can be.
fn crowded() -> Sheet {
    let long = "harbourmasters'-warehouse-with-the-long-name ".repeat(4);
    let mut sheet = usual();
    sheet.picture = format!("Ærøskøbing, ängs {long}");
    for (_, what) in &mut sheet.facts {
        *what = long.clone();
    }
    let row = sheet.exposures[0].clone();
    sheet.exposures = vec![
        ExposureRow {
            against: "a word that has no room here".into(),
            ..row
        };
        12
    ];
    let mut change = sheet.changes[1].clone();
    change.part = long.clone();
    sheet.changes = vec![change; 30];
    sheet.warnings = vec![long.clone(); 9];
    let mut process = Process::usual(Hardener::First);
    process.stages[1].bath = long;
    while process.stages.len() < twinstrip::document::sheet::process::MOST_BATHS {
        process.stages.push(process.stages[0].clone());
    }
    sheet.set_process(&process);
    sheet
}

fn thumbnail() -> Thumbnail {
    let (width, height) = (900, 600);
    let screen: Vec<[u8; 3]> = (0..width * height)
        .map(|i| [((i % width) * 255 / width) as u8; 3])
        .collect();
    Thumbnail::of(&screen, width, height).unwrap()
}

/// What a program prints; `None` when it isn't installed.
fn said_by(program: &str, before: &[&str], file: &Path, after: &[&str]) -> Option<String> {
    let output = Command::new(program)
        .args(before)
        .arg(file)
        .args(after)
        .output()
        .ok()?;
    let complaint = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{program}: {complaint}");
    assert!(complaint.is_empty(), "{program}: {complaint}");
    Some(String::from_utf8_lossy(&output.stdout).into_owned())
}

/// Makes a page, opens it, and gives its text; `None` without poppler.
fn opened(sheet: &Sheet, paper: PaperSize, name: &str) -> Option<String> {
    let made = pdf(sheet, Some(&thumbnail()), paper).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let kept = std::env::var_os("TWINSTRIP_KEEP_SHEETS");
    let folder = kept
        .as_deref()
        .map_or_else(|| folder.path().to_owned(), |kept| kept.into());
    std::fs::create_dir_all(&folder).unwrap();
    let file = folder.join(format!("{name}.pdf"));
    std::fs::write(&file, &made).unwrap();
    let facts = said_by("pdfinfo", &[], &file, &[]).or_else(no_poppler)?;
    assert!(facts.contains("Pages:           1\n"), "{facts}");
    assert!(facts.contains("twinstrip"), "{facts}");
    let fonts = said_by("pdffonts", &[], &file, &[])?;
    let rows: Vec<&str> = fonts.lines().skip(2).collect();
    assert_eq!(rows.len(), 2, "{fonts}");
    for row in rows {
        // Embedded, a part of the typeface, with the way back to letters.
        let cells: Vec<&str> = row.split_whitespace().collect();
        assert!(row.contains("B612"), "{fonts}");
        let flags = &cells[cells.len() - 5..cells.len() - 2];
        assert_eq!(flags, ["yes", "yes", "yes"], "{fonts}");
    }
    let picture = folder.join(name);
    let root = picture.to_str().unwrap();
    let before = ["-r", "110", "-png", "-singlefile"];
    said_by("pdftoppm", &before, &file, &[root])?;
    nothing_beyond_the_margin(&picture.with_extension("png"), name);
    said_by("pdftotext", &["-layout"], &file, &["-"])
}

fn no_poppler() -> Option<String> {
    // Where it must be there, tests/check-all.sh says so.
    assert!(
        std::env::var_os("TWINSTRIP_POPPLER").is_none(),
        "poppler-utils is missing"
    );
    eprintln!("poppler-utils is missing: the page was not opened");
    None
}

/// No ink within 10 mm of the edge, and some of it at all.
fn nothing_beyond_the_margin(picture: &Path, name: &str) {
    let page = image::open(picture).unwrap().into_luma8();
    let (width, height) = page.dimensions();
    let margin = (10.0 / 25.4 * 110.0) as u32;
    let mut inked = 0;
    for (x, y, tone) in page.enumerate_pixels() {
        let inside =
            (margin..width - margin).contains(&x) && (margin..height - margin).contains(&y);
        if tone.0[0] < 250 {
            assert!(inside, "{name}: ink at {x}, {y} of {width} x {height}");
            inked += 1;
        }
    }
    assert!(inked > 10_000, "{name}: {inked} pixels of ink");
}

#[test]
fn another_program_reads_every_word_off_the_page() {
    for (paper, name) in [
        (PaperSize::A4, "usual-a4"),
        (PaperSize::Letter, "usual-letter"),
    ] {
        let sheet = usual();
        let Some(text) = opened(&sheet, paper, name) else {
            return;
        };
        let text = flat(&text);
        for words in [
            sheet.picture.as_str(),
            "24 s",
            "1/6 stop more",
            "burn sky: 14 s, 2/3 stop",
            "2. rinse",
            "40 min",
        ] {
            assert!(text.contains(words), "{words}: {text}");
        }
        for (what, said) in &sheet.facts {
            assert!(text.contains(what), "{what}");
            for word in said.split_whitespace() {
                assert!(text.contains(word), "{word}");
            }
        }
        let said = CAUTIONS.iter().flat_map(|(about, said)| [*about, *said]);
        for word in said.chain([FIRST]).flat_map(str::split_whitespace) {
            assert!(text.contains(word), "{word}");
        }
    }
}

#[test]
fn a_crowded_sheet_stays_on_its_page_and_says_what_it_left_out() {
    for (paper, name) in [
        (PaperSize::A4, "crowded-a4"),
        (PaperSize::Letter, "crowded-letter"),
    ] {
        let Some(text) = opened(&crowded(), paper, name) else {
            return;
        };
        assert!(text.contains("Ærøskøbing, ängs"), "{text}");
        assert!(says(&text, "more, in the plain text"), "{text}");
        assert!(text.contains("12."), "every exposure is there: {text}");
        assert!(text.contains("16."), "every bath is there: {text}");
    }
    // The plain text leaves nothing out.
    let text = plain_text(&crowded());
    assert_eq!(text.matches("dodge harbourmasters").count(), 30);
}

#[test]
fn an_empty_sheet_and_letters_that_the_typeface_lacks_still_make_a_page() {
    let sheet = Sheet {
        picture: "石 slate".into(),
        ..Sheet::default()
    };
    if let Some(text) = opened(&sheet, PaperSize::A4, "empty") {
        assert!(text.contains("? slate"), "{text}");
        assert!(text.contains("U+77F3"), "{text}");
    }
}
