//! The formula of the characteristic curve, both ways, with exact derivatives.
//!
//! D(X) = Dmin + net F(k (X - X0)), F(z) = [1 - (1 + q e^z)^(-1/q)]^s.
//!
//! q = s = 1 is the logistic curve, q = 1 the generalised logistic of Richards (1959), and
//! q -> 0 with s = 1 the complementary log-log. Toe and shoulder have slopes of their own: the
//! toe falls off as e^(s z), the shoulder as e^(-z/q).
//!
//! The parameters are what is asked for, so that their errors need no conversion: Dmin, net
//! density, ISO range and the log exposure at an anchor density (net 0.60 where the steps
//! reach it: the speed point of ISO 6846). Shape parameters are left to ln q and ln s.

/// Net density of the speed point (ISO 6846; 0.60 from memory).
pub const SPEED_NET: f64 = 0.60;
/// Net density of the toe end of the exposure range (ISO 6846).
pub const TOE_NET: f64 = 0.04;
/// Share of the full net density at the shoulder end of the exposure range (ISO 6846).
pub const SHOULDER_SHARE: f64 = 0.90;

/// Count of parameters of a curve.
pub const PARAMETERS: usize = 6;
/// Place of Dmin among the parameters.
pub const DMIN: usize = 0;
/// Place of ln(net density).
pub const LN_NET: usize = 1;
/// Place of ln(ISO range).
pub const LN_RANGE: usize = 2;
/// Place of the log exposure (decades) at the anchor density.
pub const ANCHOR_X: usize = 3;
/// Place of ln q.
pub const LN_Q: usize = 4;
/// Place of ln s.
pub const LN_S: usize = 5;

/// Beyond this the curve has met its limits to the last bit, and exp would overflow.
const FAR: f64 = 200.0;

/// F and its derivatives by z, ln q and ln s.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Share {
    value: f64,
    by_z: f64,
    by_ln_q: f64,
    by_ln_s: f64,
}

/// z at a share and its derivatives by the share, ln q and ln s.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Place {
    value: f64,
    by_share: f64,
    by_ln_q: f64,
    by_ln_s: f64,
}

/// 1 - e^-l for l of 0 or more, at a third of the time of the exact function where nothing
/// cancels.
fn one_less_exp(l: f64) -> f64 {
    if l > 0.01 {
        1.0 - (-l).exp()
    } else {
        -(-l).exp_m1()
    }
}

/// -ln(1 + q u)^(-1/q), the negative log of what is left of the shoulder; q -> 0 gives u.
fn hazard(q: f64, u: f64) -> f64 {
    let qu = q * u;
    // Below this ln(1 + qu)/q is u (1 - qu/2) to the last bit, and q may be 0.
    if qu < 1e-9 {
        u * (1.0 - 0.5 * qu)
    } else {
        qu.ln_1p() / q
    }
}

fn share(q: f64, s: f64, z: f64) -> Share {
    let u = z.clamp(-FAR, FAR).exp();
    let l = hazard(q, u);
    let g = -(-l).exp_m1();
    let value = (s * g.ln()).exp();
    let l_by_z = u / (1.0 + q * u);
    let value_by_l = s * value / g * (-l).exp();
    Share {
        value,
        by_z: value_by_l * l_by_z,
        by_ln_q: value_by_l * (l_by_z - l),
        by_ln_s: s * value * g.ln(),
    }
}

fn place_value(q: f64, s: f64, share: f64) -> f64 {
    let g = (share.ln() / s).exp();
    let l = -(-g).ln_1p();
    ln_inverse_hazard(q, l)
}

/// ln u with hazard(q, u) = l.
fn ln_inverse_hazard(q: f64, l: f64) -> f64 {
    let ql = q * l;
    if ql < 1e-9 {
        l.ln() + 0.5 * ql
    } else if ql > 30.0 {
        // e^ql overflows long before its logarithm does.
        ql - q.ln() + (-(-ql).exp()).ln_1p()
    } else if ql > 0.01 {
        ((ql.exp() - 1.0) / q).ln()
    } else {
        (ql.exp_m1() / q).ln()
    }
}

