//! What is no test tone has no reading, and a test tone always has one,
//! whatever tape makes of it. A small draw from the sounds of
//! `cargo bench --bench refusal`.

use crate::support::sounds::{self, NO_TONES, TONES};
use tapewright::readings::CautionCode;

/// What is chosen as reference, and where the sounds lie.
const REFERENCES: [(Option<f64>, f64); 5] = [
    (Some(3150.0), 3150.0),
    (None, 3150.0),
    (Some(440.0), 440.0),
    (Some(315.0), 315.0),
    (Some(1000.0), 1000.0),
];

#[test]
fn what_is_no_tone_is_refused() {
    for (kind, name) in NO_TONES.iter().enumerate() {
        for (seed, (reference, hz)) in (0..).zip(REFERENCES) {
            let sound = sounds::no_tone(kind, hz, 50_000 + 100 * kind as u64 + seed);
            let got = sound.measured(reference);
            assert!(!got.signal.usable, "{name}, {reference:?}, seed {seed}");
            assert!(got.speed.is_none(), "{name}, {reference:?}, seed {seed}");
            assert!(
                got.has(CautionCode::ToneNotFound),
                "{name}: {:?}",
                got.cautions
            );
        }
    }
}

#[test]
fn a_tone_is_accepted_whatever_tape_makes_of_it() {
    for (kind, name) in TONES.iter().enumerate() {
        for (seed, (reference, hz)) in (0..).zip(REFERENCES) {
            let sound = sounds::tone(kind, hz, 60_000 + 100 * kind as u64 + seed);
            let got = sound.measured(reference);
            assert!(got.signal.usable, "{name}, {reference:?}, seed {seed}");
            assert!(got.speed.is_some(), "{name}, {reference:?}, seed {seed}");
        }
    }
}
