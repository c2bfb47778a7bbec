//! Breaks of contact in a tone, or what is steady like one: a fall of gain
//! and, soon after, a rise by as much. In music only lost contact is told (see
//! [`super::silences`]): what falls and rises there may be the music.
//!
//! Works on a channel at about 12 kHz. Every few milliseconds a predictor is
//! made of the sound around; each moment is then looked at from before, for a
//! fall, and from behind, for a rise (see [`super::edges`]). A fall and a rise
//! that agree are a break.

use std::collections::VecDeque;

use super::edges::{self, ORDER};
use super::groups::{Edge, Group, LONGEST_GROUP, MS, SAME_EDGE};
use crate::signal::prediction::{Predictor, Workroom};

/// A predictor is made of so many samples, so often.
const WINDOW: u64 = 480;
const HOP: u64 = 48;
/// Moments are looked at in steps of so many samples.
const GRID: u64 = 2;
/// A predictor keeps so far from the moment, for falls that take their time.
const GUARD: u64 = 12;
/// So many samples behind a moment are explained.
const SPAN: usize = 24;
/// What a moment must have to be looked at as an edge: how much likelier a
/// step is than none; and how many falls are tried for one rise.
const LEAST_EVIDENCE: f64 = 14.0;
const TRIED: usize = 6;

/// Sound below this mean square, −80 dB, is silence: nothing can break.
const SILENCE: f64 = 0.5e-8;
/// No model foresees better than this part of the power.
const BEST_FORESIGHT: f64 = 1e-5;

/// A break takes away at least this much: 4.4 dB.
const BREAK_FACTOR: f64 = 0.6;
/// Foreseen so many samples ahead of an edge, 2.5 ms; what lies next to the
/// edge, 0.7 ms, may still be falling; so many beyond it are judged.
const AHEAD: usize = 30;
const RAMP: usize = 8;
const BEYOND: usize = 30;
/// The gain is still whole before an edge, and already down behind it, to
/// this part of the fall: slower falls are a hand's or a player's.
const SHARPNESS: f64 = 0.35;
/// A forecast that has died away to this part of the power says nothing.
const FORECAST_LEAST: f64 = 0.2;
/// The longest break in milliseconds.
const LONGEST_MS: u64 = 350;

/// A break in samples of the stream pushed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Found {
    pub(super) start: u64,
    pub(super) end: u64,
    pub(super) factor: f64,
}

struct Model {
    end: u64,
    predictor: Predictor,
    /// What cannot be foreseen, never less than the model is good for.
    power: f64,
}

/// See the module.
pub(super) struct BreakFinder {
    samples: Vec<f64>,
    /// Index in the stream of the first of them.
    base: u64,
    models: VecDeque<Model>,
    room: Workroom,
    /// The next moment to look at.
    next: u64,
    fall: Group,
    rise: Group,
    falls: VecDeque<Edge>,
    rises: VecDeque<Edge>,
}

impl BreakFinder {
    pub(super) fn new() -> Self {
        Self {
            samples: Vec::new(),
            base: 0,
            models: VecDeque::new(),
            room: Workroom::default(),
            next: WINDOW + GUARD,
            fall: Group::default(),
            rise: Group::default(),
            falls: VecDeque::new(),
            rises: VecDeque::new(),
        }
    }

    /// The stream's samples, to be added to; then call [`Self::look`].
    pub(super) fn samples(&mut self) -> &mut Vec<f64> {
        &mut self.samples
    }

    /// Looks at what has come and hands over the breaks that are sure by now.
    pub(super) fn look(&mut self, found: &mut Vec<Found>) {
        self.make_models();
        while let Some(last) = self.models.back()
            && last.end >= self.next + GUARD + WINDOW
        {
            self.look_at_next();
            self.pair(found);
        }
        self.forget();
    }

    fn end(&self) -> u64 {
        self.base + self.samples.len() as u64
    }

    fn make_models(&mut self) {
        let mut end = self.models.back().map_or(WINDOW, |last| last.end + HOP);
        while end <= self.end() {
            let from = (end - WINDOW - self.base) as usize;
            let stretch = &self.samples[from..from + WINDOW as usize];
            let predictor = Predictor::of(stretch, ORDER, &mut self.room);
            let power = predictor
                .error_power
                .max(BEST_FORESIGHT * predictor.power)
                .max(1e-12);
            self.models.push_back(Model {
                end,
                predictor,
                power,
            });
            end += HOP;
        }
    }

    fn look_at_next(&mut self) {
        let at = self.next;
        self.next += GRID;
        let fall = self.edge(at, false);
        let rise = self.edge(at, true);
        self.falls.extend(self.fall.take(fall, at));
        self.rises.extend(self.rise.take(rise, at));
    }

