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

/// Equal errors: the textbook line with the variance known. Coats 1, 2, 3 with errors of 0.1
/// have a slope error of 0.1 / sqrt(2).
#[test]
fn the_line_through_three_coats_is_the_textbooks() {
    let values = Values::independent(&[1.0, 1.4, 1.8], &[0.1; 3]);
    let found = line(&values, &[1.0, 2.0, 3.0]).unwrap();
    assert!((found.slope.value.unwrap() - 0.4).abs() < 1e-12);
    assert!((found.slope.standard_error.unwrap() - 0.1 / 2f64.sqrt()).abs() < 1e-12);
    assert!(found.straight.unwrap() > 0.999);
    let middle = found.band[12];
    assert!((middle.thickness - 2.0).abs() < 1e-12 && (middle.value - 1.4).abs() < 1e-12);
    let half = 5.991_464_547f64.sqrt() * 0.1 / 3f64.sqrt();
    assert!((middle.upper - middle.value - half).abs() < 1e-6);
    let bent = Values::independent(&[1.0, 1.8, 1.8], &[0.1; 3]);
    // Away from the line by 0.8/sqrt(6) = 3.27 standard errors: 0.0011.
    let straight = line(&bent, &[1.0, 2.0, 3.0]).unwrap().straight.unwrap();
    assert!((straight - 0.0011).abs() < 1e-4, "{straight}");
    assert_eq!(line(&values, &[2.0; 3]), None);
}

/// Shared errors move the level, not the slope.
#[test]
fn a_line_s_slope_does_not_care_for_what_all_coatings_share() {
    let mut values = Values::independent(&[1.0, 1.4, 1.9], &[0.1, 0.2, 0.1]);
    let alone = line(&values, &[1.0, 2.0, 3.0]).unwrap().slope;
    values.covariance += DMatrix::from_element(3, 3, 0.3);
    let shared = line(&values, &[1.0, 2.0, 3.0]).unwrap().slope;
    assert!((alone.value.unwrap() - shared.value.unwrap()).abs() < 1e-9);
    assert!((alone.standard_error.unwrap() - shared.standard_error.unwrap()).abs() < 1e-9);
}

#[test]
fn the_thinnest_dark_enough_coat_comes_with_its_chance() {
    // Two coats are 0.03 below three, known to 0.02 each: within 0.05 when a normal of
    // deviation 0.0283 is above -0.02: 0.76. One coat is far off.
    let dmax = Values::independent(&[1.40, 1.77, 1.80], &[0.02; 3]);
    let found = thinnest(&dmax, &[1.0, 2.0, 3.0], DARK_ENOUGH).unwrap();
    assert_eq!(found.coating, 1);
    assert!((found.confidence - 0.760).abs() < 0.005, "{found:?}");
    assert!(found.chances[0] < 1e-3 && found.chances[2] > 0.99);
    let sure = Values::independent(&[1.40, 1.70, 1.80], &[0.02; 3]);
    assert_eq!(
        thinnest(&sure, &[1.0, 2.0, 3.0], DARK_ENOUGH)
            .unwrap()
            .coating,
        2
    );
}

#[test]
fn emulsion_on_a_piece_is_plain_arithmetic() {
    // A slate of 6 dm2 with 2 ml per dm2: 12 ml of 0.08 each.
    let (millilitres, price) = on_piece(2.0, 6.0, 80.0);
    assert!((millilitres - 12.0).abs() < 1e-12 && (price - 0.96).abs() < 1e-12);
}
