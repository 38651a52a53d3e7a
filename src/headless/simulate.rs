//! `twinstrip simulate`: practice scans with known truth.

use std::path::Path;

use super::arguments::Simulate;
use super::exit::{Failure, Outcome};
use super::progress::Progress;
use super::{output, simulate_shelf};
use crate::document::{Encoding, Scan, Session, Strip, Wedge};
use crate::files::atomic;
use crate::files::scan::{Container, Mark, Packing, Picture, WriteOptions, write_scan};
use crate::files::session::write_session;
use crate::measure::analysis::{Settings, StripSpec};
use crate::measure::exposure::{Aperture, Exposure};
use crate::measure::watch::Watch as _;
use crate::simulate::{self, Layout, Practice, Recipe, make};

/// What tells a folder of practice scans from one with scans of somebody's own.
const TRUTH: &str = "truth.json";

pub(super) fn run(task: &Simulate) -> Result<Outcome, Failure> {
    if let Some(sessions) = task.sessions {
        return simulate_shelf::run(task, sessions);
    }
    let progress = Progress::start(task.quiet);
    progress.stage("making practice scans");
    for index in 0..task.count {
        progress.at(index as usize, task.count as usize)?;
        let folder = if task.count == 1 {
            task.folder.clone()
        } else {
            task.folder.join(format!("{:04}", index + 1))
        };
        let recipe = Recipe {
            twist: task.twist,
            layout: task.layout.map(Layout::setting),
            dpi: task.dpi,
            coupons: task.coupons.map(|count| count as usize),
            slate: task.slate.then_some(true),
            colour: task.grey.then_some(false),
            ..Recipe::new(task.level.into(), task.seed.wrapping_add(index))
        };
        one(&folder, &recipe, task.overwrite)?;
    }
    progress.finish();
    output::remark(
        &format!(
            "{} written; try: twinstrip solve {}",
            task.folder.display(),
            if task.count == 1 {
                task.folder.join("session.ron")
            } else {
                task.folder.join("0001").join("session.ron")
            }
            .display()
        ),
        task.quiet,
    );
    Ok(Outcome::Answered)
}

/// Writes one practice session. What stands there is replaced only where it is practice itself.
pub(super) fn one(folder: &Path, recipe: &Recipe, overwrite: bool) -> Result<(), Failure> {
    make_folder(folder)?;
    let practice = make(recipe);
    let jpeg = practice.scans.iter().any(|scan| scan.origin.lossy);
    let (container, ending) = if jpeg {
        // The loss is in the pixels already; this only keeps the file honest about it.
        (Container::Jpeg { quality: 100 }, "jpg")
    } else {
        (Container::tiff(Packing::Deflate), "tif")
    };
    let names: Vec<String> = (1..=practice.scans.len())
        .map(|number| format!("scan-{number}.{ending}"))
        .collect();
    let written = names.iter().map(String::as_str);
    for name in written.chain(["session.ron", TRUTH]) {
        let file = folder.join(name);
        if !file.exists() || overwrite && folder.join(TRUTH).exists() {
            continue;
        }
        return Err(Failure::not_written(format!(
            "{}: a file of that name is there; name another folder{}",
            file.display(),
            if folder.join(TRUTH).exists() {
                ", or say --overwrite to replace these practice scans"
            } else {
                ""
            }
        )));
    }
    for (name, raster) in names.iter().zip(&practice.scans) {
        let picture = Picture {
            width: raster.width,
            height: raster.height,
            channels: raster.channels,
            samples: &raster.samples,
        };
        let options = WriteOptions {
            container,
            pixels_per_mm: raster.pixels_per_mm,
            mark: Mark::None,
        };
        write_scan(&folder.join(name), &picture, &options)
            .map_err(|error| Failure::not_written(error.to_string()))?;
    }
    write_session(&folder.join("session.ron"), &session(&practice, &names)?)?;
    let mut truth = serde_json::to_string_pretty(&practice.truth)
        .map_err(|error| Failure::not_written(error.to_string()))?;
    truth.push('\n');
    atomic::write(&folder.join(TRUTH), truth.as_bytes())?;
    Ok(())
}

fn make_folder(folder: &Path) -> Result<(), Failure> {
    atomic::make_folder(folder).map_err(Failure::from)
}

/// What a person would write about the practice scans.
fn session(practice: &Practice, names: &[String]) -> Result<Session, Failure> {
    let encoding = match practice.truth.encoding {
        simulate::Encoding::Srgb => Encoding::Srgb,
        simulate::Encoding::Gamma(gamma) => Encoding::Gamma(gamma),
        simulate::Encoding::Linear => Encoding::Linear,
    };
    let session = Session {
        scans: names
            .iter()
            .map(|name| Scan {
                encoding: Some(encoding),
                ..Scan::new(name)
            })
            .collect(),
        empty: None,
        wedge: practice.wedge.as_ref().map(|wedge| Wedge {
            uncertainty: wedge.uncertainty,
            ..Wedge::new(wedge.densities.clone())
        }),
        calibration: None,
        strips: practice.strips.iter().map(strip).collect(),
        settings: Settings {
            lag: practice.lag,
            seed: practice.truth.recipe.seed,
            timing_error: practice.truth.recipe.timing_error,
            tablet_error: practice.truth.recipe.tablet_error,
            ..Settings::default()
        },
        matches: vec![],
        printing: None,
        notes: "Practice scans: invented data.".into(),
    };
    session
        .check()
        .map_err(|error| Failure::not_written(format!("the practice session: {error}")))?;
    Ok(session)
}

fn strip(spec: &StripSpec) -> Strip {
    Strip {
        exposure: spec.exposures.as_ref().map(|exposures| Exposure {
            series: exposures.series.clone(),
            aperture: Aperture {
                exact: exposures.f_number,
                engraved: spec.engraved_f_number,
            },
            magnification: exposures.magnification,
            filter_density: exposures.filter_density,
            height: exposures.height,
            focal_length: exposures.focal_length,
        }),
        ..Strip::new(spec.name.clone(), spec.role)
    }
}
