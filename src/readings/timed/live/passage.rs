//! A passage that is waited for, counted while it plays, and measured once it
//! has ended. Its times and levels are our own;
//! `tests/pure/every_reference_is_live.rs` tries them.

use std::collections::VecDeque;
use std::sync::Arc;

use super::{LiveTimed, shown, why};
use crate::readings::caution::Caution;
use crate::readings::expanded::Expanded;
use crate::readings::measurement::{Keeping, Measurement, PassageState, Progress};
use crate::readings::meter::Meter;
use crate::readings::settings::{EngineError, KeepRequest, Settings};
use crate::readings::timed::passage::PassageMeter;
use crate::readings::timed::summary::{
    FARTHEST, Strength, Timed, assumed_wow_s, measurement, speed,
};
use crate::readings::values::{SpeedFigures, SpeedReading};
use crate::signal::statistics::NORMAL_95;
use crate::units::{Percent, Seconds};

/// Levels are looked at in blocks of this length.
const BLOCK_S: f64 = 0.05;

/// Noise is the quietest half second of the newest seconds, and no louder than
/// this (power; −40 dB): else it is sound already.
const QUIET_S: f64 = 0.5;
const NEWEST_S: f64 = 3.0;
const MOST_NOISE: f64 = 0.5e-4;

/// Sound begins above the first of these, a ratio of powers to the noise (10 dB),
/// in this number of blocks, and ends below the second (6 dB).
const SOUNDS: f64 = 10.0;
const ENDS: f64 = 4.0;
const BEGINS_AFTER: usize = 3;

/// What stays as faint as noise for this time was the hiss of a tape that began to
/// run.
const HISS_S: f64 = 2.0;

/// Quiet after which the record is looked at, and after which the passage is over,
/// if it is about as long as it should be: within this many percent.
/// Pauses within are shorter, or come where no end can be.
const LOOKS_AFTER_S: f64 = 1.5;
const OVER_AFTER_S: f64 = 4.0;
const ABOUT: f64 = 12.0;

/// Quiet that has to come after music that did not end in time, before the next
/// passage is waited for; quiet is also what lies this far below its loudest moment
/// (power; −50 dB), as hiss does that began with it.
const SPENT_FOR_S: f64 = OVER_AFTER_S;
const SPENT_BELOW: f64 = 1e-5;

/// Length of the next passage up to which the last speed stays.
const STAYS_S: f64 = 5.0;

/// Shortest and longest passage, in lengths at right speed. Derived: `FARTHEST` and a bit.
const SHORTEST: f64 = 1.0 / (1.0 + FARTHEST / 100.0) - 0.02;
const LONGEST: f64 = 1.0 / (1.0 - FARTHEST / 100.0) + 0.02;

/// Neither silence nor what was given up is remembered for longer, seconds.
const LONGEST_WAIT_S: f64 = 600.0;

/// A press of a key is off by this, in seconds (one standard deviation); common
/// practice, no source.
const REACTION_S: f64 = 0.1;

/// A passage while it plays.
pub struct LivePassage {
    settings: Settings,
    expected: Seconds,
    meter: PassageMeter,
    /// Powers that were looked at, of those that the meter keeps.
    looked: usize,
    /// Blocks before the sound, the newest last.
    quiet: VecDeque<f64>,
    noise: Option<f64>,
    loud: usize,
    silent: usize,
    /// The loudest block since it began.
    loudest: f64,
    since_s: Option<f64>,
    by_hand: bool,
    ended: bool,
    /// Below this power the music that was given up is quiet; `None` where
    /// none was.
    spent: Option<f64>,
    last: Option<Arc<Measurement>>,
    /// It was kept already: the next snapshot is of another time.
    was_kept: bool,
    kept: Option<Keeping>,
}

impl LivePassage {
    pub fn new(settings: Settings, expected: Seconds) -> Result<Self, EngineError> {
        Ok(Self {
            meter: PassageMeter::new(settings, expected)?,
            settings,
            expected,
            looked: 0,
            quiet: VecDeque::new(),
            noise: None,
            loud: 0,
            silent: 0,
            loudest: 0.0,
            since_s: None,
            by_hand: false,
            ended: false,
            spent: None,
            last: None,
            was_kept: false,
            kept: None,
        })
    }

    /// Mean power of the next block of the channels that are listened to.
    fn next_block(&mut self) -> Option<f64> {
        let heard = self.meter.heard();
        let length = (BLOCK_S / heard.hop_s()).round() as usize;
        let powers = heard.powers();
        let to = self.looked + length;
        if powers.iter().any(|power| power.len() < to) {
            return None;
        }
        let of = |power: &&[f32]| {
            power[self.looked..to]
                .iter()
                .map(|&p| f64::from(p))
                .sum::<f64>()
        };
        let sum: f64 = powers.iter().map(of).sum();
        let mean = sum / (length * powers.len()) as f64;
        self.looked = to;
        Some(mean)
    }

    /// Heard and looked at since the meter was begun.
    fn heard_s(&self) -> f64 {
        self.looked as f64 * self.meter.heard().hop_s()
    }

