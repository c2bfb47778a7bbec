//! One channel of the contact check: what its finders find, put together and
//! counted once.

use std::collections::VecDeque;

use super::breaks::BreakFinder;
use super::crackles::CrackleFinder;
use super::edges::Loss;
use super::presence::Presence;
use super::report::{ContactBreak, ContactTrack};
use super::silences::SilenceFinder;
use crate::signal::decimator::Decimator;
use crate::signal::fir::kaiser_lowpass;
use crate::units::{Decibels, Seconds};

/// Rates at which crackles and breaks are looked for, about.
const CRACKLE_RATE_HZ: f64 = 48_000.0;
const BREAK_RATE_HZ: f64 = 12_000.0;

/// Faults that are listed one by one; all are counted.
const MOST_LISTED: usize = 1000;

/// Impulses this close together are one crackle.
const ONE_CRACKLE_S: f64 = 0.012;
/// The edges of a break are no crackles, within this much.
const EDGE_S: f64 = 0.004;
/// Breaks nearer to each other than this are one.
const SAME_BREAK_S: f64 = 0.001;
/// Breaks that are held against those that are found later.
const NEWEST_BREAKS: usize = 8;
/// A crackle waits this long for the break that it may be the edge of.
const WAIT_S: f64 = 0.5;

/// Levels kept, one every tenth of a second, for faults that are found late.
const LEVELS_KEPT: usize = 12;

/// A break that may be found once more, in seconds.
struct Newest {
    start: f64,
    end: f64,
    /// As a silence, which tells its ends more exactly.
    is_silence: bool,
    /// Its place in the list.
    place: usize,
}

/// From `rate_hz` to a rate near `wanted_hz`, not below it by more than a
/// quarter.
fn decimator(rate_hz: f64, wanted_hz: f64) -> Decimator<1> {
    let factor = ((rate_hz / wanted_hz).round() as usize).max(1);
    let kept_hz = rate_hz / factor as f64;
    let taps = if factor == 1 {
        vec![1.0]
    } else {
        kaiser_lowpass(0.34 * kept_hz, 0.55 * kept_hz, rate_hz, 60.0)
    };
    Decimator::new(factor, [taps])
}

/// What searches the sound, anew after a gap.
struct Finders {
    to_crackle_rate: Decimator<1>,
    to_break_rate: Decimator<1>,
    crackles: CrackleFinder,
    breaks: BreakFinder,
    silences: SilenceFinder,
}

impl Finders {
    fn new(rate_hz: f64) -> Self {
        Self {
            to_crackle_rate: decimator(rate_hz, CRACKLE_RATE_HZ),
            to_break_rate: decimator(rate_hz, BREAK_RATE_HZ),
            crackles: CrackleFinder::new(),
            breaks: BreakFinder::new(),
            silences: SilenceFinder::new(rate_hz),
        }
    }
}

/// One channel with what was found on it.
pub(super) struct Track {
    pub(super) name: ContactTrack,
    rate_hz: f64,
    finders: Finders,
    /// The silence under way: where it began and the level before it.
    silent_since: Option<(u64, Decibels)>,
    /// Seconds pushed in all, and before the finders began anew.
    pushed_s: f64,
    began_s: f64,
    /// Impulses that may be edges of breaks.
    waiting: VecDeque<f64>,
    last_crackle_s: Option<f64>,
    levels: VecDeque<(f64, Decibels)>,
    pub(super) crackles: u64,
    pub(super) crackle_places: Vec<(Seconds, Decibels)>,
    pub(super) break_count: u64,
    breaks: Vec<ContactBreak>,
    /// Those that may be found once more.
    newest_breaks: VecDeque<Newest>,
    /// Whether sound is there, every few milliseconds.
    presence: Presence,
}

impl Track {
    pub(super) fn new(name: ContactTrack, rate_hz: f64) -> Self {
        Self {
            name,
            rate_hz,
            finders: Finders::new(rate_hz),
            silent_since: None,
            pushed_s: 0.0,
            began_s: 0.0,
            waiting: VecDeque::new(),
            last_crackle_s: None,
            levels: VecDeque::new(),
            crackles: 0,
            crackle_places: Vec::new(),
            break_count: 0,
            breaks: Vec::new(),
            newest_breaks: VecDeque::new(),
            presence: Presence::new(rate_hz),
        }
    }

    pub(super) fn remember_level(&mut self, now_s: f64, level: Option<Decibels>) {
        if let Some(level) = level {
            self.levels.push_back((now_s, level));
        }
        if self.levels.len() > LEVELS_KEPT {
            self.levels.pop_front();
        }
    }

    /// The level let through just before a moment.
    fn level_at(&self, at_s: f64) -> Decibels {
        let before = self.levels.iter().rev().find(|(when, _)| *when <= at_s);
        let known = before.or(self.levels.front());
        known.map_or(Decibels(-100.0), |(_, level)| *level)
    }

