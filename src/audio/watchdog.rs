//! Decides from the signs of life of a stream whether it still lives, and
//! whether frames are missing that nobody reported.
//!
//! Pure: the caller looks at the clock and the counters. Losing an input shows
//! in different ways: some systems say so, some repeat the same error for
//! ever, some simply stop calling.

/// The caller asks this often.
pub const TICKS_PER_SECOND: u32 = 20;

/// No block for this many ticks in a row, half a second, is a loss; a choice.
/// Counted in ticks, not in time: a process that was stopped and continued has
/// not seen its input fail.
const QUIET_TICKS: u32 = TICKS_PER_SECOND / 2;

/// Ticks without a block that are enough when errors come meanwhile: a choice.
const QUIET_TICKS_WITH_ERRORS: u32 = 3;

/// Lag behind time that no block length or scheduling explains, in seconds.
/// Tuned, on what is not recorded.
const UNEXPLAINED_LAG_S: f64 = 0.06;

/// So many blocks in a row must lag, 0.3 s or more, that it is said within a
/// second; a choice.
const SURE_TICKS: usize = 6;

/// A lag that grows by more than this from tick to tick grows yet. A choice.
const STILL_S: f64 = 0.01;

/// What a stream shows at one tick.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    /// Seconds since the stream began to deliver.
    pub elapsed_s: f64,
    /// Frames so far, known losses included.
    pub frames: u64,
    /// Errors so far.
    pub errors: u64,
    /// It said that it is gone.
    pub gone: bool,
    /// It was moved to another device.
    pub moved: bool,
    /// The computer slept since it began.
    pub slept: bool,
}

/// What follows from it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    Alive,
    /// It lives, but this many frames have gone missing unreported.
    Missing(u64),
    Lost(LossKind),
}

/// How it was lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LossKind {
    /// The system said so.
    Gone,
    /// Nothing but errors.
    Failing,
    /// No more blocks, no reason given.
    Quiet,
    /// The system put another device in its place.
    Moved,
    /// The computer slept, while the tape ran on; hardware that wakes by itself
    /// goes on as if nothing were missing.
    Slept,
}

/// Watches one stream.
#[derive(Debug)]
pub struct Watchdog {
    rate_hz: f64,
    frames: u64,
    errors_at_last_block: u64,
    quiet_ticks: u32,
    lag: Lag,
}

/// By how much the frames are behind time. A block that comes late lags for a
/// moment; frames that never come lag for good, so only the smallest of several
/// counts.
#[derive(Debug)]
struct Lag {
    /// Of the last ticks with a block, in seconds.
    recent_s: [f64; SURE_TICKS],
    /// What it is measured from, and the ticks with a block since.
    base_s: Option<f64>,
    ticks: usize,
    /// The smallest, one tick before.
    before_s: f64,
}

impl Watchdog {
    /// For a stream of this many frames a second.
    pub fn new(rate_hz: u32) -> Self {
        Self {
            rate_hz: f64::from(rate_hz),
            frames: 0,
            errors_at_last_block: 0,
            quiet_ticks: 0,
            lag: Lag {
                recent_s: [0.0; SURE_TICKS],
                base_s: None,
                ticks: 0,
                before_s: f64::INFINITY,
            },
        }
    }

    /// One tick. Frames that it finds missing it takes as lost from then on,
    /// without having them counted in [`Look::frames`] by the caller.
    pub fn look(&mut self, look: Look) -> Verdict {
        if look.gone {
            return Verdict::Lost(LossKind::Gone);
        }
        if look.moved {
            return Verdict::Lost(LossKind::Moved);
        }
        if look.slept {
            return Verdict::Lost(LossKind::Slept);
        }
        if look.frames > self.frames {
            self.frames = look.frames;
            self.errors_at_last_block = look.errors;
            self.quiet_ticks = 0;
        } else {
            self.quiet_ticks += 1;
        }
        let failing = look.errors > self.errors_at_last_block + 1;
        if failing && self.quiet_ticks >= QUIET_TICKS_WITH_ERRORS {
            return Verdict::Lost(LossKind::Failing);
        }
        if self.quiet_ticks >= QUIET_TICKS {
            return Verdict::Lost(LossKind::Quiet);
        }
        self.missing(look)
    }

