//! What keeps the light off parts of a strip: blades around it, or a plate with windows.

/// A mask in the plane of the coat; places in millimetres along and across it.
#[derive(Debug, Clone, PartialEq)]
pub enum Mask {
    /// None.
    Open,
    /// Straight blades around what is exposed.
    Blades(Blades),
    /// A plate with one window a step.
    Windows(Vec<Window>),
}

/// Blades; one that isn't there lies at infinity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blades {
    /// From where to where light passes, along.
    pub along: (f64, f64),
    /// The same across.
    pub across: (f64, f64),
    /// Half width of their penumbra.
    pub soft: f64,
}

impl Blades {
    /// Share of the light that passes.
    pub fn passes(&self, along: f64, across: f64) -> f64 {
        let inside =
            |from: f64, to: f64, at: f64| edge(at - from, self.soft) * edge(to - at, self.soft);
        inside(self.along.0, self.along.1, along) * inside(self.across.0, self.across.1, across)
    }
}

/// A window through which one step was exposed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// From where to where, along.
    pub along: (f64, f64),
    /// The same across.
    pub across: (f64, f64),
    /// A disc in the middle of that, as wide as the lesser of both.
    pub round: bool,
    /// Light that passed.
    pub light: f64,
    /// Half width of the penumbra.
    pub soft: f64,
}

impl Window {
    /// Centre, and the radius if it is round.
    pub fn disc(&self) -> ((f64, f64), f64) {
        let ((a, b), (c, d)) = (self.along, self.across);
        (((a + b) / 2.0, (c + d) / 2.0), (b - a).min(d - c) / 2.0)
    }

    /// Light that it gives a place.
    pub fn gives(&self, along: f64, across: f64) -> f64 {
        let reach = self.soft;
        if along < self.along.0 - reach
            || along > self.along.1 + reach
            || across < self.across.0 - reach
            || across > self.across.1 + reach
        {
            return 0.0;
        }
        if self.round {
            let (centre, radius) = self.disc();
            let away = (along - centre.0).hypot(across - centre.1);
            return self.light * edge(radius - away, self.soft);
        }
        let blades = Blades {
            along: self.along,
            across: self.across,
            soft: self.soft,
        };
        self.light * blades.passes(along, across)
    }
}

/// Share of the light this far inside an edge.
fn edge(inside: f64, soft: f64) -> f64 {
    smooth(inside / (2.0 * soft) + 0.5)
}

/// Rises smoothly from 0 to 1 between 0 and 1.
pub fn smooth(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}
