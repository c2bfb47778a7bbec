//! A tape that is played into a pipe a few times as fast as it would sound, for
//! as long as somebody reads it.

use std::f64::consts::TAU;
use std::fs::OpenOptions;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

const RATE_HZ: u32 = 48_000;
/// A hundredth slow of 3150 Hz.
const TONE_HZ: f64 = 3118.5;
/// So many times as fast as it would sound.
const PACE: f64 = 8.0;
/// What is written at once.
const PIECE_S: f64 = 0.1;
/// The trimmer goes out and back: how far, and how long that takes.
const SWEEP_PERCENT: f64 = 3.0;
const SWEEP_S: f64 = 8.0;

#[derive(Default)]
struct Shared {
    /// When how many seconds of it had been taken by the pipe.
    fed: Mutex<Vec<(Instant, f64)>>,
    /// Somebody turns the trimmer.
    sweeping: AtomicBool,
}

/// The end that it is played into.
pub struct PlayedPipe(Arc<Shared>);

impl PlayedPipe {
    /// Makes the pipe, and plays as soon as it is read. Whoever plays is waited for
    /// by nobody: a pipe that is never opened keeps it for ever.
    pub fn begin(path: &Path) -> Self {
        let made = Command::new("mkfifo").arg(path).status();
        assert!(made.is_ok_and(|made| made.success()), "no pipe");
        let shared = Arc::new(Shared::default());
        let (to, of) = (path.to_owned(), Arc::clone(&shared));
        thread::spawn(move || play(to, &of));
        Self(shared)
    }

    /// Seconds of the tape that were in the pipe this long ago.
    pub fn fed_s(&self, ago: Duration) -> f64 {
        let then = Instant::now().checked_sub(ago);
        let fed = self.0.fed.lock().expect("nobody panicked");
        let earlier = fed.iter().rev().find(|(at, _)| Some(*at) <= then);
        earlier.map_or(0.0, |(_, seconds)| *seconds)
    }

    fn played_s(&self) -> f64 {
        self.fed_s(Duration::ZERO)
    }

    /// Turns the trimmer out and back twice, and waits for it.
    pub fn sweep(&self) {
        let wait = |seconds: f64| {
            let from = self.played_s();
            let until = Instant::now() + Duration::from_secs(60);
            while self.played_s() < from + seconds && Instant::now() < until {
                thread::sleep(Duration::from_millis(5));
            }
        };
        wait(3.0);
        self.0.sweeping.store(true, Relaxed);
        wait(2.0 * SWEEP_S);
        self.0.sweeping.store(false, Relaxed);
        wait(SWEEP_S);
    }
}

fn header() -> Vec<u8> {
    let data = 0x7fff_fff0_u32;
    let mut bytes = Vec::new();
    bytes.extend(b"RIFF");
    bytes.extend((data + 36).to_le_bytes());
    bytes.extend(b"WAVEfmt ");
    bytes.extend(16u32.to_le_bytes());
    bytes.extend([1u16, 1].iter().flat_map(|it| it.to_le_bytes()));
    bytes.extend(
        [RATE_HZ, 2 * RATE_HZ]
            .iter()
            .flat_map(|it| it.to_le_bytes()),
    );
    bytes.extend([2u16, 16].iter().flat_map(|it| it.to_le_bytes()));
    bytes.extend(b"data");
    bytes.extend(data.to_le_bytes());
    bytes
}

fn play(path: PathBuf, shared: &Shared) {
    let Ok(mut pipe) = OpenOptions::new().write(true).open(path) else {
        return;
    };
    let rate = f64::from(RATE_HZ);
    let piece = (PIECE_S * rate) as usize;
    let (mut turns, mut played, mut sweep_s) = (0.0_f64, 0.0, 0.0_f64);
    let mut bytes = header();
    let begun = Instant::now();
    loop {
        for _ in 0..piece {
            // A sweep that was begun is gone on with until it is out and back.
            if shared.sweeping.load(Relaxed) || sweep_s > 0.0 {
                sweep_s = (sweep_s + 1.0 / rate) % SWEEP_S;
                if sweep_s < 1.0 / rate {
                    sweep_s = 0.0;
                }
            }
            let out = 0.5 - 0.5 * (TAU * sweep_s / SWEEP_S).cos();
            let speed = 1.0 + SWEEP_PERCENT / 100.0 * out;
            turns = (turns + TONE_HZ * speed / rate).fract();
            let sample = (16_000.0 * (TAU * turns).sin()).round() as i16;
            bytes.extend(sample.to_le_bytes());
        }
        // Whoever read is gone.
        if pipe.write_all(&bytes).is_err() {
            return;
        }
        bytes.clear();
        played += PIECE_S;
        let now = Instant::now();
        let mut fed = shared.fed.lock().expect("nobody panicked");
        fed.push((now, played));
        drop(fed);
        let due = begun + Duration::from_secs_f64(played / PACE);
        thread::sleep(due.saturating_duration_since(now));
    }
}
