//! What is taken for a test tone, and what is not.
//!
//! `cargo bench --bench refusal`: 300 sounds of each of ten kinds that are no
//! tone, and 200 tones of each of eleven kinds that tape makes of it, each of
//! 3 to 10 s, held against several references.

#[path = "../support/mod.rs"]
mod support;

use support::refused::REFERENCES;
use support::seeds::{self, head, row, those};
use support::sounds::{self, NO_TONES, Sound, TONES};

const NO_TONES_EACH: u64 = 300;
const TONES_EACH: u64 = 200;

fn is_accepted(reference: Option<f64>, sound: &Sound) -> bool {
    let got = sound.measured(reference);
    got.signal.usable || got.speed.is_some()
}

/// How many of `each` sounds of a kind are accepted, and the seeds of those
/// that should not have been, or should have been.
fn table(kinds: &[&str], each: u64, set: u64, make: fn(usize, f64, u64) -> Sound, wanted: bool) {
    let what = if wanted { "tone" } else { "no tone" };
    head(&format!("{what} | sounds | accepted | wrong (seeds)"));
    let mut sum = 0;
    for (kind, name) in kinds.iter().enumerate() {
        let all = seeds::each(0..each, |seed| {
            let (reference, tone_hz) = REFERENCES[(seed % REFERENCES.len() as u64) as usize];
            let sound_seed = 100_000 * set + 1000 * kind as u64 + seed;
            is_accepted(reference, &make(kind, tone_hz, sound_seed))
        });
        let count = all.iter().filter(|accepted| **accepted).count();
        let wrong = those(&all, |accepted| *accepted != wanted);
        sum += count;
        row(&[name, &each, &count, &format!("{wrong:?}")]);
    }
    row(&[&"all", &(each * kinds.len() as u64), &sum, &""]);
}

fn main() {
    // `-- 40` makes a quick look with so many of each kind, `-- --seed 7`
    // takes a set of sounds that nothing was tried on.
    let (each, set) = seeds::asked();
    println!("Set {set}.");
    let no_tones_each = each.unwrap_or(NO_TONES_EACH);
    table(&NO_TONES, no_tones_each, set, sounds::no_tone, false);
    table(&TONES, each.unwrap_or(TONES_EACH), set, sounds::tone, true);
}