fn place(q: f64, s: f64, share: f64) -> Place {
    let g = (share.ln() / s).exp();
    let l = -(-g).ln_1p();
    let ql = q * l;
    // ql / (1 - e^-ql): 1 + ql/2 + ql^2/12 near 0.
    let ratio = if ql < 1e-5 {
        1.0 + ql / 2.0 + ql * ql / 12.0
    } else {
        -ql / (-ql).exp_m1()
    };
    let z_by_g = ratio / l / (1.0 - g);
    Place {
        value: ln_inverse_hazard(q, l),
        by_share: z_by_g * g / (s * share),
        by_ln_q: ratio - 1.0,
        by_ln_s: -z_by_g * g * g.ln(),
    }
}

/// A curve with its parameters worked out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    /// Density of the margin.
    pub dmin: f64,
    /// Net density the curve tends to.
    pub net: f64,
    /// Slope of z by log exposure, per decade.
    pub k: f64,
    /// Shoulder shape.
    pub q: f64,
    /// Toe shape.
    pub s: f64,
    anchor_x: f64,
    anchor_z: f64,
    shoulder_z: f64,
}

impl Curve {
    /// The curve of `parameters`; `anchor_net` is the net density of the anchor.
    ///
    /// `None` where there is no such curve: the net density does not exceed the anchor or
    /// the toe's 0.04, or a parameter is not finite.
    pub fn new(parameters: &[f64], anchor_net: f64) -> Option<Self> {
        let net = parameters[LN_NET].exp();
        let (q, s) = (parameters[LN_Q].exp(), parameters[LN_S].exp());
        let decades = parameters[LN_RANGE].exp() / 100.0;
        if !(net > anchor_net && net * SHOULDER_SHARE > TOE_NET) {
            return None;
        }
        let shoulder_z = place_value(q, s, SHOULDER_SHARE);
        let toe_z = place_value(q, s, TOE_NET / net);
        let curve = Self {
            dmin: parameters[DMIN],
            net,
            k: (shoulder_z - toe_z) / decades,
            q,
            s,
            anchor_x: parameters[ANCHOR_X],
            anchor_z: place_value(q, s, anchor_net / net),
            shoulder_z,
        };
        let sound = curve.k.is_finite()
            && curve.k > 0.0
            && curve.anchor_z.is_finite()
            && curve.anchor_x.is_finite()
            && curve.dmin.is_finite()
            && net.is_finite();
        sound.then_some(curve)
    }

    fn z(&self, x: f64) -> f64 {
        self.anchor_z + self.k * (x - self.anchor_x)
    }

    /// Net density at log exposure `x` (decades); minus infinity gives 0.
    pub fn net_density(&self, x: f64) -> f64 {
        let u = self.z(x).clamp(-FAR, FAR).exp();
        let g = one_less_exp(hazard(self.q, u));
        self.net * (self.s * g.ln()).exp()
    }

    /// Density at log exposure `x` (decades).
    pub fn density(&self, x: f64) -> f64 {
        self.dmin + self.net_density(x)
    }

    /// Slope at log exposure `x`, density per decade.
    pub fn slope(&self, x: f64) -> f64 {
        self.net * self.k * share(self.q, self.s, self.z(x)).by_z
    }

    /// Log exposure (decades) where the net density is `net_density`.
    ///
    /// Infinite where the curve does not get there; minus infinity at 0 or below.
    pub fn x_at(&self, net_density: f64) -> f64 {
        if net_density >= self.net {
            f64::INFINITY
        } else if net_density <= 0.0 {
            f64::NEG_INFINITY
        } else {
            let z = place_value(self.q, self.s, net_density / self.net);
            self.anchor_x + (z - self.anchor_z) / self.k
        }
    }

    /// Log exposure (decades) of the shoulder end: 90 % of the full net density.
    pub fn shoulder_x(&self) -> f64 {
        self.anchor_x + (self.shoulder_z - self.anchor_z) / self.k
    }
}

