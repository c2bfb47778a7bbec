//! A passage that is waited for, counted while it plays, and measured once it
//! has ended.

use std::sync::Arc;

use super::{PassageState, Progress, shown, why};
use crate::readings::engine::{EngineError, Settings};
use crate::readings::expanded::Expanded;
use crate::readings::reading::{CautionCode, Keeping, Measurement, SpeedReading};
use crate::readings::timed::passage::PassageMeter;
use crate::readings::timed::summary::{
    FARTHEST, Strength, Timed, assumed_wow_s, caution, measurement, speed,
};
use crate::signal::statistics::NORMAL_95;
use crate::units::{Percent, Seconds};

/// Levels are looked at in blocks of this length.
const BLOCK_S: f64 = 0.05;

/// So much must have been heard before anything can begin.
const QUIET_FIRST_S: f64 = 0.5;

/// Sound is what stands so far above the quietest half second (powers, 10 and
/// 6 dB), for so many blocks.
const SOUNDS: f64 = 10.0;
const ENDS: f64 = 4.0;
const BEGINS_AFTER: usize = 3;

/// After so much quiet the record is looked at: has the passage ended?
const ENDS_AFTER_S: f64 = 1.5;

/// No passage is shorter or longer than so many times its length at right
/// speed: `FARTHEST` and a bit.
const SHORTEST: f64 = 1.0 / (1.0 + FARTHEST / 100.0) - 0.02;
const LONGEST: f64 = 1.0 / (1.0 - FARTHEST / 100.0) + 0.02;

/// Silence is not remembered for longer, seconds.
const LONGEST_WAIT_S: f64 = 60.0;

/// A press of a key is off by so many seconds (one standard deviation); common
/// practice, no source.
const REACTION_S: f64 = 0.1;

/// A passage while it plays.
pub struct LivePassage {
    settings: Settings,
    expected: Seconds,
    meter: PassageMeter,
    /// Seconds heard since the meter was begun.
    heard_s: f64,
    block: (f64, usize),
    /// Powers of the newest blocks, as long as noise is looked for.
    quiet: Vec<f64>,
    noise: Option<f64>,
    loud: usize,
    silent: usize,
    since_s: Option<f64>,
    by_hand: bool,
    ended: bool,
    last: Option<Arc<Measurement>>,
    kept: Option<Keeping>,
}

impl LivePassage {
    pub fn new(settings: Settings, expected: Seconds) -> Result<Self, EngineError> {
        Ok(Self {
            meter: PassageMeter::new(settings, expected)?,
            settings,
            expected,
            heard_s: 0.0,
            block: (0.0, 0),
            quiet: Vec::new(),
            noise: None,
            loud: 0,
            silent: 0,
            since_s: None,
            by_hand: false,
            ended: false,
            last: None,
            kept: None,
        })
    }

    /// Nothing heard before this moment counts.
    pub fn begin_anew(&mut self) {
        // The format has been taken once already.
        if let Ok(meter) = PassageMeter::new(self.settings, self.expected) {
            self.meter = meter;
        }
        self.heard_s = 0.0;
        self.quiet.clear();
        self.noise = None;
        self.loud = 0;
        self.silent = 0;
        self.since_s = None;
        self.by_hand = false;
    }

    /// Keeps the next passage, or the one that has just ended.
    pub fn keep(&mut self) {
        let fresh = self
            .last
            .clone()
            .filter(|_| self.ended && self.since_s.is_none());
        self.kept = Some(match fresh.filter(|it| it.speed.is_some()) {
            Some(measured) => Keeping::Done(measured),
            None => Keeping::Waiting,
        });
    }

    /// Takes whole frames.
    pub fn push(&mut self, interleaved: &[f32]) {
        let channels = usize::from(self.settings.channels);
        let rate = f64::from(self.settings.rate_hz);
        let length = (BLOCK_S * rate) as usize;
        let mut rest = interleaved;
        while !rest.is_empty() {
            let room = (length - self.block.1) * channels;
            let (now, later) = rest.split_at(room.min(rest.len()));
            self.meter.push(now);
            let finite = now.iter().filter(|x| x.is_finite());
            self.block.0 += finite.map(|x| f64::from(*x).powi(2)).sum::<f64>();
            self.block.1 += now.len() / channels;
            self.heard_s += (now.len() / channels) as f64 / rate;
            if self.block.1 >= length {
                let (sum, frames) = std::mem::take(&mut self.block);
                self.level(sum / (frames * channels) as f64);
            }
            rest = later;
        }
    }

    /// What is being kept.
    pub fn keeping(&self) -> Option<Keeping> {
        self.kept.clone()
    }

    /// Keeps nothing.
    pub fn forget_kept(&mut self) {
        self.kept = None;
    }