    /// The power of a block.
    fn level(&mut self, power: f64) {
        match self.since_s {
            None if self.spent.is_some() => self.wait_for_quiet(power),
            None => self.wait_for_sound(power),
            Some(_) if self.by_hand => {
                self.loudest = self.loudest.max(power);
                self.run_out();
            }
            Some(_) => self.wait_for_end(power),
        }
        let lasted_s = self.since_s.map_or(0.0, |from_s| self.heard_s() - from_s);
        // What is shown after the first look at an end is of this one.
        if lasted_s > STAYS_S && self.ended {
            self.last = None;
            self.ended = false;
        }
    }

    /// What was given up still plays: its pauses are no silence before a
    /// passage.
    fn wait_for_quiet(&mut self, power: f64) {
        self.silent = if self.spent.is_some_and(|quiet| power < quiet) {
            self.silent + 1
        } else {
            0
        };
        if self.silent as f64 * BLOCK_S >= SPENT_FOR_S {
            self.spent = None;
            self.begin_anew();
        } else if self.heard_s() > LONGEST_WAIT_S {
            // It may play for days, and none of it is needed.
            let silent = self.silent;
            self.begin_anew();
            self.silent = silent;
        }
    }

    fn wait_for_sound(&mut self, power: f64) {
        let begins = self
            .noise
            .is_some_and(|noise| power > SOUNDS * noise.max(1e-12));
        self.loud = if begins { self.loud + 1 } else { 0 };
        if self.loud >= BEGINS_AFTER {
            self.since_s = Some(self.heard_s() - self.loud as f64 * BLOCK_S);
            self.silent = 0;
            self.loudest = 0.0;
            return;
        }
        if begins {
            return;
        }
        if self.heard_s() > LONGEST_WAIT_S {
            self.begin_anew();
        }
        self.quiet.push_back(power);
        if self.quiet.len() > (NEWEST_S / BLOCK_S) as usize {
            self.quiet.pop_front();
        }
        let half = (QUIET_S / BLOCK_S) as usize;
        let quiet: Vec<f64> = self.quiet.iter().copied().collect();
        let quietest = quiet
            .windows(half)
            .map(|blocks| blocks.iter().sum::<f64>() / half as f64)
            .reduce(f64::min);
        self.noise = quietest.filter(|noise| *noise < MOST_NOISE);
    }

    fn wait_for_end(&mut self, power: f64) {
        let noise = self.noise.unwrap_or(0.0).max(1e-12);
        let since_s = self.heard_s() - self.since_s.unwrap_or(0.0);
        self.loudest = self.loudest.max(power);
        let is_sound = self.loudest > MOST_NOISE.min(SOUNDS * SOUNDS * noise);
        if !is_sound && since_s > HISS_S {
            self.begin_anew();
            return;
        }
        self.silent = if power < ENDS * noise {
            self.silent + 1
        } else {
            0
        };
        let quiet_s = self.silent as f64 * BLOCK_S;
        let may_have_ended = since_s - quiet_s > SHORTEST * self.expected.0;
        let is_after = |seconds: f64| self.silent == (seconds / BLOCK_S).round() as usize;
        if self.silent == 0 && self.last.is_some() && !self.ended {
            // It was not the end that was looked at.
            self.last = None;
        }
        if may_have_ended && is_after(LOOKS_AFTER_S) {
            let measured = self.meter.measurement();
            self.last = measured.speed.is_some().then(|| Arc::new(measured));
        } else if may_have_ended && is_after(OVER_AFTER_S) {
            let measured = self.meter.measurement();
            let is_about = |it: SpeedFigures| it.deviation.0.abs() <= ABOUT;
            if measured.speed.is_some_and(is_about) {
                self.ended_with(measured);
            }
        }
        self.run_out();
    }

    /// What lasts too long has ended, or is given up.
    fn run_out(&mut self) {
        let Some(from_s) = self.since_s else { return };
        let lasted_s = self.heard_s() - from_s;
        if lasted_s <= LONGEST * self.expected.0 + OVER_AFTER_S {
            return;
        }
        let mut measured = self.meter.measurement();
        if self.silent as f64 * BLOCK_S >= SPENT_FOR_S {
            self.ended_with(measured);
            return;
        }
        let quiet = ENDS * self.noise.unwrap_or(0.0).max(1e-12);
        let quiet = quiet.max(SPENT_BELOW * self.loudest);
        if measured.speed.is_none() {
            let times = [Seconds(lasted_s), self.expected, Seconds(SPENT_FOR_S)];
            measured.cautions = vec![Caution::PassageGoesOn(times)];
        }
        self.ended_with(measured);
        self.spent = Some(quiet);
    }

    fn ended_with(&mut self, measured: Measurement) {
        let measured = Arc::new(measured);
        self.was_kept = false;
        if self.kept == Some(Keeping::Waiting) && measured.speed.is_some() {
            self.kept = Some(Keeping::Done(Arc::clone(&measured)));
            self.was_kept = true;
        }
        self.begin_anew();
        self.ended = true;
        self.last = Some(measured);
    }

