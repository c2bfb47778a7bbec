//! Pitch follows ISO 16:1975 (A4 is 440 Hz) and equal temperament: twelve
//! equal semitones to the octave, 1200 cents to the octave.
//!
//! ISO 16:1975, "Acoustics – Standard tuning frequency (Standard musical
//! pitch)", fixes the one frequency; the rest is f = A4 × 2^(n/12) and
//! cents = 1200 log2 of the ratio. Frequencies of notes computed by hand.

use crate::support::sound::{self, Tone};
use tapewright::references::Note;
use tapewright::units::{Cents, Hertz, Percent};

const A4: Hertz = Hertz(440.0);

fn frequency(name: &str) -> Hertz {
    let note: Note = name.parse().expect(name);
    note.frequency(A4)
}

fn hz(name: &str) -> f64 {
    frequency(name).0
}

#[test]
fn a4_is_440_hz_and_an_octave_doubles() {
    assert_eq!(frequency("A4"), Hertz(440.0));
    for (octave, expected) in (0..=9).zip([
        27.5, 55.0, 110.0, 220.0, 440.0, 880.0, 1760.0, 3520.0, 7040.0, 14_080.0,
    ]) {
        assert_eq!(frequency(&format!("A{octave}")), Hertz(expected));
    }
}

#[test]
fn twelve_equal_semitones_make_an_octave() {
    let scale = [
        "C4", "C#4", "D4", "D#4", "E4", "F4", "F#4", "G4", "G#4", "A4", "A#4", "B4", "C5",
    ];
    for pair in scale.windows(2) {
        let step = Percent::from_ratio(hz(pair[1]) / hz(pair[0]));
        assert!((step.cents().0 - 100.0).abs() < 1e-9, "{pair:?}");
        // A semitone is 5.946 %.
        assert!((step.0 - 5.946_309_436).abs() < 1e-8, "{pair:?}");
    }
    assert!((hz("C5") / hz("C4") - 2.0).abs() < 1e-12);
    // Middle C to a thousandth of a hertz, as tables of pitch print it.
    assert!((hz("C4") - 261.626).abs() < 5e-4);
}

#[test]
fn cents_and_percent_say_the_same() {
    assert!((Percent(100.0).cents().0 - 1200.0).abs() < 1e-9);
    assert!((Percent(1.0).cents().0 - 17.23).abs() < 5e-3);
    assert!((Cents(1.0).percent().0 - 0.0578).abs() < 5e-5);
    assert!((Percent(-50.0).cents().0 + 1200.0).abs() < 1e-9);
}

#[test]
fn a_tape_of_concert_pitch_played_a_quarter_tone_sharp_reads_50_cents() {
    let tone = Tone::steady(440.0 * (50.0f64 / 1200.0).exp2(), 0.2, 0.5);
    let samples = sound::sampled(48_000, 6.0, |t| tone.at(t));
    let got = sound::measure(sound::settings_at(48_000, 1, hz("A4")), &samples);
    let cents = got.speed.expect("a speed").deviation.cents().0;
    assert!((cents - 50.0).abs() < 1e-3, "{cents}");
}
