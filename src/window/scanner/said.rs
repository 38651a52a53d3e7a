//! What a calibration says, in words and figures, and how the session is read by one.

use egui::{Grid, RichText, ScrollArea, Ui};

use super::ScannerAsk;
use crate::document::report::errors_by_density;
use crate::document::report::words::{plain, signed};
use crate::measure::finding::{Finding, Kind, Place};
use crate::measure::raster::Channel;
use crate::measure::scale::calibration::{Calibration, CalibrationFit, channel_word};
use crate::window::request::{Request, Scene};
use crate::window::shell::answer::finding_ui;
use crate::window::shell::{card, term};
use crate::window::theme::{figure, strong};

/// How the open session is read, where it has a calibration.
pub(super) fn session_ui(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    let Some(used) = &scene.session.calibration else {
        return;
    };
    card(ui, scene.theme, |ui| {
        ui.set_min_width(ui.available_width());
        ui.heading("This session");
        let Calibration { scanner, made, .. } = &*used.calibration;
        let words =
            format!("Scans without a wedge are read by the calibration of {scanner}, made {made}.");
        let kept = match &used.file {
            Some(file) => format!("Its file: {}", file.display()),
            None => "It stands in the session itself.".to_owned(),
        };
        ui.label(words).on_hover_text(kept);
        if ui.button("Take it off").clicked() {
            asks.push(Request::Scanner(ScannerAsk::TakeOff));
        }
        if scene.stale {
            ui.weak("Being worked out anew…");
            return;
        }
        let told = [
            Kind::CalibrationDrift,
            Kind::CalibrationUsed,
            Kind::CalibrationUnfit,
        ];
        let findings = scene
            .analysis
            .map_or(&[][..], |analysis| &analysis.findings);
        let findings = findings.iter().filter(|found| told.contains(&found.kind));
        for (index, finding) in findings.enumerate() {
            ui.push_id(("session", index), |ui| {
                finding_ui(ui, scene, finding, asks)
            });
        }
    });
}

/// What is to be known of the calibration; its scans are no scans of the session, so they are
/// called by their names.
pub(super) fn findings_ui(
    ui: &mut Ui,
    scene: &Scene<'_>,
    calibration: &Calibration,
    findings: &[Finding],
    asks: &mut Vec<Request>,
) {
    for (index, finding) in findings.iter().enumerate() {
        let scan = finding
            .place
            .scan
            .and_then(|scan| calibration.scans.get(scan));
        let seen = match scan {
            Some(scan) => format!("{}: {}", scan.path, finding.seen),
            None => finding.seen.clone(),
        };
        let finding = Finding {
            place: Place::default(),
            seen,
            ..finding.clone()
        };
        ui.push_id(("calibration", index), |ui| {
            finding_ui(ui, scene, &finding, asks)
        });
    }
}

/// The figures of a channel above its plot.
pub(super) fn figures_ui(
    ui: &mut Ui,
    calibration: &Calibration,
    channel: Channel,
    fit: &CalibrationFit,
) {
    let range = format!(
        "Good from {} to {} D",
        plain(fit.usable.0, 2),
        plain(fit.usable.1, 2)
    );
    ui.label(RichText::new(range).font(figure())).on_hover_text(
        "Between these densities the scanner tells neighbouring fields apart; fields beyond are not used.",
    );
    term(
        ui,
        &format!(
            "Each field foretold from the others to {} D",
            plain(fit.leave_one_out, 4)
        ),
        "Each field is left out in turn and foretold by the curve through the others: the root mean square of how far off that is.",
    );
    let assumed = if calibration.scans.len() > 1 {
        "measured and assumed"
    } else {
        "assumed"
    };
    term(
        ui,
        &format!(
            "Level of another scan to {} D, {assumed}",
            plain(fit.level, 3)
        ),
        "How much the scanner's level differs from scan to scan, as a standard deviation. Several scans on different days measure it; one can't.",
    );
    if let Some(seen) = calibration.channel(channel) {
        term(
            ui,
            &format!(
                "Stray light {} ± {} %, from within 4 to 15 mm",
                plain(100.0 * seen.stray.0, 2),
                plain(100.0 * seen.stray.1, 2)
            ),
            "Share of the neighbourhood's light that strays into a field, with its standard error. A calibration doesn't tell how far it comes from: 4 to 15 mm count as equally likely.",
        );
    }
}

/// Errors of a density that is read by it later, and of the scanner from scan to scan.
pub(super) fn errors_ui(ui: &mut Ui, fit: &CalibrationFit) {
    ui.label(strong("Standard error of a density on another scan"))
        .on_hover_text("Curve, level and repeat error together.");
    let errors = errors_by_density(fit);
    row_ui(ui, "stated errors", &errors, 1, 3);
    ui.label(strong("Repeat error from scan to scan")).on_hover_text(
        "How differently one field reads from scan to scan once the scans' levels are brought together.",
    );
    if fit.repeats.is_empty() {
        ui.label("Not known: it takes two scans of the same wedge.");
        return;
    }
    let repeats: Vec<(f64, f64)> = fit.repeats.iter().map(|r| (r.density, r.error)).collect();
    row_ui(ui, "repeat errors", &repeats, 1, 4);
    let freedom: f64 = fit.repeats.iter().map(|repeat| repeat.freedom).sum();
    ui.weak(format!(
        "They rest on {:.0} degrees of freedom altogether; below 5 a band it is a rough figure.",
        freedom.max(1.0)
    ));
}

/// Densities and errors, one below the other.
fn row_ui(ui: &mut Ui, name: &str, pairs: &[(f64, f64)], places: usize, digits: usize) {
    ScrollArea::horizontal().id_salt(name).show(ui, |ui| {
        Grid::new(name)
            .num_columns(pairs.len() + 1)
            .min_row_height(20.0)
            .spacing([16.0, 4.0])
            .show(ui, |ui| {
                ui.label("density");
                for (density, _) in pairs {
                    ui.label(plain(*density, places));
                }
                ui.end_row();
                ui.label("error");
                for (_, error) in pairs {
                    ui.label(plain(*error, digits));
                }
                ui.end_row();
            });
    });
}

/// Every field as the curve has it.
pub(super) fn fields_ui(ui: &mut Ui, channel: Channel, fit: &CalibrationFit) {
    ui.label(strong(format!("Fields in {}", channel_word(channel))));
    ScrollArea::horizontal().id_salt("fields").show(ui, |ui| {
        Grid::new("fields")
            .num_columns(6)
            .min_row_height(20.0)
            .spacing([20.0, 4.0])
            .show(ui, |ui| {
                for (word, meaning) in [
                    ("field", "Its number on the wedge."),
                    ("density", "As listed."),
                    ("reading", "-log10 of the light that the scanner shows."),
                    ("off", "What the curve gives less what is listed."),
                    (
                        "foretold off",
                        "What the curve through the other fields gives less what is listed.",
                    ),
                    ("error of the curve", "Standard error of the curve there."),
                ] {
                    ui.label(strong(word)).on_hover_text(meaning);
                }
                ui.end_row();
                for field in &fit.fields {
                    ui.label((field.number + 1).to_string());
                    ui.label(plain(field.listed, 3));
                    ui.label(plain(field.scanner, 3));
                    ui.label(signed(field.residual, 3));
                    ui.label(match field.left_out {
                        Some(error) => signed(error, 3),
                        None => "not used".to_owned(),
                    });
                    ui.label(plain(fit.scale.curve_error(field.scanner), 4));
                    ui.end_row();
                }
            });
    });
}
