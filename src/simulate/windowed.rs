//! Steps exposed through windows: one a step, or two rows of them.

use rand::Rng;

use super::arrange::{Arranged, Lies, Place, Telling, light};
use super::mask::{Mask, Window};
use crate::measure::geometry::Field as What;

/// One window a step, in a row along the coat.
pub(super) fn windows(
    rng: &mut impl Rng,
    log_exposures: &[f64],
    round: bool,
    gap: (f64, f64),
) -> Arranged {
    let steps = log_exposures.len();
    let bridge = rng.random_range(gap.0..gap.1);
    let along = rng.random_range(9.0..14.0);
    let high = if round {
        along
    } else {
        rng.random_range(9.0..26.0)
    };
    // Windows cut to the edge of the plate leave no coat beside them.
    let beside = if !round && rng.random_bool(0.3) {
        0.0
    } else {
        rng.random_range(2.0..6.0)
    };
    let end = rng.random_range(2.0..8.0);
    let pitch = along + bridge;
    let size = (
        2.0 * end + pitch * steps as f64 - bridge,
        high + 2.0 * beside,
    );
    let across = (beside, beside + high);
    let soft = rng.random_range(0.12..0.5);
    let mut order: Vec<usize> = (0..steps).collect();
    let backwards = rng.random_bool(0.5);
    if backwards {
        order.reverse();
    }
    let loose = (bridge / 6.0).min(0.4);
    let mut starts = vec![0.0; steps];
    let mut told = Telling {
        // The square that fits into a disc, a little less.
        across: if round {
            let (middle, half) = (size.1 / 2.0, along / 2.0 * 0.66);
            (middle - half, middle + half)
        } else {
            across
        },
        edges: vec![(0.0, 0.0)],
        fields: vec![],
    };
    let inset = if round { along / 2.0 * 0.34 } else { 0.0 };
    let mut last = 0.0;
    for (place, &step) in order.iter().enumerate() {
        let from = end + pitch * place as f64 + rng.random_range(-loose..loose);
        starts[step] = from;
        // Unexposed up to the window's edge; a disc's flanks belong to neither.
        if round {
            told.fields
                .extend([What::Margin, What::Ignored, What::Step(step), What::Ignored]);
            for at in [from, from + inset, from + along - inset, from + along] {
                told.edges.push((at, at));
            }
        } else {
            told.fields.extend([What::Margin, What::Step(step)]);
            told.edges
                .extend([(from, from), (from + along, from + along)]);
        }
        last = from + along;
    }
    if size.0 > last {
        told.fields.push(What::Margin);
        told.edges.push((size.0, size.0));
    }
    let open = |side: f64, towards: f64| {
        if beside > 0.0 {
            side
        } else {
            side + 50.0 * towards
        }
    };
    let plate: Vec<Window> = (0..steps)
        .map(|step| Window {
            along: (starts[step], starts[step] + along),
            across: (open(across.0, -1.0), open(across.1, 1.0)),
            round,
            light: light(log_exposures, What::Step(step)),
            soft,
        })
        .collect();
    let lies = plate.iter().map(|window| {
        if round {
            let (centre, radius) = window.disc();
            return Lies::Disc(centre, radius);
        }
        Lies::Quad(quad(window.along, across))
    });
    let mut unexposed: Vec<[Place; 4]> = (0..told.fields.len())
        .filter(|&field| told.fields[field] == What::Margin)
        .map(|field| quad((told.edges[field].0, told.edges[field + 1].0), across))
        .collect();
    if beside > 0.0 {
        unexposed.push(quad((0.0, size.0), (0.0, beside)));
        unexposed.push(quad((0.0, size.0), (size.1 - beside, size.1)));
    }
    Arranged {
        steps: lies.collect(),
        unexposed,
        told: Some(told),
        ..through(size, plate, backwards)
    }
}

/// Two rows of steps on one piece.
pub(super) fn two_rows(
    rng: &mut impl Rng,
    log_exposures: &[f64],
    back_and_forth: bool,
) -> Arranged {
    let steps = log_exposures.len();
    let first = steps.div_ceil(2);
    let (along, high) = (rng.random_range(13.0..20.0), rng.random_range(14.0..20.0));
    let or_none = |rng: &mut dyn FnMut(f64, f64) -> f64, odds: f64, from: f64, to: f64| {
        if rng(0.0, 1.0) < odds {
            rng(from, to)
        } else {
            0.0
        }
    };
    let mut draw = |from: f64, to: f64| rng.random_range(from..to);
    let between = or_none(&mut draw, 0.6, 1.5, 5.0);
    let beside = or_none(&mut draw, 0.6, 2.0, 6.0);
    let end = or_none(&mut draw, 0.7, 3.0, 9.0);
    let size = (
        along * first as f64 + 2.0 * end,
        2.0 * high + between + 2.0 * beside,
    );
    let soft = rng.random_range(0.12..0.5);
    let backwards = rng.random_bool(0.5);
    // A step at the rim of the coat has no edge there.
    let open = |at: f64, rim: f64, towards: f64| {
        if (at - rim).abs() < 1e-9 {
            at + 50.0 * towards
        } else {
            at
        }
    };
    let mut plate = vec![];
    let mut lies = vec![];
    for step in 0..steps {
        let (lower, column) = (step >= first, step % first);
        let turned = backwards != (lower && back_and_forth);
        let column = if turned { first - 1 - column } else { column };
        let u = end + along * column as f64;
        let v = beside + if lower { high + between } else { 0.0 };
        lies.push(Lies::Quad(quad((u, u + along), (v, v + high))));
        plate.push(Window {
            along: (open(u, 0.0, -1.0), open(u + along, size.0, 1.0)),
            across: (open(v, 0.0, -1.0), open(v + high, size.1, 1.0)),
            round: false,
            light: light(log_exposures, What::Step(step)),
            soft,
        });
    }
    let mut unexposed = vec![];
    let mut band = |u: (f64, f64), v: (f64, f64)| {
        if u.1 > u.0 && v.1 > v.0 {
            unexposed.push(quad(u, v));
        }
    };
    let inner = (end, size.0 - end);
    band((0.0, size.0), (0.0, beside));
    band((0.0, size.0), (size.1 - beside, size.1));
    band((0.0, end), (beside, size.1 - beside));
    band((size.0 - end, size.0), (beside, size.1 - beside));
    band(inner, (beside + high, beside + high + between));
    if steps % 2 == 1 {
        // The place of the step that the second row has less.
        let turned = backwards != back_and_forth;
        let u = end + along * if turned { 0.0 } else { first as f64 - 1.0 };
        let v = beside + high + between;
        band((u, u + along), (v, v + high));
    }
    Arranged {
        steps: lies,
        unexposed,
        ..through(size, plate, backwards)
    }
}

/// A coat under a plate with windows.
fn through(size: (f64, f64), plate: Vec<Window>, backwards: bool) -> Arranged {
    Arranged {
        size,
        edges: vec![(0.0, 0.0), (size.0, size.0)],
        fields: vec![What::Margin],
        light: vec![0.0],
        mask: Mask::Windows(plate),
        backwards,
        steps: vec![],
        unexposed: vec![],
        told: None,
        cuts: vec![],
        sheet: size,
    }
}

/// A rectangle.
fn quad(along: (f64, f64), across: (f64, f64)) -> [Place; 4] {
    [
        (along.0, across.0),
        (along.0, across.1),
        (along.1, across.1),
        (along.1, across.0),
    ]
}
