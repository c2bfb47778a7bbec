//! Silences: contact that is lost altogether, in whatever plays and for
//! however long.
//!
//! Where nothing at all comes through there is nothing for a predictor to
//! compare, and what lasts longer than predictors look is never paired. But
//! it is plain to see: sound stops within a few milliseconds, deeper than it
//! varies by itself, and is back as suddenly. A hand that turns the control
//! down, a fade, or notes that die away take longer; silence that nothing
//! comes before or after is the beginning or the end of the record.

use std::collections::VecDeque;

use super::edges::Loss;

/// Sound is looked at this long at a time, in seconds.
const SLICE_S: f64 = 0.001;
/// Slices kept, and those of them that lie next to an edge.
const KEPT: usize = 34;
const EDGE: usize = 10;
/// Of those next to an edge this many must have sound: a click is none.
const LEAST_LOUD: usize = 8;
/// And it is still whole within this many, the one cut short among them.
const NEXT: usize = 3;
/// Sound is what is louder than this part of the peak before, −50 dB.
const QUIET: f64 = 0.003;
/// Shorter than this, in seconds, is a part of the sound.
const SHORTEST_S: f64 = 0.003;
/// A peak below −60 dB of full scale is silence: nothing can be lost.
const LEAST_PEAK: f64 = 1e-3;
/// Up to the edge the peak is still this part of what it was, or this many
/// times the faintest sound.
const STILL: f64 = 0.12;
const STILL_TIMES: f64 = 10.0;
/// Sound that comes back in a rest of the music is quieter. In a silence that
/// has next to nothing in it, it is what is louder than this part of the peak
/// before, −70 dB, than four steps of 16 bits, and than this many times what the
/// silence began with.
const FAINT: f64 = 3e-4;
const FAINTEST: f64 = 4.0 / 32_768.0;
const ABOVE_WITHIN: f64 = 4.0;
/// Sound that is back at once is this many times as loud as the faintest.
const BACK: f64 = 2.7;
/// Half a step of 16 bits: deeper than this no silence is said to be. Derived.
const LEAST_STEP: f64 = 1.0 / 65_536.0;

/// A silence under way: since this sample; peak before and within.
#[derive(Clone, Copy, Debug)]
struct Gone {
    start: u64,
    before: f64,
    within: f64,
}

/// Sound that seems to be back.
#[derive(Clone, Copy, Debug, Default)]
struct Back {
    at: u64,
    slices: usize,
    loud: usize,
    peak: f64,
}

/// See the module.
pub(super) struct SilenceFinder {
    slice: usize,
    shortest: u64,
    filled: usize,
    peak: f64,
    /// Peaks of the slices since sound began, no more than are needed.
    peaks: VecDeque<f64>,
    /// What is louder is sound.
    least: f64,
    /// Samples taken in all, and the one behind the last that was sound.
    taken: u64,
    after_sound: u64,
    gone: Option<Gone>,
    back: Option<Back>,
}

impl SilenceFinder {
    pub(super) fn new(rate_hz: f64) -> Self {
        Self {
            slice: ((SLICE_S * rate_hz).round() as usize).max(1),
            shortest: (SHORTEST_S * rate_hz) as u64,
            filled: 0,
            peak: 0.0,
            peaks: VecDeque::new(),
            least: QUIET * LEAST_PEAK,
            taken: 0,
            after_sound: 0,
            gone: None,
            back: None,
        }
    }

    /// Where the silence that is under way began.
    pub(super) fn began(&self) -> Option<u64> {
        self.gone.map(|gone| gone.start)
    }

    /// Takes samples and hands over the silences that are over.
    pub(super) fn push(&mut self, samples: &[f32], found: &mut Vec<Loss>) {
        for sample in samples {
            let sample = f64::from(sample.abs());
            match self.gone {
                None => self.hear(sample),
                Some(gone) => found.extend(self.wait(sample, gone)),
            }
            self.taken += 1;
        }
    }

    fn hear(&mut self, sample: f64) {
        if sample > self.least {
            self.after_sound = self.taken + 1;
        }
        if self.slice_is_full(sample) {
            self.keep_slice();
        }
        if self.taken + 1 >= self.after_sound + self.shortest && !self.peaks.is_empty() {
            self.fall_silent();
        }
    }

    /// Whether this sample is the last of a slice.
    fn slice_is_full(&mut self, sample: f64) -> bool {
        self.peak = self.peak.max(sample);
        self.filled += 1;
        self.filled >= self.slice
    }

    fn keep_slice(&mut self) {
        self.peaks.push_back(self.peak);
        (self.peak, self.filled) = (0.0, 0);
        if self.peaks.len() > KEPT {
            self.peaks.pop_front();
        }
        let before = self.peaks.iter().copied().fold(LEAST_PEAK, f64::max);
        self.least = QUIET * before;
    }

