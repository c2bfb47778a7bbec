//! A real hour of a steady tone through a sound server into the whole program:
//! the figure stays within what it says, nothing is lost that the sound system
//! does not report, and memory, files and threads stay what they were.
//!
//! `TAPEWRIGHT_HOUR_S` may give a shorter time in seconds, 60 or more, to try
//! the test itself; it proves nothing about an hour.

use std::collections::BTreeSet;
use std::env;
use std::thread;
use std::time::{Duration, Instant};

use crate::support::preload::COMPILER;
use crate::support::sitting::{Shown, Sitting, Truths};
use crate::support::sound_server::with_sound_server;

const HOUR: Duration = Duration::from_secs(3600);

/// What the server plays, in whole hertz: 1.016 % below 3150 Hz.
const TONE_HZ: u32 = 3118;
const TRUTH_PERCENT: f64 = (TONE_HZ as f64 / 3150.0 - 1.0) * 100.0;

/// Buffers and history are as large as they get after this time; a shorter try
/// holds nothing of memory.
const WARMED_UP: Duration = Duration::from_secs(360);

/// Growth of memory after that, a choice: room for what a memory allocator moves
/// about. One reading kept by mistake for each state, 60 a second, would be
/// hundreds of times as much.
const GROWTH_KIB: u64 = 4096;

/// What it works with for a moment besides, a choice: the search for lines, every
/// eight seconds, takes some 4.5 MiB.
const WORKING_KIB: u64 = 8192;

const LOOKS_A_MINUTE: usize = 600;

/// What may be stated, and how far a figure may be off, in the log too: a choice,
/// twice what an hour states. The large figure is rounded besides.
const MOST_PERCENT: f64 = 0.02;
const ROUNDING_PERCENT: f64 = 0.005;

/// How long the figure may be away for one gap: a choice.
const AWAY_S: f64 = 10.0;

/// How late a busy machine may be with a line of the log: a choice.
const LATE_S: f64 = 1.5;

fn length() -> Duration {
    let shorter = env::var("TAPEWRIGHT_HOUR_S").ok();
    let shorter = shorter.map(|it| {
        it.parse()
            .expect("TAPEWRIGHT_HOUR_S is a number of seconds")
    });
    shorter.map_or(HOUR, |seconds: u64| Duration::from_secs(seconds.max(60)))
}

/// That of a minute; for a moment the size of the terminal is asked of a file.
fn median<T: Ord + Copy>(all: &mut [T]) -> T {
    all.sort_unstable();
    all[all.len() / 2]
}

/// When a line of the log came, by the wall clock, and what second it is of.
fn next_second(sitting: &Sitting) -> (Instant, f64) {
    let newest = || {
        sitting
            .log()
            .last()
            .map_or(0.0, |it| it["at_s"].as_f64().unwrap())
    };
    let before = newest();
    let begun = Instant::now();
    while newest() <= before {
        assert!(begun.elapsed() < Duration::from_secs(10), "the log stands");
        thread::sleep(Duration::from_millis(5));
    }
    (Instant::now(), newest())
}

