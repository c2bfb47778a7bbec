//! What the contact check says.

use serde::Serialize;

use crate::units::{Decibels, Seconds};

/// Which channel of the input.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum ContactTrack {
    /// The only one.
    Mono,
    /// The first of two.
    Left,
    /// The second of two.
    Right,
}

/// The level fell and came back, faster than any hand or music.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ContactBreak {
    /// When it began, counted from the start of the check.
    pub start: Seconds,
    /// From half-way down to half-way up.
    pub length: Seconds,
    /// How far the level fell.
    pub depth: Decibels,
    /// The level that the control let through just before.
    pub level: Decibels,
}

/// Marks along the movement: steps of level below the highest one.
pub const MARKS: usize = 20;
/// How wide each step is in dB.
pub const MARK_DB: f64 = 3.0;

/// Nothing louder than this is silence.
const SILENCE_DBFS: f64 = -75.0;
/// A channel whose highest level lies this far below the other's is silent, and
/// one that is this far below it for a while is gone.
pub(super) const GONE_DB: f64 = 40.0;
/// Gone for longer than this is no moment between two notes.
const LEAST_GONE_S: f64 = 0.3;
/// In less time than this nobody works a control.
const LEAST_S: f64 = 1.5;

/// What was found on one channel.
#[derive(Clone, Debug, PartialEq)]
pub struct ContactChannel {
    /// Which one.
    pub track: ContactTrack,
    /// The newest level; `None` before the first tenth of a second.
    pub now: Option<Decibels>,
    /// The lowest and the highest level that was reached; `None` before there
    /// is any.
    pub level: Option<[Decibels; 2]>,
    /// How long it was gone while the other one played.
    pub gone: Seconds,
    /// Crackles so far.
    pub crackles: u64,
    /// Breaks so far.
    pub break_count: u64,
    /// The breaks one by one, oldest first; no more than the first thousand.
    pub breaks: Vec<ContactBreak>,
    /// When each crackle came and the level there; no more than the first
    /// thousand.
    pub crackle_places: Vec<(Seconds, Decibels)>,
}

impl ContactChannel {
    /// How many of these levels lie in each step along the movement, from the
    /// highest level downwards; the last step has everything below as well.
    pub fn marks(&self, levels: impl Iterator<Item = Decibels>) -> [u32; MARKS] {
        let mut marks = [0; MARKS];
        let Some([_, high]) = self.level else {
            return marks;
        };
        for level in levels {
            let below = ((high.0 - level.0) / MARK_DB).clamp(0.0, (MARKS - 1) as f64);
            marks[below as usize] += 1;
        }
        marks
    }

    /// Where in the movement crackles came.
    pub fn crackle_marks(&self) -> [u32; MARKS] {
        self.marks(self.crackle_places.iter().map(|(_, level)| *level))
    }

    /// Where in the movement breaks came.
    pub fn break_marks(&self) -> [u32; MARKS] {
        self.marks(self.breaks.iter().map(|it| it.level))
    }

    /// Whether contact was lost or scratched at all.
    pub fn is_bad(&self) -> bool {
        self.crackles > 0 || self.break_count > 0
    }

    /// Whether it was gone for longer than music explains.
    pub fn is_gone(&self) -> bool {
        self.gone.0 >= LEAST_GONE_S
    }

    fn highest_db(&self) -> f64 {
        self.level.map_or(f64::NEG_INFINITY, |[_, high]| high.0)
    }
}

/// What the check comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ContactVerdict {
    /// No sound, or too little of it, to judge.
    NoSignal,
    /// One channel is silent all along while the other plays.
    OneIsSilent(ContactTrack),
    /// Neither crackle nor break.
    Clean,
    /// It crackles, but holds contact.
    Crackles,
    /// One channel drops out, the other does not.
    OneDropsOut(ContactTrack),
    /// Contact breaks in every channel.
    DropsOut,
}

