//! What a held note is worth as a reference: `cargo bench --bench notes`.
//! Invented notes from C1 to C8 on an invented machine, 8 % slow to 8 % fast;
//! the sample clock is right and left out of the ±. `-- 20` makes a quick
//! look with so many cases a row, `-- --seed 7` takes others.

#[path = "../support/mod.rs"]
mod support;

use support::dice::Dice;
use support::note_sounds::{Ensemble, Held, measured, note_hz};
use support::seeds::{Errors, asked, each, head, row, those};
use support::sound::stereo;
use support::sounds::{self, NO_TONES};

const EACH: u64 = 100;

/// A row of the table: its name, and a note of it.
type Kind = (&'static str, fn(&mut Dice, u64) -> (f64, Held));

const KINDS: [Kind; 9] = [
    ("steady, 40 dB, 2 s", steady),
    ("the same, 20 to 60 dB", noisy),
    ("fundamental missing", missing),
    ("overtones stronger, odd ones weak", overtones),
    ("a single partial", single),
    ("vibrato ±0.2 to 2 %, 3 s", vibrato),
    ("decay in 0.4 to 2 s", decay),
    ("stiff strings, B to 0.0008", strings),
    ("wow ±0.1 %, hum, 10 s", wow),
];

/// A note and the same on the machine.
fn drawn(dice: &mut Dice, seed: u64, lowest: f64, highest: f64) -> (f64, Held) {
    let note = note_hz(dice.between(lowest, highest) as i32);
    let mut held = Held::plain(note * dice.between(0.92, 1.08), seed);
    let slope = dice.between(0.3, 1.6);
    held.partials = (1..16)
        .map(|n| (n, f64::from(n).powf(-slope) * dice.between(0.3, 1.0)))
        .collect();
    (note, held)
}

fn steady(dice: &mut Dice, seed: u64) -> (f64, Held) {
    drawn(dice, seed, 24.0, 109.0)
}

fn noisy(dice: &mut Dice, seed: u64) -> (f64, Held) {
    let (note, mut held) = steady(dice, seed);
    held.snr_db = dice.between(20.0, 60.0);
    (note, held)
}

fn missing(dice: &mut Dice, seed: u64) -> (f64, Held) {
    let (note, mut held) = drawn(dice, seed, 24.0, 84.0);
    held.partials.remove(0);
    (note, held)
}

fn overtones(dice: &mut Dice, seed: u64) -> (f64, Held) {
    let (note, mut held) = drawn(dice, seed, 24.0, 84.0);
    for (n, amplitude) in &mut held.partials {
        *amplitude = match *n {
            1 | 3 => dice.between(0.03, 0.2),
            2 | 4 => dice.between(0.5, 1.0),
            _ => *amplitude * 0.3,
        };
    }
    (note, held)
}

fn single(dice: &mut Dice, seed: u64) -> (f64, Held) {
    let (note, mut held) = drawn(dice, seed, 36.0, 109.0);
    held.partials = vec![(1, 1.0)];
    (note, held)
}

fn vibrato(dice: &mut Dice, seed: u64) -> (f64, Held) {
    let (note, mut held) = drawn(dice, seed, 48.0, 96.0);
    held.vibrato = (dice.between(4.0, 7.0), 10f64.powf(dice.between(-2.7, -1.7)));
    held.seconds = 3.0;
    (note, held)
}

fn decay(dice: &mut Dice, seed: u64) -> (f64, Held) {
    let (note, mut held) = drawn(dice, seed, 28.0, 100.0);
    held.decay_s = dice.between(0.4, 2.0);
    (note, held)
}

fn strings(dice: &mut Dice, seed: u64) -> (f64, Held) {
    let (note, mut held) = drawn(dice, seed, 28.0, 84.0);
    held.stiffness = 10f64.powf(dice.between(-5.0, -3.1));
    held.decay_s = dice.between(1.0, 4.0);
    (note, held)
}

fn wow(dice: &mut Dice, seed: u64) -> (f64, Held) {
    let (note, mut held) = drawn(dice, seed, 36.0, 96.0);
    held.wow = 0.001;
    held.hum = 0.03;
    held.seconds = 10.0;
    (note, held)
}

/// A row of notes in stereo.
type EnsembleKind = (&'static str, fn(&mut Dice, u64) -> (f64, Ensemble));

const ENSEMBLES: [EnsembleKind; 3] = [
    ("two or three voices to ±0.6 %, stereo, 5 s", voices),
    ("a voice more left than right, to ±0.4 %, 5 s", spread),
    ("organ stops of 16 to 2 feet, 5 s", organ),
];

fn five_seconds(dice: &mut Dice, seed: u64) -> (f64, Held) {
    let (note, mut held) = drawn(dice, seed, 48.0, 85.0);
    held.seconds = 5.0;
    (note, held)
}

fn voices(dice: &mut Dice, seed: u64) -> (f64, Ensemble) {
    let (note, held) = five_seconds(dice, seed);
    let most = 10f64.powf(dice.between(-3.3, -2.2));
    let mut offs = vec![-most, most];
    if dice.between(0.0, 1.0) < 0.5 {
        offs.push(most * dice.between(-0.3, 0.3));
    }
    let mut sound = Ensemble::around(&offs, held);
    for (_, gains) in &mut sound.voices {
        *gains = [dice.between(0.6, 1.0), dice.between(0.6, 1.0)];
    }
    (note, sound)
}

fn spread(dice: &mut Dice, seed: u64) -> (f64, Ensemble) {
    let (note, held) = five_seconds(dice, seed);
    let most = 10f64.powf(dice.between(-3.3, -2.4));
    let mut sound = Ensemble::around(&[-most, most], held);
    sound.voices[0].1 = [1.0, dice.between(0.0, 0.5)];
    sound.voices[1].1 = [dice.between(0.0, 0.5), 1.0];
    (note, sound)
}

fn organ(dice: &mut Dice, seed: u64) -> (f64, Ensemble) {
    let (note, mut held) = five_seconds(dice, seed);
    held.partials = vec![(1, 1.0), (2, dice.between(0.0, 0.1))];
    // Feet, of which 8 sound the note; a twelfth is among them, or it could be
    // a lower note.
    let stops = [16.0, 8.0, 16.0 / 3.0, 4.0, 8.0 / 3.0, 2.0].map(|feet| {
        let gain = dice.between(0.3, 1.0);
        (8.0 / feet, [gain, gain])
    });
    let sound = Ensemble {
        voices: stops.to_vec(),
        held,
    };
    (note, sound)
}

/// Measures a case of each seed of a kind, and prints what came of them.
fn kind(
    name: &str,
    count: u64,
    first: u64,
    make: impl Fn(u64) -> (f64, f64, Vec<f32>, u16) + Sync,
) {
    let errors = Errors::of(each(0..count, |seed| {
        let (note, hz, samples, channels) = make(first + seed);
        let speed = measured(&samples, channels, note).speed?;
        let error = speed.deviation.0 - 100.0 * (hz / note - 1.0);
        Some((error, speed.uncertainty.map_or(f64::INFINITY, |it| it.0)))
    }));
    let octaves = errors.known.iter().filter(|it| it.1 > 10.0).count();
    println!(
        "| {name} | {} | {:.5} | {:.5} | {:.5} | {:.1} | {octaves} | {:?} | {:?} |",
        errors.known.len(),
        errors.error(0.5),
        errors.error(0.95),
        errors.limit(),
        100.0 * errors.covered(),
        errors.missed,
        errors.outside(),
    );
}

/// Seeds of those that were read and should not have been.
fn read_in_spite(
    count: u64,
    set: u64,
    make: impl Fn(u64) -> (Vec<f32>, u16, f64) + Sync,
) -> Vec<u64> {
    let read = each(0..count, |seed| {
        let (samples, channels, note) = make(1_000_000 * set + seed);
        measured(&samples, channels, note).speed.is_some()
    });
    those(&read, |read| *read)
}

/// A note that is `times` the one that was named.
fn other_note(seed: u64, times: f64) -> (Vec<f32>, u16, f64) {
    let mut dice = Dice::new(seed ^ 0x5eed);
    let (note, mut held) = drawn(&mut dice, seed, 40.0, 90.0);
    held.hz *= times;
    (held.samples(), 1, note)
}

fn chord(seed: u64) -> (Vec<f32>, u16, f64) {
    let mut dice = Dice::new(seed ^ 0xc0de);
    let root = dice.between(45.0, 75.0) as i32;
    let third = if dice.between(0.0, 1.0) < 0.5 { 3 } else { 4 };
    let notes = [0, third, 7].map(|step| {
        let (_, mut held) = drawn(&mut dice, seed + step as u64, 50.0, 51.0);
        held.hz = note_hz(root + step);
        held.samples()
    });
    let sum = (0..notes[0].len()).map(|k| notes.iter().map(|it| it[k]).sum::<f32>() / 3.0);
    (sum.collect(), 1, note_hz(root))
}

fn two_things(seed: u64) -> (Vec<f32>, u16, f64) {
    let mut dice = Dice::new(seed ^ 0x2);
    let (note, left) = drawn(&mut dice, seed, 45.0, 80.0);
    let (_, right) = drawn(&mut dice, seed + 77, 45.0, 80.0);
    (stereo(&left.samples(), &right.samples()), 2, note)
}

fn main() {
    let (count, set) = asked();
    let count = count.unwrap_or(EACH);
    head(
        "note | read | median error % | 95 in 100 | median ± | within ± % | octave wrong | refused (seeds) | outside ± (seeds)",
    );
    let first = |nth: usize| 1_000_000 * set + 1000 * nth as u64;
    for (nth, (name, make)) in KINDS.iter().enumerate() {
        kind(name, count, first(nth), |seed| {
            let (note, held) = make(&mut Dice::new(seed), seed);
            (note, held.hz, held.samples(), 1)
        });
    }
    for (nth, (name, make)) in (KINDS.len()..).zip(&ENSEMBLES) {
        kind(name, count, first(nth), |seed| {
            let (note, sound) = make(&mut Dice::new(seed), seed);
            (note, sound.held.hz, sound.samples(), 2)
        });
    }
    head("no such note | sounds | read in spite (seeds)");
    let print =
        |name: &str, count: u64, wrong: Vec<u64>| row(&[&name, &count, &format!("{wrong:?}")]);
    for (name, times) in [
        ("an octave above", 2.0),
        ("an octave below", 0.5),
        ("a fifth above", 1.5),
    ] {
        let wrong = read_in_spite(count, set, |seed| other_note(seed, times));
        print(name, count, wrong);
    }
    print("triads", count, read_in_spite(count, set, chord));
    let two = read_in_spite(count, set, two_things);
    print("two things on two channels", count, two);
    for (kind, name) in NO_TONES.iter().enumerate() {
        let of = |seed| {
            let sound = sounds::no_tone(kind, 440.0, 7_000_000 + 1000 * kind as u64 + seed);
            (sound.samples, sound.channels, 440.0)
        };
        let few = count.div_ceil(2);
        print(name, few, read_in_spite(few, set, of));
    }
}
