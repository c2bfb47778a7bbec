//! What a perfect machine reads: the error and the residue of the program
//! itself.
//!
//! `cargo bench --bench floor`: clean tones of 30 s, 16 bit with triangular
//! dither, −6 dBFS, at several frequencies and sample rates.

use std::f64::consts::TAU;

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use tapewright::readings::{ChannelChoice, Conditions, Engine, Nominal, Settings};
use tapewright::units::{Hertz, Percent};

fn tone(rate_hz: u32, hz: f64, seconds: f64) -> Vec<f32> {
    let mut random = Pcg64Mcg::seed_from_u64(1);
    let amplitude = 10f64.powf(-6.0 / 20.0);
    (0..(seconds * f64::from(rate_hz)) as usize)
        .map(|n| {
            let turns = (n as f64 * hz / f64::from(rate_hz)).fract();
            let dither: f64 = random.random_range(-0.5..0.5) + random.random_range(-0.5..0.5);
            let code = (amplitude * (TAU * turns).sin() * 32_768.0 + dither).round();
            (code / 32_768.0) as f32
        })
        .collect()
}

fn main() {
    println!("clean tones, 30 s, 16 bit, −6 dBFS, 1 % slow");
    println!();
    println!("| tone Hz | rate Hz | error of deviation % | weighted two-sigma % |");
    println!("| --- | --- | --- | --- |");
    for nominal in [3150.0, 3000.0, 1000.0, 440.0, 315.0] {
        for rate_hz in [44_100, 48_000, 96_000] {
            let mut engine = Engine::new(Settings {
                rate_hz,
                channels: 1,
                choice: ChannelChoice::Auto,
                conditions: Conditions {
                    nominal: Nominal::Fixed(Hertz(nominal)),
                    ..Conditions::default()
                },
                tolerance: Percent(0.5),
            })
            .expect("a usual format");
            engine.push(&tone(rate_hz, nominal * 0.99, 30.0));
            let got = engine.measurement();
            let error = got.speed.map_or(f64::NAN, |speed| speed.deviation.0 + 1.0);
            let residue = got.flutter.weighted_two_sigma.map_or(f64::NAN, |f| f.0);
            println!("| {nominal} | {rate_hz} | {error:+.7} | {residue:.7} |");
        }
    }
}
