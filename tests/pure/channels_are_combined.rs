//! Two channels that carry the tone read better than one; a bad one does no
//! harm.

use std::f64::consts::TAU;

use crate::support::dice::Dice;
use crate::support::sound;
use tapewright::readings::{
    CautionCode, ChannelChoice, ChannelUsed, Engine, KeepRequest, Keeping, Measurement, Problem,
    Settings,
};
use tapewright::units::Seconds;

const RATE: u32 = 48_000;
const HZ: f64 = 3118.5;

/// Records that an error is taken from.
const RECORDS: u64 = 30;

fn engine(choice: ChannelChoice) -> Engine {
    sound::engine(Settings {
        choice,
        ..sound::settings(RATE, 2)
    })
}

/// The tone with noise of this mean square in one channel; the tone has ½.
fn channel(dice: &mut Dice, tone: f64, noise: f64) -> Vec<f32> {
    // An even distribution of width w has variance w²/12.
    let width = (12.0 * noise).sqrt();
    (0..3 * RATE as usize)
        .map(|n| {
            let turns = (n as f64 * HZ / f64::from(RATE)).fract();
            let hiss = dice.between(-0.5, 0.5);
            (0.2 * (tone * (TAU * turns).sin() + width * hiss)) as f32
        })
        .collect()
}

fn measure(choice: ChannelChoice, left: &[f32], right: &[f32]) -> Measurement {
    let mut engine = engine(choice);
    let both: Vec<f32> = left.iter().zip(right).flat_map(|(&l, &r)| [l, r]).collect();
    engine.push(&both);
    engine.measurement()
}

fn error_ppm(got: &Measurement) -> f64 {
    let measured = got.speed.expect("a speed").measured.expect("a tone").0;
    (measured / HZ - 1.0) * 1e6
}

/// Root mean square errors of the left channel and of both, in parts per million.
fn errors(left_noise: f64, right_tone: f64, right_noise: f64) -> [f64; 2] {
    let mut squares = [0.0; 2];
    for seed in 0..RECORDS {
        let mut dice = Dice::new(seed);
        let left = channel(&mut dice, 1.0, left_noise);
        let right = channel(&mut dice, right_tone, right_noise);
        for (square, choice) in squares
            .iter_mut()
            .zip([ChannelChoice::Left, ChannelChoice::Auto])
        {
            *square += error_ppm(&measure(choice, &left, &right)).powi(2) / RECORDS as f64;
        }
    }
    squares.map(f64::sqrt)
}

#[test]
fn two_equal_channels_have_three_decibels_less_noise() {
    // 23 dB below the tone.
    let [one, both] = errors(0.0025, 1.0, 0.0025);
    // 1/√2 = 0.71; thirty records scatter by a tenth.
    assert!(both < 0.85 * one, "{one} and {both} ppm");
}

#[test]
fn a_bad_channel_does_no_harm() {
    // The tone in noise as loud, noise alone, and silence.
    for (right_tone, right_noise) in [(1.0, 0.25), (0.0, 2.0), (0.0, 0.0)] {
        let [one, both] = errors(0.0025, right_tone, right_noise);
        assert!(
            both < 1.05 * one,
            "{right_tone}, {right_noise}: {one} and {both} ppm"
        );
    }
}

#[test]
fn one_channel_is_no_trouble_when_it_was_asked_for() {
    let mut dice = Dice::new(1);
    let tone = channel(&mut dice, 1.0, 0.0001);
    let silence = vec![0.0; tone.len()];
    let both: Vec<f32> = tone
        .iter()
        .zip(&silence)
        .flat_map(|(&l, &r)| [l, r])
        .collect();
    for (choice, is_named) in [(ChannelChoice::Auto, true), (ChannelChoice::Left, false)] {
        let mut engine = engine(choice);
        engine.push(&both);
        let problems = engine.reading().signal.problems;
        let named = problems.contains(&Problem::OneChannel(ChannelUsed::Left));
        assert_eq!(named, is_named, "{choice:?}: {problems:?}");
    }
}

#[test]
fn what_is_kept_live_says_that_one_channel_is_quieter() {
    for (right, quieter) in [(0.5, true), (1.0, false)] {
        let both: Vec<f32> = (0..40 * RATE as usize)
            .map(|n| (TAU * (n as f64 * HZ / f64::from(RATE)).fract()).sin() as f32)
            .flat_map(|value| [0.2 * value, 0.2 * right * value])
            .collect();
        let mut engine = engine(ChannelChoice::Auto);
        engine.keep(KeepRequest {
            at_least: Seconds(5.0),
            at_most: Seconds(5.0),
        });
        engine.push(&both);
        let Some(Keeping::Done(kept)) = engine.reading().keeping else {
            panic!("nothing was kept");
        };
        assert_eq!(kept.has(CautionCode::LevelsDiffer), quieter, "{right}");
    }
}

#[test]
fn dropouts_after_a_gap_stand_where_they_were() {
    let mut dice = Dice::new(2);
    let mut tone = channel(&mut dice, 1.0, 0.0001);
    tone[96_000..96_960].fill(0.0);
    let both: Vec<f32> = tone.iter().flat_map(|&s| [s, s]).collect();
    let mut engine = engine(ChannelChoice::Auto);
    engine.push(&both[..96_000]);
    // Half a second is missing.
    engine.gap(24_000);
    engine.push(&both[96_000 + 48_000..]);
    let got = engine.measurement();
    assert!((got.duration.0 - 3.0).abs() < 1e-9, "{:?}", got.duration);
    let start = got.signal.dropouts.first().map(|dropout| dropout.start.0);
    assert!(
        start.is_some_and(|start| (start - 2.0).abs() < 0.01),
        "{start:?}"
    );
}
