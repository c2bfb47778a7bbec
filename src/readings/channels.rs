//! Two channels of one tone: level, balance, and the time between them, which
//! is the head's azimuth and whatever else is late in one channel.
//!
//! The argument of the mean of left times conjugate right is the phase between
//! the channels, the estimate of least variance there is for a tone in white
//! noise (Kay, Fundamentals of Statistical Signal Processing, 1993, from
//! memory). A phase says nothing of whole turns: another tone does.

use std::collections::VecDeque;

use super::blocks::BlockSeries;
use super::fluctuation::{Fluctuation, Weighing};
use super::wavering::TwoChannels;
use crate::signal::pair::{PAIR_S, Pair};
use crate::units::Decibels;

/// Less than this says nothing. A choice.
const LEAST_PAIRS: u64 = 10;

/// A tone within this part of another is the same one, trimmed or wavering; a
/// period is told by one that is at least the second number away. Choices.
const SAME_TONE: f64 = 0.03;
const OTHER_TONE: f64 = 0.1;

/// Tones that are remembered. A choice: test tapes with more of them tell no
/// more about the period.
const MOST_TONES: usize = 8;

/// A channel this far below the other carries crosstalk. Practice, no source.
const CROSSTALK_DB: f64 = 20.0;

/// Less of one tone in both channels than this has no phase worth a figure:
/// half of the power. A choice.
const LEAST_COHERENCE: f64 = 0.5;

/// No head is further off than this: 2 ms are 6 degrees across a cassette's
/// track pair at its slow speed. Practice, no source.
const MOST_LAG_US: f64 = 2000.0;

/// Two tones meet at one time when they are this close, in standard deviations,
/// none of which is taken for less than the second number: heads, tape and
/// filters delay tones of different pitch by a little. Practice, no source.
const MEET: f64 = 3.0;
const LEAST_SD_US: f64 = 0.3;

/// What one tone has told.
#[derive(Clone, Copy, Debug)]
struct Told {
    mean: Pair,
    balance_uncertainty: Option<f64>,
    lag_us: f64,
    lag_uncertainty_us: Option<f64>,
    jitter_us: f64,
}

/// Sums over the pairs of one tone.
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    all: Pair,
    count: u64,
    first: Pair,
    /// Lags in microseconds from that of the first pair, and their squares: so no
    /// whole turn is lost, wherever that one stands.
    lag: f64,
    squares: f64,
}

impl Sum {
    /// The lag of a pair from that of the first.
    fn push(&mut self, pair: &Pair) -> f64 {
        if self.count == 0 {
            self.first = *pair;
        }
        self.all.add(pair);
        self.count += 1;
        let turned = (pair.cross * self.first.cross.conj()).arg() / std::f64::consts::TAU;
        let lag_us = microseconds(turned, pair.hz);
        self.lag += lag_us;
        self.squares += lag_us * lag_us;
        lag_us
    }

    fn hz(&self) -> f64 {
        self.all.hz / self.count as f64
    }

    fn mean(&self) -> Pair {
        self.all.over(self.count as f64)
    }

    fn lag_us(&self) -> f64 {
        microseconds(self.mean().right_lags_turns(), self.hz())
    }

    /// Standard deviation of the lags.
    fn jitter_us(&self) -> f64 {
        let [mean, square] = [self.lag, self.squares].map(|sum| sum / self.count as f64);
        (square - mean * mean).max(0.0).sqrt()
    }

    /// `None` while too short, and where one channel carries no tone, or
    /// another one. Lags and balances by the tenth of a second make the ±.
    fn told(&self, lags: &[f64], balances: &[f64]) -> Option<Told> {
        if self.count < LEAST_PAIRS {
            return None;
        }
        let mean = self.mean();
        if !is_one_tone(&mean) {
            return None;
        }
        let uncertainty = |blocks: &[f64]| {
            let fluctuation = Fluctuation::about_a_level(blocks)?;
            Some(fluctuation.of_figure(Weighing::Even).half_width)
        };
        Some(Told {
            mean,
            balance_uncertainty: uncertainty(balances),
            lag_us: self.lag_us(),
            lag_uncertainty_us: uncertainty(lags),
            jitter_us: self.jitter_us(),
        })
    }
}

impl<'a> FromIterator<&'a Pair> for Sum {
    fn from_iter<T: IntoIterator<Item = &'a Pair>>(pairs: T) -> Self {
        let mut sum = Self::default();
        for pair in pairs {
            sum.push(pair);
        }
        sum
    }
}

/// Both channels carry it, and neither as crosstalk alone.
fn is_one_tone(pair: &Pair) -> bool {
    pair.coherence() >= LEAST_COHERENCE && decibels(pair.powers).abs() <= CROSSTALK_DB
}

