//! Laws of joint intervals; published tables are in tests/references/multiple.rs.

use nalgebra::DMatrix;

use super::*;

/// The largest |t| by quasi-Monte Carlo against the exact integrals: how far it may be off.
const DRAWN: f64 = 0.004;

fn shaken(values: &Values) -> Values {
    // A correlation far below anything that matters takes the general way.
    let mut shaken = values.clone();
    let small = 1e-6 * values.covariance[(0, 0)];
    shaken.covariance[(0, 1)] += small;
    shaken.covariance[(1, 0)] += small;
    shaken
}

#[test]
fn the_general_way_gives_tukeys_and_dunnetts_bounds_in_the_classical_cases() {
    for count in [3, 5, 8] {
        for freedom in [10.0, f64::INFINITY] {
            let mut values = Values::independent(&vec![0.0; count], &vec![0.2; count]);
            values.freedom = freedom;
            for among in [Among::AllPairs, Among::Against(1)] {
                let exact = together(&values, &among);
                let drawn = together(&shaken(&values), &among);
                assert_ne!(exact.bound, Bound::LargestOfAll);
                assert_eq!(drawn.bound, Bound::LargestOfAll);
                let off = drawn.critical / exact.critical - 1.0;
                assert!(off.abs() < DRAWN, "{count} {freedom} {among:?}: {off}");
            }
        }
    }
}

/// What all coatings share (the reference strip) cancels in every difference.
#[test]
fn an_error_that_all_share_changes_nothing() {
    let alone = Values::independent(&[1.0, 1.3, 1.1], &[0.1, 0.15, 0.2]);
    let mut shared = alone.clone();
    shared.covariance += DMatrix::from_element(3, 3, 0.5);
    let (one, other) = (
        together(&shaken(&alone), &Among::AllPairs),
        together(&shared, &Among::AllPairs),
    );
    for (one, other) in one.differences.iter().zip(&other.differences) {
        assert!((one.difference.value.unwrap() - other.difference.value.unwrap()).abs() < 1e-12);
        let (one, other) = (
            one.difference.half_width().unwrap(),
            other.difference.half_width().unwrap(),
        );
        assert!((one / other - 1.0).abs() < DRAWN, "{one} {other}");
    }
}

/// Hayter 1984: with unequal errors Kramer's bound is wider than needed, never narrower; and no
/// bound is narrower than that of one comparison, none wider than Bonferroni's.
#[test]
fn unequal_errors_lie_between_a_single_t_and_kramers_bound() {
    let values = Values::independent(&[0.0; 4], &[0.1, 0.2, 0.4, 0.8]);
    let found = together(&values, &Among::AllPairs).critical;
    let kramer = studentised_range(0.95, 4, f64::INFINITY) / std::f64::consts::SQRT_2;
    assert!(1.96 < found && found < kramer, "{found} {kramer}");
}

#[test]
fn a_list_of_one_is_students_t_and_a_pair_with_itself_is_no_question() {
    let values = Values::independent(&[1.0, 2.0], &[0.3, 0.4]);
    let list = together(&values, &Among::List(vec![(1, 0), (1, 1), (5, 0)]));
    assert_eq!(list.differences.len(), 1);
    assert!((list.critical - 1.96).abs() < 1e-3);
    let one = list.differences[0];
    assert_eq!(one.difference.standard_error, Some(0.5));
    // z = 2: 0.0455 in any table.
    assert!((one.p - 0.0455).abs() < 1e-4 && one.p == one.p_holm);
}
