//! What a perfect machine reads: the error and the residue of the program
//! itself, and what noise adds.
//!
//! `cargo bench --bench floor`: steady tones of 30 s, 16 bit with triangular
//! dither, −6 dBFS, at several frequencies, sample rates and SNRs.

#[path = "../support/mod.rs"]
mod support;

use support::seeds::head;
use support::wavering::{measure, steady};
use tapewright::readings::Measurement;
use tapewright::units::Percent;

const TONES: [f64; 5] = [3150.0, 3000.0, 1000.0, 440.0, 315.0];
const SECONDS: f64 = 30.0;

/// A tone 1 % slow.
fn slow(rate_hz: u32, nominal: f64, snr_db: Option<f64>) -> Measurement {
    let samples = steady(rate_hz, nominal * 0.99, SECONDS, snr_db);
    measure(rate_hz, nominal, &samples)
}

fn number(value: Option<Percent>) -> f64 {
    value.map_or(f64::NAN, |value| value.0)
}

fn clean() {
    println!("clean tones, 30 s, 16 bit, −6 dBFS, 1 % slow");
    head("tone Hz | rate Hz | error of deviation % | weighted two-sigma %");
    for nominal in TONES {
        for rate_hz in [44_100, 48_000, 96_000] {
            let got = slow(rate_hz, nominal, None);
            let error = got.speed.map_or(f64::NAN, |speed| speed.deviation.0 + 1.0);
            let residue = number(got.flutter.weighted_two_sigma);
            println!("| {nominal} | {rate_hz} | {error:+.7} | {residue:.7} |");
        }
    }
}

fn noisy() {
    println!("the same at 48 kHz in white noise over 24 kHz:");
    println!("weighted two-sigma %, in brackets unweighted root mean square %");
    let snrs = [None, Some(60.0), Some(50.0), Some(40.0), Some(30.0)];
    head("tone Hz | band Hz | clean | 60 dB | 50 dB | 40 dB | 30 dB");
    for nominal in TONES {
        let all = snrs.map(|snr_db| slow(48_000, nominal, snr_db).flutter);
        let band = all[0].unweighted_band.map_or(f64::NAN, |band| band[1].0);
        print!("| {nominal} | {band} |");
        for flutter in all {
            let weighted = number(flutter.weighted_two_sigma);
            let unweighted = number(flutter.unweighted_rms);
            if weighted < 1e-4 {
                print!(" {weighted:.7} ({unweighted:.7}) |");
            } else {
                print!(" {weighted:.5} ({unweighted:.5}) |");
            }
        }
        println!();
    }
}

fn main() {
    clean();
    println!();
    noisy();
}