fn microseconds(turns: f64, hz: f64) -> f64 {
    1e6 * turns / hz
}

/// Left against right.
fn decibels([left, right]: [f64; 2]) -> f64 {
    10.0 * (left.max(1e-15) / right.max(1e-15)).log10()
}

impl Told {
    fn period_us(&self) -> f64 {
        1e6 / self.mean.hz
    }

    fn sd_us(&self) -> f64 {
        let known = self.lag_uncertainty_us.map(|it| it / 2.0);
        known.unwrap_or(self.jitter_us).max(LEAST_SD_US)
    }

    /// Every time between the channels that the phase allows; with one channel
    /// wired the other way round, half a turn beside.
    fn possible_us(&self, inverted: bool) -> impl Iterator<Item = f64> {
        let period = self.period_us();
        let first = self.lag_us + if inverted { period / 2.0 } else { 0.0 };
        let most = (MOST_LAG_US / period) as i32 + 1;
        (-most..=most)
            .map(move |turns| first + f64::from(turns) * period)
            .filter(|lag| lag.abs() <= MOST_LAG_US)
    }

    /// Does this tone allow that time?
    fn allows(&self, lag_us: f64, sd_us: f64, inverted: bool) -> bool {
        let most = MEET * self.sd_us().hypot(sd_us);
        (self.possible_us(inverted)).any(|mine| (mine - lag_us).abs() < most)
    }

    /// The whole, with what the other tones say of whole periods.
    fn beside(&self, others: &[Self]) -> TwoChannels {
        let level = |power: f64| Decibels::from_power_ratio(power);
        let mut told = TwoChannels {
            level_left: level(self.mean.powers[0]),
            level_right: level(self.mean.powers[1]),
            balance: Decibels(decibels(self.mean.powers)),
            balance_uncertainty: self.balance_uncertainty.map(Decibels),
            right_lags_us: self.lag_us,
            right_lags_uncertainty_us: self.lag_uncertainty_us,
            jitter_us: Some(self.jitter_us),
            ambiguous_by_us: Some(self.period_us()),
            inverted: false,
        };
        let apart = |other: &&Self| (other.mean.hz / self.mean.hz).ln().abs() >= OTHER_TONE;
        let others: Vec<&Self> = others.iter().filter(apart).collect();
        if others.is_empty() {
            return told;
        }
        let wired = [false, true].into_iter();
        let possible = wired.flat_map(|way| self.possible_us(way).map(move |lag| (lag, way)));
        let meets = |&(lag, way): &(f64, bool)| {
            let mut others = others.iter();
            others.all(|it| it.allows(lag, self.sd_us(), way))
        };
        let mut left: Vec<(f64, bool)> = possible.filter(meets).collect();
        left.sort_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
        // The nearest is likeliest by far; what is left beside it stays in doubt.
        if let Some(&(nearest, inverted)) = left.first() {
            told.right_lags_us = nearest;
            told.inverted = inverted;
            told.ambiguous_by_us = left.get(1).map(|next| (next.0 - nearest).abs());
        }
        told
    }
}

/// One tone of a stretch.
#[derive(Clone, Debug)]
struct Carrier {
    sum: Sum,
    lag: BlockSeries,
    balance: BlockSeries,
}

impl Carrier {
    fn new() -> Self {
        Self {
            sum: Sum::default(),
            lag: BlockSeries::new(PAIR_S, 1.0 / PAIR_S),
            balance: BlockSeries::new(PAIR_S, 1.0 / PAIR_S),
        }
    }

    fn push(&mut self, pair: &Pair) {
        self.lag.push(self.sum.push(pair));
        self.balance.push(decibels(pair.powers));
    }

    fn told(&self) -> Option<Told> {
        self.sum.told(self.lag.blocks(), self.balance.blocks())
    }
}

/// Of a whole stretch, tone by tone.
#[derive(Clone, Debug, Default)]
pub struct ChannelTotals {
    tones: Vec<Carrier>,
}

impl ChannelTotals {
    /// A tenth of a second in which both channels could be believed.
    pub fn push(&mut self, pair: &Pair) {
        if !is_one_tone(pair) {
            return;
        }
        let is_this = |tone: &Carrier| (pair.hz / tone.sum.hz() - 1.0).abs() <= SAME_TONE;
        let place = self.tones.iter().position(is_this);
        let place = place.unwrap_or_else(|| {
            if self.tones.len() == MOST_TONES {
                let shortest = (0..MOST_TONES).min_by_key(|&at| self.tones[at].sum.count);
                self.tones.swap_remove(shortest.unwrap_or(0));
            }
            self.tones.push(Carrier::new());
            self.tones.len() - 1
        });
        self.tones[place].push(pair);
    }

