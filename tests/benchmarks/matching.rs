//! What a digital copy is worth as reference.
//!
//! `cargo bench --bench matching -- accuracy 120`: so many tapes of invented
//! music on each of two machines, −10 to +10 % off, heard for 10, 30 and 60 s.
//! `-- wrong 300`: so many tapes held against the copy of other music, half of
//! it over the same drums. `-- short 100`: copies of 5 to 10 s, with the tape of
//! each and one of other music. `-- long 100`: so many worn tapes in a copy of 60
//! minutes, and when they are found. `-- cost`: a copy of 60 minutes made ready, and
//! followed. Nothing said: all, with these numbers.

#[path = "../support/mod.rs"]
mod support;

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use support::dice::Small;
use support::seeds::{Errors, each, quantile, those};
use support::tunes::{Player, RATE_HZ, tune};
use tapewright::readings::CopyState;
use tapewright::readings::matching::{Copy, CopyBuilder, Matcher, Report, SpeedFound};

const TIMES_S: [f64; 3] = [10.0, 30.0, 60.0];
const TUNES: u64 = 8;

/// Other music is heard so long: it is searched for four times.
const WRONG_S: f64 = 12.0;
const TUNE_S: f64 = 150.0;

fn main() {
    let asked: Vec<String> = std::env::args()
        .skip(1)
        .filter(|it| !it.starts_with("--"))
        .collect();
    let of = |name: &str, usual: u64| match asked.first() {
        None => Some(usual),
        Some(first) if first == name => {
            Some(asked.get(1).and_then(|it| it.parse().ok()).unwrap_or(usual))
        }
        Some(_) => None,
    };
    if let Some(count) = of("accuracy", 120) {
        accuracy(count);
    }
    if let Some(count) = of("wrong", 300) {
        wrong(count);
    }
    if let Some(count) = of("short", 100) {
        short(count);
    }
    if let Some(count) = of("long", 100) {
        long(count);
    }
    if of("cost", 1).is_some() {
        cost();
    }
}

fn ready(samples: &[f32]) -> Arc<Copy> {
    Arc::new(Copy::prepare(samples, RATE_HZ).expect("invented music can be a copy"))
}

/// What is known after each of [`TIMES_S`], as far as the tape goes.
fn heard(copy: &Arc<Copy>, tape: &[f32]) -> Vec<Report> {
    let mut matcher = Matcher::new(Arc::clone(copy), RATE_HZ);
    let mut reports = Vec::new();
    let mut from = 0;
    for seconds in TIMES_S {
        let to = (seconds * f64::from(RATE_HZ)) as usize;
        if to > tape.len() {
            break;
        }
        for block in tape[from..to].chunks(1600) {
            matcher.push(block);
        }
        from = to;
        reports.push(matcher.report());
    }
    reports
}

/// Error and ± in parts per million.
fn judged(found: &SpeedFound, speed: f64) -> (f64, f64) {
    let limit = found.uncertainty.half_width.hypot(found.noise);
    (1e6 * (found.ratio / speed - 1.0), 1e6 * limit)
}

fn print(name: &str, errors: &Errors, count: u64) {
    println!(
        "{name}  {:>3} of {count:<4} {:>14.1}, {:.1}, {:.1} {:>22.1}   {:.1} %",
        errors.known.len(),
        errors.error(0.5),
        errors.error(0.95),
        errors.error(1.0),
        errors.limit(),
        100.0 * errors.covered(),
    );
    if !errors.missed.is_empty() {
        println!("         not found, by seed: {:?}", errors.missed);
    }
}

fn accuracy(count: u64) {
    println!(
        "machine  heard  found      error, ppm: median, 95 of 100, largest   ± median   within ±"
    );
    let music: Vec<Vec<f32>> = (0..TUNES).map(|k| tune(100 + k, k, TUNE_S)).collect();
    let copies: Vec<Arc<Copy>> = music.iter().map(|samples| ready(samples)).collect();
    for worn in [false, true] {
        let mut rows: [Errors; 3] = std::array::from_fn(|_| Errors::default());
        for seed in 0..count {
            let mut chance = Small::new(seed);
            let which = (seed % TUNES) as usize;
            let speed = chance.between(0.9, 1.1);
            let longest_s = TIMES_S[2];
            let start_s = chance.between(0.0, TUNE_S - longest_s * speed - 1.0);
            let good = Player {
                seed,
                ..Player::good(speed, start_s, longest_s)
            };
            let player = if worn { good.worn() } else { good };
            let reports = heard(&copies[which], &player.play(&music[which]));
            for (row, report) in rows.iter_mut().zip(reports) {
                row.add(seed, report.speed.map(|found| judged(&found, speed)));
            }
        }
        for (row, seconds) in rows.iter().zip(TIMES_S) {
            let machine = if worn { "worn   " } else { "good   " };
            print(&format!("{machine}  {seconds:>4.0} s"), row, count);
        }
    }
}

/// A tape held against a copy of other music; whether it is taken for it.
fn wrong_one(copies: &[Arc<Copy>], seed: u64) -> bool {
    let mut chance = Small::new(1000 + seed);
    let which = seed % TUNES;
    // Every other tape has the drums of the copy, near its tempo.
    let shares = (seed / TUNES).is_multiple_of(2);
    let drums = if shares { which } else { 50 + seed };
    let off = if shares { 0.01 } else { 0.1 };
    let player = Player {
        seed,
        ..Player::good(chance.between(1.0 - off, 1.0 + off), 1.0, WRONG_S)
    };
    let tape = player.play(&tune(10_000 + seed, drums, 1.2 * WRONG_S));
    let mut matcher = Matcher::new(Arc::clone(&copies[which as usize]), RATE_HZ);
    matcher.push(&tape);
    matcher.report().speed.is_some()
}

