//! A passage of known length: from its first sound to its last.

use super::listening::{Listening, joined, level};
use super::summary::{
    FARTHEST, Strength, Timed, assumed_wow_s, deviation, measurement, right_seconds, snr, speed,
};
use crate::readings::alike::are_different;
use crate::readings::caution::{Caution, Ratio};
use crate::readings::expanded::Expanded;
use crate::readings::found::PassageFigures;
use crate::readings::measurement::Measurement;
use crate::readings::meter::Meter;
use crate::readings::settings::{EngineError, Settings};
use crate::signal::statistics::NORMAL_95;
use crate::signal::timed::edges::{NoPassage, Passage, passage};
use crate::units::{Decibels, Percent, Seconds};

/// Time between two powers.
const HOP: Seconds = Seconds(0.001);

/// An edge this soft is named.
const SOFT_S: f64 = 0.02;

/// A ± beyond this tells nothing.
const WORST: Percent = Percent(0.5);

/// Two channels whose ends differ by more than this part of the passage are two
/// things.
const MOST_APART: f64 = 0.1;

/// Measures the speed by a passage of known length.
pub struct PassageMeter {
    heard: Listening,
    expected: Seconds,
}

/// What was found, in which channel, and how strong.
struct FoundPassage {
    passage: Passage,
    which: Option<usize>,
    level: Decibels,
}

impl Meter for PassageMeter {
    fn push(&mut self, interleaved: &[f32]) {
        self.heard.push(interleaved);
    }

    fn measurement(&self) -> Measurement {
        match self.find() {
            Ok(found) => self.found(&found),
            Err(refusal) => {
                let nothing = Strength::unknown(&self.heard);
                let mut refused = measurement(&self.heard, nothing, None, vec![refusal]);
                refused.passage = Some(self.figures(None));
                refused
            }
        }
    }
}

impl PassageMeter {
    /// For one input format; the passage lasts `expected` at right speed.
    ///
    /// Keeps four bytes a millisecond and channel.
    pub fn new(settings: Settings, expected: Seconds) -> Result<Self, EngineError> {
        Ok(Self {
            heard: Listening::new(settings, HOP)?,
            expected,
        })
    }

    /// What was heard.
    pub(super) fn heard(&self) -> &Listening {
        &self.heard
    }

    /// The figures of a passage that was timed by somebody else.
    pub(super) fn timed(&self, measured: Seconds) -> PassageFigures {
        let length = right_seconds(measured.0, &self.heard.settings.conditions);
        PassageFigures {
            length: Some(length),
            ..self.figures(None)
        }
    }

    fn find(&self) -> Result<FoundPassage, Caution> {
        let powers = self.heard.powers();
        let hop_s = self.heard.hop_s();
        let each: Vec<_> = powers.iter().map(|power| passage(power, hop_s)).collect();
        let one = |which: usize, passage: Passage| FoundPassage {
            passage,
            which: Some(which),
            level: level(passage.level),
        };
        let absent = |no: NoPassage| {
            matches!(
                no,
                NoPassage::Silence | NoPassage::NothingStandsOut | NoPassage::InTheNoise
            )
        };
        match each[..] {
            [only] => only.map(|it| one(0, it)).map_err(Caution::NoPassage),
            [Ok(left), Ok(right)] if different(&left, &right, &powers, hop_s) => {
                let ends = |it: Passage| [it.start.at_s, it.end.at_s].map(Seconds);
                Err(Caution::TwoPassages([left, right].map(ends)))
            }
            [Ok(left), Ok(right)] => {
                let noises = [left, right].map(noise_of);
                let both = joined(&powers, &noises);
                let level = level(0.5 * (left.level + right.level));
                passage(&both, hop_s)
                    .map(|passage| FoundPassage {
                        passage,
                        which: None,
                        level,
                    })
                    .map_err(Caution::NoPassage)
            }
            [Ok(left), Err(no)] if absent(no) => Ok(one(0, left)),
            [Err(no), Ok(right)] if absent(no) => Ok(one(1, right)),
            // What spoils one channel would spoil the other's figure too.
            [Err(no), Err(other)] if absent(no) => Err(Caution::NoPassage(other)),
            [Err(no), _] | [_, Err(no)] => Err(Caution::NoPassage(no)),
            _ => Err(Caution::NoPassage(NoPassage::Silence)),
        }
    }