    /// The model to look with: the last one that ends before the moment, or
    /// the first one that begins behind it.
    fn model(&self, at: u64, backwards: bool) -> Option<&Model> {
        let first = self.models.front()?.end;
        let end = if backwards {
            let least = at + GUARD + WINDOW;
            least.saturating_sub(first).div_ceil(HOP) * HOP + first
        } else {
            let most = (at - GUARD).checked_sub(first)?;
            most / HOP * HOP + first
        };
        self.models.get(((end - first) / HOP) as usize)
    }

    fn edge(&self, at: u64, backwards: bool) -> Option<Edge> {
        let model = self.model(at, backwards)?;
        if model.predictor.power < SILENCE {
            return None;
        }
        let here = (at - self.base) as usize;
        let earlier = self.samples.get(here - ORDER.max(SPAN)..here)?;
        let later = self.samples.get(here..here + ORDER.max(SPAN))?;
        let mut before = [0.0; ORDER];
        let mut behind = [0.0; SPAN];
        let (past, future): (&[f64], &[f64]) = (earlier, later);
        if backwards {
            before.copy_from_slice(&future[..ORDER]);
            for (behind, x) in behind.iter_mut().zip(past.iter().rev().take(SPAN)) {
                *behind = *x;
            }
        } else {
            for (before, x) in before.iter_mut().zip(past.iter().rev()) {
                *before = *x;
            }
            behind.copy_from_slice(&future[..SPAN]);
        }
        let c = &model.predictor.coefficients;
        let mut step = edges::step(c, model.power, &before, &behind);
        if step.evidence < LEAST_EVIDENCE {
            return None;
        }
        step.evidence -= self.quiet_already(model, at, backwards, step.factor);
        (step.evidence >= LEAST_EVIDENCE).then_some(Edge { at, step })
    }

    /// How well the factor suits what comes before the moment too: then the
    /// step lies elsewhere.
    fn quiet_already(&self, model: &Model, at: u64, backwards: bool, factor: f64) -> f64 {
        let c = &model.predictor.coefficients;
        let here = (at - self.base) as usize;
        let mut energy = 0.0;
        for n in 0..SPAN {
            // As far as ORDER + SPAN from the moment.
            let error: f64 = if backwards {
                let at = here + n;
                let Some(ahead) = self.samples.get(at..=at + ORDER) else {
                    return 0.0;
                };
                c.iter().zip(ahead).map(|(c, x)| c * x).sum()
            } else {
                let at = here - 1 - n;
                let past = &self.samples[at - ORDER..=at];
                c.iter().zip(past.iter().rev()).map(|(c, x)| c * x).sum()
            };
            energy += error * error;
        }
        let span = SPAN as f64;
        let square = factor * factor + 1e-3;
        let evidence =
            energy / (2.0 * model.power) * (1.0 - 1.0 / square) - span * square.ln() / 2.0;
        evidence.max(0.0)
    }

    /// Puts falls and rises together.
    fn pair(&mut self, found: &mut Vec<Found>) {
        while let Some(&rise) = self.rises.front() {
            // A fall that is still being looked at may belong to it.
            if self.next <= rise.at + SAME_EDGE + LONGEST_GROUP {
                return;
            }
            self.rises.pop_front();
            let near = |fall: &&Edge| {
                if !alike(fall.step.factor, rise.step.factor) {
                    return false;
                }
                let length = rise.at.saturating_sub(fall.at);
                (MS * 3 / 5..=LONGEST_MS * MS).contains(&length)
            };
            let falls = self.falls.iter().rev().filter(near).take(TRIED);
            let breaks = falls.filter_map(|fall| self.judge(*fall, rise));
            let best = breaks.reduce(|a, b| if b.factor < 0.8 * a.factor { b } else { a });
            if let Some(it) = best {
                self.falls.retain(|other| other.at > it.end);
                found.push(it);
            }
        }
    }

    /// Whether contact was lost between two edges.
    fn judge(&self, fall: Edge, rise: Edge) -> Option<Found> {
        let (start, end) = (fall.at, rise.at);
        let length = end - start;
        let fall = self.gains(start, length, false)?;
        let rise = self.gains(end, length, true)?;
        let factor = (fall * rise).sqrt();
        let is_break = agree(fall, rise)
            && factor <= BREAK_FACTOR
            && self.is_quiet_between(start, end, factor);
        is_break.then_some(Found { start, end, factor })
    }

