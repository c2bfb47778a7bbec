//! Whether sound is there at all: where it is switched off or on, the edge is
//! the switch's doing and no crackle.

use std::collections::VecDeque;

/// Sound is looked at about this long at a time, in seconds.
const SLICE_S: f64 = 0.005;
/// Slices kept, 1.2 s: longer than any crackle waits.
const KEPT: usize = 240;
/// Slices on either side of an edge that are looked at, and those next to it
/// that are left out.
const SIDE: usize = 10;
const NEXT: usize = 2;
/// Mean square of silence, −66 dB of full scale, and how many times louder sound
/// is, 26 dB.
const SILENT_SQUARE: f64 = 2.5e-7;
const LOUDER: f64 = 400.0;

/// See the module.
pub(super) struct Presence {
    slice: usize,
    /// What a slice lasts, in seconds: a whole number of samples.
    slice_s: f64,
    energy: f64,
    filled: usize,
    /// Slices that have been let go.
    gone: u64,
    slices: VecDeque<f64>,
}

impl Presence {
    pub(super) fn new(rate_hz: f64) -> Self {
        let slice = ((SLICE_S * rate_hz).round() as usize).max(1);
        Self {
            slice,
            slice_s: slice as f64 / rate_hz,
            energy: 0.0,
            filled: 0,
            gone: 0,
            slices: VecDeque::with_capacity(KEPT + 1),
        }
    }

    pub(super) fn push(&mut self, samples: &[f32]) {
        for sample in samples {
            self.energy += f64::from(*sample).powi(2);
            self.filled += 1;
            if self.filled == self.slice {
                self.slices.push_back(self.energy / self.slice as f64);
                (self.energy, self.filled) = (0.0, 0);
                if self.slices.len() > KEPT {
                    self.slices.pop_front();
                    self.gone += 1;
                }
            }
        }
    }

    /// Whether there is sound on one side of this moment, in seconds since the
    /// first sample, and silence on the other.
    pub(super) fn begins_or_ends_at(&self, at_s: f64) -> bool {
        let at = (at_s / self.slice_s) as usize;
        let Some(at) = at.checked_sub(self.gone as usize) else {
            return false;
        };
        let before = self.loudest(at.saturating_sub(NEXT + SIDE)..at.saturating_sub(NEXT - 1));
        let after = self.loudest(at + NEXT..at + NEXT + SIDE);
        let [Some(before), Some(after)] = [before, after] else {
            return false;
        };
        before.min(after) < SILENT_SQUARE && before.max(after) > LOUDER * before.min(after)
    }

    fn loudest(&self, slices: std::ops::Range<usize>) -> Option<f64> {
        let end = slices.end.min(self.slices.len());
        let here = self.slices.range(slices.start.min(end)..end);
        here.copied().reduce(f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_edge_of_silence_is_one_and_a_crackle_is_none() {
        let mut presence = Presence::new(48_000.0);
        let tone = |n: usize| (n as f32 * 0.3).sin() * 0.2;
        let switched: Vec<f32> = (0..48_000)
            .map(|n| if n < 24_000 { tone(n) } else { 0.0 })
            .collect();
        for block in switched.chunks(700) {
            presence.push(block);
        }
        assert!(presence.begins_or_ends_at(0.5));
        for at in [0.3, 0.7, 0.99, 7.0] {
            assert!(!presence.begins_or_ends_at(at), "{at}");
        }
    }

    #[test]
    fn a_slice_that_is_no_whole_number_of_samples_does_not_drift_away() {
        let mut presence = Presence::new(44_100.0);
        presence.push(&vec![0.2; 60 * 44_100]);
        presence.push(&vec![0.0; 4_410]);
        assert!(presence.begins_or_ends_at(60.0));
        assert!(!presence.begins_or_ends_at(59.8));
    }
}