    fn found(&self, found: &FoundPassage) -> Measurement {
        let conditions = &self.heard.settings.conditions;
        let Passage { start, end, .. } = found.passage;
        let measured = Seconds(end.at_s - start.at_s);
        let off = deviation(measured, self.expected, conditions);
        // Both edges of a passage are alike, and so is what is wrong with
        // them: their parts add up.
        let edges_s = start.uncertainty_s + end.uncertainty_s;
        let timed = Timed {
            measured,
            expected: self.expected,
            noise_s: edges_s,
            // Two moments, each with its own.
            wow: Expanded::of_limit(NORMAL_95 * assumed_wow_s() * 2f64.sqrt()),
        };
        let mut cautions = Vec::new();
        let told = speed(&timed, conditions);
        let usable = if off.0.abs() > FARTHEST {
            cautions.extend(mismatch(measured, self.expected, off));
            false
        } else if told.parts.noise.is_some_and(|noise| noise > WORST) {
            cautions.push(Caution::EndsUnknown(Seconds(edges_s), measured));
            false
        } else {
            true
        };
        if usable && start.rise_s.max(end.rise_s) > SOFT_S {
            cautions.push(Caution::EdgesSoft(Seconds(edges_s)));
        }
        if found.passage.clicks > 0 {
            cautions.push(Caution::LoneClick);
        }
        let noise = 0.5 * (start.noise + end.noise);
        let strength = Strength {
            channel: self.heard.channel(found.which),
            level: Some(found.level),
            snr: snr(found.passage.level, noise),
        };
        let mut all = measurement(&self.heard, strength, usable.then_some(told), cautions);
        all.passage = Some(self.figures(Some(&found.passage)));
        all
    }

    fn figures(&self, found: Option<&Passage>) -> PassageFigures {
        let conditions = &self.heard.settings.conditions;
        PassageFigures {
            start: found.map(|it| Seconds(it.start.at_s.max(0.0))),
            end: found.map(|it| Seconds(it.end.at_s)),
            length: found.map(|it| right_seconds(it.end.at_s - it.start.at_s, conditions)),
            expected: self.expected,
        }
    }
}

fn noise_of(passage: Passage) -> f64 {
    let noise = 0.5 * (passage.start.noise + passage.end.noise);
    noise.max(1e-6 * passage.level)
}

/// Whether two channels carry two things.
fn different(left: &Passage, right: &Passage, powers: &[&[f32]], hop_s: f64) -> bool {
    let length = |it: &Passage| it.end.at_s - it.start.at_s;
    let apart = (left.start.at_s - right.start.at_s).abs() + (left.end.at_s - right.end.at_s).abs();
    if apart > MOST_APART * length(left).max(length(right)) {
        return true;
    }
    let from = left.start.at_s.max(right.start.at_s);
    let to = left.end.at_s.min(right.end.at_s);
    let block = (0.05 / hop_s).round() as usize;
    let within = |power: &[f32], noise: f64| -> Vec<f64> {
        power[(from / hop_s) as usize..(to / hop_s) as usize]
            .chunks_exact(block)
            .map(|hops| hops.iter().map(|&p| f64::from(p)).sum::<f64>() / block as f64)
            .map(|power| 10.0 * (power + noise).log10())
            .collect()
    };
    let [a, b] =
        [(powers[0], left), (powers[1], right)].map(|(power, it)| within(power, noise_of(*it)));
    are_different(&a, &b)
}

fn mismatch(length: Seconds, expected: Seconds, off: Percent) -> Vec<Caution> {
    let near = |ratio: f64| (off.ratio() / ratio - 1.0).abs() < 0.1;
    let speeds = [(0.5, Ratio::Half), (2.0, Ratio::Double)];
    let other = speeds.into_iter().filter(|(ratio, _)| near(*ratio));
    let other = other.map(|(_, ratio)| Caution::PassageAtSpeed(length, ratio));
    let off = Caution::PassageOff([length, expected], off, false);
    std::iter::once(off).chain(other).collect()
}