/// The state of a check, under way or done.
#[derive(Clone, Debug, PartialEq)]
pub struct ContactReport {
    /// Sound checked so far.
    pub duration: Seconds,
    /// One or two channels.
    pub channels: Vec<ContactChannel>,
    /// The greatest difference of level between left and right along the
    /// movement, without sign; `None` for mono, where too little is known, and
    /// where they were moved against each other.
    pub tracking: Option<Decibels>,
    /// How often the level went up or down by 12 dB or more.
    pub passes: u32,
}

impl ContactReport {
    /// Verdict in one word.
    pub fn verdict(&self) -> ContactVerdict {
        let breaks = |it: &&ContactChannel| it.break_count > 0;
        let mut broken: Vec<_> = self.channels.iter().filter(breaks).collect();
        if let (true, Some(gone)) = (broken.is_empty(), self.gone()) {
            broken.push(gone);
        }
        let loudest = self.highest().map_or(f64::NEG_INFINITY, |it| it.0);
        let silent = |it: &&ContactChannel| it.highest_db() < loudest - GONE_DB;
        let nothing_found = broken.is_empty() && self.channels.iter().all(|it| it.crackles == 0);
        if loudest < SILENCE_DBFS || (self.duration.0 < LEAST_S && nothing_found) {
            ContactVerdict::NoSignal
        } else if let Some(silent) = self.channels.iter().find(silent) {
            ContactVerdict::OneIsSilent(silent.track)
        } else if broken.len() == 1 && self.channels.len() > 1 {
            ContactVerdict::OneDropsOut(broken[0].track)
        } else if !broken.is_empty() {
            ContactVerdict::DropsOut
        } else if self.channels.iter().any(|it| it.crackles > 0) {
            ContactVerdict::Crackles
        } else {
            ContactVerdict::Clean
        }
    }

    /// Whether contact broke in any channel.
    pub fn breaks(&self) -> bool {
        self.channels.iter().any(|it| it.break_count > 0)
    }

    /// The channel that was gone while the other one played; `None` where both
    /// were in turn, which is what a balance control does.
    pub fn gone(&self) -> Option<&ContactChannel> {
        let mut gone = self.channels.iter().filter(|it| it.is_gone());
        gone.next().filter(|_| gone.next().is_none())
    }

    /// How often the control went through its range and back; half a sweep at
    /// least, so that a switch or a mere touch counts too.
    pub fn sweeps(&self) -> f64 {
        f64::from(self.passes.max(1)) / 2.0
    }

    /// Crackles a sweep, all channels together.
    pub fn crackles_per_sweep(&self) -> f64 {
        self.channels.iter().map(|it| it.crackles).sum::<u64>() as f64 / self.sweeps()
    }

    /// Breaks a sweep, all channels together.
    pub fn breaks_per_sweep(&self) -> f64 {
        self.channels.iter().map(|it| it.break_count).sum::<u64>() as f64 / self.sweeps()
    }

    /// For how long contact was lost in a sweep, all channels together: the
    /// breaks, or what a channel was gone for without one.
    pub fn lost_per_sweep(&self) -> Seconds {
        let lost = |it: &ContactChannel| {
            // An empty sum of floating-point numbers is −0.
            let breaks = it.breaks.iter().fold(0.0, |sum, it| sum + it.length.0);
            let gone = self.gone().filter(|gone| gone.track == it.track);
            gone.map_or(breaks, |gone| breaks.max(gone.gone.0))
        };
        let all = self.channels.iter().map(lost).fold(0.0, |sum, it| sum + it);
        Seconds(all / self.sweeps())
    }

    /// The highest level of any channel.
    pub fn highest(&self) -> Option<Decibels> {
        let highs = self.channels.iter().filter_map(|it| it.level);
        highs
            .map(|[_, high]| high)
            .reduce(|a, b| if b.0 > a.0 { b } else { a })
    }
}
