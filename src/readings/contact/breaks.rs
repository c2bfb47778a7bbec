//! Breaks of contact in a tone, or what is steady like one: a fall of gain
//! and, soon after, a rise by as much. In music only lost contact is told (see
//! [`super::silences`]): what falls and rises there may be the music.
//!
//! Works on a channel at about 12 kHz. Every few milliseconds a predictor is
//! made of the sound around; each moment is then looked at from before, for a
//! fall, and from behind, for a rise (see [`super::edges`]). A fall and a rise
//! that agree are a break.

use std::array;
use std::collections::VecDeque;

use super::edges::{self, Edge, Group, LONGEST_GROUP, Loss, MS, ORDER, SAME_EDGE};
use crate::signal::prediction::{Predictor, Workroom};

/// Samples that a predictor is made of, and from one to the next.
const WINDOW: u64 = 480;
const HOP: u64 = 48;
/// Samples from one moment that is looked at to the next.
const GRID: u64 = 2;
/// Samples that a predictor keeps from the moment, for falls that take time.
const GUARD: u64 = 12;
/// Samples behind a moment that are explained.
const SPAN: usize = 24;
/// What a moment must have to be looked at as an edge: how much likelier a
/// step is than none; and how many falls are tried for one rise.
const LEAST_EVIDENCE: f64 = 14.0;
const TRIED: usize = 6;

/// Sound below this mean square, −80 dB, is silence: nothing can break.
const SILENT_SQUARE: f64 = 0.5e-8;
/// No model foresees better than this part of the power.
const BEST_FORESIGHT: f64 = 1e-5;

/// A break takes away at least this much: 4.4 dB.
const BREAK_FACTOR: f64 = 0.6;
/// Samples ahead of an edge that are foreseen, 2.5 ms; those next to it that may
/// still be falling, 0.7 ms; and those beyond it that are judged.
const AHEAD: usize = 30;
const RAMP: usize = 8;
const BEYOND: usize = 30;
/// The gain is still whole before an edge, and already down behind it, to
/// this part of the fall: slower falls are a hand's or a player's.
const SHARPNESS: f64 = 0.35;
/// A forecast that has died away to this part of the power says nothing.
const FORECAST_LEAST: f64 = 0.2;
/// Logarithms by which fall and rise of one break may differ, at first sight and
/// as forecast.
const ALIKE: f64 = 1.1;
const AGREEING: f64 = 0.6;
/// The longest break in milliseconds.
const LONGEST_MS: u64 = 350;

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

    /// The stream's samples, to be added to; then call [`Self::search`].
    pub(super) fn samples(&mut self) -> &mut Vec<f64> {
        &mut self.samples
    }

    /// Looks at what has come and hands over the breaks that are sure by now.
    pub(super) fn search(&mut self, found: &mut Vec<Loss>) {
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

    /// The sample `offset` behind a moment; looked at backwards, before it. Where
    /// there is a model there are samples on both sides: more than half a
    /// [`WINDOW`], and no more than [`ORDER`] + [`BEYOND`] are asked for.
    fn sample(&self, at: u64, offset: isize, backwards: bool) -> f64 {
        let here = (at - self.base) as usize;
        let offset = if backwards { -1 - offset } else { offset };
        self.samples[here.saturating_add_signed(offset)]
    }

    fn edge(&self, at: u64, backwards: bool) -> Option<Edge> {
        let model = self.model(at, backwards)?;
        if model.predictor.power < SILENT_SQUARE {
            return None;
        }
        let before: [f64; ORDER] =
            array::from_fn(|k| self.sample(at, -1 - k.cast_signed(), backwards));
        let behind: [f64; SPAN] = array::from_fn(|k| self.sample(at, k.cast_signed(), backwards));
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
        let mut energy = 0.0;
        for n in 1..=SPAN {
            let past = |k: usize| self.sample(at, -(n + k).cast_signed(), backwards);
            let error: f64 = c.iter().enumerate().map(|(k, c)| c * past(k)).sum();
            energy += error * error;
        }
        let span = SPAN as f64;
        let square = factor * factor + 1e-3;
        let evidence =
            energy / (2.0 * model.power) * (1.0 - 1.0 / square) - span * square.ln() / 2.0;
        evidence.max(0.0)
    }

    /// Puts falls and rises together.
    fn pair(&mut self, found: &mut Vec<Loss>) {
        while let Some(&rise) = self.rises.front() {
            // A fall that is still being looked at may belong to it.
            if self.next <= rise.at + SAME_EDGE + LONGEST_GROUP {
                return;
            }
            self.rises.pop_front();
            let near = |fall: &&Edge| {
                let length = rise.at.saturating_sub(fall.at);
                agree(fall.step.factor, rise.step.factor, ALIKE)
                    && (MS * 3 / 5..=LONGEST_MS * MS).contains(&length)
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
    fn judge(&self, fall: Edge, rise: Edge) -> Option<Loss> {
        let (start, end) = (fall.at, rise.at);
        let length = end - start;
        let fall = self.gains(start, length, false)?;
        let rise = self.gains(end, length, true)?;
        let factor = (fall * rise).sqrt();
        let is_break = agree(fall, rise, AGREEING)
            && factor <= BREAK_FACTOR
            && self.is_quiet_between(start, end, factor);
        is_break.then_some(Loss { start, end, factor })
    }

    /// The factor at an edge as forecast from before it, if the forecast is to
    /// be trusted and the edge is sharp.
    fn gains(&self, at: u64, length: u64, backwards: bool) -> Option<f64> {
        let model = self.model(at, backwards)?;
        let whole = length as usize;
        let ramp = RAMP.min(whole / 3);
        let far = BEYOND.min(whole.saturating_sub(ramp)).max(ramp + 2);
        // In the order away from the past, the edge after AHEAD samples.
        let sample = |n: usize| self.sample(at, n.cast_signed() - AHEAD.cast_signed(), backwards);
        let past = |k: usize| self.sample(at, -(AHEAD + 1 + k).cast_signed(), backwards);
        let c = &model.predictor.coefficients;
        let mut forecast = [0.0; AHEAD + BEYOND];
        for n in 0..AHEAD + far {
            for k in 1..=ORDER {
                let before = if k <= n {
                    forecast[n - k]
                } else {
                    past(k - n - 1)
                };
                forecast[n] -= c[k] * before;
            }
        }
        let energies = |from: usize, to: usize| -> [f64; 2] {
            let mut sums = [0.0; 2];
            for (n, forecast) in forecast.iter().enumerate().take(to).skip(from) {
                sums[0] += sample(n).powi(2);
                sums[1] += forecast.powi(2);
            }
            sums.map(|sum| sum / (to - from) as f64)
        };
        let before = energies(6, AHEAD - ramp);
        let after = energies(AHEAD + ramp, AHEAD + far);
        let power = model.predictor.power;
        let mut missed = 0.0;
        for (n, forecast) in forecast.iter().enumerate().take(AHEAD - ramp).skip(6) {
            missed += (sample(n) - forecast).powi(2);
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
        self.falls
            .retain(|fall| fall.at + 2 * LONGEST_MS * MS >= now);
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

/// Fall and rise by about as much, the ratio within this logarithm; what is deep
/// is deep.
fn agree(fall: f64, rise: f64, within: f64) -> bool {
    (fall < 0.3 && rise < 0.3) || (fall / rise).ln().abs() < within
}