    /// Nothing has been heard for a while: did it stop suddenly?
    fn fall_silent(&mut self) {
        // The slice in which it stopped may be cut short, and counts as well.
        let silent = (self.taken + 1 - self.after_sound) as usize + self.filled;
        let heard = self.peaks.len().saturating_sub(silent / self.slice);
        let begun = self.peaks.range((heard + 1).min(self.peaks.len())..);
        let within = begun.copied().fold(self.peak, f64::max);
        let heard = self.peaks.range(..heard);
        let edge = || heard.clone().rev().take(EDGE);
        let before = heard.clone().copied().fold(0.0, f64::max);
        let faint = FAINTEST.max(FAINT * before).max(ABOVE_WITHIN * within);
        let last = edge().take(NEXT).copied().fold(0.0, f64::max);
        let still = last >= STILL * before || last >= STILL_TIMES * faint;
        let loud = edge().filter(|it| **it > self.least).count();
        if still && loud >= LEAST_LOUD && before >= LEAST_PEAK {
            self.gone = Some(Gone {
                start: self.after_sound,
                before,
                within,
            });
            self.least = self.least.min(faint);
        }
        self.begin_anew();
    }

    fn begin_anew(&mut self) {
        self.peaks.clear();
        (self.peak, self.filled) = (0.0, 0);
        if self.gone.is_none() {
            self.least = QUIET * LEAST_PEAK;
        }
    }

    /// The silence, once sound is back.
    fn wait(&mut self, sample: f64, gone: Gone) -> Option<Loss> {
        let Some(mut back) = self.back else {
            if sample > self.least {
                self.back = Some(Back {
                    at: self.taken,
                    ..Back::default()
                });
                self.slice_is_full(sample);
            } else {
                self.gone = Some(Gone {
                    within: gone.within.max(sample),
                    ..gone
                });
            }
            return None;
        };
        if self.slice_is_full(sample) {
            back.slices += 1;
            back.loud += usize::from(self.peak > self.least);
            back.peak = back.peak.max(self.peak);
            (self.peak, self.filled) = (0.0, 0);
            self.back = Some(back);
        }
        if back.slices < EDGE {
            return None;
        }
        self.back = None;
        if back.loud < LEAST_LOUD {
            // A click; it is still silent.
            return None;
        }
        let is_loud = back.peak >= BACK * self.least;
        self.gone = None;
        self.after_sound = self.taken + 1;
        self.begin_anew();
        self.peaks.extend([back.peak; EDGE]);
        self.least = QUIET * back.peak.max(LEAST_PEAK);
        is_loud.then(|| Loss {
            start: gone.start,
            end: back.at,
            factor: gone.within.max(LEAST_STEP) / gone.before,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::ops::Range;

    const RATE_HZ: usize = 48_000;

    fn tone(seconds: f64, gone: &[Range<usize>], left: f32) -> Vec<f32> {
        let frames = (seconds * RATE_HZ as f64) as usize;
        let gain = |n: &usize| {
            if gone.iter().any(|it| it.contains(n)) {
                left
            } else {
                1.0
            }
        };
        (0..frames)
            .map(|n| 0.2 * (n as f32 * 0.3).sin() * gain(&n))
            .collect()
    }

    fn found(samples: &[f32], block: usize) -> Vec<Loss> {
        let mut finder = SilenceFinder::new(RATE_HZ as f64);
        let mut found = Vec::new();
        for block in samples.chunks(block) {
            finder.push(block, &mut found);
        }
        found
    }

    #[test]
    fn the_size_of_blocks_changes_nothing() {
        let samples = tone(2.0, &[20_000..32_000, 60_000..60_240], 0.0);
        assert_eq!(found(&samples, 1024).len(), 2);
        assert_eq!(found(&samples, 1024), found(&samples, 77));
    }

    #[test]
    fn what_fades_away_or_comes_back_slowly_is_none() {
        let faded = |fall: f32, rise: f32| -> Vec<f32> {
            let gain = |n: usize| {
                let t = n as f32 / RATE_HZ as f32;
                let down = 10_f32.powf(-(t - 0.5).max(0.0) / fall);
                let up = 10_f32.powf(-(1.5 - t).max(0.0) / rise);
                down.max(up)
            };
            let whole = tone(2.0, &[], 0.0);
            // To 16 bits, so that the quiet end is exactly nothing.
            let sample = |(n, x): (usize, f32)| (x * gain(n) * 32_768.0).trunc() / 32_768.0;
            whole.into_iter().enumerate().map(sample).collect()
        };
        // Seconds for 20 dB.
        for (fall, rise) in [(0.05, 0.05), (0.05, 0.001), (0.001, 0.05)] {
            assert_eq!(found(&faded(fall, rise), 1024), [], "{fall} {rise}");
        }
        assert_eq!(found(&faded(0.0005, 0.0005), 1024).len(), 1);
    }

    #[test]
    fn a_click_in_the_silence_does_not_end_it() {
        let gap = 20_000..40_000;
        let mut samples = tone(2.0, std::slice::from_ref(&gap), 0.0);
        samples[30_000] = 0.5;
        let silences = found(&samples, 1024);
        assert_eq!(silences.len(), 1, "{silences:?}");
        assert!(silences[0].end.abs_diff(40_000) < 10);
    }

    #[test]
    fn pulses_with_nothing_between_them_are_a_sound_of_their_own() {
        // A dry pulse of a few milliseconds that dies away, forty a second.
        let pulse = |n: usize| {
            let t = (n % 1200) as f32;
            (0.4 * (-t / 60.0).exp() * (t * 0.4).sin() * 32_768.0).trunc() / 32_768.0
        };
        let samples: Vec<f32> = (0..RATE_HZ * 2).map(pulse).collect();
        assert_eq!(found(&samples, 1024), []);
    }
}
