//! What a digital copy is worth as reference.
//!
//! `cargo bench --bench matching -- accuracy 120`: so many tapes of invented
//! music on each of two machines, −10 to +10 % off, heard for 10, 30 and 60 s.
//! `-- wrong 300`: so many tapes held against the copy of other music, half of
//! it over the same drums. `-- cost`: a copy of 60 minutes made ready, and
//! followed. Nothing said: all, with these numbers.

#[path = "../support/tunes.rs"]
mod tunes;

use std::sync::Arc;
use std::time::Instant;

use tapewright::readings::matching::{Copy, CopyBuilder, Matcher, Report};
use tunes::{Player, RATE_HZ, between, chance, tune};

const TIMES_S: [f64; 3] = [10.0, 30.0, 60.0];
const TUNES: u64 = 8;
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

#[derive(Default)]
struct Row {
    errors_ppm: Vec<f64>,
    limits_ppm: Vec<f64>,
    within: usize,
    missed: Vec<u64>,
}

fn accuracy(count: u64) {
    println!(
        "machine  heard  found      error, ppm: median, 95 of 100, largest   ± median   within ±"
    );
    let music: Vec<Vec<f32>> = (0..TUNES).map(|k| tune(100 + k, k, TUNE_S)).collect();
    let copies: Vec<Arc<Copy>> = music.iter().map(|samples| ready(samples)).collect();
    for worn in [false, true] {
        let mut rows: [Row; 3] = std::array::from_fn(|_| Row::default());
        for seed in 0..count {
            let mut chance = chance(seed);
            let which = (seed % TUNES) as usize;
            let speed = between(&mut chance, 0.9, 1.1);
            let longest_s = TIMES_S[2];
            let start_s = between(&mut chance, 0.0, TUNE_S - longest_s * speed - 1.0);
            let good = Player {
                seed,
                ..Player::good(speed, start_s, longest_s)
            };
            let player = if worn { good.worn() } else { good };
            let reports = heard(&copies[which], &player.play(&music[which]));
            for (row, report) in rows.iter_mut().zip(reports) {
                let Some(found) = report.speed else {
                    row.missed.push(seed);
                    continue;
                };
                let error = 1e6 * (found.ratio / speed - 1.0).abs();
                let limit = 1e6 * found.uncertainty.half_width.hypot(found.noise);
                row.errors_ppm.push(error);
                row.limits_ppm.push(limit);
                row.within += usize::from(error <= limit);
            }
        }
        for (row, seconds) in rows.iter_mut().zip(TIMES_S) {
            let found = row.errors_ppm.len();
            row.errors_ppm.sort_by(f64::total_cmp);
            row.limits_ppm.sort_by(f64::total_cmp);
            let errors = |part| of(&row.errors_ppm, part);
            println!(
                "{}  {seconds:>4.0} s  {found:>3} of {count:<4} {:>14.1}, {:.1}, {:.1} {:>22.1}   {:.1} %",
                if worn { "worn   " } else { "good   " },
                errors(0.5),
                errors(0.95),
                errors(1.0),
                of(&row.limits_ppm, 0.5),
                100.0 * row.within as f64 / found.max(1) as f64,
            );
            if !row.missed.is_empty() {
                println!("         not found, by seed: {:?}", row.missed);
            }
        }
    }
}

/// The value below which this part of a sorted series lies.
fn of(sorted: &[f64], part: f64) -> f64 {
    let last = sorted.len().saturating_sub(1) as f64;
    sorted
        .get((part * last).ceil() as usize)
        .copied()
        .unwrap_or(f64::NAN)
}

fn wrong(count: u64) {
    let copies: Vec<Arc<Copy>> = (0..TUNES).map(|k| ready(&tune(200 + k, k, 60.0))).collect();
    let mut accepted = Vec::new();
    for seed in 0..count {
        let mut chance = chance(1000 + seed);
        let which = seed % TUNES;
        // Every other tape has the drums of the copy, near its tempo.
        let shares = (seed / TUNES).is_multiple_of(2);
        let drums = if shares { which } else { 50 + seed };
        let off = if shares { 0.01 } else { 0.1 };
        let player = Player {
            seed,
            ..Player::good(between(&mut chance, 1.0 - off, 1.0 + off), 1.0, 20.0)
        };
        let tape = player.play(&tune(10_000 + seed, drums, 25.0));
        let mut matcher = Matcher::new(Arc::clone(&copies[which as usize]), RATE_HZ);
        matcher.push(&tape);
        if matcher.report().speed.is_some() {
            accepted.push(seed);
        }
    }
    println!(
        "other music, 20 s, half of it over the same drums: {} of {count} accepted {accepted:?}",
        accepted.len()
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
