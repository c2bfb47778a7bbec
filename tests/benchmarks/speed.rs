//! How fast recordings are read, and in how much memory, against their length
//! and sample rate.
//!
//! `cargo bench --bench speed`: writes recordings of an invented machine
//! (3118.5 Hz with wow, flutter, hiss and dropouts; 16 bit, stereo) to a
//! temporary folder and lets the program itself read them, with everything it
//! measures. On one core where `taskset` is there. The time of the core counts,
//! for others may be at work on the same machine; the time of the clock stands
//! beside it. FLAC, made by `flac` or `sox` where there is one, is measured
//! with its decoding apart.

#[path = "../support/mod.rs"]
mod support;

use std::f64::consts::TAU;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use support::dice::Dice;
use support::memory;
use support::program::PROGRAM;
use support::seeds::head;
use support::wave_bytes::{chunk, format_chunk, sized_chunk, sized_file};
use tapewright::audio::recording::Recording;

/// The best of so many runs counts.
const RUNS: u32 = 3;

/// A minute that can be repeated without a seam: every line makes whole turns.
fn minute(rate_hz: u32) -> Vec<u8> {
    let mut dice = Dice::new(1);
    let mut bytes = Vec::with_capacity(rate_hz as usize * 60 * 4);
    for n in 0..rate_hz * 60 {
        let t = f64::from(n) / f64::from(rate_hz);
        // 0.1 % of wow at 1.1 Hz, 0.05 % of flutter at 9.3 Hz.
        let sway = |hz: f64, percent: f64| 31.185 * percent / (TAU * hz) * (TAU * hz * t).sin();
        let turns = 3118.5 * t + sway(1.1, 0.1) + sway(9.3, 0.05);
        let down = (t + 4.0) % 7.0 < 0.02;
        let tone = if down { 0.003 } else { 0.35 } * (TAU * turns).sin();
        for balance in [1.0, 0.9] {
            let hiss: f64 = (0..4).map(|_| dice.between(-0.001, 0.001)).sum();
            let code = ((balance * tone + hiss) * 32_768.0).round() as i16;
            bytes.extend_from_slice(&code.to_le_bytes());
        }
    }
    bytes
}

fn write_wav(path: &Path, rate_hz: u32, minutes: u32) -> io::Result<()> {
    let minute = minute(rate_hz);
    let size = u32::try_from(minute.len() as u64 * u64::from(minutes))
        .map_err(|_| io::Error::other("too long for a plain WAV"))?;
    let format = chunk(*b"fmt ", &format_chunk(1, 2, rate_hz, 16));
    let data = sized_chunk(*b"data", size, &minute);
    let mut file = BufWriter::new(File::create(path)?);
    file.write_all(&sized_file(*b"RIFF", size + 36, &[format, data]))?;
    for _ in 1..minutes {
        file.write_all(&minute)?;
    }
    file.flush()
}

/// What reading a file took.
#[derive(Clone, Copy)]
struct Cost {
    core_s: f64,
    clock_s: f64,
    peak_kb: u64,
}

/// Seconds of a core that this process and the children it has waited for have
/// used, as Linux counts them: in hundredths.
fn core_seconds() -> [f64; 2] {
    let stat = fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = stat.rsplit_once(") ").map_or("", |(_, rest)| rest);
    let fields: Vec<f64> = after_name
        .split(' ')
        .map(|field| field.trim().parse().unwrap_or(0.0))
        .collect();
    let sum = |from: usize| {
        fields
            .get(from..from + 2)
            .map_or(0.0, |two| two.iter().sum())
    };
    [sum(11) / 100.0, sum(13) / 100.0]
}

fn on_one_core() -> Command {
    let has_taskset = Command::new("taskset")
        .arg("-V")
        .stdout(Stdio::null())
        .status()
        .is_ok();
    if has_taskset {
        let mut command = Command::new("taskset");
        command.args(["-c", "0", PROGRAM]);
        command
    } else {
        Command::new(PROGRAM)
    }
}

fn read(path: &Path) -> io::Result<Cost> {
    let [_, before] = core_seconds();
    let begun = Instant::now();
    let mut child = on_one_core()
        .args(["read", "--json"])
        .arg(path)
        .stdout(Stdio::null())
        .spawn()?;
    let mut peak = 0;
    let status = loop {
        peak = peak.max(memory::most_kib(&child.id().to_string()).unwrap_or(0));
        if let Some(status) = child.try_wait()? {
            break status;
        }
        thread::sleep(Duration::from_millis(5));
    };
    if !status.success() {
        return Err(io::Error::other("the recording was not read"));
    }
    Ok(Cost {
        core_s: core_seconds()[1] - before,
        clock_s: begun.elapsed().as_secs_f64(),
        peak_kb: peak,
    })
}

fn best(path: &Path) -> io::Result<Cost> {
    let mut best = read(path)?;
    for _ in 1..RUNS {
        let cost = read(path)?;
        best.core_s = best.core_s.min(cost.core_s);
        best.clock_s = best.clock_s.min(cost.clock_s);
        best.peak_kb = best.peak_kb.max(cost.peak_kb);
    }
    Ok(best)
}

fn row(what: &str, seconds: f64, cost: Cost) {
    println!(
        "| {what} | {:.2} | {:.0} | {:.0} | {:.1} |",
        cost.core_s,
        seconds / cost.core_s,
        seconds / cost.clock_s,
        cost.peak_kb as f64 / 1024.0
    );
}

/// A FLAC of the WAV, if anything here can make one.
fn flac_of(wav: &Path) -> Option<PathBuf> {
    let flac = wav.with_extension("flac");
    let done = |status: io::Result<std::process::ExitStatus>| status.is_ok_and(|s| s.success());
    let by_flac = Command::new("flac")
        .args(["-s", "-f", "-o"])
        .args([&flac, wav])
        .status();
    let made = done(by_flac) || done(Command::new("sox").args([wav, &flac]).status());
    made.then_some(flac)
}

/// Seconds of a core that decoding alone takes.
fn decoding_s(path: &Path) -> Option<f64> {
    let [before, _] = core_seconds();
    let mut recording = Recording::open(path).ok()?;
    let mut block = Vec::new();
    let mut frames = 0;
    while let Some(count) = recording.next_block(&mut block) {
        frames += count;
    }
    (frames > 0).then(|| core_seconds()[0] - before)
}

fn main() -> io::Result<()> {
    let folder = tempfile::tempdir()?;
    head("recording | core s | times real time | by the clock | peak MB");
    for (rate_hz, minutes) in [
        (48_000, 10),
        (48_000, 30),
        (48_000, 90),
        (44_100, 10),
        (96_000, 10),
        (192_000, 10),
    ] {
        let path = folder.path().join("recording.wav");
        write_wav(&path, rate_hz, minutes)?;
        let seconds = 60.0 * f64::from(minutes);
        row(
            &format!("WAV, {minutes} min, {rate_hz} Hz"),
            seconds,
            best(&path)?,
        );
    }
    let wav = folder.path().join("ten.wav");
    write_wav(&wav, 48_000, 10)?;
    match flac_of(&wav) {
        None => println!("no FLAC: neither flac nor sox is here"),
        Some(flac) => {
            row("FLAC, 10 min, 48000 Hz", 600.0, best(&flac)?);
            if let Some(decoding_s) = decoding_s(&flac) {
                println!("of which decoding takes {decoding_s:.2} s of a core");
            }
        }
    }
    Ok(())
}
