//! Scanner calibrations as a person makes and uses them.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod support;
#[path = "support/words.rs"]
mod words;

use serde_json::Value;
use support::{Desk, tiff};
use twinstrip::files::scan::{
    Container, Mark, Packing, Picture, ScanOptions, WriteOptions, read_scan, write_scan,
};
use twinstrip::measure::raster::Samples;
use twinstrip::measure::watch::Unwatched;
use words::says;

/// A practice session with a wedge, its scan's encoding, and the wedge's densities.
struct Practice {
    desk: Desk,
    encoding: String,
    wedge: String,
}

/// Seed below 10,000 and level, chosen only for a clean wedge.
fn practice(level: &str) -> Practice {
    let desk = Desk::new();
    let made = desk.run(&[
        "simulate", "a", "--level", level, "--seed", "20102", "--dpi", "200", "--quiet",
    ]);
    assert_eq!(made.code, 0, "{}", made.err);
    let session = text(&desk, "a/session.ron");
    let between = |from: &str, to: &str| {
        let start = session.find(from).unwrap() + from.len();
        let end = session[start..].find(to).unwrap();
        session[start..start + end].to_owned()
    };
    let encoding = between("encoding: ", ",\n")
        .replace('(', ":")
        .replace(')', "");
    Practice {
        wedge: between("densities: [", "]"),
        encoding,
        desk,
    }
}

fn text(desk: &Desk, name: &str) -> String {
    twinstrip::files::text::read_text(&desk.path(name)).unwrap()
}

impl Practice {
    fn calibrate(&self, more: &[&str]) -> support::Ran {
        let mut arguments = vec![
            "calibrate",
            "flatbed.ron",
            "--wedge",
            &self.wedge,
            "--encoding",
            &self.encoding,
            "--scanner",
            "flatbed in the shed",
            "--settings",
            "200 dpi, nothing automatic",
            "--date",
            "2026-11-25",
            "--quiet",
        ];
        // As the session has it, so that both give the same curve.
        if !more.contains(&"--uncertainty") {
            arguments.extend(["--uncertainty", "0.008"]);
        }
        arguments.extend(more);
        self.desk.run(&arguments)
    }

    /// Writes the scan again with every code multiplied, as after a change of the lamp.
    fn brighter(&self, name: &str, factor: f64) {
        let path = self.desk.path("a/scan-1.tif");
        let raster = read_scan(&path, &ScanOptions::default(), &Unwatched).unwrap();
        let Samples::Sixteen(codes) = &raster.samples else {
            panic!("practice scans have 16 bits");
        };
        let codes: Vec<u16> = codes
            .iter()
            .map(|&code| (f64::from(code) * factor).min(65_535.0) as u16)
            .collect();
        let picture = Picture {
            width: raster.width,
            height: raster.height,
            channels: raster.channels,
            samples: &Samples::Sixteen(codes),
        };
        let options = WriteOptions {
            container: Container::tiff(Packing::Plain),
            pixels_per_mm: raster.pixels_per_mm,
            mark: Mark::None,
        };
        write_scan(&self.desk.path(name), &picture, &options).unwrap();
    }

    /// The session's text with the places at which its strips were found.
    fn with_places(&self, session: &str, measured: &Value) -> String {
        let mut text = session.to_owned();
        let strips = measured["strips"].as_array().unwrap();
        for (strip, located) in strips
            .iter()
            .map(|strip| (&strip["name"], &strip["located"]))
        {
            let shape = &located["shape"];
            let corners: Vec<String> = shape["corners"]
                .as_array()
                .unwrap()
                .iter()
                .map(|at| format!("({}, {})", at["x"], at["y"]))
                .collect();
            let edges: Vec<String> = shape["edges"]
                .as_array()
                .unwrap()
                .iter()
                .map(|edge| format!("({}, {})", edge["left"], edge["right"]))
                .collect();
            let fields: Vec<String> = shape["fields"]
                .as_array()
                .unwrap()
                .iter()
                .map(|field| match field["step"].as_u64() {
                    Some(step) => format!("step({step})"),
                    None => field.as_str().unwrap().to_owned(),
                })
                .collect();
            let place = format!(
                "{strip}, shape: Shape(corners: [{}], edges: [{}], fields: [{}])",
                corners.join(", "),
                edges.join(", "),
                fields.join(", ")
            );
            text = text.replace(&strip.to_string(), &place);
        }
        text
    }

    /// The session's text without its wedge, on another scan, with a calibration.
    fn session_without_wedge(&self, scan: &str, calibration: &str) -> String {
        let session = text(&self.desk, "a/session.ron");
        let (start, end) = (
            session.find("    wedge:").unwrap(),
            session.find("    strips:").unwrap(),
        );
        format!(
            "{}    calibration: {calibration},\n{}",
            session[..start].replace("scan-1.tif", scan),
            &session[end..]
        )
    }
}

