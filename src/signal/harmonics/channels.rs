//! Which of two channels a note is read from.
//!
//! Where both read it alike both count. Where they do not, they carry other
//! voices or have other faults, and the better one is taken.

use crate::signal::following::MOST_CHANNELS;

/// Channels that read this note further apart than this, relative, carry other
/// voices or have other faults; it is told apart after this time.
const APART: f64 = 2e-4;
const CHOOSE_FROM_S: f64 = 0.4;

/// One is taken for the better when it tells the pitch this much more surely
/// over its noise, as a ratio of variances; else they are alike, and the left
/// is taken.
const CLEARER: f64 = 2.0;

/// That channel may be without the note in this many looks in a row.
const MOST_MISSED: u32 = 5;

/// How far apart they are is averaged this long.
const APART_S: f64 = 10.0;

/// The channel that is read where two carry the note, but not alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// Which.
    pub channel: usize,
    /// It stands clearer above its noise; else both do alike.
    pub clearer: bool,
    /// How far the other is above it, relative.
    pub apart: f64,
}

/// See the module.
#[derive(Clone, Debug)]
pub struct Channels {
    count: usize,
    used: [bool; MOST_CHANNELS],
    /// How far the second channel is above the first, relative.
    apart: f64,
    apart_s: f64,
    taken: Option<usize>,
    clearer: bool,
    /// Looks in a row that did not show the note in that channel.
    missed: u32,
}

impl Channels {
    /// For one or two, of which none has the note yet.
    pub fn new(count: usize) -> Self {
        Self {
            count,
            used: [false; MOST_CHANNELS],
            apart: 0.0,
            apart_s: 0.0,
            taken: None,
            clearer: false,
            missed: 0,
        }
    }

    /// Number of channels.
    pub fn count(&self) -> usize {
        self.count
    }

    /// True where the channel carries the note and is read.
    pub fn is_used(&self, channel: usize) -> bool {
        self.used[channel]
    }

    /// The channels that are read.
    pub fn used(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.count).filter(|&channel| self.used[channel])
    }

    /// The first of them.
    pub fn lead(&self) -> usize {
        self.used().next().unwrap_or(0)
    }

    /// Which channels had the note in a look. The one that was taken is left
    /// when it has been without for long.
    pub fn heard(&mut self, fresh: &[bool]) {
        self.missed = match self.taken {
            Some(taken) if !fresh[taken] => self.missed + 1,
            _ => 0,
        };
        if self.missed > MOST_MISSED {
            self.taken = None;
        }
        match self.taken {
            Some(taken) => self.used = std::array::from_fn(|channel| channel == taken),
            None => self.used[..fresh.len()].copy_from_slice(fresh),
        }
    }

    /// How far off both read the note, for `hop_s`, and how surely.
    pub fn compare(
        &mut self,
        hop_s: f64,
        [left, right]: [f64; MOST_CHANNELS],
        sure: [f64; MOST_CHANNELS],
    ) {
        self.apart_s += hop_s;
        self.apart += hop_s / self.apart_s.min(APART_S) * (right - left - self.apart);
        let differ = self.apart.abs() > APART && self.apart_s > CHOOSE_FROM_S;
        if self.taken.is_none() && differ && self.used == [true; MOST_CHANNELS] {
            let [left, right] = sure;
            self.clearer = right > CLEARER * left || left > CLEARER * right;
            self.taken = Some(usize::from(right > CLEARER * left));
            self.heard(&[true; MOST_CHANNELS]);
        }
    }

    /// How far the second channel reads the note above the first, relative.
    pub fn apart(&self) -> f64 {
        self.apart
    }

    /// The channel that is read where two differ.
    pub fn taken(&self) -> Option<Taken> {
        let channel = self.taken?;
        let apart = if channel == 0 {
            self.apart
        } else {
            -self.apart
        };
        Some(Taken {
            channel,
            clearer: self.clearer,
            apart,
        })
    }
}
