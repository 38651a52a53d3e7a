//! True characteristic curves: families that the fit does not know, set by what is asked.
//!
//! Every family is a rising shape g(z) from 0 to 1; density is Dmin + net g((X - X0) / w).
//! X0 and w follow from the wanted speed point and ISO range (ISO 6846: net 0.60; net 0.04
//! to 0.90 of full net), so truth is exact up to root finding.

use serde::{Deserialize, Serialize};

use super::shape::Shape;

/// Net density of the toe point of the ISO range (ISO 6846).
pub const TOE_NET: f64 = 0.04;
/// Net density of the speed point (ISO 6846).
pub const SPEED_NET: f64 = 0.60;
/// Share of full net density at the shoulder point of the ISO range (ISO 6846).
pub const SHOULDER_SHARE: f64 = 0.90;

/// What is asked of a curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Wanted {
    /// Density without exposure.
    pub dmin: f64,
    /// Density that the curve tends to.
    pub dmax: f64,
    /// Log exposure of the speed point, decades.
    pub speed_point: f64,
    /// ISO range R (100 times decades).
    pub range: f64,
}

/// A curve with known truth.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueCurve {
    /// Density without exposure.
    pub dmin: f64,
    /// Full net density.
    pub net: f64,
    /// Shape.
    pub shape: Shape,
    /// Log exposure where the shape's z is 0.
    origin: f64,
    /// Decades per unit of z.
    width: f64,
}

impl TrueCurve {
    /// The curve of a shape that has the wanted quantities.
    ///
    /// The full net density is taken as at least 0.70, so that the speed point exists.
    pub fn new(shape: Shape, wanted: &Wanted) -> Self {
        let net = (wanted.dmax - wanted.dmin).max(0.70);
        let toe = shape.inverse(TOE_NET / net, net);
        let shoulder = shape.inverse(SHOULDER_SHARE, net);
        let width = wanted.range / 100.0 / (shoulder - toe);
        let origin = wanted.speed_point - width * shape.inverse(SPEED_NET / net, net);
        Self {
            dmin: wanted.dmin,
            net,
            shape,
            origin,
            width,
        }
    }

    /// Density at a log exposure; minus infinity gives Dmin.
    pub fn density(&self, log_exposure: f64) -> f64 {
        if log_exposure == f64::NEG_INFINITY {
            return self.dmin;
        }
        let z = (log_exposure - self.origin) / self.width;
        self.dmin + self.net * self.shape.at(z, self.net)
    }

    /// Log exposure at a net density between 0 and the full one.
    pub fn log_exposure_at_net(&self, net: f64) -> f64 {
        self.origin + self.width * self.shape.inverse(net / self.net, self.net)
    }

    /// Density that the curve tends to.
    pub fn dmax(&self) -> f64 {
        self.dmin + self.net
    }

    /// The points of ISO 6846, found on the curve itself.
    pub fn points(&self) -> IsoPoints {
        let around = (
            self.origin - 60.0 * self.width,
            self.origin + 60.0 * self.width,
        );
        IsoPoints::of(&|x| self.density(x), self.dmin, self.dmax(), around)
    }

    /// Log exposure of the speed point.
    pub fn speed_point(&self) -> f64 {
        self.log_exposure_at_net(SPEED_NET)
    }
}

/// The points of a paper's curve that ISO 6846 names, as log exposures in decades.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IsoPoints {
    /// Net density 0.04.
    pub toe: f64,
    /// Net density 0.60.
    pub speed: f64,
    /// 90 % of full net density.
    pub shoulder: f64,
    /// Full net density.
    pub net: f64,
}

