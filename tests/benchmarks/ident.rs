//! How surely a tape's ident is heard, and how rarely one is heard where there
//! is none.
//!
//! `cargo bench --bench ident`: 200 bursts in each of twelve states of the
//! tape, at speeds from -25 to +25 % and rates of 44.1 and 48 kHz; 1,000
//! invented sounds without an ident, 1,000 messages of the same scheme with a
//! wrong bit. `-- 40` makes a quick look, `-- --seed 7` takes
//! other ones.

#[path = "../support/mod.rs"]
mod support;

use std::f64::consts::{PI, TAU};

use support::dice::Dice;
use support::seeds::{asked, each, head, row, those};
use support::sounds::{self, NO_TONES, Sound as Invented};
use tapewright::readings::IdentListener;
use tapewright::signal::ident::{Ident, IdentBurst};
use tapewright::signal::tone::Sound;
use tapewright::units::Hertz;

const EACH: u64 = 200;
const NONE: u64 = 1000;

/// Rate at which a burst is made before a machine plays it: straight lines
/// between its samples are 74 dB below it.
const FINE_HZ: f64 = 192_000.0;

const STATES: [&str; 12] = [
    "clean",
    "hiss at 20 dB",
    "hiss at 10 dB",
    "wow 1 %, flutter 0.3 %, hiss at 20 dB",
    "wow 3 %, hiss at 20 dB",
    "treble gone from 1 kHz, 12 dB an octave",
    "one channel missing",
    "channels cancel each other",
    "a dropout of 20 to 80 ms in each copy",
    "hum as loud as the ident",
    "all at once, wow 1 %, hum at -10 dB",
    "behind a tone like its lead, hiss at 20 dB",
];

fn ident(dice: &mut Dice) -> Ident {
    let letters: Vec<char> = ('a'..='z').chain('A'..='Z').chain('0'..='9').collect();
    let length = 1 + dice.below(24);
    let name: String = (0..length)
        .map(|_| letters[dice.below(letters.len())])
        .collect();
    let days = i64::try_from(dice.below(29_000)).expect("80 years");
    let date = jiff::civil::date(2020, 1, 1) + jiff::Span::new().days(days);
    Ident::new(&name, date, Hertz(dice.between(100.0, 12_000.0))).expect("one that can be")
}

#[allow(clippy::struct_excessive_bools)] // each is a trouble of its own
struct State {
    wow: [f64; 2],
    flutter: [f64; 2],
    hiss: f64,
    hum: f64,
    treble: bool,
    dropouts: bool,
    one_channel: bool,
    cancelling: bool,
    behind_tone: bool,
}

impl State {
    fn of(state: usize, dice: &mut Dice) -> Self {
        let all = state == 10;
        let wow = match state {
            3 | 10 => 0.01,
            4 => 0.03,
            _ => 0.0,
        };
        let decibels = |db: f64| 0.5f64.sqrt() * 10f64.powf(-db / 20.0);
        Self {
            wow: [wow, dice.between(0.5, 6.0)],
            flutter: [
                if state == 3 || all { 0.003 } else { 0.0 },
                dice.between(8.0, 30.0),
            ],
            hiss: match state {
                1 | 3 | 4 | 10 | 11 => decibels(20.0),
                2 => decibels(10.0),
                _ => decibels(60.0),
            },
            hum: match state {
                9 => 1.0,
                10 => 0.316,
                _ => 0.0,
            },
            treble: state == 5 || all,
            dropouts: state == 8 || all,
            one_channel: state == 6 || all,
            cancelling: state == 7,
            behind_tone: state == 11,
        }
    }
}

/// Interleaved, with two seconds around it.
fn played(ident: &Ident, state: &State, dice: &mut Dice) -> (Vec<f32>, u32) {
    let rate = [44_100, 48_000][dice.below(2)];
    let step_s = 1.0 / f64::from(rate);
    let burst = IdentBurst::new(ident, FINE_HZ, 1.0);
    let copy_s = burst.length() as f64 / FINE_HZ / 2.0;
    let gone = [0.0, 1.0].map(|copy| {
        let from = (copy + dice.between(0.25, 0.9)) * copy_s;
        [from, from + dice.between(0.02, 0.08)]
    });
    let speed = dice.between(0.75, 1.25);
    let (phase, mains) = (dice.between(0.0, TAU), [50.0, 60.0][dice.below(2)]);
    let mut tape_s = -dice.between(0.5, 1.5);
    let mut time = 0.0;
    let mut mono = Vec::new();
    while tape_s < 2.0 * copy_s + 0.5 {
        let fine = tape_s * FINE_HZ;
        let number = fine.floor();
        let mut sample = if number < 0.0 && state.behind_tone {
            (TAU * 800.0 * tape_s).sin()
        } else if number < 0.0 {
            0.0
        } else {
            let [one, next] = [0, 1].map(|more| burst.sample(number as u64 + more));
            one + (fine - number) * (next - one)
        };
        if state.dropouts && gone.iter().any(|gone| (gone[0]..gone[1]).contains(&tape_s)) {
            sample *= 0.05;
        }
        mono.push(sample + state.hum * (TAU * mains * time).sin());
        let wow = state.wow[0] * (TAU * state.wow[1] * time + phase).sin();
        let flutter = state.flutter[0] * (TAU * state.flutter[1] * time).sin();
        tape_s += step_s * speed * (1.0 + wow + flutter);
        time += step_s;
    }
    if state.treble {
        lose_treble(&mut mono, 1000.0 * step_s);
    }
    let gain = 10f64.powf(dice.between(-40.0, -3.0) / 20.0);
    let missing = state.one_channel.then(|| dice.below(2));
    let mut samples = Vec::with_capacity(2 * mono.len());
    for sample in mono {
        for channel in 0..2 {
            let sign = if state.cancelling && channel == 1 {
                -1.0
            } else {
                1.0
            };
            let there = if missing == Some(channel) { 0.0 } else { sign };
            samples.push((gain * (there * sample + state.hiss * dice.bell())) as f32);
        }
    }
    (samples, rate)
}

