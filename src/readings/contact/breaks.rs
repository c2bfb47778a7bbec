//! Breaks of contact: a fall of gain and, soon after, a rise by as much.
//!
//! Works on a channel at about 12 kHz. Every few milliseconds a predictor is
//! made of the sound around; each moment is then looked at from before, for a
//! fall, and from behind, for a rise (see [`super::edges`]). A fall and a rise
//! that agree are a break.

use std::collections::VecDeque;

use super::edges::{self, Likely, ORDER, Step};
use crate::signal::prediction::{Predictor, Workroom};

/// How a finder looks, in samples of its stream.
#[derive(Clone, Copy, Debug)]
pub(super) struct Manner {
    /// Samples a predictor is made of, and how often one is made.
    window: u64,
    hop: u64,
    /// Moments are looked at in steps of so many samples.
    grid: u64,
    /// A predictor keeps so far from the moment, for falls that take their
    /// time.
    guard: u64,
    /// So many samples behind a moment are explained.
    span: usize,
    /// A millisecond.
    ms: u64,
    /// What a moment must have to be looked at as an edge: how much likelier
    /// a step is than none, and how many falls are tried for one rise.
    evidence: f64,
    tried: usize,
    /// By forecast, or by likelihood.
    by_forecast: bool,
}

impl Manner {
    /// At about 12 kHz, by forecast: for tones and whatever is steady.
    pub(super) const STEADY: Self = Self {
        window: 480,
        hop: 48,
        grid: 2,
        guard: 12,
        span: 24,
        ms: 12,
        evidence: 14.0,
        tried: 6,
        by_forecast: true,
    };
    /// At about 48 kHz, by likelihood: the highest frequencies of music and
    /// its hiss tell most about the gain.
    pub(super) const RICH: Self = Self {
        window: 1440,
        hop: 240,
        grid: 8,
        guard: 48,
        span: 96,
        ms: 48,
        evidence: 24.0,
        tried: 2,
        by_forecast: false,
    };
}

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
/// Sound that cannot be foreseen is judged by likelihood: logarithms of how
/// much likelier a break is than none, at each edge and at both, and what may
/// be left unexplained.
const LEAST_EACH: f64 = 25.0;
const LEAST_TOGETHER: f64 = 70.0;
const MOST_UNEXPLAINED: f64 = 4.0;
/// The longest break in milliseconds.
const LONGEST_MS: u64 = 350;
/// And where it cannot be foreseen how the sound would have gone on.
const LONGEST_RICH_MS: u64 = 120;
/// Samples before an edge by which likelihood is judged.
const BEFORE: usize = 272;
/// Longest span of any manner.
const MOST_SPAN: usize = 96;

/// A moment at which the gain falls, or rises.
#[derive(Clone, Copy, Debug)]
struct Edge {
    at: u64,
    step: Step,
}

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

/// Edges no further apart than this belong to one group; a group that lasts
/// longer than that is cut.
fn same_edge(ms: u64) -> u64 {
    ms * 7 / 6
}

fn longest_group(ms: u64) -> u64 {
    4 * ms
}

/// The best edge of a group that follow each other closely.
#[derive(Default)]
struct Group {
    best: Option<Edge>,
    begun: u64,
    last: u64,
}

impl Group {
    /// Takes an edge; hands out the best one of the group before, when that
    /// is over.
    fn take(&mut self, edge: Option<Edge>, now: u64, ms: u64) -> Option<Edge> {
        let over = self.best.is_some()
            && (now > self.last + same_edge(ms) || now > self.begun + longest_group(ms));
        let done = if over { self.best.take() } else { None };
        if let Some(edge) = edge {
            if self.best.is_none() {
                self.begun = now;
            }
            self.last = now;
            if self
                .best
                .is_none_or(|best| edge.step.evidence > best.step.evidence)
            {
                self.best = Some(edge);
            }
        }
        done
    }
}