/// The curve together with what its derivatives need.
#[derive(Debug, Clone, Copy)]
pub struct Derivatives {
    curve: Curve,
    /// Derivatives of the anchor's z by every parameter.
    anchor_z: [f64; PARAMETERS],
    /// Derivatives of k by every parameter.
    k: [f64; PARAMETERS],
}

impl Derivatives {
    /// Prepares the derivatives at `parameters`; `None` where [`Curve::new`] has none.
    pub fn new(parameters: &[f64], anchor_net: f64) -> Option<Self> {
        let curve = Curve::new(parameters, anchor_net)?;
        let decades = parameters[LN_RANGE].exp() / 100.0;
        let shoulder = place(curve.q, curve.s, SHOULDER_SHARE);
        let toe = place(curve.q, curve.s, TOE_NET / curve.net);
        let anchor = place(curve.q, curve.s, anchor_net / curve.net);
        let mut k = [0.0; PARAMETERS];
        k[LN_NET] = toe.by_share * TOE_NET / curve.net / decades;
        k[LN_RANGE] = -curve.k;
        k[LN_Q] = (shoulder.by_ln_q - toe.by_ln_q) / decades;
        k[LN_S] = (shoulder.by_ln_s - toe.by_ln_s) / decades;
        let mut anchor_z = [0.0; PARAMETERS];
        anchor_z[LN_NET] = -anchor.by_share * anchor_net / curve.net;
        anchor_z[LN_Q] = anchor.by_ln_q;
        anchor_z[LN_S] = anchor.by_ln_s;
        Some(Self { curve, anchor_z, k })
    }

    /// The curve itself.
    pub fn curve(&self) -> &Curve {
        &self.curve
    }

    /// Density at `x`, its derivatives by the parameters, and its slope by `x`.
    pub fn at(&self, x: f64) -> (f64, [f64; PARAMETERS], f64) {
        let curve = &self.curve;
        let away = x - curve.anchor_x;
        let share = share(curve.q, curve.s, curve.z(x));
        let mut by = [0.0; PARAMETERS];
        for (parameter, by) in by.iter_mut().enumerate() {
            let z_by = self.anchor_z[parameter] + away * self.k[parameter];
            *by = curve.net * share.by_z * z_by;
        }
        let slope = curve.net * share.by_z * curve.k;
        by[DMIN] = 1.0;
        by[LN_NET] += curve.net * share.value;
        by[ANCHOR_X] = -slope;
        by[LN_Q] += curve.net * share.by_ln_q;
        by[LN_S] += curve.net * share.by_ln_s;
        (curve.dmin + curve.net * share.value, by, slope)
    }

