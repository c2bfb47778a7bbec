//! What disturbs a tone without moving the tape, and how far each bends the
//! reading.
//!
//! `cargo bench --bench robustness`: steady tones of 10 s at 48 kHz, each at
//! ten places from −19 to +24 % of its nominal frequency and at two phases;
//! the worst of them are printed. Tones named on the command line are measured
//! alone: `cargo bench --bench robustness -- 3150 315`. The figures promised
//! are for tones of 1 kHz or more: 0.001 % and 0.002 %, with dropouts 0.002 %
//! and 0.006 %.

#[path = "../support/mod.rs"]
mod support;

use support::disturbed::{self, Disturbance, RATE_HZ};
use support::seeds::{head, numbers, row};
use support::sound;

const SECONDS: f64 = 10.0;

const NOMINALS_HZ: [f64; 7] = [10_000.0, 6300.0, 3150.0, 3000.0, 1000.0, 440.0, 315.0];

const OFF_PERCENT: [f64; 10] = [-19.0, -4.93, -2.7, -1.0, -0.11, 0.0, 0.07, 1.61, 3.0, 24.0];

/// The worst of one row, each with the frequency where it was seen.
#[derive(Default)]
struct Worst {
    error: (f64, f64),
    two_sigma: Option<(f64, f64)>,
    unread: u32,
    dropouts: Vec<u64>,
}

fn worst(disturbance: Disturbance, nominal: f64) -> Worst {
    let mut worst = Worst::default();
    for off in OFF_PERCENT {
        for turns in [0.0, 0.31] {
            let hz = nominal * (1.0 + off / 100.0);
            let samples = disturbance.samples(hz, turns, SECONDS);
            let got = sound::measure(sound::settings_at(RATE_HZ, 1, nominal), &samples);
            let Some(speed) = got.speed else {
                worst.unread += 1;
                continue;
            };
            let error = (speed.deviation.0 - off).abs();
            if error > worst.error.0 {
                worst.error = (error, hz);
            }
            if let Some(flutter) = got.flutter.weighted_two_sigma
                && worst.two_sigma.is_none_or(|(seen, _)| flutter.0 > seen)
            {
                worst.two_sigma = Some((flutter.0, hz));
            }
            worst.dropouts.push(got.signal.dropout_count);
        }
    }
    worst.dropouts.sort_unstable();
    worst.dropouts.dedup();
    worst
}

fn main() {
    let mut nominals = numbers();
    if nominals.is_empty() {
        nominals.extend(NOMINALS_HZ);
    }
    println!("steady tones, 10 s, 48 kHz; worst of {OFF_PERCENT:?} % and two phases");
    head(
        "disturbance | tone Hz | error of deviation % | at Hz | weighted two-sigma % | at Hz | dropouts",
    );
    for disturbance in disturbed::all().into_iter().chain(disturbed::dropouts()) {
        for &nominal in &nominals {
            let worst = worst(disturbance, nominal);
            let (error, at) = worst.error;
            let flutter = worst.two_sigma.map_or_else(
                || "withheld | –".to_owned(),
                |(value, at)| format!("{value:.6} | {at:.1}"),
            );
            let unread = match worst.unread {
                0 => String::new(),
                count => format!(" ({count} unread)"),
            };
            row(&[
                &disturbance.name(),
                &format!("{nominal}{unread}"),
                &format!("{error:.6} | {at:.1}"),
                &flutter,
                &format!("{:?}", worst.dropouts),
            ]);
        }
    }
}