    fn timed_by_hand(&self, measured: Seconds) -> Measurement {
        let conditions = &self.settings.conditions;
        let timed = Timed {
            measured,
            expected: self.expected,
            noise_s: NORMAL_95 * REACTION_S * 2f64.sqrt(),
            wow: Expanded::of_limit(NORMAL_95 * assumed_wow_s() * 2f64.sqrt()),
        };
        let told = speed(&timed, conditions);
        let heard = self.meter.heard();
        let nothing = Strength::unknown(heard);
        let (told, caution) = if told.deviation.0.abs() <= FARTHEST {
            (Some(told), Caution::ByHand(Seconds(NORMAL_95 * REACTION_S)))
        } else {
            let lengths = [measured, self.expected];
            (None, Caution::PassageOff(lengths, told.deviation, true))
        };
        let mut all = measurement(heard, nothing, told, vec![caution]);
        all.passage = Some(self.meter.timed(measured));
        all
    }
}

impl LiveTimed for LivePassage {
    fn begin_anew(&mut self) {
        // The format has been taken once already.
        if let Ok(meter) = PassageMeter::new(self.settings, self.expected) {
            self.meter = meter;
        }
        self.looked = 0;
        self.quiet.clear();
        self.noise = None;
        self.loud = 0;
        self.silent = 0;
        self.loudest = 0.0;
        self.since_s = None;
        self.by_hand = false;
    }

    /// The passage that has just ended, once, or else the next.
    fn keep(&mut self, _request: KeepRequest) {
        let is_fresh = self.ended && self.since_s.is_none() && !self.was_kept;
        let fresh = self
            .last
            .as_ref()
            .filter(|it| is_fresh && it.speed.is_some());
        self.kept = Some(match fresh {
            Some(measured) => {
                let own = Arc::new(Measurement::clone(measured));
                self.was_kept = true;
                Keeping::Done(own)
            }
            None => Keeping::Waiting,
        });
    }

    fn push(&mut self, interleaved: &[f32]) {
        let channels = usize::from(self.settings.channels);
        let block = (BLOCK_S * f64::from(self.settings.rate_hz)) as usize * channels;
        for piece in interleaved.chunks(block.max(channels)) {
            self.meter.push(piece);
            while let Some(power) = self.next_block() {
                self.level(power);
            }
        }
    }

    fn keeping(&self) -> Option<Keeping> {
        self.kept.clone()
    }

    fn kept(&mut self) -> &mut Option<Keeping> {
        &mut self.kept
    }

    fn speed(&self, tolerance: Percent) -> Option<SpeedReading> {
        let measured = self.last.as_ref()?;
        let over = measured.passage.and_then(|it| it.length)?;
        shown(measured, None, over, tolerance)
    }

    fn end_of_input(&mut self) {
        if self.since_s.is_some() && !self.by_hand {
            self.ended_with(self.meter.measurement());
        }
    }

    fn edge_by_hand(&mut self) {
        if let Some(from_s) = self.since_s {
            let measured = Seconds(self.heard_s() - from_s);
            self.ended_with(self.timed_by_hand(measured));
            return;
        }
        self.begin_anew();
        self.spent = None;
        self.since_s = Some(0.0);
        self.by_hand = true;
        self.ended = false;
        self.last = None;
    }

    fn progress(&self) -> Progress {
        let state = match (self.since_s, self.noise) {
            (Some(_), _) => PassageState::Playing,
            (None, _) if self.ended => PassageState::Ended,
            (None, None) if self.heard_s() > QUIET_S + BLOCK_S => PassageState::NeedsSilence,
            (None, _) => PassageState::Waiting,
        };
        Progress::Passage {
            state,
            since: self.since_s.map(|from_s| Seconds(self.heard_s() - from_s)),
            expected: self.expected,
            by_hand: self.by_hand,
            refused: why(self.last.as_ref()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::conditions::{ChannelChoice, Conditions};

    #[test]
    fn music_that_goes_on_for_hours_is_not_remembered() {
        let settings = Settings {
            rate_hz: 8000,
            channels: 1,
            choice: ChannelChoice::Auto,
            conditions: Conditions::default(),
            tolerance: Percent(0.5),
        };
        let mut live = LivePassage::new(settings, Seconds(2.0)).expect("a format");
        live.push(&vec![0.0; 3 * 8000]);
        let second: Vec<f32> = (0..8000u16).map(|n| (f32::from(n) * 0.5).sin()).collect();
        let mut longest_s = 0.0f64;
        for _ in 0..2 * LONGEST_WAIT_S as usize {
            live.push(&second);
            let heard = live.meter.heard();
            longest_s = longest_s.max(heard.powers()[0].len() as f64 * heard.hop_s());
        }
        assert!(live.spent.is_some(), "it was given up and plays still");
        assert!(longest_s < LONGEST_WAIT_S + 2.0, "{longest_s}");
    }
}
