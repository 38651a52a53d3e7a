//! A strip cut apart after its development, its pieces laid in a row.

use rand::Rng;

use super::arrange::{Arranged, Cut, Lies, Place, Telling};
use super::recipe::Level;
use crate::measure::geometry::Field as What;

/// Cuts a strip between its fields and lays the pieces in a row.
pub(super) fn cut_apart(
    rng: &mut impl Rng,
    level: Level,
    arranged: &mut Arranged,
    steps: usize,
    across: (f64, f64),
) {
    for edge in &mut arranged.edges {
        let middle = (edge.0 + edge.1) / 2.0;
        *edge = (middle, middle);
    }
    let width = arranged.size.1;
    let limit: f64 = level.pick(0.4, 1.0, 2.0);
    let gap = rng.random_range(0.8..5.0);
    let mut at = 0.0;
    let count = arranged.fields.len();
    let mut told = Telling {
        across: (across.0 + 2.0, width - 2.0),
        edges: vec![],
        fields: vec![],
    };
    for field in 0..count {
        // Cut a little inside the penumbra of the card.
        let mut inside = || rng.random_range(0.4..1.0);
        let along = (
            arranged.edges[field].0 + inside(),
            arranged.edges[field + 1].0 - inside(),
        );
        let cut = Cut {
            along,
            at: (at, rng.random_range(-0.6..0.6)),
            tilt: rng.random_range(-limit..limit).to_radians(),
        };
        let length = along.1 - along.0;
        at += length + gap * rng.random_range(0.6..1.4) + 0.3;
        if field > 0 {
            told.fields.push(What::Ignored);
        }
        told.fields.push(arranged.fields[field]);
        for end in [0.0, length] {
            let side = |across: f64| {
                cut.at.0 + end * cut.tilt.cos()
                    - (across - cut.at.1 - end * cut.tilt.sin()) * cut.tilt.tan()
            };
            told.edges.push((side(told.across.0), side(told.across.1)));
        }
        arranged.cuts.push(cut);
    }
    arranged.see(steps, across);
    let cuts = &arranged.cuts;
    let clip = |quad: &mut [Place; 4]| {
        let middle = (quad[0].0 + quad[2].0) / 2.0;
        let holds = |cut: &&Cut| cut.along.0 <= middle && middle <= cut.along.1;
        if let Some(cut) = cuts.iter().find(holds) {
            for corner in quad {
                corner.0 = corner.0.clamp(cut.along.0, cut.along.1);
            }
        }
    };
    for step in &mut arranged.steps {
        if let Lies::Quad(quad) = step {
            clip(quad);
        }
    }
    arranged.unexposed.iter_mut().for_each(clip);
    if across.0 > 0.0 {
        arranged.unexposed.extend(cuts.iter().map(|cut| {
            let (from, to) = cut.along;
            [(from, 0.0), (from, across.0), (to, across.0), (to, 0.0)]
        }));
    }
    arranged.told = Some(told);
    let last = cuts
        .last()
        .map_or(0.0, |cut| cut.at.0 + cut.along.1 - cut.along.0);
    arranged.sheet = (last, width);
}

impl Cut {
    /// Where a place of the coat came to lie in the row.
    pub fn in_row(&self, (along, across): Place) -> Place {
        let (c, s) = (self.tilt.cos(), self.tilt.sin());
        let u = along - self.along.0;
        (
            self.at.0 + u * c - across * s,
            self.at.1 + u * s + across * c,
        )
    }
}
