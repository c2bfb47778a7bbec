//! The wiper check: the speed while somebody turns the trimmer through its
//! range and back, judged for what no hand does.
//!
//! [`recorder`] keeps the track, [`passes`] finds where it turned, [`judge`]
//! puts the rest together. What is reported is plain values, below.
//!
//! Constants of this folder that say nothing else are tuned, on what is not
//! recorded; `cargo bench --bench sweep -- --hands` judges them on other
//! seeds, and on four hands that nothing was tuned on.

mod backlash;
mod bank;
mod claims;
mod evidence;
mod judge;
mod kinds;
mod lines;
mod passes;
mod recorder;
mod series;
mod stands;
mod whitening;

use std::sync::Arc;

use serde::{Deserialize, Serialize};

pub use backlash::FEIGNED_BACKLASH;
pub use judge::{judge_track, judge_track_within};
pub(crate) use recorder::SweepRecorder;

use crate::units::{Percent, Seconds};

/// A sweep that is under way, or what came of it.
#[derive(Clone, Debug, PartialEq)]
pub enum Sweeping {
    /// The trimmer is being turned.
    Running(SweepProgress),
    /// It was ended and judged.
    Done(Arc<SweepReport>),
}

/// How far a sweep has come.
#[derive(Clone, Debug, PartialEq)]
pub struct SweepProgress {
    /// Since it was begun.
    pub lasted: Seconds,
    /// How often it has gone from one end of its range to the other and back.
    pub rounds: usize,
    /// Which way the speed went last.
    pub direction: Option<Direction>,
    /// Lowest and highest speed reached so far; `None` before there is a tone.
    pub range: Option<[Percent; 2]>,
    /// Speed so far.
    pub picture: SweepPicture,
    /// As much as is kept has been recorded: what comes is not.
    pub full: bool,
}

/// Speed against time in even steps, few enough to be drawn.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SweepPicture {
    /// From one value to the next.
    pub step: Seconds,
    /// Mean speed in each step; `None` where there was no tone.
    pub speed: Vec<Option<Percent>>,
}

/// Which way the speed goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// Faster.
    Up,
    /// Slower.
    Down,
}

impl Direction {
    fn of(up: bool) -> Self {
        if up { Self::Up } else { Self::Down }
    }
}

/// One passage through a good part of the range in one direction.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pass {
    /// When it began, since the sweep was begun.
    pub from: Seconds,
    /// When it ended.
    pub to: Seconds,
    /// Which way the speed went.
    pub direction: Direction,
}

/// What came of a sweep.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SweepReport {
    /// In one word.
    pub verdict: SweepVerdict,
    /// Why nothing can be said; only with [`SweepVerdict::Unclear`].
    pub unclear: Option<Unclear>,
    /// Since it was begun.
    pub lasted: Seconds,
    /// Passages through the range, in order; the first goes out, the second
    /// comes back.
    pub passes: Vec<Pass>,
    /// Lowest and highest speed that the trimmer reaches.
    pub range: Option<[Percent; 2]>,
    /// Backlash in percent of speed: how far apart the same places of the
    /// track lie on the ways out and back; `None` where no place shows it.
    pub backlash: Option<Percent>,
    /// What is wrong with the track: what lies near right speed first, then the
    /// strongest.
    pub bad_spots: Vec<BadSpot>,
    /// What seems to be there and is too small to matter.
    #[serde(default)]
    pub slight_spots: Vec<BadSpot>,
    /// A leap of less than this is not told from hand and flutter, by the usual
    /// dwell and lag; `None` where nothing was looked for.
    pub smallest_seen: Option<Percent>,
    /// Half the tolerance band that it was judged by.
    #[serde(default)]
    pub band: Option<Percent>,
    /// How strongly the ways agree on a bad spot; 1 is where chance ends.
    pub evidence: f64,
    /// Speed against time.
    pub picture: SweepPicture,
}

/// The verdict on a wiper.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SweepVerdict {
    /// Nothing that a hand does not do, and right speed well inside the range.
    Smooth,
    /// There are bad spots: clean it and repeat.
    Erratic,
    /// Right speed lies within the last tenth of the travel or beyond it: the
    /// fault is elsewhere.
    NearEnd,
    /// Nothing can be said; [`SweepReport::unclear`] says why.
    #[default]
    Unclear,
}