/// Two poles at this part of the rate.
fn lose_treble(samples: &mut [f64], part: f64) {
    let pole = 1.0 - (-2.0 * PI * part).exp();
    let mut states = [0.0; 2];
    for sample in samples {
        let mut value = *sample;
        for state in &mut states {
            *state += pole * (value - *state);
            value = *state;
        }
        *sample = value;
    }
}

fn heard(samples: &[f32], channels: u16, rate: u32) -> Option<Ident> {
    let mut listener = IdentListener::new(rate, channels);
    let width = usize::from(channels);
    let split = |channel: usize| samples.iter().skip(channel).step_by(width).copied();
    let all: Vec<Vec<f32>> = (0..width).map(|channel| split(channel).collect()).collect();
    listener.push(all.iter().map(Vec::as_slice));
    listener.newest().cloned()
}

/// The burst with the same bit of the message turned over in both copies: what
/// sounds like an ident and is none.
fn spoilt(seed: u64) -> bool {
    let mut dice = Dice::new(seed);
    let said = ident(&mut dice);
    let burst = IdentBurst::new(&said, 48_000.0, 0.25);
    let mut samples: Vec<f32> = (0..burst.length())
        .map(|n| burst.sample(n) as f32)
        .collect();
    let bit = 480;
    let copy = (samples.len() / bit - 6) / 2;
    let spoil = 64 + dice.below(copy - 64);
    for place in [spoil, copy + spoil] {
        let hz = dominant(&samples[place * bit..(place + 1) * bit]);
        let other = if hz < 1000.0 { 1200.0 } else { 800.0 };
        for (n, sample) in samples[place * bit..(place + 1) * bit]
            .iter_mut()
            .enumerate()
        {
            *sample = (0.25 * (TAU * other * n as f64 / 48_000.0).sin()) as f32;
        }
    }
    heard(&samples, 1, 48_000).is_some()
}

/// Which of the two tones a bit is, by its changes of sign.
fn dominant(bit: &[f32]) -> f64 {
    let changes = bit.windows(2).filter(|two| two[0] * two[1] < 0.0).count();
    if changes < 20 { 800.0 } else { 1200.0 }
}

fn main() {
    let (count, set) = asked();
    println!("Set {set}.");
    head("state of the tape | bursts | heard | wrong | not heard (seeds)");
    for (state, name) in STATES.iter().enumerate() {
        let results = each(0..count.unwrap_or(EACH), |seed| {
            let mut dice = Dice::new(1_000_000 * set + 1000 * state as u64 + seed);
            let said = ident(&mut dice);
            let state = State::of(state, &mut dice);
            let (samples, rate) = played(&said, &state, &mut dice);
            heard(&samples, 2, rate).map(|heard| heard == said)
        });
        let [right, wrong] =
            [true, false].map(|is| results.iter().filter(|it| **it == Some(is)).count());
        let missed = format!("{:?}", those(&results, Option::is_none));
        row(&[name, &results.len(), &right, &wrong, &missed]);
    }
    head("no ident | sounds | heard (seeds)");
    let count = count.unwrap_or(NONE);
    let invented = each(0..count, |seed| {
        let kind = seed as usize % NO_TONES.len();
        let sound: Invented = sounds::no_tone(kind, 950.0, 500_000 * (set + 1) + seed);
        heard(&sound.samples, sound.channels, sounds::RATE).is_some()
    });
    let spoilt = each(0..count, |seed| spoilt(1_000_000 * set + seed));
    let sounds = "noise, speech, music, hum, glides, clicks, alarms";
    let messages = "a message with a wrong bit, the same in both copies";
    for (name, results) in [(sounds, invented), (messages, spoilt)] {
        let heard = those(&results, |heard| *heard);
        let heard = format!("{} {heard:?}", heard.len());
        row(&[&name, &results.len(), &heard]);
    }
}