/// See the module.
pub(super) struct BreakFinder {
    manner: Manner,
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
    pub(super) fn new(manner: Manner) -> Self {
        Self {
            manner,
            samples: Vec::new(),
            base: 0,
            models: VecDeque::new(),
            room: Workroom::default(),
            next: manner.window + manner.guard,
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
            && last.end >= self.next + self.manner.guard + self.manner.window
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
        let mut end = self
            .models
            .back()
            .map_or(self.manner.window, |last| last.end + self.manner.hop);
        while end <= self.end() {
            let from = (end - self.manner.window - self.base) as usize;
            let stretch = &self.samples[from..from + self.manner.window as usize];
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
            end += self.manner.hop;
        }
    }

    fn look_at_next(&mut self) {
        let at = self.next;
        self.next += self.manner.grid;
        let fall = self.edge(at, false);
        let rise = self.edge(at, true);
        let ms = self.manner.ms;
        self.falls.extend(self.fall.take(fall, at, ms));
        self.rises.extend(self.rise.take(rise, at, ms));
    }

    /// The model to look with: the last one that ends before the moment, or
    /// the first one that begins behind it.
    fn model(&self, at: u64, backwards: bool) -> Option<&Model> {
        let first = self.models.front()?.end;
        let end = if backwards {
            let least = at + self.manner.guard + self.manner.window;
            least.saturating_sub(first).div_ceil(self.manner.hop) * self.manner.hop + first
        } else {
            let most = (at - self.manner.guard).checked_sub(first)?;
            most / self.manner.hop * self.manner.hop + first
        };
        self.models.get(((end - first) / self.manner.hop) as usize)
    }

    fn edge(&self, at: u64, backwards: bool) -> Option<Edge> {
        let model = self.model(at, backwards)?;
        if model.predictor.power < SILENCE {
            return None;
        }
        let here = (at - self.base) as usize;
        let span = self.manner.span;
        let earlier = self.samples.get(here - ORDER.max(span)..here)?;
        let later = self.samples.get(here..here + ORDER.max(span))?;
        let mut before = [0.0; ORDER];
        let mut behind = [0.0; MOST_SPAN];
        let (past, future): (&[f64], &[f64]) = (earlier, later);
        if backwards {
            before.copy_from_slice(&future[..ORDER]);
            for (behind, x) in behind.iter_mut().zip(past.iter().rev().take(span)) {
                *behind = *x;
            }
        } else {
            for (before, x) in before.iter_mut().zip(past.iter().rev()) {
                *before = *x;
            }
            behind[..span].copy_from_slice(&future[..span]);
        }
        let behind = &behind[..span];
        let c = &model.predictor.coefficients;
        let mut step = edges::step(c, model.power, &before, behind);
        if step.evidence < self.manner.evidence {
            return None;
        }
        step.evidence -= self.quiet_already(model, at, backwards, step.factor);
        (step.evidence >= self.manner.evidence).then_some(Edge { at, step })
    }

    /// How well the factor suits what comes before the moment too: then the
    /// step lies elsewhere.
    fn quiet_already(&self, model: &Model, at: u64, backwards: bool, factor: f64) -> f64 {
        let c = &model.predictor.coefficients;
        let here = (at - self.base) as usize;
        let mut energy = 0.0;
        for n in 0..self.manner.span {
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
        let span = self.manner.span as f64;
        let square = factor * factor + 1e-3;
        let evidence =
            energy / (2.0 * model.power) * (1.0 - 1.0 / square) - span * square.ln() / 2.0;
        evidence.max(0.0)
    }

    /// Puts falls and rises together.
    fn pair(&mut self, found: &mut Vec<Found>) {
        while let Some(&rise) = self.rises.front() {
            // A fall that is still being looked at may belong to it.
            if self.next <= rise.at + same_edge(self.manner.ms) + longest_group(self.manner.ms) {
                return;
            }
            self.rises.pop_front();
            let near = |fall: &&Edge| {
                let too_long = rise.at > fall.at + LONGEST_RICH_MS * self.manner.ms;
                if !self.manner.by_forecast
                    && (too_long || fall.step.factor.max(rise.step.factor) > 0.7)
                {
                    return false;
                }
                if !alike(fall.step.factor, rise.step.factor) {
                    return false;
                }
                let length = rise.at.saturating_sub(fall.at);
                (self.manner.ms * 3 / 5..=LONGEST_MS * self.manner.ms).contains(&length)
            };
            let falls = self.falls.iter().rev().filter(near).take(self.manner.tried);
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
        let found = if self.manner.by_forecast {
            let fall = self.gains(start, length, false)?;
            let rise = self.gains(end, length, true)?;
            let factor = (fall * rise).sqrt();
            agree(fall, rise).then_some(Found { start, end, factor })?
        } else {
            self.likely_break(fall, rise)?
        };
        let is_break = found.factor <= BREAK_FACTOR
            && self.is_quiet_between(found.start, found.end, found.factor);
        is_break.then_some(found)
    }

    /// A break in sound that can hardly be foreseen: where it fits best.
    fn likely_break(&self, fall: Edge, rise: Edge) -> Option<Found> {
        let guess = Some((fall.step.factor * rise.step.factor).sqrt());
        let (mut start, mut end) = (fall.at, rise.at);
        let step = self.manner.ms / 2;
        let earliest = start.saturating_sub(4 * step);
        let tried = (0..7).map(|nth| earliest + nth * step);
        let tried = tried.filter(|at| *at + step < end);
        start = Self::best_of(tried, |at| self.fit(at, end - at, false, guess))?;
        let tried = (0..7).map(|nth| end + nth * step - 2 * step);
        let tried = tried.filter(|at| *at > start + step);
        end = Self::best_of(tried, |at| self.fit(at, at - start, true, guess))?;
        let fall = self.fit(start, end - start, false, None)?;
        let rise = self.fit(end, end - start, true, None)?;
        let factor = (fall.factor * rise.factor).sqrt();
        let sure = fall.evidence + rise.evidence > LEAST_TOGETHER
            && fall.evidence.min(rise.evidence) > LEAST_EACH
            && fall.unexplained.max(rise.unexplained) < MOST_UNEXPLAINED
            && agree(fall.factor, rise.factor)
            && end - start < LONGEST_RICH_MS * self.manner.ms;
        sure.then_some(Found { start, end, factor })
    }

    fn best_of(
        tried: impl Iterator<Item = u64>,
        fit: impl Fn(u64) -> Option<Likely>,
    ) -> Option<u64> {
        let fits = tried.filter_map(|at| Some((at, fit(at)?)));
        let best = fits.reduce(|a, b| if b.1.evidence > a.1.evidence { b } else { a })?;
        Some(best.0)
    }

    fn fit(&self, at: u64, length: u64, backwards: bool, guess: Option<f64>) -> Option<Likely> {
        let length = length as usize;
        let model = self.model(at, backwards)?;
        let here = (at - self.base) as usize;
        let far = (length + ORDER + 120).min(480);
        let mut sound = Vec::with_capacity(BEFORE + far);
        for n in 0..BEFORE + far {
            let place = if backwards {
                (here + BEFORE).checked_sub(n + 1)?
            } else {
                (here + n).checked_sub(BEFORE)?
            };
            sound.push(*self.samples.get(place)?);
        }
        Some(edges::likely(
            &model.predictor.coefficients,
            &sound,
            BEFORE,
            length,
            guess,
        ))
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
        let before = self.mean_square(start.saturating_sub(10 * self.manner.ms), start);
        let after = self.mean_square(end, end + 10 * self.manner.ms);
        if before > 8.0 * after || after > 8.0 * before {
            return false;
        }
        let within = self.mean_square(start + 2, end.saturating_sub(2));
        let most = factor * factor * 4.0;
        end - start < 2 * self.manner.ms || within < most.min(0.9) * before.max(after)
    }

    fn forget(&mut self) {
        let now = self.next;
        while self
            .falls
            .front()
            .is_some_and(|fall| fall.at + 2 * (LONGEST_MS * self.manner.ms) < now)
        {
            self.falls.pop_front();
        }
        // Models that end before the next moment by more than is looked back.
        while self.models.len() > 1
            && self.models[1].end
                + self.manner.guard
                + self.manner.hop
                + (LONGEST_MS * self.manner.ms)
                + 2 * self.manner.window
                < now
        {
            self.models.pop_front();
        }
        let keep_from = now.saturating_sub((LONGEST_MS * self.manner.ms) + 4 * self.manner.window);
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
