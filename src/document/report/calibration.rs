//! A scanner calibration in words and figures.

use std::fmt::Write as _;

use super::findings::said;
use super::words::{plain, signed};
use crate::measure::calibrating::Judged;
use crate::measure::raster::Channel;
use crate::measure::scale::calibration::{Calibration, CalibrationFit, channel_word};
use crate::measure::scale::repeats::Repeat;
use crate::measure::scale::{DensityScale as _, standard_error};

/// The report of `twinstrip calibrate` and `twinstrip show`.
pub fn calibration_report(calibration: &Calibration, judged: &Judged) -> String {
    let Judged { fits, findings } = judged;
    let mut text = format!(
        "Calibration of {}, made {}\n",
        calibration.scanner, calibration.made
    );
    if !calibration.settings.is_empty() {
        writeln!(text, "Settings: {}", calibration.settings).ok();
    }
    for scan in &calibration.scans {
        let resolution = scan.pixels_per_mm.map_or_else(String::new, |per_mm| {
            format!(", {:.0} dots per inch", per_mm * 25.4)
        });
        writeln!(
            text,
            "Scan: {} ({} bits{resolution}; {})",
            scan.path, scan.bits, scan.encoding
        )
        .ok();
    }
    text.push('\n');
    text.push_str(&said(findings));
    for (channel, fit) in fits {
        match fit {
            Ok(fit) => text.push_str(&summary(*channel, fit, calibration)),
            Err(gap) => {
                writeln!(text, "{}: no curve: {gap}.", channel_word(*channel)).ok();
            }
        }
    }
    if let Some((channel, Ok(fit))) = fits.iter().find(|(_, fit)| fit.is_ok()) {
        text.push_str(&table(*channel, fit));
    }
    text
}

fn summary(channel: Channel, fit: &CalibrationFit, calibration: &Calibration) -> String {
    let assumed = if calibration.scans.len() > 1 {
        "measured and assumed"
    } else {
        "assumed"
    };
    format!(
        "{}: good from {} to {} D; each field foretold from the others to {} D; level of another \
         scan to {} D ({assumed})\n",
        channel_word(channel),
        plain(fit.usable.0, 2),
        plain(fit.usable.1, 2),
        plain(fit.leave_one_out, 4),
        plain(fit.level, 3),
    )
}

fn table(channel: Channel, fit: &CalibrationFit) -> String {
    let mut text = format!(
        "\nFields in {}\n  field  density  reading    off  foretold off  error of the curve\n",
        channel_word(channel)
    );
    for field in &fit.fields {
        let foretold = match field.left_out {
            Some(error) => signed(error, 3),
            None => "not used".to_owned(),
        };
        writeln!(
            text,
            "  {:>5}  {:>7}  {:>7} {:>6} {foretold:>13} {:>19}",
            field.number + 1,
            plain(field.listed, 3),
            plain(field.scanner, 3),
            signed(field.residual, 3),
            plain(fit.scale.curve_error(field.scanner), 4),
        )
        .ok();
    }
    text.push_str(&repeats(&fit.repeats));
    text.push_str("\nStandard error of a density on another scan\n  density  error\n");
    for (density, error) in errors_by_density(fit) {
        writeln!(text, "  {:>7}  {:>5}", plain(density, 1), plain(error, 3)).ok();
    }
    text
}

/// The repeat error by density; nothing where none was measured.
pub(super) fn repeats(repeats: &[Repeat]) -> String {
    if repeats.is_empty() {
        return String::new();
    }
    let mut text = String::from(
        "\nRepeat error from scan to scan, levels brought together\n  density  error  rests on\n",
    );
    for repeat in repeats {
        writeln!(
            text,
            "  {:>7}  {:>6}  {:.0} degrees of freedom",
            plain(repeat.density, 1),
            plain(repeat.error, 4),
            repeat.freedom.max(1.0),
        )
        .ok();
    }
    text
}

/// The same in a sentence, for a window.
pub fn repeat_error(repeats: &[Repeat]) -> String {
    let said = |repeat: &Repeat| {
        let (density, error) = (plain(repeat.density, 1), plain(repeat.error, 4));
        format!("{error} D at {density}")
    };
    let all: Vec<String> = repeats.iter().map(said).collect();
    format!("Repeat error from scan to scan: {}", all.join(", "))
}

/// Standard error at every fifth of a density within the usable range, level included.
pub fn errors_by_density(fit: &CalibrationFit) -> Vec<(f64, f64)> {
    let (low, high) = fit.usable;
    (0..=25)
        .map(|fifth| f64::from(fifth) / 5.0)
        .filter(|density| (low..=high).contains(density))
        .map(|density| {
            let s = scanner_density(fit, density);
            (density, standard_error(&fit.scale, s))
        })
        .collect()
}

/// The scanner density that reads as a density, by halving: the curve rises.
pub(super) fn scanner_density(fit: &CalibrationFit, density: f64) -> f64 {
    let (mut low, mut high) = fit.scale.supported();
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if fit.scale.density(middle) < density {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}
