//! The ± of every figure holds the truth about 95 times in 100. (Many more
//! records, lengths and kinds: `cargo bench --bench coverage`.)

#[path = "support/unsteady.rs"]
mod unsteady;

use tapewright::readings::Measurement;
use unsteady::{Kind, LongRun, mean_peak, measured};

const RECORDS: u64 = 150;
const SECONDS: f64 = 11.0;

/// Of so few records the share that is covered scatters by 1.8 %.
const LEAST: f64 = 0.9;

/// Noise may look like a move now and then; figures that start anew then need
/// a longer record.
const LEAST_GIVEN: f64 = 0.8;

/// Whether the truth lies within, of each figure that is given.
fn covered(got: &Measurement, long_run: &LongRun, peak: f64) -> [Option<bool>; 5] {
    let held = |value: Option<f64>, uncertainty: Option<f64>, truth: f64| {
        let within = |(value, uncertainty): (f64, f64)| (value - truth).abs() <= uncertainty;
        value.map(|value| uncertainty.map(|u| (value, u)).is_some_and(within))
    };
    let flutter = &got.flutter;
    [
        held(
            got.speed.map(|speed| speed.deviation.0),
            got.speed.and_then(|speed| speed.uncertainty).map(|u| u.0),
            0.0,
        ),
        held(
            got.drift.map(|drift| drift.percent_per_minute),
            got.drift
                .and_then(|drift| drift.uncertainty_percent_per_minute),
            0.0,
        ),
        held(
            flutter.weighted_two_sigma.map(|figure| figure.0),
            flutter.weighted_two_sigma_uncertainty.map(|u| u.0),
            long_run.two_sigma,
        ),
        held(
            flutter.weighted_rms.map(|figure| figure.0),
            flutter.weighted_rms_uncertainty.map(|u| u.0),
            long_run.rms,
        ),
        held(
            flutter.weighted_peak.map(|figure| figure.0),
            flutter.weighted_peak_uncertainty.map(|u| u.0),
            peak,
        ),
    ]
}

#[test]
fn nineteen_times_in_twenty_the_truth_lies_within() {
    for kind in [Kind::Correlated(0.3), Kind::Mix] {
        let machine = kind.machine(3);
        let long_run = LongRun::of(&machine, 800.0, 1);
        let records: Vec<Measurement> = (0..RECORDS)
            .map(|seed| measured(&machine, SECONDS, 100 + seed))
            .collect();
        let peak = mean_peak(records.iter());
        let judged: Vec<_> = records
            .iter()
            .map(|got| covered(got, &long_run, peak))
            .collect();
        for (figure, name) in ["speed", "drift", "two-sigma", "rms", "quasi-peak"]
            .iter()
            .enumerate()
        {
            let given: Vec<bool> = judged.iter().filter_map(|one| one[figure]).collect();
            let held = given.iter().filter(|held| **held).count();
            let place = format!("{}: {name}: {held} of {}", kind.name(), given.len());
            assert!(
                given.len() as f64 >= LEAST_GIVEN * RECORDS as f64,
                "{place}"
            );
            assert!(held as f64 >= LEAST * given.len() as f64, "{place}");
        }
    }
}