#[test]
fn an_hour_is_read_as_its_first_minute() {
    with_sound_server(&[COMPILER], |server| {
        let length = length();
        server.hum("deck", TONE_HZ);
        let sitting = Sitting::begin(server.folder(), "--machine bench --reference 3150");

        let patience = Duration::from_secs(60);
        let is_settled = |it: &Shown| it.is_settled;
        sitting.until(Instant::now(), patience, "settled", is_settled, |_| {});

        let (begun, first_s) = next_second(&sitting);
        let mut truths = Truths::new(&[TRUTH_PERCENT]);
        let (mut looks, mut blank, mut was_blank) = (0, 0, false);
        // Second, why and for how many seconds, of each time that the figure went.
        let mut breaks: Vec<(u64, &str, f64)> = Vec::new();
        let (mut widest_stated, mut farthest) = (0.0_f64, 0.0_f64);
        let mut open = Vec::new();
        let mut memory_kib = Vec::new();
        while begun.elapsed() < length {
            thread::sleep(Duration::from_millis(100));
            let shown = sitting.look();
            truths.see(&shown);
            looks += 1;
            let figure = shown.percent.zip(shown.within);
            if let Some((percent, within)) = figure {
                widest_stated = widest_stated.max(within);
                farthest = farthest.max((percent - TRUTH_PERCENT).abs());
            } else {
                blank += 1;
                let now_s = begun.elapsed().as_secs_f64();
                if !was_blank {
                    let why = if shown.is_lost { "lost" } else { "no figure" };
                    breaks.push((now_s as u64, why, 0.0));
                }
                let away = breaks.last_mut().expect("just put there");
                away.2 = now_s - away.0 as f64;
            }
            was_blank = figure.is_none();
            open.push(sitting.files_and_threads());
            if begun.elapsed() > WARMED_UP {
                memory_kib.push(sitting.memory_kib());
            }
        }
        let (ended, last_s) = next_second(&sitting);
        let shown = sitting.look();
        let errors = sitting.alsa_errors();
        sitting.window.quit();

        let log = sitting.log();
        let of = |key: &str| -> Vec<f64> { log.iter().filter_map(|it| it[key].as_f64()).collect() };
        let gaps = shown.count("gaps");
        let lost = shown.count("samples lost");
        let logged = of("deviation_percent").into_iter().skip(2);
        let farthest_logged = logged.map(|it| (it - TRUTH_PERCENT).abs());
        let farthest_logged = farthest_logged.fold(0.0, f64::max);
        let held_open: BTreeSet<_> = open.chunks_mut(LOOKS_A_MINUTE).map(median).collect();
        let wall_s = (ended - begun).as_secs_f64();
        let counted_s = last_s - first_s;
        let ppm = 1e6 * (counted_s / wall_s - 1.0);
        // What it holds, not what it works with for a moment.
        let minutes = memory_kib.chunks_mut(LOOKS_A_MINUTE);
        let held_kib: Vec<u64> = minutes.map(median).collect();
        let first_kib = held_kib.first().copied().unwrap_or(0);
        let most_kib = held_kib.iter().max().copied().unwrap_or(0);
        let peak_kib = memory_kib.iter().max().copied().unwrap_or(0);
        println!(
            "{counted_s:.0} s counted in {wall_s:.2} s by the wall ({ppm:+.1} ppm); looks {looks}, \
             without a figure {blank} {breaks:?}, figure at most {farthest:.4} % off (stated at most \
             ±{widest_stated:.3} %); log {} seconds, at most {farthest_logged:.5} % off; gaps \
             {gaps}, samples lost {lost}, errors of ALSA {errors}; memory {first_kib} KiB, at most \
             {most_kib}, for a moment {peak_kib}; files and threads {held_open:?}",
            log.len()
        );
        assert!(gaps <= errors, "{gaps} gaps, {errors} reported");
        assert!(lost == 0 || gaps > 0, "{lost} samples lost without a gap");
        assert!(breaks.len() as u64 <= gaps, "{gaps} gaps, {breaks:?}");
        let too_long = breaks.iter().find(|it| it.2 > AWAY_S);
        assert_eq!(too_long, None, "away for longer than a gap explains");
        assert!(widest_stated <= MOST_PERCENT);
        assert!(farthest <= MOST_PERCENT + ROUNDING_PERCENT);
        assert!(farthest_logged <= MOST_PERCENT);
        assert!(
            of("skipped").iter().all(|it| *it == 0.0),
            "the log has holes"
        );
        let seconds = of("at_s");
        assert!(
            seconds
                .windows(2)
                .all(|pair| (pair[1] - pair[0] - 1.0).abs() < 0.5)
        );
        let apart_s = (wall_s - counted_s).abs();
        assert!(apart_s < LATE_S, "{apart_s} s apart");
        assert!(most_kib <= first_kib + GROWTH_KIB);
        assert!(peak_kib <= first_kib + WORKING_KIB, "{peak_kib}");
        assert_eq!(held_open.len(), 1, "{held_open:?}");
    });
}