fn json(ran: &support::Ran) -> Value {
    assert!(ran.err.is_empty(), "{}", ran.err);
    serde_json::from_str(&ran.out).unwrap()
}

fn kinds(answer: &Value) -> Vec<(&str, &str)> {
    let findings = answer["findings"].as_array().unwrap();
    findings
        .iter()
        .map(|f| (f["kind"].as_str().unwrap(), f["weight"].as_str().unwrap()))
        .collect()
}

/// Densities of all steps, with their standard errors.
fn densities(answer: &Value) -> Vec<(f64, f64)> {
    let strips = answer["strips"].as_array().unwrap();
    let steps = strips
        .iter()
        .flat_map(|strip| strip["steps"].as_array().unwrap());
    steps
        .map(|step| {
            (
                step["density"].as_f64().unwrap(),
                step["standard_error"].as_f64().unwrap(),
            )
        })
        .collect()
}

#[test]
fn a_calibration_is_made_shown_and_drawn() {
    let practice = practice("ordinary");
    let made = practice.calibrate(&["--scan", "a/scan-1.tif", "--picture", "fit.svg", "--json"]);
    assert_eq!(made.code, 0, "{}", made.err);
    let answer = json(&made);
    assert_eq!(answer["answered"], true);
    let luminance = &answer["channels"][0];
    assert_eq!(luminance["channel"], "luminance");
    let fields = luminance["fields"].as_array().unwrap();
    assert_eq!(fields.len(), practice.wedge.split(',').count());
    // The list of practice wedges is off by 0.008 at random; so is each field foretold.
    assert!(luminance["leave_one_out"].as_f64().unwrap() < 0.02);
    let drawing = text(&practice.desk, "fit.svg");
    assert_eq!(drawing.matches("<circle").count(), 2 * fields.len());
    let shown = practice.desk.run(&["show", "flatbed.ron", "--json"]);
    assert_eq!(json(&shown)["channels"], answer["channels"]);
    let report = practice.desk.run(&["show", "flatbed.ron"]);
    assert!(
        report
            .out
            .starts_with("Calibration of flatbed in the shed, made 2026-11-25\n")
    );
    assert!(
        says(&report.out, "luminance: good from 0.07 to 2.17 D"),
        "{}",
        report.out
    );
    // A second one is refused, then replaces the first, which is kept.
    let again = practice.calibrate(&["--scan", "a/scan-1.tif"]);
    assert_eq!(again.code, 5, "{}", again.err);
    assert!(says(&again.err, "say --overwrite"), "{}", again.err);
    let again = practice.calibrate(&["--scan", "a/scan-1.tif", "--overwrite"]);
    assert_eq!(again.code, 0, "{}", again.err);
    assert!(practice.desk.path("flatbed.ron.before").exists());
}

#[test]
fn a_scan_without_a_wedge_is_read_by_the_calibration_and_the_wedge_tells_drift() {
    let practice = practice("ordinary");
    assert_eq!(practice.calibrate(&["--scan", "a/scan-1.tif"]).code, 0);
    let desk = &practice.desk;
    let by_wedge = json(&desk.run(&["measure", "a/session.ron", "--json", "--quiet"]));
    let session = practice.session_without_wedge("scan-1.tif", "\"../flatbed.ron\"");
    let session = practice.with_places(&session, &by_wedge);
    desk.put("a/bare.ron", session.as_bytes());
    let by_calibration = json(&desk.run(&["measure", "a/bare.ron", "--json", "--quiet"]));
    let used = |kind: &str, answer: &Value| kinds(answer).iter().any(|(found, _)| *found == kind);
    assert!(used("calibration-used", &by_calibration));
    assert!(!used("no-wedge", &by_calibration));
    // The same curve: the same densities, with a wider error for the level.
    let (one, other) = (densities(&by_wedge), densities(&by_calibration));
    assert!(one.len() > 8 && one.len() == other.len());
    for ((density, error), (again, wider)) in one.iter().zip(&other) {
        assert!((again - density).abs() < 0.005, "{density}: {again}");
        assert!(wider > error, "{density}: {wider} after {error}");
    }
    // With its wedge the scan tells that the calibration holds ...
    let measure = [
        "measure",
        "a/session.ron",
        "--calibration",
        "flatbed.ron",
        "--json",
        "--quiet",
    ];
    let answer = json(&desk.run(&measure));
    assert!(kinds(&answer).contains(&("calibration-drift", "note")));
    // ... and after a change of the lamp by a tenth of a stop or so that it doesn't.
    practice.brighter("a/brighter.tif", 0.94);
    let session = text(desk, "a/session.ron").replace("scan-1.tif", "brighter.tif");
    desk.put("a/later.ron", session.as_bytes());
    let measure = [
        "measure",
        "a/later.ron",
        "--calibration",
        "flatbed.ron",
        "--json",
        "--quiet",
    ];
    let answer = json(&desk.run(&measure));
    assert!(
        kinds(&answer).contains(&("calibration-drift", "caution")),
        "{:?}",
        kinds(&answer)
    );
}

