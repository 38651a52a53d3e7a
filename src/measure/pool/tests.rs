//! Laws of pooling; published figures are in tests/references/pooling.rs.

use super::*;

fn effects(values: &[f64], standard_error: f64) -> Vec<Effect> {
    values
        .iter()
        .map(|&value| Effect {
            value,
            standard_error,
        })
        .collect()
}

/// With equal errors REML is the sample variance less the error's, the mean the plain mean
/// and Hartung & Knapp's interval that of one sample: closed form.
#[test]
fn equal_errors_are_a_plain_sample() {
    let values = [2.1, 2.9, 2.4, 2.6, 2.0];
    let pooled = pool(&effects(&values, 0.1), &Wish::STOPS).unwrap();
    let mean = values.iter().sum::<f64>() / 5.0;
    let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 4.0;
    assert!((pooled.mean.value.unwrap() - mean).abs() < 1e-12);
    let between = pooled.between.value.unwrap();
    assert!((between.powi(2) - (variance - 0.01)).abs() < 1e-9);
    let half = 2.776_445_105 * (variance / 5.0).sqrt();
    let model = Model::mean(&effects(&values, 0.1)).unwrap();
    let fit = model.fit(between.powi(2));
    assert!((fit.half_width(0) - half).abs() < 1e-8);
    // Below ten sessions the interval is never narrower than that of the confidence distribution
    // of the variance between, which is nearly the same here.
    let found = pooled.mean.half_width().unwrap();
    assert!(
        (half..1.1 * half).contains(&(found + 1e-9)),
        "{found} {half}"
    );
    // Where sessions differ clearly the next one is one more of the sample: Student's t with
    // 4 degrees of freedom and the variance times 1 + 1/5 (any textbook).
    let clear = pool(&effects(&values, 0.001), &Wish::STOPS).unwrap();
    let half = 2.776_445_105 * (variance * 1.2).sqrt();
    let found = clear.next.estimate().half_width().unwrap();
    assert!((found / half - 1.0).abs() < 0.005, "{found} {half}");
    assert!((clear.next.freedom - 4.0).abs() < 0.2, "{:?}", clear.next);
}

#[test]
fn a_shift_of_all_sessions_shifts_the_mean_and_nothing_else() {
    let values = [2.1, 2.9, 2.4, 2.6];
    for count in 1..=4 {
        let one = pool(&effects(&values[..count], 0.1), &Wish::STOPS).unwrap();
        let moved: Vec<f64> = values[..count].iter().map(|v| v + 3.0).collect();
        let other = pool(&effects(&moved, 0.1), &Wish::STOPS).unwrap();
        assert!((other.next.centre - one.next.centre - 3.0).abs() < 1e-6);
        assert!((other.next.scale - one.next.scale).abs() < 1e-6);
        assert!((other.between.value.unwrap() - one.between.value.unwrap()).abs() < 1e-6);
    }
}

/// One session tells nothing about the scatter between: what is left is the prior, whose
/// quantiles are those of Student's t (any table: 0.75 point 0.7407, 0.975 point 2.776).
#[test]
fn one_session_leaves_the_prior_of_the_scatter() {
    let pooled = pool(&effects(&[2.5], 0.1), &Wish::STOPS).unwrap();
    assert_eq!(pooled.basis, Basis::Prior);
    let median = pooled.between.value.unwrap();
    assert!((median - 0.7407 * 0.15).abs() < 1e-3, "{median}");
    let (_, high) = pooled.between.bounds().unwrap();
    // Half a t has its 0.975 point at the whole one's 0.9875: 3.495 (4 degrees of freedom).
    assert!((high - 3.495 * 0.15).abs() < 5e-3, "{high}");
    let mean = pooled.mean.half_width().unwrap();
    let next = pooled.next.estimate().half_width().unwrap();
    // The mean over sessions is as unknown as this session's place among them.
    assert!(mean > 0.3 && next > mean, "{mean} {next}");
    let Settled::After { pairs, chance } = pooled.settled else {
        panic!("{:?}", pooled.settled)
    };
    // Chance of half a t below (1/6)/1.96/0.15 = 0.567 (4 degrees of freedom): 0.40.
    assert!(
        pairs >= 3 && (chance - 0.40).abs() < 0.02,
        "{pairs} {chance}"
    );
}

/// The posterior against direct integration by brute force over mean and deviation.
#[test]
fn the_posterior_of_two_sessions_is_that_of_brute_force() {
    let sessions = effects(&[2.2, 2.5], 0.1);
    let pooled = pool(&sessions, &Wish::STOPS).unwrap();
    let prior = |tau: f64| (1.0 + (tau / 0.15f64).powi(2) / 4.0).powf(-2.5);
    let (mut all, mut weighted) = (0.0, 0.0);
    for t in 0..2000 {
        let tau = 0.002 * (f64::from(t) + 0.5);
        let variance = 0.01 + tau * tau;
        for m in 0..600 {
            let mu = 2.35 + 0.02 * (f64::from(m) - 299.5);
            let squares = (2.2 - mu).powi(2) + (2.5 - mu).powi(2);
            let density = prior(tau) / variance * (-0.5 * squares / variance).exp();
            all += density;
            if tau < pooled.between.value.unwrap() {
                weighted += density;
            }
        }
    }
    assert!((weighted / all - 0.5).abs() < 0.005, "{}", weighted / all);
}

#[test]
fn sessions_that_agree_by_luck_don_t_claim_more_than_their_errors() {
    let pooled = pool(&effects(&[2.5, 2.5, 2.5, 2.5001], 0.2), &Wish::STOPS).unwrap();
    assert_eq!(pooled.between.value, Some(0.0));
    let half = pooled.mean.half_width().unwrap();
    assert!((half - 1.96 * 0.1).abs() < 1e-4, "{half}");
}

#[test]
fn a_strange_session_is_pointed_out_and_stays_in() {
    let mut values = vec![2.50, 2.55, 2.45, 2.52, 2.48, 2.53, 2.47];
    let clean = pool(&effects(&values, 0.05), &Wish::STOPS).unwrap();
    assert_eq!(clean.outlying, vec![]);
    assert_eq!(clean.settled, Settled::Yes);
    values[3] = 3.4;
    let pooled = pool(&effects(&values, 0.05), &Wish::STOPS).unwrap();
    assert_eq!(pooled.outlying.len(), 1);
    let strange = pooled.outlying[0];
    assert_eq!((strange.session, strange.direction), (3, Direction::Above));
    assert!((strange.away - 0.903).abs() < 0.01);
    assert_eq!(pooled.sessions, 7);
    assert!(pooled.mean.value > clean.mean.value);
}

#[test]
fn scatter_beyond_the_tolerance_is_not_settled_by_any_number_of_pairs() {
    let pooled = pool(&effects(&[2.0, 3.0, 2.5, 2.2, 2.9], 0.05), &Wish::STOPS).unwrap();
    let Settled::Never { least_half_width } = pooled.settled else {
        panic!("{:?}", pooled.settled)
    };
    assert!(least_half_width > 0.5);
}

#[test]
fn what_can_t_be_pooled_says_why() {
    assert_eq!(pool(&[], &Wish::STOPS), Err(CannotPool::NoSession));
    let mut sessions = effects(&[2.0, 3.0], 0.1);
    sessions[1].standard_error = 0.0;
    let refused = pool(&sessions, &Wish::STOPS);
    assert_eq!(refused, Err(CannotPool::NotANumber { number: 2 }));
}
