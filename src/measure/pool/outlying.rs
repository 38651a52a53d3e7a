//! Sessions that the others don't explain.

use nalgebra::{DMatrix, DVector};
use serde::Serialize;

use super::between::{Between, between_variance};
use super::model::Model;
use super::student::{student_quantile, student_two_sided};
use super::{ENOUGH_SESSIONS, Effect};

/// Chance that any session of a set without outlying ones is pointed out.
const FALSE_ALARMS: f64 = 0.05;

/// Which way a session lies from the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// Its value is higher.
    Above,
    /// Its value is lower.
    Below,
}

/// A session that the others don't explain. It stays in the pool.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Outlying {
    /// Which, from 0.
    pub session: usize,
    /// Which way.
    pub direction: Direction,
    /// How far its value is from what the others foretell, in its unit.
    pub away: f64,
    /// The same in standard errors: the studentised deleted residual.
    pub residual: f64,
    /// Size of residual that one of so many sessions reaches by chance once in twenty sets.
    pub bound: f64,
    /// Chance of a residual this large somewhere among so many sessions (Bonferroni).
    pub p: f64,
}

/// Sessions whose studentised deleted residual is beyond what chance explains among so many,
/// farthest first.
///
/// Each session is held against a fit of the others (Viechtbauer & Cheung 2010, Res. Synth.
/// Methods 1:112), by Student's t with the others' degrees of freedom, at 5 % for all together
/// (Bonferroni). What sessions share (`shared`, a covariance) sets no session apart. Fewer than four sessions have no outlying one: nobody can say which it is.
pub fn outlying(effects: &[Effect], shared: &DMatrix<f64>) -> Vec<Outlying> {
    let count = effects.len();
    if count < ENOUGH_SESSIONS {
        return vec![];
    }
    let mut found: Vec<Outlying> = (0..count)
        .filter_map(|session| {
            let mut others = effects.to_vec();
            let own = others.remove(session);
            let among = shared.clone().remove_row(session);
            let with: DVector<f64> = among.column(session).into_owned();
            let among = among.remove_column(session);
            let model = Model::mean(&others).ok()?.sharing(&among);
            let between = between_variance(&model, Between::RestrictedLikelihood);
            let fit = model.fit(between);
            // The others' residuals may show more than their errors say, or by luck less.
            let error = fit.knapp_hartung_error(0).max(fit.plain_error(0));
            let away = own.value - fit.coefficients[0];
            // Of what both share only the difference counts.
            let in_common = shared[(session, session)] - 2.0 * (fit.shares.row(0) * with)[0];
            let variance = own.variance() + between + error * error + in_common;
            let residual = away / variance.max(own.variance()).sqrt();
            let freedom = model.freedom();
            let chances = count as f64;
            Some(Outlying {
                session,
                direction: if away > 0.0 {
                    Direction::Above
                } else {
                    Direction::Below
                },
                away,
                residual,
                bound: student_quantile(1.0 - FALSE_ALARMS / (2.0 * chances), freedom),
                p: (chances * student_two_sided(residual, freedom)).min(1.0),
            })
        })
        .filter(|session| session.residual.abs() > session.bound)
        .collect();
    found.sort_by(|a, b| b.residual.abs().total_cmp(&a.residual.abs()));
    found
}
