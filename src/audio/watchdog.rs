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

/// A lag that grows by more than this from tick to tick grows yet, and for no
/// longer than half a second unless more is lost all the time. Choices.
const STILL_S: f64 = 0.01;
const GROWS_TICKS: u32 = TICKS_PER_SECOND / 2;

/// What the lag is measured from follows it by this much from tick to tick, up and
/// down: clocks differ by far less, but a server may come to hold more or less than
/// it did. Choices; what loses less than 2 % all the time is not found.
const FOLLOWED_UP_S: f64 = 0.02 / TICKS_PER_SECOND as f64;
const FOLLOWED_DOWN_S: f64 = 0.1 / TICKS_PER_SECOND as f64;

/// A server that puts another input behind a stream says nothing, but skips, by
/// 0.37 s and more where it was measured. A skip is longer than this; a choice,
/// between that and the gaps of a busy computer.
const SKIP_S: f64 = 0.25;

/// It is over within as many ticks: what is lost all the time grows by a tick in a
/// tick at most, and is no skip of that length before.
const SKIP_TICKS: u32 = 4;

/// A look that comes so long after the one before is late, by all beyond a tick. What
/// came late lately, within 1.5 s, may be why samples were lost. Choices.
const LATE_S: f64 = 2.0 * TICK_S;
const LATELY_TICKS: u32 = TICKS_PER_SECOND * 3 / 2;
const TICK_S: f64 = 1.0 / TICKS_PER_SECOND as f64;

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
    /// The same, at one go, and more than late looks explain: it may be another input
    /// from here on.
    Skipped(u64),
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
    /// Samples were skipped, as when the system does that without a word.
    Skipped,
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
    /// When it was looked last.
    looked_s: f64,
    /// By how much looks were late lately, and the looks since.
    late_s: f64,
    in_time_ticks: u32,
    lag: Lag,
}

/// By how much the frames are behind time. A block that comes late lags for a
/// moment; frames that never come lag for good, so only the smallest of several
/// counts.
#[derive(Debug)]
struct Lag {
    /// Of the last ticks with a block, in seconds.
    recent_s: [f64; SURE_TICKS],
    /// How many of them there are.
    ticks: usize,
    /// What it is measured from.
    base_s: Option<f64>,
    /// The smallest, one tick before, and for how many ticks it has grown.
    before_s: f64,
    grows_ticks: u32,
}

