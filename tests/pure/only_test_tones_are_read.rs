//! What is no test tone has no reading, and a test tone always has one,
//! whatever tape makes of it. A small draw from the sounds of
//! `cargo bench --bench refusal`.

use crate::support::dice::Dice;
use crate::support::refused;
use crate::support::sound::{sampled, sine};
use crate::support::sounds::{self, NO_TONES, RATE, Sound, TONES};
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

/// Live too, and kinds of sound that nothing was tuned on;
/// `a_thousand_sounds_are_no_tone` in `tests/long` tries a thousand.
#[test]
fn foreign_sounds_are_refused_as_recordings_and_live() {
    for kind in refused::all(0, 1, 730) {
        assert_eq!(kind.count(|it| it.accepted.is_some()), 0, "{}", kind.name);
        assert_eq!(kind.count(|it| it.kept), 0, "{}", kind.name);
        assert_eq!(kind.count(|it| it.settled_s > 0.0), 0, "{}", kind.name);
    }
}

/// One lies near twice the other, and which is the louder is up to the noise.
#[test]
fn two_equal_tones_are_no_tone() {
    for seed in 0..20 {
        let mut dice = Dice::new(seed);
        let pair = sampled(RATE, 6.7, |t| 0.35 * (sine(281.69 * t) + sine(517.2 * t)));
        let noisy = |it: f32| it + dice.between(-1e-4, 1e-4) as f32;
        let sound = Sound {
            samples: pair.into_iter().map(noisy).collect(),
            channels: 1,
        };
        let heard = refused::heard(Some(315.0), 315.0, &sound);
        assert!(heard.accepted.is_none() && !heard.kept, "{seed}: {heard:?}");
        assert!(heard.settled_s < 1e-9, "{seed}: {heard:?}");
    }
}

#[test]
fn a_tone_that_no_test_tape_carries_is_read_right_or_not_at_all() {
    let all = refused::tone_like(2, 730);
    refused::tone_like_table(&all);
    refused::check_tone_like(&all);
}
