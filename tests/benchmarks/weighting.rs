//! The weighting from end to end: sinusoidal flutter of known depth on a tone,
//! through the whole program, at every sample rate and every usual tone.
//!
//! `cargo bench --bench weighting`: the largest error against the table at the
//! points that the tone's band reaches, and where it lies.

#[path = "../support/wavering.rs"]
mod wavering;

use tapewright::readings::USUAL_TONES;
use wavering::{WEIGHTING_DB, measure, wavering as tone, weighted_gain_db};

const RATES: [u32; 11] = [
    8000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000, 176_400, 192_000,
];

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

fn main() {
    let points = &WEIGHTING_DB[1..];
    println!("error of the weighted root mean square against the table, dB");
    println!();
    print!("| rate Hz | tone Hz | band Hz | largest |");
    for (g, _) in points {
        print!(" {g} |");
    }
    println!();
    println!("|{}", " --- |".repeat(4 + points.len()));
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
                match error {
                    Some(error) => print!(" {error:+.3} |"),
                    None => print!(" – |"),
                }
            }
            println!();
        }
    }
    println!();
    println!("largest of all: {worst_of_all:.3} dB (asked for: 0.2)");
}