    pub(super) fn push(&mut self, samples: &[f32]) {
        self.pushed_s += samples.len() as f64 / self.rate_hz;
        self.presence.push(samples);
        let finders = &mut self.finders;
        let (mut impulses, mut breaks, mut silences) = (Vec::new(), Vec::new(), Vec::new());
        let wanted = finders.crackles.samples();
        let to_crackle_rate = &mut finders.to_crackle_rate;
        to_crackle_rate.push(samples, |[value]| wanted.push(f64::from(value)));
        finders.crackles.search(&mut impulses);
        let wanted = finders.breaks.samples();
        let to_break_rate = &mut finders.to_break_rate;
        to_break_rate.push(samples, |[value]| wanted.push(f64::from(value)));
        finders.breaks.search(&mut breaks);
        finders.silences.push(samples, &mut silences);
        let seconds = self.seconds_of(&self.finders.to_crackle_rate);
        self.waiting.extend(impulses.into_iter().map(seconds));
        let seconds = self.seconds_of(&self.finders.to_break_rate);
        for it in breaks {
            let ends = [it.start, it.end].map(&seconds);
            self.take_break(ends, it.factor, self.level_at(ends[0]), false);
        }
        self.take_silences(silences);
        self.settle_crackles(self.pushed_s - WAIT_S);
    }

    /// Seconds since the start at samples of a lower rate.
    fn seconds_of(&self, decimator: &Decimator<1>) -> impl Fn(u64) -> f64 + use<> {
        let rate_hz = self.rate_hz / decimator.factor() as f64;
        let (began_s, delay_s) = (self.began_s, decimator.delay() / self.rate_hz);
        move |at| began_s + at as f64 / rate_hz - delay_s
    }

    fn take_silences(&mut self, silences: Vec<Loss>) {
        let (began_s, rate_hz) = (self.began_s, self.rate_hz);
        let seconds = |at: u64| began_s + at as f64 / rate_hz;
        for it in silences {
            let ends = [it.start, it.end].map(seconds);
            // Levels are not remembered for as long as a silence may last.
            let known = self.silent_since.filter(|(at, _)| *at == it.start);
            let level = known.map_or_else(|| self.level_at(ends[0]), |(_, level)| level);
            self.take_break(ends, it.factor, level, true);
        }
        let began = self.finders.silences.began();
        if began != self.silent_since.map(|(at, _)| at) {
            self.silent_since = began.map(|at| (at, self.level_at(seconds(at))));
        }
    }

    /// Long silences are found later than short breaks that come after them
    /// began.
    pub(super) fn breaks_in_order(&self) -> Vec<ContactBreak> {
        let mut breaks = self.breaks.clone();
        breaks.sort_by(|a, b| a.start.0.total_cmp(&b.start.0));
        breaks
    }

    fn take_break(
        &mut self,
        [start, end]: [f64; 2],
        factor: f64,
        level: Decibels,
        is_silence: bool,
    ) {
        let it = ContactBreak {
            start: Seconds(start.max(0.0)),
            length: Seconds(end - start),
            depth: Decibels(-20.0 * factor.log10()),
            level,
        };
        self.waiting
            .retain(|at| (at - start).abs() > EDGE_S && (at - end).abs() > EDGE_S);
        // All ways of looking may find the same one, the less exact first.
        let same = |known: &&mut Newest| {
            known.start <= end + SAME_BREAK_S && start <= known.end + SAME_BREAK_S
        };
        if let Some(newest) = self.newest_breaks.iter_mut().rev().find(same) {
            if is_silence && !newest.is_silence {
                (newest.start, newest.end, newest.is_silence) = (start, end, true);
                if let Some(known) = self.breaks.get_mut(newest.place) {
                    *known = it;
                }
            }
            return;
        }
        // Those beyond the list have no place in it, but are known.
        self.newest_breaks.push_back(Newest {
            start,
            end,
            is_silence,
            place: self.break_count as usize,
        });
        if self.newest_breaks.len() > NEWEST_BREAKS {
            self.newest_breaks.pop_front();
        }
        self.break_count += 1;
        if self.breaks.len() < MOST_LISTED {
            self.breaks.push(it);
        }
    }

    /// Whether a break that was found sooner than the impulse began or ended
    /// here.
    fn is_an_edge(&self, at_s: f64) -> bool {
        let near = |edge: f64| (at_s - edge).abs() <= EDGE_S;
        let mut breaks = self.newest_breaks.iter();
        breaks.any(|it| near(it.start) || near(it.end))
    }

    /// Counts the crackles before a moment.
    fn settle_crackles(&mut self, until_s: f64) {
        while self.waiting.front().is_some_and(|at| *at < until_s) {
            let Some(at) = self.waiting.pop_front() else {
                return;
            };
            let last = self.last_crackle_s;
            let same = last.is_some_and(|last| at - last < ONE_CRACKLE_S);
            if same || self.is_an_edge(at) || self.presence.begins_or_ends_at(at) {
                continue;
            }
            self.last_crackle_s = Some(at);
            self.crackles += 1;
            if self.crackle_places.len() < MOST_LISTED {
                let level = self.level_at(at);
                self.crackle_places.push((Seconds(at.max(0.0)), level));
            }
        }
    }

    pub(super) fn finish(&mut self) {
        self.settle_crackles(f64::INFINITY);
    }

    pub(super) fn start_anew(&mut self) {
        self.settle_crackles(f64::INFINITY);
        self.finders = Finders::new(self.rate_hz);
        self.silent_since = None;
        self.began_s = self.pushed_s;
    }
}