#[test]
fn a_session_keeps_a_calibration_by_file_and_hash_or_by_value() {
    let practice = practice("easy");
    assert_eq!(practice.calibrate(&["--scan", "a/scan-1.tif"]).code, 0);
    let desk = &practice.desk;
    let made = desk.run(&[
        "new",
        "b.ron",
        "--scan",
        "a/scan-1.tif",
        "--calibration",
        "flatbed.ron",
        "--quiet",
        "--reference",
        "warm paper: building up 8 x 2s at f/16",
    ]);
    assert_eq!(made.code, 0, "{}", made.err);
    let session = text(desk, "b.ron");
    assert!(
        session.contains("file: \"flatbed.ron\"") && session.contains("hash: \""),
        "{session}"
    );
    // A calibration that was changed since is refused.
    let changed = text(desk, "flatbed.ron").replace("200 dpi", "300 dpi");
    desk.put("flatbed.ron", changed.as_bytes());
    let ran = desk.run(&["measure", "b.ron", "--quiet"]);
    assert_eq!(ran.code, 3);
    assert!(says(&ran.err, "was changed since"), "{}", ran.err);
    // By value it stands in the session itself.
    let session = practice.session_without_wedge("scan-1.tif", &changed);
    desk.put("a/value.ron", session.as_bytes());
    let answer = json(&desk.run(&["measure", "a/value.ron", "--json", "--quiet"]));
    assert!(
        kinds(&answer)
            .iter()
            .any(|(kind, _)| *kind == "calibration-used")
    );
}

#[test]
fn several_scans_tell_the_level_and_what_makes_no_sense_is_refused() {
    let practice = practice("ordinary");
    practice.brighter("a/other.tif", 0.98);
    let both = ["--scan", "a/scan-1.tif", "--scan", "a/other.tif", "--json"];
    let answer = json(&practice.calibrate(&both));
    // Codes 2 % lower are light lower by this much density, half to each side of the mean.
    let gamma: f64 = practice
        .encoding
        .trim_start_matches("gamma:")
        .parse()
        .unwrap();
    let apart = -gamma * 0.98f64.log10();
    // Three scans' worth of 0.01 assumed, and the two seen; one more scan differs from the mean.
    let level = ((3.0 * 1e-4 + apart * apart / 2.0) / 4.0 * 1.5f64).sqrt();
    let found = answer["channels"][0]["level"].as_f64().unwrap();
    assert!((found - level).abs() < 2e-4, "{found} is {level}");
    let refused = |more: &[&str], code: i32, words: &str| {
        let ran = practice.calibrate(more);
        let said = format!("{}{}", ran.err, ran.out);
        assert_eq!(ran.code, code, "{said}");
        assert!(said.contains(words), "{said}");
    };
    let scan = "a/scan-1.tif";
    let overwrite = "--overwrite";
    let lists = "2 lists of densities for 3 scans";
    let three = [
        "--scan",
        scan,
        "--scan",
        scan,
        "--scan",
        scan,
        "--wedge",
        "0.1 0.2 0.3",
        overwrite,
    ];
    refused(&three, 2, lists);
    refused(
        &["--scan", "none.tif", overwrite],
        3,
        "there is no such file",
    );
    refused(
        &["--scan", scan, "--uncertainty", "0", overwrite],
        2,
        "above 0",
    );
    practice.desk.put_scan("white.tif", tiff(), 1.0);
    refused(
        &["--scan", "white.tif", overwrite],
        4,
        "No wedge of 21 fields was found",
    );
    let mut wrong = practice.wedge.clone();
    wrong.truncate(practice.wedge.find("0.9").unwrap());
    let ran = practice.desk.run(&[
        "calibrate",
        "short.ron",
        "--scan",
        scan,
        "--encoding",
        &practice.encoding,
        "--quiet",
        "--wedge",
        wrong.trim_end_matches([' ', ',']),
        "--scanner",
        "flatbed",
    ]);
    assert_eq!(ran.code, 4, "{}{}", ran.err, ran.out);
    assert!(!practice.desk.path("short.ron").exists());
}
