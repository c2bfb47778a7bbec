//! Many seeds on all cores, what is made of what they gave, and how it is
//! printed.

use std::fmt::Display;
use std::ops::Range;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;

/// What a benchmark was asked for: how many of each, and behind `--seed` which
/// set, as yet untried, of seeds.
pub fn asked() -> (Option<u64>, u64) {
    let (mut count, mut set) = (None, 0);
    let mut words = words();
    while let Some(word) = words.next() {
        if word == "--seed" {
            set = words.next().and_then(|it| it.parse().ok()).unwrap_or(0);
        } else if let Ok(number) = word.parse() {
            count = count.or(Some(number));
        }
    }
    (count, set)
}

fn words() -> impl Iterator<Item = String> {
    std::env::args().skip(1)
}

/// A word stands on the command line.
pub fn has(word: &str) -> bool {
    words().any(|it| it == word)
}

/// What follows a word there.
pub fn option<T: std::str::FromStr>(word: &str) -> Option<T> {
    words().skip_while(|it| it != word).nth(1)?.parse().ok()
}

/// All numbers there.
pub fn numbers() -> Vec<f64> {
    words().filter_map(|it| it.parse().ok()).collect()
}

/// The head of a table, its columns parted by `|`.
pub fn head(columns: &str) {
    println!("\n| {columns} |");
    println!("|{}", " --- |".repeat(1 + columns.matches('|').count()));
}

/// A row of it.
pub fn row(cells: &[&dyn Display]) {
    let cells: Vec<String> = cells.iter().map(ToString::to_string).collect();
    println!("| {} |", cells.join(" | "));
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

/// The value that this part of some lies below; NaN of none.
pub fn quantile(values: impl IntoIterator<Item = f64>, part: f64) -> f64 {
    let mut values: Vec<f64> = values.into_iter().collect();
    values.sort_by(f64::total_cmp);
    let at = (values.len() as f64 * part) as usize;
    let last = values.len().saturating_sub(1);
    values.get(at.min(last)).copied().unwrap_or(f64::NAN)
}

/// Share in percent with Wilson's interval at 95 % (Wilson 1927).
pub fn share(hits: usize, of: usize) -> String {
    if of == 0 {
        return "–".to_owned();
    }
    let (n, z2) = (of as f64, 1.96f64 * 1.96);
    let p = hits as f64 / n;
    let middle = (p + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half = (z2 * (p * (1.0 - p) / n + z2 / (4.0 * n * n))).sqrt() / (1.0 + z2 / n);
    let [low, high] = [middle - half, middle + half].map(|it| 100.0 * it.clamp(0.0, 1.0));
    format!("{:.1} ({low:.1}–{high:.1}) of {of}", 100.0 * p)
}

/// Errors and their ±, each with its seed, and the seeds of what was not
/// measured.
#[derive(Clone, Debug, Default)]
pub struct Errors {
    pub known: Vec<(u64, f64, f64)>,
    pub missed: Vec<u64>,
}

impl Errors {
    /// Error and ± of each seed.
    pub fn of(judged: impl IntoIterator<Item = Option<(f64, f64)>>) -> Self {
        let mut errors = Self::default();
        for (seed, judged) in (0..).zip(judged) {
            errors.add(seed, judged);
        }
        errors
    }

    pub fn add(&mut self, seed: u64, judged: Option<(f64, f64)>) {
        match judged {
            Some((error, limit)) => self.known.push((seed, error.abs(), limit)),
            None => self.missed.push(seed),
        }
    }

    pub fn join(&mut self, other: &Self) {
        self.known.extend(&other.known);
        self.missed.extend(&other.missed);
    }

    /// The error that this part of them stays below.
    pub fn error(&self, part: f64) -> f64 {
        quantile(self.known.iter().map(|it| it.1), part)
    }

    /// The median ±.
    pub fn limit(&self) -> f64 {
        quantile(self.known.iter().map(|it| it.2), 0.5)
    }

    /// Those that their ± does not hold; what rounding leaves is no error.
    pub fn outside(&self) -> Vec<u64> {
        let outside = self.known.iter().filter(|it| it.1 > it.2.max(1e-5));
        outside.map(|it| it.0).collect()
    }

    /// The share that their ± holds.
    pub fn covered(&self) -> f64 {
        let count = self.known.len();
        (count - self.outside().len()) as f64 / count.max(1) as f64
    }

    /// The median ± over the error that 95 in 100 stay below.
    pub fn width(&self) -> f64 {
        self.limit() / self.error(0.95)
    }
}
