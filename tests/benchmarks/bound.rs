//! How close the mean frequency comes to the physical limit.
//!
//! `cargo bench --bench bound`: a steady tone in white noise over 24 kHz, the
//! whole engine from samples to measurement, 2,000 records a cell. Printed is
//! the error (root mean square) as a multiple of the Cramér-Rao bound, and the
//! mean error as a part of it; the bound and its source stand in
//! `tests/support/steady_tone.rs`. `-- --trials 200` makes fewer records.
//! `-- --channels` does the same for the time between two channels of ten
//! seconds.

#[path = "../support/mod.rs"]
mod support;

use support::seeds::{each, has, head, option};
use support::sound;
use support::steady_tone::{Cell, RATE_HZ};
use support::two_channels::Pair;

const TONES_HZ: [f64; 4] = [300.0, 1000.0, 3150.0, 10_000.0];
const SNR_DB: [f64; 4] = [20.0, 40.0, 60.0, 80.0];
const LENGTHS_S: [f64; 8] = [0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0];

/// From here on filters fill the record.
const SHORT_BELOW_S: f64 = 0.2;

/// The time between the channels: its error (root mean square), and how often
/// the ± held it. The bound is that of two phases of a tone of known frequency,
/// var φ ≥ 1 / (snr · N) each (S. M. Kay, Fundamentals of Statistical Signal
/// Processing, 1993, from memory).
fn channels(trials: usize) {
    println!(
        "{trials} records of 10 s a cell; error (rms) in µs / multiple of the bound / within ±"
    );
    head("tone Hz | 20 dB | 40 dB | 60 dB");
    for tone_hz in TONES_HZ {
        print!("| {tone_hz} |");
        for snr_db in [20.0, 40.0, 60.0] {
            let errors = each(0..trials as u64, |seed| {
                let lag_us = 0.2e6 / tone_hz * (seed as f64 / trials as f64 - 0.5);
                let pair = Pair {
                    seed: 7000 + seed,
                    snr_db,
                    ..Pair::of(tone_hz, lag_us)
                };
                let settings = sound::settings_at(RATE_HZ, 2, tone_hz);
                let got = sound::measure(settings, &pair.samples(RATE_HZ)).channels?;
                Some((got.right_lags_us - lag_us, got.right_lags_uncertainty_us?))
            });
            let errors: Vec<(f64, f64)> = errors.into_iter().flatten().collect();
            let count = errors.len() as f64;
            let rms = (errors.iter().map(|it| it.0 * it.0).sum::<f64>() / count).sqrt();
            let held = errors.iter().filter(|it| it.0.abs() <= it.1).count() as f64;
            let snr = 10f64.powf(snr_db / 10.0);
            let radians = (2.0 / (snr * 10.0 * f64::from(RATE_HZ))).sqrt();
            let bound_us = 1e6 * radians / (std::f64::consts::TAU * tone_hz);
            let missing = trials - errors.len();
            print!(
                " {rms:.4} / {:.2} / {:.0} %",
                rms / bound_us,
                100.0 * held / count
            );
            if missing > 0 {
                print!(" ({missing} not told)");
            }
            print!(" |");
        }
        println!();
    }
}

fn main() {
    let trials = option("--trials").unwrap_or(2000);
    if has("--channels") {
        return channels(trials.min(200));
    }
    println!("{trials} records a cell, 48 kHz, noise over 24 kHz");
    println!("error (rms) as a multiple of the Cramér-Rao bound / mean error as a part of it");
    head("tone Hz | record s | 20 dB | 40 dB | 60 dB | 80 dB");
    let (mut short, mut long, mut mean) = (0.0f64, 0.0f64, 0.0f64);
    for tone_hz in TONES_HZ {
        for length_s in LENGTHS_S {
            print!("| {tone_hz} | {length_s} |");
            for errors in each(0..SNR_DB.len() as u64, |nth| {
                let cell = Cell {
                    tone_hz,
                    snr_db: SNR_DB[nth as usize],
                    length_s,
                };
                cell.errors(trials)
            }) {
                print!(" {:.3} / {:+.3}", errors.rms, errors.mean);
                if errors.missing > 0 {
                    print!(" ({} not measured)", errors.missing);
                }
                print!(" |");
                let is_short = length_s < SHORT_BELOW_S;
                let worst = if is_short { &mut short } else { &mut long };
                *worst = worst.max(errors.rms);
                mean = mean.max(errors.mean.abs());
            }
            println!();
        }
    }
    println!();
    println!("largest: {short:.3} below 0.2 s, {long:.3} from 0.2 s up; mean error {mean:.3}");
    let [rms, mean] = [0.5, 1.0].map(|part: f64| (part / trials as f64).sqrt());
    println!("chance alone spreads a cell by {rms:.3} and its mean by {mean:.3}");
}
