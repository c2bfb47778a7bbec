//! How close the mean frequency comes to the physical limit.
//!
//! `cargo bench --bench bound`: a steady tone in white noise over 24 kHz, the
//! whole engine from samples to measurement, 2,000 records a cell. Printed is
//! the error (root mean square) as a multiple of the Cramér-Rao bound, and the
//! mean error as a part of it; the bound and its source stand in
//! `tests/support/steady_tone.rs`. `-- --trials 200` makes fewer records.

#[path = "../support/mod.rs"]
mod support;

use support::seeds::{each, head, option};
use support::steady_tone::Cell;

const TONES_HZ: [f64; 4] = [300.0, 1000.0, 3150.0, 10_000.0];
const SNR_DB: [f64; 4] = [20.0, 40.0, 60.0, 80.0];
const LENGTHS_S: [f64; 8] = [0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0];

/// From here on filters fill the record.
const SHORT_BELOW_S: f64 = 0.2;

fn main() {
    let trials = option("--trials").unwrap_or(2000);
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
