//! Many seeds on all cores, and what is made of what they gave.

use std::ops::Range;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;

/// What a benchmark was asked for: how many of each, and behind `--seed` which
/// set, as yet untried, of seeds.
pub fn asked() -> (Option<u64>, u64) {
    let (mut count, mut set) = (None, 0);
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        if argument == "--seed" {
            set = arguments.next().and_then(|it| it.parse().ok()).unwrap_or(0);
        } else if let Ok(number) = argument.parse() {
            count = count.or(Some(number));
        }
    }
    (count, set)
}

/// Works on each seed, whichever core comes to it; the results in the order of
/// the seeds.
pub fn each<T: Send>(seeds: Range<u64>, one: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let next = AtomicU64::new(seeds.start);
    let cores = thread::available_parallelism().map_or(1, usize::from);
    let work = || {
        let mut done = Vec::new();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= seeds.end {
                return done;
            }
            done.push((seed, one(seed)));
        }
    };
    let mut all: Vec<(u64, T)> = thread::scope(|scope| {
        let workers: Vec<_> = (0..cores).map(|_| scope.spawn(work)).collect();
        let done = workers.into_iter().map(thread::ScopedJoinHandle::join);
        done.flat_map(|it| it.expect("no seed panics")).collect()
    });
    all.sort_by_key(|(seed, _)| *seed);
    all.into_iter().map(|(_, result)| result).collect()
}

/// The seeds from 0 on whose result is as wanted.
pub fn those<T>(results: &[T], wanted: impl Fn(&T) -> bool) -> Vec<u64> {
    let numbered = (0u64..).zip(results);
    let found = numbered.filter(|(_, result)| wanted(result));
    found.map(|(seed, _)| seed).collect()
}

/// The value below which this part of some lies; NaN of none.
pub fn quantile(mut values: Vec<f64>, part: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    let last = values.len().saturating_sub(1) as f64;
    let at = (last * part).round() as usize;
    values.get(at).copied().unwrap_or(f64::NAN)
}

/// Wilson's interval at 95 % for a share, from `hits` of `of` (Wilson 1927).
pub fn wilson(hits: f64, of: f64) -> [f64; 2] {
    let (p, z2) = (hits / of, 1.96f64 * 1.96);
    let middle = (p + z2 / (2.0 * of)) / (1.0 + z2 / of);
    let half = (z2 * (p * (1.0 - p) / of + z2 / (4.0 * of * of))).sqrt() / (1.0 + z2 / of);
    [(middle - half).max(0.0), (middle + half).min(1.0)]
}
