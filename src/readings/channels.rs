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
    jitter_us: Option<f64>,
}

/// One tone in both channels.
#[derive(Clone, Debug)]
struct Carrier {
    sum: Pair,
    count: u64,
    /// Microseconds, and its square.
    lag: BlockSeries,
    lag_squares: f64,
    balance: BlockSeries,
}

impl Carrier {
    fn new() -> Self {
        Self {
            sum: Pair::default(),
            count: 0,
            lag: BlockSeries::new(PAIR_S, 1.0 / PAIR_S),
            lag_squares: 0.0,
            balance: BlockSeries::new(PAIR_S, 1.0 / PAIR_S),
        }
    }

    fn hz(&self) -> f64 {
        self.sum.hz / self.count as f64
    }

    fn push(&mut self, pair: &Pair) {
        let before = self.sum;
        self.sum.add(pair);
        self.count += 1;
        // Counted from the mean so far, so that no turn is lost on the way.
        let around = if before.hz > 0.0 { before } else { *pair };
        let turned = (pair.cross * around.cross.conj()).arg() / std::f64::consts::TAU;
        let lag_us = microseconds(around.right_lags_turns() + turned, pair.hz);
        self.lag.push(lag_us);
        self.lag_squares += lag_us * lag_us;
        self.balance.push(decibels(pair.powers));
    }

    /// `None` while too short, and where one channel carries no tone, or
    /// another one.
    fn told(&self) -> Option<Told> {
        if self.count < LEAST_PAIRS {
            return None;
        }
        let mean = self.sum.over(self.count as f64);
        let one_tone = mean.coherence() >= LEAST_COHERENCE;
        if !one_tone || decibels(mean.powers).abs() > CROSSTALK_DB {
            return None;
        }
        let lags = self.lag.blocks();
        let middle = lags.iter().sum::<f64>() / lags.len() as f64;
        let square = self.lag_squares / self.count as f64;
        let uncertainty = |blocks: &[f64]| {
            let fluctuation = Fluctuation::about_a_level(blocks)?;
            Some(fluctuation.of_figure(Weighing::Even).half_width)
        };
        Some(Told {
            mean,
            balance_uncertainty: uncertainty(self.balance.blocks()),
            lag_us: microseconds(mean.right_lags_turns(), mean.hz),
            lag_uncertainty_us: uncertainty(lags),
            jitter_us: Some((square - middle * middle).max(0.0).sqrt()),
        })
    }
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
        let known = self.lag_uncertainty_us.or(self.jitter_us).unwrap_or(0.0);
        (known / 2.0).max(LEAST_SD_US)
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
            jitter_us: self.jitter_us,
            ambiguous_by_us: Some(self.period_us()),
            inverted: false,
        };
        let apart = |other: &&Self| (other.mean.hz / self.mean.hz).ln().abs() >= OTHER_TONE;
        let others: Vec<&Self> = others.iter().filter(apart).collect();
        if others.is_empty() {
            return told;
        }
        for inverted in [false, true] {
            let mut left: Vec<f64> = self
                .possible_us(inverted)
                .filter(|&lag| {
                    others
                        .iter()
                        .all(|it| it.allows(lag, self.sd_us(), inverted))
                })
                .collect();
            left.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
            if let Some(&nearest) = left.first() {
                told.right_lags_us = nearest;
                told.ambiguous_by_us = left.get(1).map(|next| (next - nearest).abs());
                told.inverted = inverted;
                break;
            }
        }
        told
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
        let is_this = |tone: &Carrier| (pair.hz / tone.hz() - 1.0).abs() <= SAME_TONE;
        let place = self.tones.iter().position(is_this);
        let place = place.unwrap_or_else(|| {
            if self.tones.len() == MOST_TONES {
                let shortest = (0..MOST_TONES).min_by_key(|&at| self.tones[at].count);
                self.tones.swap_remove(shortest.unwrap_or(0));
            }
            self.tones.push(Carrier::new());
            self.tones.len() - 1
        });
        self.tones[place].push(pair);
    }

    /// Of the tone that was heard longest; the others tell the period.
    pub fn told(&self) -> Option<TwoChannels> {
        let longest = (0..self.tones.len()).max_by_key(|&at| self.tones[at].count)?;
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

/// A tone before this one is of the same head when it ended this many seconds
/// ago or less: time enough for a test tape, not for another machine. A choice.
const SAME_HEAD_S: f64 = 30.0;

/// Of the newest seconds, and since the head was last turned.
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
        let last = self.window.back();
        if last.is_some_and(|last| (pair.hz / last.hz - 1.0).abs() > SAME_TONE) {
            self.close();
        }
        self.at_s = at_s;
        self.window.push_back(pair);
        if self.window.len() > WINDOW {
            self.window.pop_front();
        }
        self.forget_before_a_turn();
        let newest = carrier_of(
            self.window
                .range(self.window.len().saturating_sub(NEWEST)..),
        );
        self.others.retain(|(_, ended)| at_s - ended <= SAME_HEAD_S);
        let others: Vec<Told> = self.others.iter().map(|(told, _)| *told).collect();
        self.now = newest.told().map(|told| told.beside(&others));
        self.since_look += 1;
        if self.since_look >= NEWEST || self.told.is_none() {
            // A ± costs some work.
            self.since_look = 0;
            let told = carrier_of(self.window.iter()).told();
            self.told = told.map(|told| told.beside(&others));
        }
    }

    /// Of the newest ten seconds, or since the head was last turned.
    pub fn told(&self) -> Option<TwoChannels> {
        self.told
    }

    /// Of the last second.
    pub fn now(&self) -> Option<TwoChannels> {
        self.now
    }

    /// What this tone told is kept for the next.
    fn close(&mut self) {
        if let Some(told) = carrier_of(self.window.iter()).told() {
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
        let [before, now] = [self.window.range(..newest), self.window.range(newest..)];
        let (Some(before), Some(now)) = (carrier_of(before).scatter(), carrier_of(now).scatter())
        else {
            return;
        };
        let sd_us = before.1.max(now.1).max(TURNED_LEAST_US);
        let period_us = 1e6 / self.window[newest].hz;
        let off_us = now.0 - before.0;
        let off_us = off_us - period_us * (off_us / period_us).round();
        if off_us.abs() > TURNED * sd_us {
            self.window.drain(..newest);
            self.others.clear();
            self.told = None;
        }
    }
}

impl Carrier {
    /// Mean and standard deviation of the lag in microseconds.
    fn scatter(&self) -> Option<(f64, f64)> {
        let mean = self.sum.over(self.count as f64);
        let lags = self.lag.blocks();
        let middle = lags.iter().sum::<f64>() / lags.len() as f64;
        let square = self.lag_squares / self.count as f64;
        let sd = (square - middle * middle).max(0.0).sqrt();
        (self.count >= 2).then(|| (microseconds(mean.right_lags_turns(), mean.hz), sd))
    }
}

fn carrier_of<'a>(pairs: impl Iterator<Item = &'a Pair>) -> Carrier {
    let mut carrier = Carrier::new();
    pairs.for_each(|pair| carrier.push(pair));
    carrier
}