/// Works on all cores it is given, and tells now and then how far it is.
fn wrong(count: u64) {
    let copies: Vec<Arc<Copy>> = (0..TUNES).map(|k| ready(&tune(200 + k, k, 60.0))).collect();
    let done = AtomicU64::new(0);
    let taken = each(0..count, |seed| {
        let taken = wrong_one(&copies, seed);
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        if done.is_multiple_of(100) {
            eprintln!("{done} of {count}");
        }
        taken
    });
    let accepted = those(&taken, |taken| *taken);
    println!(
        "other music, {WRONG_S} s, half of it over the same drums: {} of {count} accepted {accepted:?}",
        accepted.len()
    );
}

/// A tape that begins and ends with its short copy, and other music over the
/// same drums that does not end with it.
fn short(count: u64) {
    let (mut row, mut taken) = (Errors::default(), Vec::new());
    for seed in 0..count {
        let mut chance = Small::new(90_000 + seed);
        let seconds = chance.between(5.0, 10.0);
        let music = tune(20_000 + seed, seed, seconds);
        let copy = ready(&music);
        let heard = |music: &[f32], speed: f64, seconds: f64| {
            let player = Player {
                seed,
                ..Player::good(speed, 0.0, seconds)
            };
            let mut matcher = Matcher::new(Arc::clone(&copy), RATE_HZ);
            matcher.push(&player.play(music));
            matcher.report().speed
        };
        let speed = chance.between(0.9, 1.1);
        let found = heard(&music, speed, seconds / speed);
        row.add(seed, found.map(|found| judged(&found, speed)));
        if heard(&tune(30_000 + seed, seed, 15.0), speed, WRONG_S).is_some() {
            taken.push(seed);
        }
    }
    print("copies of 5 to 10 s", &row, count);
    println!(
        "other music, {WRONG_S} s, over the same drums: {} of {count} taken for it {taken:?}",
        taken.len()
    );
}

/// Sixty minutes, 24 tunes one after the other.
fn an_hour() -> Vec<f32> {
    (0..24)
        .flat_map(|k| tune(400 + k, 400 + k, 150.0))
        .collect()
}

fn long(count: u64) {
    const MOST_S: usize = 40;
    let music = an_hour();
    let copy = ready(&music);
    let (mut found_s, mut wrong, mut missed) = (Vec::new(), Vec::new(), Vec::new());
    for seed in 0..count {
        let mut chance = Small::new(70_000 + seed);
        let speed = chance.between(0.9, 1.1);
        let start_s = chance.between(0.0, 3600.0 - 2.0 * MOST_S as f64);
        let player = Player {
            seed,
            ..Player::good(speed, start_s, MOST_S as f64)
        };
        let tape = player.worn().play(&music);
        let mut matcher = Matcher::new(Arc::clone(&copy), RATE_HZ);
        let found = tape
            .chunks(RATE_HZ as usize / 10)
            .enumerate()
            .find(|(_, block)| {
                matcher.push(block);
                matcher.state() == CopyState::Following
            });
        let Some((tenths, _)) = found else {
            missed.push(seed);
            continue;
        };
        let ratio = matcher.report().speed.map_or(f64::NAN, |found| found.ratio);
        if (ratio / speed - 1.0).abs() < 0.001 {
            found_s.push(0.1 * (tenths + 1) as f64);
        } else {
            wrong.push(seed);
        }
    }
    let at = |part| quantile(found_s.iter().copied(), part);
    println!(
        "worn tapes in a copy of 60 min: {} of {count} found, median {:.1} s, 95 in 100 {:.1} s, last {:.1} s; \
         within 10 s {}; at a wrong place {wrong:?}, not in {MOST_S} s {missed:?}",
        found_s.len(),
        at(0.5),
        at(0.95),
        at(1.0),
        found_s.iter().filter(|found| **found <= 10.0).count(),
    );
}

fn cost() {
    let minute = tune(300, 1, 600.0);
    let mut builder = CopyBuilder::new(RATE_HZ, 1);
    let began = Instant::now();
    for _ in 0..6 {
        builder.push(&minute);
    }
    let copy = Arc::new(builder.finish().expect("invented music can be a copy"));
    println!(
        "copy of 60 min at {RATE_HZ} Hz made ready in {:.1} s",
        began.elapsed().as_secs_f64()
    );
    let tape = Player::good(1.02, 100.0, 120.0).play(&minute[..5_000_000.min(minute.len())]);
    let mut matcher = Matcher::new(ready(&minute), RATE_HZ);
    let (mut searching_s, mut following_s, mut followed_s) = (0.0, 0.0, 0.0);
    for second in tape.chunks(RATE_HZ as usize) {
        let follows = matcher.report().speed.is_some();
        let began = Instant::now();
        matcher.push(second);
        let took_s = began.elapsed().as_secs_f64();
        if follows {
            following_s += took_s;
            followed_s += 1.0;
        } else {
            searching_s += took_s;
        }
    }
    println!(
        "found with {searching_s:.2} s of work in 10 minutes of music, followed with {:.1} % of a core",
        100.0 * following_s / followed_s
    );
    let mut matcher = Matcher::new(copy, RATE_HZ);
    let began = Instant::now();
    matcher.push(&tape[..10 * RATE_HZ as usize]);
    println!(
        "all searches of 10 s in 60 minutes that repeat: {:.2} s of work",
        began.elapsed().as_secs_f64()
    );
}
