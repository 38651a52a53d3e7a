//! What a process of its own does for a case.

use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use twinstrip::files::scan::content_hash;
use twinstrip::measure::analysis::{Question, analyse};
use twinstrip::measure::check::{self, colour, sample::Target};
use twinstrip::measure::compare;
use twinstrip::measure::curve::StripEvidence;
use twinstrip::measure::geometry::StripShape;
use twinstrip::measure::raster::{Channel, Raster};
use twinstrip::measure::reading::cells::{self, CellOptions};
use twinstrip::measure::reading::{Cell, ReadingOptions, read_strip};
use twinstrip::measure::scale::{self, DensityScale};
use twinstrip::measure::strip::{self, Wanted, WantedStrip, WantedWedge};
use twinstrip::measure::watch::Unwatched;

use super::page::{described, read};
use super::process::{Figures, Report, Stages, measure, milliseconds};

/// Does a case and reports.
pub fn run(case: &str, file: &Path) -> Report {
    match case {
        "whole" => {
            let question = described();
            measure(|parts| whole(file, question, parts))
        }
        "hash" => measure(|_| content_hash(file, &Unwatched).unwrap()),
        "parts" => measure(|parts| parts_alone(file, parts)),
        other => panic!("no case {other}"),
    }
}

/// From the file to the findings, as the program does it.
fn whole(file: &Path, mut question: Question, parts: &mut Figures) -> String {
    let start = Instant::now();
    question.scans = vec![Arc::new(read(file, &Unwatched))];
    parts.push(("decode".into(), milliseconds(start)));
    let stages = Stages::new();
    let analysis = analyse(&question, &stages).unwrap();
    parts.extend(stages.parts());
    assert!(analysis.answered(), "no answer: {:?}", analysis.findings);
    let stops = &analysis.pairs[0].answer.stops;
    format!("{stops:?}")
}

/// Least time of several runs, each on its own once everything before it is done.
fn least<T>(parts: &mut Figures, name: &str, mut work: impl FnMut() -> T) -> T {
    let mut fastest = f64::INFINITY;
    let mut last = None;
    for _ in 0..5 {
        let start = Instant::now();
        last = Some(work());
        fastest = fastest.min(milliseconds(start));
    }
    parts.push((name.into(), fastest));
    last.unwrap()
}

/// The parts of the analysis alone.
fn parts_alone(file: &Path, parts: &mut Figures) -> String {
    let question = Question {
        scans: vec![Arc::new(read(file, &Unwatched))],
        ..described()
    };
    let raster = &question.scans[0];
    let wanted = wanted(&question);
    let channel = question.settings.channel;
    let step = strip::overview_step(raster);
    let overview = least(parts, "overview of the scan", || {
        raster.overview(step, Channel::Luminance)
    });
    let views = [(overview, raster.pixels_per_mm)];
    let found = least(parts, "find strips on the overview", || {
        strip::find_on(&views, &wanted, &Unwatched).unwrap()
    });
    let shapes: Vec<&StripShape> = found
        .strips
        .iter()
        .map(|strip| &strip.as_ref().unwrap().shape)
        .collect();
    let wedge = &found.wedges[0].shape;
    let cells_of = |shape: &StripShape| {
        cells::measure(raster, shape, channel, &CellOptions::default(), &Unwatched).unwrap()
    };
    let on_wedge = least(parts, "cells of the wedge", || cells_of(wedge));
    let on_strips: Vec<Vec<Cell>> = least(parts, "cells of the strips", || {
        shapes.iter().map(|shape| cells_of(shape)).collect()
    });
    let listed = question.wedge.as_ref().unwrap();
    let fitted = least(parts, "scale from the wedge", || {
        scale::fit_wedge(&on_wedge, wedge, &listed.densities, listed.uncertainty).unwrap()
    });
    checks(parts, raster, &shapes, wedge, &question);
    let evidence = readings(parts, &question, &shapes, &on_strips, &fitted.scale);
    least(parts, "curves of a pair with all bounds", || {
        compare::solve(&evidence[0], &evidence[1], &question.settings)
    });
    let counts: Vec<usize> = on_strips.iter().map(Vec::len).collect();
    format!("cells {counts:?}, wedge {}", on_wedge.len())
}

fn checks(
    parts: &mut Figures,
    raster: &Raster,
    shapes: &[&StripShape],
    wedge: &StripShape,
    question: &Question,
) {
    let channel = question.settings.channel;
    let numbered: Vec<(usize, &StripShape)> = shapes.iter().copied().enumerate().collect();
    let listed = &question.wedge.as_ref().unwrap().densities;
    least(parts, "checks of the scan", || {
        let wedge = check::Wedge {
            shape: wedge,
            listed,
        };
        let whole: Vec<_> = numbered
            .iter()
            .map(|&(strip, shape)| (strip, shape, &[][..]))
            .collect();
        check::scan(raster, 0, &whole, Some(wedge), channel)
    });
    least(parts, "colour cast", || {
        for (strip, shape) in &numbered {
            let exposures = question.strips[*strip].exposures.as_ref().unwrap();
            let log_exposures = exposures.log_exposures(question.settings.lag.0);
            let target = Target::whole(Some(*strip), shape);
            colour::ByChannel::read(raster, *strip, &target, &log_exposures);
        }
    });
}

/// Readings of the strips; times that of the one with most cells.
fn readings(
    parts: &mut Figures,
    question: &Question,
    shapes: &[&StripShape],
    on_strips: &[Vec<Cell>],
    scale: &dyn DensityScale,
) -> Vec<StripEvidence> {
    let mut slowest = 0.0;
    let evidence = (0..shapes.len()).map(|strip| {
        let exposures = question.strips[strip].exposures.clone().unwrap();
        let log_exposures = exposures.log_exposures(question.settings.lag.0);
        let mut times = Figures::new();
        let reading = least(&mut times, "", || {
            read_strip(
                &on_strips[strip],
                shapes[strip],
                scale,
                Some(&log_exposures),
                &ReadingOptions::default(),
            )
        });
        slowest = f64::max(slowest, times[0].1);
        StripEvidence {
            strip,
            role: question.strips[strip].role,
            exposures,
            reading,
            excluded: vec![],
            others: vec![],
        }
    });
    let evidence = evidence.collect();
    parts.push(("covariance of a strip, the slowest".into(), slowest));
    evidence
}

fn wanted(question: &Question) -> Wanted {
    let strips = question.strips.iter().map(|strip| WantedStrip {
        role: strip.role,
        log_exposures: strip
            .exposures
            .as_ref()
            .map(|exposures| exposures.log_exposures(question.settings.lag.0)),
        given: None,
        same_as: None,
    });
    Wanted {
        strips: strips.collect(),
        wedge: question.wedge.as_ref().map(|wedge| WantedWedge {
            densities: wedge.densities.clone(),
            given: None,
        }),
    }
}