    /// Speed of the last one.
    pub fn speed(&self, tolerance: Percent) -> Option<SpeedReading> {
        let measured = self.last.as_ref()?;
        let over = measured.passage.and_then(|it| it.length)?;
        shown(measured, None, over, tolerance)
    }

    /// The power of a block.
    fn level(&mut self, power: f64) {
        match self.since_s {
            None => self.wait_for_sound(power),
            Some(_) if self.by_hand => self.run_out(),
            Some(_) => self.wait_for_end(power),
        }
    }

    fn wait_for_sound(&mut self, power: f64) {
        let half_a_second = (QUIET_FIRST_S / BLOCK_S) as usize;
        let begins = self
            .noise
            .is_some_and(|noise| power > SOUNDS * noise.max(1e-12));
        self.loud = if begins { self.loud + 1 } else { 0 };
        if self.loud >= BEGINS_AFTER {
            self.since_s = Some(self.heard_s - self.loud as f64 * BLOCK_S);
            self.ended = false;
            self.last = None;
            return;
        }
        if begins {
            return;
        }
        if self.heard_s > LONGEST_WAIT_S {
            let noise = self.noise;
            self.begin_anew();
            self.noise = noise;
        }
        self.quiet.push(power);
        if self.quiet.len() >= half_a_second {
            let mean = self.quiet.iter().sum::<f64>() / self.quiet.len() as f64;
            self.noise = Some(self.noise.map_or(mean, |noise| noise.min(mean)));
            self.quiet.remove(0);
        }
    }

    fn wait_for_end(&mut self, power: f64) {
        let noise = self.noise.unwrap_or(0.0).max(1e-12);
        self.silent = if power < ENDS * noise {
            self.silent + 1
        } else {
            0
        };
        let quiet_s = self.silent as f64 * BLOCK_S;
        let since_s = self.heard_s - self.since_s.unwrap_or(0.0);
        let may_have_ended = since_s - quiet_s > SHORTEST * self.expected.0;
        // Looked at once for each silence; a later sound was not the end.
        let looks = self.silent == (ENDS_AFTER_S / BLOCK_S) as usize;
        if may_have_ended && looks {
            self.end(false);
        } else {
            self.run_out();
        }
    }

    /// What lasts too long is given up.
    fn run_out(&mut self) {
        let since_s = self.heard_s - self.since_s.unwrap_or(0.0);
        if since_s > LONGEST * self.expected.0 + ENDS_AFTER_S {
            self.end(true);
        }
    }

    fn end(&mut self, whatever: bool) {
        let measured = self.meter.measurement();
        if measured.speed.is_some() || whatever {
            self.ended_with(measured);
        }
    }

    fn ended_with(&mut self, measured: Measurement) {
        let measured = Arc::new(measured);
        if self.kept == Some(Keeping::Waiting) && measured.speed.is_some() {
            self.kept = Some(Keeping::Done(Arc::clone(&measured)));
        }
        self.begin_anew();
        self.ended = true;
        self.last = Some(measured);
    }

    /// See [`super::LiveTimed::edge_by_hand`].
    pub fn edge_by_hand(&mut self) {
        let Some(from_s) = self.since_s.filter(|_| self.by_hand) else {
            self.begin_anew();
            self.since_s = Some(0.0);
            self.by_hand = true;
            self.ended = false;
            self.last = None;
            return;
        };
        let measured = Seconds(self.heard_s - from_s);
        self.ended_with(self.timed_by_hand(measured));
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
        let nothing = Strength {
            channel: heard.channel(None),
            level: None,
            snr: None,
        };
        let (told, cautions) = if told.deviation.0.abs() <= FARTHEST {
            let by_hand = caution(
                CautionCode::EdgesSoft,
                format!(
                    "Started and stopped by hand: each press counts with ±{:.1} s.",
                    NORMAL_95 * REACTION_S
                ),
            );
            (Some(told), by_hand)
        } else {
            let text = format!(
                "From press to press there were {measured:.1}, which would be {:+.0} % of speed for the {} s of the passage; time it again.",
                told.deviation.0, self.expected.0
            );
            (None, caution(CautionCode::ReferenceMismatch, text))
        };
        let mut all = measurement(heard, nothing, told, vec![cautions]);
        all.passage = Some(self.meter.timed(measured));
        all
    }

    /// How it stands.
    pub fn progress(&self) -> Progress {
        let state = match (self.since_s, self.noise) {
            (Some(_), _) => PassageState::Playing,
            (None, _) if self.ended => PassageState::Ended,
            (None, None) => PassageState::NeedsSilence,
            (None, Some(_)) => PassageState::Waiting,
        };
        Progress::Passage {
            state,
            since: self.since_s.map(|from_s| Seconds(self.heard_s - from_s)),
            expected: self.expected,
            by_hand: self.by_hand,
            refused: why(self.last.as_ref()),
        }
    }
}