impl Watchdog {
    /// For a stream of this many frames a second.
    pub fn new(rate_hz: u32) -> Self {
        Self {
            rate_hz: f64::from(rate_hz),
            frames: 0,
            errors_at_last_block: 0,
            quiet_ticks: 0,
            looked_s: 0.0,
            late_s: 0.0,
            in_time_ticks: 0,
            lag: Lag {
                recent_s: [0.0; SURE_TICKS],
                ticks: 0,
                base_s: None,
                before_s: f64::INFINITY,
                grows_ticks: 0,
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
        self.note_lateness(look.elapsed_s);
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

    fn note_lateness(&mut self, now_s: f64) {
        let since_s = now_s - self.looked_s;
        self.looked_s = now_s;
        self.in_time_ticks += 1;
        if since_s > LATE_S {
            self.late_s += since_s - TICK_S;
            self.in_time_ticks = 0;
        } else if self.in_time_ticks > LATELY_TICKS {
            self.late_s = 0.0;
        }
    }

    fn missing(&mut self, look: Look) -> Verdict {
        // While nothing comes it is not known how much will be missing.
        if self.quiet_ticks > 0 {
            return Verdict::Alive;
        }
        let lag_s = look.elapsed_s - look.frames as f64 / self.rate_hz;
        let Some((grown_s, at_one_go)) = self.lag.grown_s(lag_s) else {
            return Verdict::Alive;
        };
        let frames = (grown_s * self.rate_hz).round() as u64;
        if at_one_go && grown_s - self.late_s > SKIP_S {
            Verdict::Skipped(frames)
        } else {
            Verdict::Missing(frames)
        }
    }
}

impl Lag {
    /// The lag of one tick. Seconds that it has grown by unexplained, told once, and
    /// whether it was at one go.
    fn grown_s(&mut self, lag_s: f64) -> Option<(f64, bool)> {
        self.recent_s.rotate_left(1);
        self.recent_s[SURE_TICKS - 1] = lag_s;
        self.ticks = (self.ticks + 1).min(SURE_TICKS);
        if self.ticks < SURE_TICKS {
            return None;
        }
        let smallest_s = self.recent_s.iter().copied().fold(f64::INFINITY, f64::min);
        let grows = smallest_s > self.before_s + STILL_S;
        self.before_s = smallest_s;
        let grew_ticks = self.grows_ticks;
        self.grows_ticks = if grows { grew_ticks + 1 } else { 0 };
        let base_s = self.base_s.map_or(smallest_s, |base_s| {
            let away_s: f64 = smallest_s - base_s;
            base_s + away_s.clamp(-FOLLOWED_DOWN_S, FOLLOWED_UP_S)
        });
        let grown_s = smallest_s - base_s;
        // What grows yet is not all that is missing, unless it goes on for ever.
        if grown_s <= UNEXPLAINED_LAG_S || (grows && grew_ticks < GROWS_TICKS) {
            self.base_s = Some(base_s);
            return None;
        }
        self.base_s = Some(smallest_s);
        self.grows_ticks = 0;
        Some((grown_s, !grows && grew_ticks <= SKIP_TICKS))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
        for (ticks, found_frames) in [(4, 4 * 2400), (8, 8 * 2400)] {
            let [Verdict::Missing(frames) | Verdict::Skipped(frames)] = found(ticks)[..] else {
                panic!("{ticks}");
            };
            let followed = 3.0 * FOLLOWED_UP_S * 48_000.0;
            assert!(frames <= found_frames, "{ticks}: {frames}");
            assert!(
                found_frames as f64 - frames as f64 <= followed,
                "{ticks}: {frames}"
            );
        }
        assert!(matches!(found(4)[..], [Verdict::Missing(_)]));
        assert!(matches!(found(8)[..], [Verdict::Skipped(_)]));
    }

    /// Frames told in 20 s by an input that loses this part all the time, blocks of
    /// so many seconds, as a part of all that it lost.
    fn told_of(lost: f64, block_s: f64) -> f64 {
        let mut dog = Watchdog::new(48_000);
        let mut told = 0;
        for tick in 1..=400 {
            let came_s = f64::from(tick) * TICK_S * (1.0 - lost);
            let blocks = (came_s / block_s).floor();
            let verdict = dog.look(Look {
                frames: (blocks * block_s * 48_000.0) as u64,
                ..steady(tick)
            });
            told += match verdict {
                Verdict::Missing(frames) => frames,
                Verdict::Alive => 0,
                other => panic!("{lost}, {block_s}: {other:?}"),
            };
        }
        told as f64 / (lost * 400.0 * 2400.0)
    }

    #[test]
    fn what_loses_frames_all_the_time_is_told_again_and_again() {
        for block_s in [0.005, 0.01, 0.021, 0.04] {
            // What is followed meanwhile is not told.
            for lost in [0.8, 0.6, 0.5, 0.47, 0.25, 0.1, 0.05] {
                let told = told_of(lost, block_s);
                let least = 1.0 - 0.02 / lost - 0.12;
                assert!((least..=1.01).contains(&told), "{lost}, {block_s}: {told}");
            }
            assert!(told_of(0.01, block_s) < f64::EPSILON);
        }
    }

    /// What is found where looks come at these ticks, and so many ticks of frames are
    /// lost after 5 s.
    fn found_at(ticks: impl Iterator<Item = u32>, lost: u32) -> Vec<Verdict> {
        let mut dog = Watchdog::new(48_000);
        let verdicts = ticks.map(|tick| {
            let lost = if tick > 100 { lost } else { 0 };
            dog.look(Look {
                frames: steady(tick - lost).frames,
                ..steady(tick)
            })
        });
        verdicts.filter(|it| *it != Verdict::Alive).collect()
    }

    #[test]
    fn a_skip_is_a_gap_where_the_computer_was_stopped_as_long_and_not_where_it_was_a_little_late() {
        // Stopped for a second, and a part of that is lost.
        let stopped = found_at((1..=100).chain(120..=300), 14);
        assert!(matches!(stopped[..], [Verdict::Missing(_)]), "{stopped:?}");
        let late = found_at((1..=90).chain(93..=300), 8);
        assert!(matches!(late[..], [Verdict::Skipped(_)]), "{late:?}");
    }

    /// A server hands over early once, by this much, and is in time again after that.
    #[test]
    fn what_comes_early_for_a_moment_is_nothing_missing_after_that() {
        let early = |tick| Look {
            frames: steady(tick).frames + if tick == 100 { 3600 } else { 0 },
            ..steady(tick)
        };
        assert_eq!(first(400, early), None);
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
            let [Verdict::Missing(frames) | Verdict::Skipped(frames)] = found[..] else {
                panic!("{missing_s} s: {found:?}");
            };
            let off_s = frames as f64 / 48_000.0 - missing_s;
            assert!(off_s.abs() < 0.03, "{missing_s} s: {found:?}");
        }
    }
}