/// Why nothing can be said about a wiper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unclear {
    /// There was no tone, or hardly any.
    NoTone,
    /// It lasted too short a time.
    TooShort,
    /// The tone was gone for a good part of it.
    ToneLost,
    /// The speed hardly moved.
    HardlyMoved,
    /// It went one way only.
    OneWay,
    /// A good part of the range was passed one way only.
    PartOnce,
    /// It was turned too fast for the transport to follow.
    TooFast,
    /// Which frequency the tone ought to have is not known.
    WhichTone,
    /// A leap through the whole tolerance band might not have shown.
    Blind,
}

/// A place of the track that is bad.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BadSpot {
    /// Speed that a clean wiper would give there.
    pub at: Percent,
    /// How far the speed is off on it; positive is fast. `None` where that
    /// cannot be told.
    pub depth: Option<Percent>,
    /// What it does.
    pub kind: SpotKind,
    /// On which ways.
    pub seen: SpotSeen,
    /// When it was passed, for the picture.
    pub times: Vec<Seconds>,
}

impl BadSpot {
    /// Whether the trimmer may come to stand on it once the speed is right.
    pub fn is_near_right_speed(&self) -> bool {
        self.at.0.abs() <= FAR_FROM_RIGHT
    }
}

/// What a bad spot does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SpotKind {
    /// The speed leaps.
    Jump,
    /// The speed runs against the direction of turning.
    Reversal,
    /// The speed stands while the trimmer is turned.
    Dead,
    /// The speed leaps to and fro.
    Crackle,
}

/// On which ways a bad spot was seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SpotSeen {
    /// On the first way, or one in that direction.
    Out,
    /// On the way back.
    Back,
    /// On both.
    Both,
}

/// Passes of two rounds; from the middle of the travel, one round has three.
const PASSES_OF_TWO_ROUNDS: usize = 4;

/// A spot further from right speed than this in percent is not where the
/// trimmer will stand. Derived: a spot as wide as a twentieth of a travel of
/// 20 % reaches half a percent to either side, and its place is known to a
/// twentieth of that travel, 1 %; half a percent for setting it.
const FAR_FROM_RIGHT: f64 = 2.0;

/// The first and the last tenth of the travel are near the end: common
/// practice, no source.
const NEAR_END: f64 = 0.1;
/// Share of the range that a hand that only touches an end may hide from a
/// transport that follows slowly.
const HIDDEN_END: f64 = 0.06;

impl SweepReport {
    /// As it can be written and read again: JSON knows no infinity.
    #[must_use]
    pub fn writable(&self) -> Self {
        let mut report = self.clone();
        report.evidence = report.evidence.min(f64::MAX);
        report
    }

    /// What is worth keeping with every snapshot: all but the picture and the
    /// times that belong to it.
    #[must_use]
    pub fn without_picture(&self) -> Self {
        let mut report = self.writable();
        report.picture = SweepPicture::default();
        for spot in report.bad_spots.iter_mut().chain(&mut report.slight_spots) {
            spot.times.clear();
        }
        report
    }

    /// Of a sweep that says nothing.
    pub fn unclear(why: Unclear) -> Self {
        Self {
            unclear: Some(why),
            ..Self::default()
        }
    }

    /// Out and back once, or less: a dead place hardly shows.
    pub fn is_one_round(&self) -> bool {
        self.passes.len() < PASSES_OF_TWO_ROUNDS
    }

    /// Bad spots, none of them where the trimmer will stand.
    pub fn is_bad_elsewhere_only(&self) -> bool {
        !self.bad_spots.is_empty() && !self.bad_spots.iter().any(BadSpot::is_near_right_speed)
    }

    /// Whether right speed lies inside the range.
    pub fn right_speed_in_range(&self) -> Option<bool> {
        let [low, high] = self.range?;
        Some(low.0 <= 0.0 && 0.0 <= high.0)
    }

    /// Where in the range right speed lies, 0 at its slow and 1 at its fast
    /// end; `None` outside.
    pub fn right_speed_at(&self) -> Option<f64> {
        let [low, high] = self.range.filter(|[low, high]| low.0 < high.0)?;
        let at = -low.0 / (high.0 - low.0);
        (0.0..=1.0).contains(&at).then_some(at)
    }

    /// Whether right speed lies outside the range, but by no more than a short
    /// touch of an end may hide.
    pub fn is_just_outside(&self) -> bool {
        self.range.is_some_and(|[low, high]| {
            let hidden = HIDDEN_END * (high.0 - low.0);
            (0.0..hidden).contains(&low.0) || (-hidden..0.0).contains(&high.0)
        })
    }

    /// Whether right speed lies in the first or last tenth, or outside.
    pub fn is_near_end(&self) -> bool {
        self.range.is_some()
            && !self
                .right_speed_at()
                .is_some_and(|at| (NEAR_END..=1.0 - NEAR_END).contains(&at))
    }
}
