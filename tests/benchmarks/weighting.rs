//! The weighting from end to end: sinusoidal flutter of known depth on a tone,
//! through the whole program, at every sample rate and every usual tone.
//!
//! `cargo bench --bench weighting`: the error against the table at the points
//! that the tone's band reaches; then the quasi-peak reading of single pulses
//! and of sines. `-- --quasi-peak` prints the latter two alone.

#[path = "../support/mod.rs"]
mod support;

use support::seeds::{has, head};
use support::wavering::{
    measure, pulses, quasi_peak_of_a_sine_db, wavering as tone, weighted_gain_db,
};
use support::weighting_table::WEIGHTING_DB;
use tapewright::readings::USUAL_TONES;

const RATES: [u32; 11] = [
    8000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000, 176_400, 192_000,
];

/// Rates of sinusoidal flutter, evenly spaced by ratio.
const SINES: u32 = 200;

/// Upper edge of what reaches the figures; `None` where the tone cannot be
/// followed at this rate.
fn band_hz(rate_hz: u32, tone_hz: f64) -> Option<f64> {
    if tone_hz > 0.49 * f64::from(rate_hz) {
        return None;
    }
    let flutter = measure(rate_hz, tone_hz, &tone(rate_hz, tone_hz, 10.5, 4.0, 0.1)).flutter;
    flutter.weighted_rms?;
    Some(flutter.band_limit.map_or(200.0, |limit| limit.0))
}

fn quasi_peak() {
    // IEC 60386; 60 ms and the fall from its text, the rest from memory.
    println!("quasi-peak, % of a 4 Hz sine as high from peak to peak; tone 3150 Hz");
    head("rate Hz | 10 ms | 30 ms | 60 ms | 100 ms | falls to | sines 1–100 Hz, dB");
    println!("| asked for | 21 ±3 | 62 ±6 | 90 ±6 | 100 ±4 | 36–44 | ±0.2 |");
    for rate_hz in [8000, 11_025, 16_000, 44_100, 48_000] {
        print!("| {rate_hz} |");
        let all = [10, 30, 60, 100].map(|ms| pulses(rate_hz, ms, 1.0));
        for (highest, _) in all {
            print!(" {:.1} |", 100.0 * highest);
        }
        let (highest, lowest) = all[3];
        print!(" {:.1} |", 100.0 * lowest / highest);
        let errors = (0..SINES).map(|k| {
            let g = 100f64.powf(f64::from(k) / f64::from(SINES - 1));
            quasi_peak_of_a_sine_db(rate_hz, g)
        });
        let errors: Vec<f64> = errors.collect();
        let low = errors.iter().copied().fold(f64::INFINITY, f64::min);
        let high = errors.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        println!(" {low:+.3} to {high:+.3} |");
    }
}

fn main() {
    if !has("--quasi-peak") {
        weighting();
        println!();
    }
    quasi_peak();
}

fn weighting() {
    let points = &WEIGHTING_DB[1..];
    println!("error of the weighted root mean square against the table, dB");
    let columns: Vec<String> = points.iter().map(|(g, _)| g.to_string()).collect();
    head(&format!(
        "rate Hz | tone Hz | band Hz | largest | {}",
        columns.join(" | ")
    ));
    let mut worst_of_all: f64 = 0.0;
    for rate_hz in RATES {
        for hz in USUAL_TONES.map(|tone| tone.0) {
            let Some(band) = band_hz(rate_hz, hz) else {
                println!("| {rate_hz} | {hz} | too narrow | withheld |");
                continue;
            };
            let errors: Vec<Option<f64>> = points
                .iter()
                .map(|&(g, db)| Some(weighted_gain_db(rate_hz, hz, g).filter(|_| g <= band)? - db))
                .collect();
            let worst = errors.iter().flatten().fold(0.0f64, |a, b| a.max(b.abs()));
            worst_of_all = worst_of_all.max(worst);
            print!("| {rate_hz} | {hz} | {band:.0} | {worst:.3} |");
            for error in errors {
                let error = error.map_or("–".to_owned(), |it| format!("{it:+.3}"));
                print!(" {error} |");
            }
            println!();
        }
    }
    println!();
    println!("largest of all: {worst_of_all:.3} dB (asked for: 0.2)");
}