    /// Of the tone that was heard longest; the others tell the period.
    pub fn told(&self) -> Option<TwoChannels> {
        let longest = (0..self.tones.len()).max_by_key(|&at| self.tones[at].sum.count)?;
        let others = (0..self.tones.len()).filter(|&at| at != longest);
        let others: Vec<Told> = others.filter_map(|at| self.tones[at].told()).collect();
        Some(self.tones[longest].told()?.beside(&others))
    }
}

/// Live figures are of this much, and of this much for the hand at the head.
const WINDOW: usize = 100;
const NEWEST: usize = 10;

/// The head was turned: the last second is further from what was before than
/// this, in standard deviations of either, none of which is taken for less than
/// the second number, microseconds. Tuned on weave of 0.2 to 4 microseconds.
const TURNED: f64 = 4.0;
const TURNED_LEAST_US: f64 = 0.1;

/// Without a pair for this long one channel has gone: several times what a
/// dropout lasts (common practice, no source).
const FRESH_S: f64 = 0.5;

/// A tone before this one is of the same head when it ended this many seconds
/// ago or less: time enough for a test tape, not for another machine. A choice.
const SAME_HEAD_S: f64 = 30.0;

/// Of the newest seconds, and since the head was last seen to turn.
#[derive(Debug, Default)]
pub struct LiveChannels {
    window: VecDeque<Pair>,
    /// What other tones told, and when, in seconds of the input.
    others: Vec<(Told, f64)>,
    at_s: f64,
    since_look: usize,
    told: Option<TwoChannels>,
    now: Option<TwoChannels>,
}

impl LiveChannels {
    /// A tone was found: perhaps another, perhaps of another machine.
    pub fn found(&mut self) {
        self.close();
    }

    /// A tenth of a second in which both channels could be believed, which
    /// ended `at_s` seconds into the input.
    pub fn push(&mut self, pair: Pair, at_s: f64) {
        if !is_one_tone(&pair) {
            return;
        }
        let last = self.window.back();
        let is_another = last.is_some_and(|last| (pair.hz / last.hz - 1.0).abs() > SAME_TONE);
        if is_another || !self.is_fresh(at_s) {
            self.close();
        }
        self.at_s = at_s;
        self.window.push_back(pair);
        if self.window.len() > WINDOW {
            self.window.pop_front();
        }
        self.forget_before_a_turn();
        self.others.retain(|(_, ended)| at_s - ended <= SAME_HEAD_S);
        let others: Vec<Told> = self.others.iter().map(|(told, _)| *told).collect();
        let newest: Sum = self.window.iter().rev().take(NEWEST).collect();
        self.now = newest.told(&[], &[]).map(|told| told.beside(&others));
        self.since_look += 1;
        if self.since_look >= NEWEST || self.told.is_none() {
            // A ± costs some work.
            self.since_look = 0;
            self.told = self.of_window().map(|told| told.beside(&others));
        }
    }

    /// Of the newest ten seconds, or since the head was last seen to turn; `None`
    /// where one channel has gone. `now_s` in seconds of the input.
    pub fn told(&self, now_s: f64) -> Option<TwoChannels> {
        self.told.filter(|_| self.is_fresh(now_s))
    }

    /// Of the last second.
    pub fn now(&self, now_s: f64) -> Option<TwoChannels> {
        self.now.filter(|_| self.is_fresh(now_s))
    }

    fn is_fresh(&self, now_s: f64) -> bool {
        now_s - self.at_s <= FRESH_S
    }

    fn of_window(&self) -> Option<Told> {
        let mut sum = Sum::default();
        let lags: Vec<f64> = self.window.iter().map(|pair| sum.push(pair)).collect();
        let balances = self.window.iter().map(|pair| decibels(pair.powers));
        sum.told(&lags, &balances.collect::<Vec<f64>>())
    }

    /// What this tone told is kept for the next.
    fn close(&mut self) {
        if let Some(told) = self.of_window() {
            self.others.truncate(MOST_TONES - 1);
            self.others.insert(0, (told, self.at_s));
        }
        self.window.clear();
        self.told = None;
        self.now = None;
    }

    /// What was before a turn of the head does not go with what comes.
    fn forget_before_a_turn(&mut self) {
        if self.window.len() < 3 * NEWEST {
            return;
        }
        let newest = self.window.len() - NEWEST;
        let before: Sum = self.window.range(..newest).collect();
        let now: Sum = self.window.range(newest..).collect();
        let sd_us = before.jitter_us().max(now.jitter_us());
        let period_us = 1e6 / now.hz();
        let off_us = now.lag_us() - before.lag_us();
        let off_us = off_us - period_us * (off_us / period_us).round();
        if off_us.abs() > TURNED * sd_us.max(TURNED_LEAST_US) {
            self.window.drain(..newest);
            self.others.clear();
            self.told = None;
        }
    }
}
