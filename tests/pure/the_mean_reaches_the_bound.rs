//! The mean frequency of a steady tone in white noise is as good as theory
//! allows. The whole table is printed by `cargo bench --bench bound`.

use crate::support::steady_tone::Cell;

/// Chance is allowed three standard deviations: a root mean square over n
/// records spreads by 1/√(2n) of itself, a mean by 1/√n of it.
fn errors_stay_below(limit: f64, trials: usize, cells: &[(f64, f64, f64)]) {
    let count = trials as f64;
    for &(tone_hz, snr_db, length_s) in cells {
        let cell = Cell {
            tone_hz,
            snr_db,
            length_s,
        };
        let errors = cell.errors(trials);
        assert_eq!(errors.missing, 0, "{cell:?}");
        let most = limit * (1.0 + 3.0 / (2.0 * count).sqrt());
        assert!(errors.rms < most, "{cell:?}: {errors:?}");
        let of_mean = 0.1 + 3.0 / count.sqrt();
        assert!(errors.mean.abs() < of_mean, "{cell:?}: {errors:?}");
    }
}

#[test]
fn from_a_fifth_of_a_second_up_within_a_tenth_of_it() {
    errors_stay_below(1.1, 1000, &[(300.0, 80.0, 0.2), (3150.0, 40.0, 0.2)]);
    errors_stay_below(1.1, 300, &[(3150.0, 60.0, 1.0), (10_000.0, 20.0, 1.0)]);
}

#[test]
fn records_of_50_and_100_ms_within_a_fifth_of_it() {
    errors_stay_below(
        1.2,
        1000,
        &[
            (300.0, 20.0, 0.05),
            (3150.0, 80.0, 0.05),
            (1000.0, 40.0, 0.1),
            (10_000.0, 60.0, 0.1),
        ],
    );
}