    /// Derivatives by the parameters of the log exposure where the net density is `net_density`.
    ///
    /// By the implicit function theorem on the net density; `None` where the curve does not
    /// get there.
    pub fn x_at(&self, net_density: f64) -> Option<[f64; PARAMETERS]> {
        let x = self.curve.x_at(net_density);
        if !x.is_finite() {
            return None;
        }
        let (_, mut by, slope) = self.at(x);
        by[DMIN] = 0.0;
        Some(by.map(|by| -by / slope))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHAPES: [(f64, f64); 5] = [
        (0.0, 0.0),
        (-3.0, 0.4),
        (1.2, -0.7),
        (-12.0, 0.0),
        (0.5, 0.9),
    ];

    fn parameters(ln_q: f64, ln_s: f64) -> [f64; PARAMETERS] {
        [0.07, 1.9f64.ln(), 105f64.ln(), 0.8, ln_q, ln_s]
    }

    #[test]
    fn derivatives_agree_with_central_differences() {
        for (ln_q, ln_s) in SHAPES {
            let at = parameters(ln_q, ln_s);
            let exact = Derivatives::new(&at, SPEED_NET).expect("the curve exists");
            for x in [-0.4, 0.3, 0.8, 1.3, 2.0] {
                let (density, by, slope) = exact.at(x);
                assert!((density - exact.curve().density(x)).abs() < 1e-14);
                for parameter in 0..PARAMETERS {
                    let step = 1e-5;
                    let moved = |by: f64| {
                        let mut moved = at;
                        moved[parameter] += by;
                        Curve::new(&moved, SPEED_NET).expect("exists").density(x)
                    };
                    let numeric = (moved(step) - moved(-step)) / (2.0 * step);
                    assert!(
                        (numeric - by[parameter]).abs() < 1e-8,
                        "parameter {parameter} at {x}, ln q {ln_q}: {numeric} {}",
                        by[parameter]
                    );
                }
                let curve = exact.curve();
                let numeric = (curve.density(x + 1e-5) - curve.density(x - 1e-5)) / 2e-5;
                assert!((numeric - slope).abs() < 1e-8);
                assert!((curve.slope(x) - slope).abs() < 1e-13);
            }
        }
    }

    #[test]
    fn log_exposure_at_a_density_undoes_density_at_a_log_exposure() {
        for (ln_q, ln_s) in SHAPES {
            let curve = Curve::new(&parameters(ln_q, ln_s), SPEED_NET).expect("exists");
            for net in [1e-4, 0.04, 0.3, 0.6, 1.2, 1.7, 1.89] {
                assert!((curve.net_density(curve.x_at(net)) - net).abs() < 1e-10);
            }
        }
    }

    #[test]
    fn the_parameters_are_the_points_of_the_standard() {
        for (ln_q, ln_s) in SHAPES {
            let curve = Curve::new(&parameters(ln_q, ln_s), SPEED_NET).expect("exists");
            assert!((curve.x_at(SPEED_NET) - 0.8).abs() < 1e-12);
            let shoulder = curve.x_at(SHOULDER_SHARE * curve.net);
            assert!((shoulder - curve.shoulder_x()).abs() < 1e-12);
            assert!((100.0 * (shoulder - curve.x_at(TOE_NET)) - 105.0).abs() < 1e-9);
        }
    }

    #[test]
    fn unit_shapes_are_the_logistic_curve() {
        let curve = Curve::new(&parameters(0.0, 0.0), SPEED_NET).expect("exists");
        let middle = curve.x_at(0.95);
        for x in [0.2, 0.9, 1.5] {
            let logistic = 0.07 + 1.9 / (1.0 + (-curve.k * (x - middle)).exp());
            assert!((curve.density(x) - logistic).abs() < 1e-12);
        }
    }

    #[test]
    fn a_vanishing_shoulder_shape_is_the_complementary_log_log_curve() {
        let curve = Curve::new(&parameters(-40.0, 0.0), SPEED_NET).expect("exists");
        let x0 = curve.x_at(1.9 * (1.0 - (-1f64).exp()));
        for x in [0.2, 0.9, 1.5] {
            let limit = 0.07 + 1.9 * (1.0 - (-(curve.k * (x - x0)).exp()).exp());
            assert!((curve.density(x) - limit).abs() < 1e-12);
        }
    }

    #[test]
    fn the_curve_stays_within_its_limits_however_far_the_exposure() {
        for (ln_q, ln_s) in SHAPES {
            let exact = Derivatives::new(&parameters(ln_q, ln_s), SPEED_NET).expect("exists");
            for x in [-1e6, -30.0, 30.0, 1e6] {
                let (density, by, slope) = exact.at(x);
                assert!((0.07..=1.97 + 1e-12).contains(&density));
                assert!(slope.is_finite() && by.iter().all(|by| by.is_finite()));
            }
        }
    }

    #[test]
    fn a_curve_that_never_reaches_its_anchor_does_not_exist() {
        let mut low = parameters(0.0, 0.0);
        low[LN_NET] = 0.55f64.ln();
        assert!(Curve::new(&low, SPEED_NET).is_none());
        assert!(
            Curve::new(&low, 0.3)
                .expect("exists")
                .x_at(SPEED_NET)
                .is_infinite()
        );
    }
}
