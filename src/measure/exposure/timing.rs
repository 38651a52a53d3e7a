//! How surely the exposures of a strip's steps are known: the hand at the switch, and the list of
//! the step tablet.

use nalgebra::DMatrix;

use super::{Exposures, Series};

impl Exposures {
    /// Covariance of the steps' log exposures, decades squared, in the order of the series.
    ///
    /// `timing` is the standard error of one burst that is timed by hand, seconds; bursts err
    /// independently, so that a step which was built up has the errors of all its bursts, and shares
    /// them with the steps that got more. `tablet` is the standard error of a listed transmission
    /// density: a strip through a step tablet has one burst, whose error is the same for all steps
    /// and is not counted.
    pub fn log_exposure_covariance(&self, lag: f64, timing: f64, tablet: f64) -> DMatrix<f64> {
        let steps = self.series.steps();
        if let Series::PrintedWedge { .. } = self.series {
            return DMatrix::from_diagonal_element(steps, steps, tablet * tablet);
        }
        let doses = self.series.doses();
        // Decades per second of light.
        let by_time: Vec<f64> = doses
            .iter()
            .map(|dose| {
                let light = dose.total.0 - lag * f64::from(dose.bursts);
                let light = light.max(dose.total.0 * LEAST_SHARE);
                1.0 / (light * std::f64::consts::LN_10)
            })
            .collect();
        let built_up = matches!(self.series, Series::BuildingUp { .. });
        DMatrix::from_fn(steps, steps, |i, j| {
            let bursts = match (built_up, i == j) {
                (true, _) => f64::from(doses[i].bursts.min(doses[j].bursts)),
                (false, true) => 1.0,
                (false, false) => 0.0,
            };
            timing * timing * bursts * by_time[i] * by_time[j]
        })
    }
}

/// Least share of a step's time that the lag leaves, so that errors stay finite.
const LEAST_SHARE: f64 = 0.02;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::units::Seconds;

    fn exposures(series: Series) -> Exposures {
        Exposures {
            series,
            f_number: 8.0,
            magnification: None,
            filter_density: None,
            height: None,
            focal_length: None,
        }
    }

    /// 0.2 s in 2 s is a tenth, 0.0434 decades; by hand.
    #[test]
    fn a_short_time_errs_by_more_and_bursts_add_up() {
        let times = [2.0, 4.0, 8.0].map(Seconds).to_vec();
        let each = exposures(Series::OneAtATime { times }).log_exposure_covariance(0.0, 0.2, 0.02);
        assert!((each[(0, 0)].sqrt() - 0.043_43).abs() < 1e-5);
        assert!((each[(2, 2)].sqrt() - 0.010_86).abs() < 1e-5);
        assert_eq!(each[(0, 1)], 0.0);
        let bursts = vec![Seconds(2.0); 4];
        let built = exposures(Series::BuildingUp { bursts });
        let built = built.log_exposure_covariance(0.0, 0.2, 0.02);
        // Four bursts of 2 s: 0.4 s in 8 s; the first burst is in all.
        assert!((built[(3, 3)].sqrt() - 0.05 / std::f64::consts::LN_10).abs() < 1e-6);
        assert!((built[(0, 3)] - 0.1 * 0.025 / std::f64::consts::LN_10.powi(2)).abs() < 1e-9);
    }

    #[test]
    fn a_step_tablet_errs_by_its_list_whatever_the_hand_does() {
        let tablet = exposures(Series::PrintedWedge {
            time: Seconds(20.0),
            densities: vec![0.6, 0.3, 0.0],
        });
        let found = tablet.log_exposure_covariance(0.0, 0.3, 0.02);
        assert_eq!(found, DMatrix::from_diagonal_element(3, 3, 0.0004));
    }
}
