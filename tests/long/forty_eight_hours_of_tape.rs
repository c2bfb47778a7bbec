//! Two days of simulated tape at full speed: memory stays flat, figures stay
//! steady, no counter of samples drifts. `TAPEWRIGHT_HOURS=2` makes a short try.

use std::env;
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::support::hours::{self, Hour};

/// What is promised.
const HOURS: u64 = 48;

/// Memory is that of the whole process: one at a time.
static ALONE: Mutex<()> = Mutex::new(());

fn alone() -> MutexGuard<'static, ()> {
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// After the first hour, kilobytes: room for what an allocator does by itself.
const MOST_GROWTH_KB: u64 = 4096;

fn asked_hours() -> u64 {
    let asked = env::var("TAPEWRIGHT_HOURS").ok();
    asked.map_or(HOURS, |it| it.parse().expect("hours, a whole number"))
}

fn growth_kb(memory_kb: &[u64]) -> u64 {
    let most = memory_kb.iter().max().copied().unwrap_or(0);
    most - memory_kb[0]
}

fn row(number: usize, hour: &Hour) {
    let beyond = hour.errors.iter().filter(|it| it.abs() > 1.0).count();
    println!(
        "| {number} | {:+.5} | {beyond} of {} | {} | {:.4} | {:+.2} | {} |",
        hour.mean_error_percent(),
        hour.errors.len(),
        hour.moves,
        hour.mean_flutter_percent(),
        hour.kept_error,
        hour.memory_kb
    );
}

#[test]
fn hours_without_a_break_are_measured_the_same_from_first_to_last() {
    let _alone = alone();
    let hours = hours::played(asked_hours(), 60);
    println!(
        "| hour | mean error % | beyond its ± | moves seen | flutter % | kept: error/± | memory kB |"
    );
    for (number, hour) in (1..).zip(&hours) {
        row(number, hour);
    }
    let minutes = 60 * hours.len();
    let memory: Vec<u64> = hours.iter().map(|hour| hour.memory_kb).collect();
    println!(
        "{minutes} minutes, {} samples in all counted to the last one, {} lines of log a second \
         apart; memory grew by {} kB after the first hour.",
        minutes as u64 * 60 * 48_000 * 2,
        60 * minutes,
        growth_kb(&memory)
    );
    hours::steady(&hours);
    assert!(growth_kb(&memory) <= MOST_GROWTH_KB, "{memory:?}");
}

#[test]
fn the_same_stretch_reads_the_same_after_days() {
    let _alone = alone();
    let got = hours::repeated(3600 * asked_hours());
    let an_hour = (3600 / hours::STRETCH_S / 10) as usize;
    let memory = &got.memory_kb[an_hour - 1..];
    println!(
        "{} times {} s with a break before each, {} not told as the second; memory grew by {} kB \
         after the first hour.",
        got.times,
        hours::STRETCH_S,
        got.otherwise.len(),
        growth_kb(memory)
    );
    got.check();
    assert!(growth_kb(memory) <= MOST_GROWTH_KB, "{memory:?}");
}

/// Other references keep more of what they heard, and take longer over it: an
/// eighth of the time is enough to see what grows.
#[test]
fn other_references_may_be_left_on_too() {
    let _alone = alone();
    for (which, name) in hours::LEFT_ON.iter().enumerate() {
        let memory = hours::left_on(which, (asked_hours() / 8).max(2));
        println!("{name}: {memory:?} kB, an hour each");
        assert!(growth_kb(&memory) <= MOST_GROWTH_KB, "{name}: {memory:?}");
    }
}
