//! The mean frequency of a steady tone in white noise is as good as theory
//! allows. The whole table is printed by `cargo bench --bench bound`.

#[path = "support/steady_tone.rs"]
mod steady_tone;

use steady_tone::Cell;

const TRIALS: usize = 200;

/// Four standard deviations of a root mean square over that many records.
const CHANCE: f64 = 0.2;

fn errors_stay_below(limit: f64, cells: &[(f64, f64, f64)]) {
    for &(tone_hz, snr_db, length_s) in cells {
        let cell = Cell {
            tone_hz,
            snr_db,
            length_s,
        };
        let errors = cell.errors(TRIALS);
        assert_eq!(errors.missing, 0, "{cell:?}");
        assert!(errors.rms < limit * (1.0 + CHANCE), "{cell:?}: {errors:?}");
        let of_mean = 0.1 + 4.0 / (TRIALS as f64).sqrt();
        assert!(errors.mean.abs() < of_mean, "{cell:?}: {errors:?}");
    }
}

#[test]
fn from_a_fifth_of_a_second_up_within_a_tenth_of_it() {
    errors_stay_below(
        1.1,
        &[
            (300.0, 80.0, 0.2),
            (3150.0, 40.0, 0.2),
            (3150.0, 60.0, 1.0),
            (10_000.0, 20.0, 1.0),
        ],
    );
}

#[test]
fn records_of_50_and_100_ms_within_a_fifth_of_it() {
    errors_stay_below(
        1.2,
        &[
            (300.0, 20.0, 0.05),
            (3150.0, 80.0, 0.05),
            (1000.0, 40.0, 0.1),
            (10_000.0, 60.0, 0.1),
        ],
    );
}