    fn missing(&mut self, look: Look) -> Verdict {
        // While nothing comes it is not known how much will be missing.
        if self.quiet_ticks > 0 {
            return Verdict::Alive;
        }
        let lag = &mut self.lag;
        lag.recent_s.rotate_left(1);
        lag.recent_s[SURE_TICKS - 1] = look.elapsed_s - look.frames as f64 / self.rate_hz;
        lag.ticks += 1;
        if lag.ticks < SURE_TICKS {
            return Verdict::Alive;
        }
        let smallest_s = lag.recent_s.iter().copied().fold(f64::INFINITY, f64::min);
        // What grows yet is not all that is missing.
        let grows = smallest_s > lag.before_s + STILL_S;
        lag.before_s = smallest_s;
        if grows {
            return Verdict::Alive;
        }
        let grown_s = lag.base_s.map_or(0.0, |base_s| smallest_s - base_s);
        let is_missing = grown_s > UNEXPLAINED_LAG_S;
        // The clocks of computer and sound card differ by a fraction of a
        // millisecond each second; following along takes that out.
        if is_missing || lag.base_s.is_none() || lag.ticks >= TICKS_PER_SECOND as usize {
            lag.base_s = Some(smallest_s);
            lag.ticks = 0;
        }
        if is_missing {
            Verdict::Missing((grown_s * self.rate_hz).round() as u64)
        } else {
            Verdict::Alive
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TICK_S: f64 = 1.0 / TICKS_PER_SECOND as f64;

    fn steady(tick: u32) -> Look {
        Look {
            elapsed_s: f64::from(tick) * TICK_S,
            frames: u64::from(tick) * 2400,
            errors: 0,
            gone: false,
            moved: false,
            slept: false,
        }
    }

    /// The first verdict that is not `Alive`, and its tick.
    fn first(ticks: u32, mut look: impl FnMut(u32) -> Look) -> Option<(u32, Verdict)> {
        let mut dog = Watchdog::new(48_000);
        (1..=ticks)
            .map(|tick| (tick, dog.look(look(tick))))
            .find(|(_, verdict)| *verdict != Verdict::Alive)
    }

    #[test]
    fn a_steady_stream_another_clock_late_blocks_and_errors_among_samples_are_no_loss() {
        assert_eq!(first(2000, steady), None);
        // 300 ppm slow for 100 s: 30 ms in all.
        let slow = |tick| Look {
            elapsed_s: f64::from(tick) * TICK_S * 1.0003,
            ..steady(tick)
        };
        assert_eq!(first(2000, slow), None);
        let late = |tick| Look {
            frames: steady(tick).frames - if tick % 7 == 0 { 2000 } else { 0 },
            ..steady(tick)
        };
        assert_eq!(first(2000, late), None);
        let crackles = |tick: u32| Look {
            errors: u64::from(tick),
            ..steady(tick)
        };
        assert_eq!(first(2000, crackles), None);
    }

    #[test]
    fn silence_of_the_callback_is_a_loss_after_half_a_second() {
        let stops = |tick: u32| Look {
            frames: steady(tick.min(100)).frames,
            ..steady(tick)
        };
        let quiet = Verdict::Lost(LossKind::Quiet);
        assert_eq!(first(2000, stops), Some((110, quiet)));
    }

    #[test]
    fn repeated_errors_without_samples_are_a_loss_sooner() {
        let fails = |tick: u32| Look {
            frames: steady(tick.min(100)).frames,
            errors: u64::from(tick.saturating_sub(100)) * 9,
            ..steady(tick)
        };
        let failing = Verdict::Lost(LossKind::Failing);
        assert_eq!(first(2000, fails), Some((103, failing)));
    }

    #[test]
    fn what_the_system_says_counts_at_once() {
        let gone = |tick| Look {
            gone: tick == 5,
            ..steady(tick)
        };
        assert_eq!(first(9, gone), Some((5, Verdict::Lost(LossKind::Gone))));
        let moved = |tick| Look {
            moved: tick == 5,
            ..steady(tick)
        };
        assert_eq!(first(9, moved), Some((5, Verdict::Lost(LossKind::Moved))));
        let slept = |tick| Look {
            slept: tick == 5,
            ..steady(tick)
        };
        assert_eq!(first(9, slept), Some((5, Verdict::Lost(LossKind::Slept))));
    }

    /// What is found where for so many ticks after 5 s the frames never come; all
    /// of it within a second.
    fn found(ticks: u32) -> Vec<Verdict> {
        let mut dog = Watchdog::new(48_000);
        let look = |tick: u32| Look {
            frames: steady(tick.min(100).max(tick.saturating_sub(ticks))).frames,
            ..steady(tick)
        };
        let verdicts = (1..=400).map(|tick| (tick, dog.look(look(tick))));
        let found = verdicts.filter(|(_, it)| *it != Verdict::Alive);
        let in_time = |(tick, it)| {
            assert!(tick < 100 + TICKS_PER_SECOND, "{it:?} at tick {tick}");
            it
        };
        found.map(in_time).collect()
    }

    #[test]
    fn frames_that_never_come_are_found_once() {
        assert_eq!(found(1), []);
        assert_eq!(found(4), [Verdict::Missing(9600)]);
        assert_eq!(found(8), [Verdict::Missing(19_200)]);
    }

    /// Blocks of 10 ms; each look is late by chance, as on a busy computer, and a
    /// block may come in the midst of what is missing.
    #[test]
    fn one_gap_is_told_as_one_however_late_the_looks_are() {
        let mut state = 1u32;
        let mut chance = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / f64::from(1 << 24)
        };
        for _ in 0..500 {
            let (from_s, missing_s) = (5.0 + chance(), 0.1 + 0.3 * chance());
            let leftover_s = from_s + missing_s * chance();
            let mut dog = Watchdog::new(48_000);
            let (mut now_s, mut found) = (0.0, Vec::new());
            while now_s < 12.0 {
                now_s += TICK_S + 0.06 * chance() * chance();
                let gone_s = (now_s - from_s).clamp(0.0, missing_s);
                let came = if now_s > leftover_s { 0.01 } else { 0.0 };
                let came_s = now_s - gone_s + f64::min(came, gone_s);
                let frames = (came_s * 100.0).floor() as u64 * 480;
                let look = Look {
                    elapsed_s: now_s,
                    frames,
                    ..steady(0)
                };
                found.extend(Some(dog.look(look)).filter(|it| *it != Verdict::Alive));
            }
            let [Verdict::Missing(frames)] = found[..] else {
                panic!("{missing_s} s: {found:?}");
            };
            let off_s = frames as f64 / 48_000.0 - missing_s;
            assert!(off_s.abs() < 0.03, "{missing_s} s: {found:?}");
        }
    }
}