    /// The factor at an edge as forecast from before it, if the forecast is to
    /// be trusted and the edge is sharp.
    fn gains(&self, at: u64, length: u64, backwards: bool) -> Option<f64> {
        let model = self.model(at, backwards)?;
        let whole = length as usize;
        let ramp = RAMP.min(whole / 3);
        let far = BEYOND.min(whole.saturating_sub(ramp)).max(ramp + 2);
        // In the order away from the past, the edge after AHEAD samples.
        let here = (at - self.base) as usize;
        let sample = |n: usize| -> Option<f64> {
            if backwards {
                self.samples
                    .get((here + AHEAD).checked_sub(n + 1)?)
                    .copied()
            } else {
                self.samples.get((here + n).checked_sub(AHEAD)?).copied()
            }
        };
        let past = |k: usize| -> Option<f64> {
            if backwards {
                self.samples.get(here + AHEAD + k).copied()
            } else {
                self.samples
                    .get((here).checked_sub(AHEAD + 1 + k)?)
                    .copied()
            }
        };
        let c = &model.predictor.coefficients;
        let mut forecast = [0.0; AHEAD + BEYOND];
        for n in 0..AHEAD + far {
            let mut value = 0.0;
            for k in 1..=ORDER.min(c.len() - 1) {
                let before = if k <= n {
                    forecast[n - k]
                } else {
                    past(k - n - 1)?
                };
                value -= c[k] * before;
            }
            forecast[n] = value;
        }
        let energies = |from: usize, to: usize| -> Option<[f64; 2]> {
            let mut sums = [0.0; 2];
            for (n, forecast) in forecast.iter().enumerate().take(to).skip(from) {
                sums[0] += sample(n)?.powi(2);
                sums[1] += forecast.powi(2);
            }
            Some(sums.map(|sum| sum / (to - from) as f64))
        };
        let before = energies(6, AHEAD - ramp)?;
        let after = energies(AHEAD + ramp, AHEAD + far)?;
        let power = model.predictor.power;
        let mut missed = 0.0;
        for (n, forecast) in forecast.iter().enumerate().take(AHEAD - ramp).skip(6) {
            missed += (sample(n)? - forecast).powi(2);
        }
        missed /= (AHEAD - ramp - 6) as f64;
        let trusted = missed < 0.1 * before[1]
            && (FORECAST_LEAST..3.0).contains(&(before[1] / power))
            && (FORECAST_LEAST..3.0).contains(&(after[1] / power));
        if !trusted {
            return None;
        }
        let whole = (before[0] / before[1]).sqrt();
        let factor = (after[0] / after[1]).sqrt() / whole;
        let sharp = whole > 1.0 - SHARPNESS * (1.0 - factor) && whole < 1.5;
        sharp.then_some(factor)
    }

    fn mean_square(&self, from: u64, to: u64) -> f64 {
        let place = |at: u64| (at.max(self.base) - self.base) as usize;
        let to = place(to).min(self.samples.len());
        let stretch = &self.samples[place(from).min(to)..to];
        stretch.iter().map(|x| x * x).sum::<f64>() / stretch.len().max(1) as f64
    }

    /// The level is down between the edges, and as it was on both sides.
    fn is_quiet_between(&self, start: u64, end: u64, factor: f64) -> bool {
        let before = self.mean_square(start.saturating_sub(10 * MS), start);
        let after = self.mean_square(end, end + 10 * MS);
        if before > 8.0 * after || after > 8.0 * before {
            return false;
        }
        let within = self.mean_square(start + 2, end.saturating_sub(2));
        let most = factor * factor * 4.0;
        end - start < 2 * MS || within < most.min(0.9) * before.max(after)
    }

    fn forget(&mut self) {
        let now = self.next;
        while self
            .falls
            .front()
            .is_some_and(|fall| fall.at + 2 * LONGEST_MS * MS < now)
        {
            self.falls.pop_front();
        }
        // Models that end before the next moment by more than is looked back.
        while self.models.len() > 1
            && self.models[1].end + GUARD + HOP + LONGEST_MS * MS + 2 * WINDOW < now
        {
            self.models.pop_front();
        }
        let keep_from = now.saturating_sub(LONGEST_MS * MS + 4 * WINDOW);
        if keep_from > self.base + 8192 {
            self.samples.drain(..(keep_from - self.base) as usize);
            self.base = keep_from;
        }
    }
}

/// Fall and rise by about as much; what is deep is deep.
fn agree(fall: f64, rise: f64) -> bool {
    (fall < 0.3 && rise < 0.3) || (fall / rise).ln().abs() < 0.6
}

/// What two edges say at first sight may be of one break.
fn alike(fall: f64, rise: f64) -> bool {
    (fall < 0.3 && rise < 0.3) || (fall / rise).ln().abs() < 1.1
}