impl IsoPoints {
    /// Finds the points on any rising curve by bisection between two log exposures.
    pub fn of(curve: &dyn Fn(f64) -> f64, dmin: f64, dmax: f64, between: (f64, f64)) -> Self {
        let net = dmax - dmin;
        let find = |net: f64| {
            let (mut low, mut high) = between;
            for _ in 0..90 {
                let middle = 0.5 * (low + high);
                if curve(middle) - dmin < net {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            0.5 * (low + high)
        };
        Self {
            toe: find(TOE_NET),
            speed: find(SPEED_NET),
            shoulder: find(SHOULDER_SHARE * net),
            net,
        }
    }

    /// ISO range R: 100 times the decades from toe to shoulder.
    pub fn range(&self) -> f64 {
        100.0 * (self.shoulder - self.toe)
    }

    /// Net density gained per decade between toe and shoulder.
    pub fn mean_gradient(&self) -> f64 {
        (SHOULDER_SHARE * self.net - TOE_NET) / (self.shoulder - self.toe)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;

    #[test]
    fn every_family_has_the_quantities_that_were_asked() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        for family in super::super::shape::Family::ALL {
            for _ in 0..20 {
                let shape = Shape::draw(family, &mut rng);
                let wanted = Wanted {
                    dmin: 0.08,
                    dmax: 1.75,
                    speed_point: -1.3,
                    range: 112.0,
                };
                let curve = TrueCurve::new(shape, &wanted);
                let at = |decades: f64| curve.density(decades) - 0.08;
                assert!((at(-1.3) - 0.60).abs() < 1e-9, "{shape:?}");
                assert!((curve.points().range() - 112.0).abs() < 1e-6);
                // Found on the curve itself, not through its inverse.
                let toe = climb(&at, 0.04);
                let shoulder = climb(&at, 0.9 * 1.67);
                assert!(
                    ((shoulder - toe) * 100.0 - 112.0).abs() < 0.01,
                    "{shape:?} {toe} {shoulder}"
                );
                assert!((at(8.0) - 1.67).abs() < 0.01, "{shape:?} {}", at(8.0));
            }
        }
    }

    #[test]
    fn iso_points_agree_with_the_analytic_answers_for_a_logistic_curve() {
        // Definitions of ISO 6846:1992; the check curves and their answers, worked out
        // analytically, are synthetic_check_curves of testdata/references/iso_6846.json.
        let table: serde_json::Value =
            serde_json::from_str(include_str!("../../testdata/references/iso_6846.json")).unwrap();
        let curves = table["synthetic_check_curves"].as_array().unwrap();
        assert_eq!(curves.len(), 4);
        for known in curves {
            let value = |name: &str| known[name].as_f64().unwrap();
            let (dmin, dmax) = (value("Dmin"), value("Dmax"));
            let logistic =
                |x: f64| dmin + (dmax - dmin) / (1.0 + 10f64.powf(-value("k") * (x - value("x0"))));
            let points = IsoPoints::of(&logistic, dmin, dmax, (-10.0, 10.0));
            assert!((points.speed - value("x_m")).abs() < 1e-9);
            assert!((points.range() - value("R_unrounded")).abs() < 1e-6);
            let gradient = value("average_gradient_T_to_S");
            assert!((points.mean_gradient() - gradient).abs() < 1e-9);
        }
    }

    #[test]
    fn density_rises_with_exposure_in_every_family() {
        let mut rng = ChaCha8Rng::seed_from_u64(6);
        let wanted = Wanted {
            dmin: 0.05,
            dmax: 1.4,
            speed_point: 0.0,
            range: 90.0,
        };
        for family in super::super::shape::Family::ALL {
            let curve = TrueCurve::new(Shape::draw(family, &mut rng), &wanted);
            let mut last = curve.density(f64::NEG_INFINITY);
            for k in -300..300 {
                let density = curve.density(f64::from(k) / 100.0);
                assert!(density >= last - 1e-12, "{family:?} at {k}");
                last = density;
            }
        }
    }

    /// First exposure on a fine ladder where the net density is reached, with interpolation.
    fn climb(net_at: &dyn Fn(f64) -> f64, net: f64) -> f64 {
        let mut x = -6.0;
        while net_at(x) < net {
            x += 1e-4;
        }
        let (below, above) = (net_at(x - 1e-4), net_at(x));
        x - 1e-4 * (above - net) / (above - below)
    }
}
