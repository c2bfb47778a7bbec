//! The ± of every figure holds the truth about 95 times in 100. (Many more
//! records, lengths and kinds: `cargo bench --bench coverage`.)

#[path = "support/unsteady.rs"]
mod unsteady;

use tapewright::readings::Measurement;
use tapewright::units::Percent;
use unsteady::{Kind, LongRun, measured};

const RECORDS: u64 = 150;
const SECONDS: f64 = 11.0;

/// Of the record, that much is valid flutter.
const VALID_S: f64 = SECONDS - 4.6;

/// Of so few records the share that is covered scatters by 1.8 %.
const LEAST: u64 = RECORDS * 90 / 100;

fn covered(got: &Measurement, long_run: &LongRun, highest: f64) -> [bool; 5] {
    let held = |value: f64, uncertainty: f64, truth: f64| (value - truth).abs() <= uncertainty;
    let percent = |figure: Option<Percent>| figure.expect("a figure").0;
    let speed = got.speed.expect("a speed");
    let drift = got.drift.expect("a drift");
    let flutter = &got.flutter;
    [
        held(speed.deviation.0, percent(speed.uncertainty), 0.0),
        held(
            drift.percent_per_minute,
            drift.uncertainty_percent_per_minute.expect("a ±"),
            0.0,
        ),
        held(
            percent(flutter.weighted_two_sigma),
            percent(flutter.weighted_two_sigma_uncertainty),
            long_run.two_sigma,
        ),
        held(
            percent(flutter.weighted_rms),
            percent(flutter.weighted_rms_uncertainty),
            long_run.rms,
        ),
        held(
            percent(flutter.weighted_peak),
            percent(flutter.weighted_peak_uncertainty),
            highest,
        ),
    ]
}

#[test]
fn nineteen_times_in_twenty_the_truth_lies_within() {
    for kind in [Kind::Correlated(0.3), Kind::Mix] {
        let machine = kind.machine(3);
        let long_run = LongRun::of(&machine, 800.0, 1);
        let highest = long_run.peak(VALID_S);
        let mut count = [0; 5];
        for seed in 0..RECORDS {
            let got = measured(&machine, SECONDS, 100 + seed);
            for (count, covered) in count.iter_mut().zip(covered(&got, &long_run, highest)) {
                *count += u64::from(covered);
            }
        }
        for (figure, count) in ["speed", "drift", "two-sigma", "rms", "quasi-peak"]
            .iter()
            .zip(count)
        {
            assert!(
                count >= LEAST,
                "{}: {figure}: {count} of {RECORDS}",
                kind.name()
            );
        }
    }
}
