//! The contact check: a volume control or a switch is worked while a tone or
//! music plays, and what its contacts do to the sound is found out.
//!
//! It needs no tone: what contact does acts on whatever plays. A break takes
//! the level down and up again faster than a hand or music can; a crackle is
//! an impulse that nothing before and after explains. [`ContactCheck`] is the
//! only door: samples in, a [`ContactReport`] out; it counts samples and knows
//! no clock, and the same samples give the same report whatever the block
//! size.

mod breaks;
mod crackles;
mod decimator;
mod dips;
mod edges;
mod groups;
mod levels;
mod looks;
mod presence;
mod report;
mod rest;

use std::collections::VecDeque;

use breaks::{BreakFinder, Found};
use crackles::CrackleFinder;
use decimator::Decimator;
use dips::DipFinder;
use levels::Levels;
use presence::Presence;

pub use report::{
    ContactBreak, ContactChannel, ContactReport, ContactTrack, ContactVerdict, MARK_DB, MARKS,
};

use crate::units::{Decibels, Seconds};

/// Frames taken at once: 21 ms at 48 kHz.
const PIECE_FRAMES: usize = 1024;

/// Crackles are looked for at about this rate, breaks at that.
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
/// So many breaks are held against those that are found later.
const NEWEST_BREAKS: usize = 8;
/// A crackle waits this long for the break that it may be the edge of.
const WAIT_S: f64 = 0.5;

/// Levels are remembered so far back, in tenths of a second, for faults that
/// are found late.
const LEVELS_KEPT: usize = 12;

/// See the module.
pub struct ContactCheck {
    rate_hz: f64,
    channels: usize,
    tracks: Vec<Track>,
    levels: Levels,
    frames: u64,
    one: Vec<f32>,
    /// Interleaved samples that wait for a whole piece.
    pending: Vec<f32>,
}

impl ContactCheck {
    /// A check of interleaved sound. Of more than two channels the first two
    /// are checked.
    pub fn new(rate_hz: u32, channels: u16) -> Self {
        let rate_hz = f64::from(rate_hz.max(1));
        let channels = usize::from(channels.max(1));
        let checked = channels.min(2);
        let names = match checked {
            1 => &[ContactTrack::Mono][..],
            _ => &[ContactTrack::Left, ContactTrack::Right],
        };
        Self {
            rate_hz,
            channels,
            tracks: names
                .iter()
                .map(|name| Track::new(*name, rate_hz))
                .collect(),
            levels: Levels::new(rate_hz, checked),
            frames: 0,
            one: Vec::new(),
            pending: Vec::new(),
        }
    }

    /// Whether it checks sound of this rate and so many channels.
    pub fn is_of(&self, rate_hz: u32, channels: u16) -> bool {
        (self.rate_hz - f64::from(rate_hz.max(1))).abs() < 0.5
            && self.channels == usize::from(channels.max(1))
    }

    /// Takes interleaved samples; what does not fill a frame is left out.
    pub fn push(&mut self, interleaved: &[f32]) {
        let piece = PIECE_FRAMES * self.channels;
        let whole = interleaved.len() / self.channels * self.channels;
        let mut rest = &interleaved[..whole];
        // Always in pieces of one size, so that nothing depends on the
        // caller's.
        while !rest.is_empty() {
            let room = piece - self.pending.len();
            let (now, later) = rest.split_at(room.min(rest.len()));
            self.pending.extend_from_slice(now);
            rest = later;
            if self.pending.len() == piece {
                let pending = std::mem::take(&mut self.pending);
                self.push_piece(&pending);
                self.pending = pending;
                self.pending.clear();
            }
        }
    }

    fn push_piece(&mut self, interleaved: &[f32]) {
        let frames = interleaved.chunks_exact(self.channels);
        for frame in frames.clone() {
            self.frames += 1;
            if self.levels.push(frame) {
                let now = self.frames as f64 / self.rate_hz;
                for (nth, track) in self.tracks.iter_mut().enumerate() {
                    track.remember_level(now, self.levels.now(nth));
                }
            }
        }
        for (nth, track) in self.tracks.iter_mut().enumerate() {
            self.one.clear();
            self.one.extend(frames.clone().map(|frame| frame[nth]));
            track.push(&self.one);
        }
    }

    fn push_pending(&mut self) {
        let pending = std::mem::take(&mut self.pending);
        self.push_piece(&pending);
    }

    /// Frames are missing here: what lies on either side does not belong
    /// together.
    pub fn gap(&mut self) {
        self.push_pending();
        for track in &mut self.tracks {
            track.start_anew();
        }
    }

    /// How it stands. What came in the last half second is not judged yet.
    pub fn progress(&self) -> ContactReport {
        self.state(&self.tracks)
    }

    /// What all of it comes to. Whether contact broke in its last 50 ms cannot be
    /// told: nothing behind it shows what was missing.
    pub fn report(&mut self) -> ContactReport {
        self.push_pending();
        for track in &mut self.tracks {
            track.finish();
        }
        self.state(&self.tracks)
    }

    fn state(&self, tracks: &[Track]) -> ContactReport {
        ContactReport {
            duration: Seconds(self.frames as f64 / self.rate_hz),
            channels: tracks
                .iter()
                .enumerate()
                .map(|(nth, track)| ContactChannel {
                    track: track.name,
                    now: self.levels.now(nth),
                    level: self.levels.range(nth),
                    gone: self.levels.gone(nth),
                    crackles: track.crackles,
                    break_count: track.break_count,
                    breaks: track.breaks.clone(),
                    crackle_places: track.crackle_places.clone(),
                })
                .collect(),
            tracking: self.levels.tracking(),
            passes: self.levels.passes(),
        }
    }
}

/// One channel with what was found on it.
struct Track {
    name: ContactTrack,
    to_crackle_rate: Decimator,
    to_break_rate: Decimator,
    crackle_rate_hz: f64,
    break_rate_hz: f64,
    crackle_finder: CrackleFinder,
    break_finder: BreakFinder,
    dip_finder: DipFinder,
    /// Seconds pushed in all, and before the finders began anew.
    pushed_s: f64,
    began_s: f64,
    found: Vec<Found>,
    found_dips: Vec<Found>,
    whole: Vec<f64>,
    impulses: Vec<u64>,
    /// Impulses that may be edges of breaks.
    waiting: VecDeque<f64>,
    last_crackle_s: Option<f64>,
    levels: VecDeque<(f64, Decibels)>,
    crackles: u64,
    crackle_places: Vec<(Seconds, Decibels)>,
    break_count: u64,
    breaks: Vec<ContactBreak>,
    /// Start, end and number of those that may be found once more.
    newest_breaks: VecDeque<(f64, f64, usize)>,
    /// Whether sound is there, every few milliseconds.
    presence: Presence,
    rate_hz: f64,
}

impl Track {
    fn new(name: ContactTrack, rate_hz: f64) -> Self {
        let to_crackle_rate = Decimator::new(rate_hz, CRACKLE_RATE_HZ);
        let to_break_rate = Decimator::new(rate_hz, BREAK_RATE_HZ);
        Self {
            name,
            crackle_rate_hz: rate_hz / to_crackle_rate.factor() as f64,
            break_rate_hz: rate_hz / to_break_rate.factor() as f64,
            to_crackle_rate,
            to_break_rate,
            crackle_finder: CrackleFinder::new(),
            break_finder: BreakFinder::new(),
            dip_finder: DipFinder::new(),
            pushed_s: 0.0,
            began_s: 0.0,
            found: Vec::new(),
            found_dips: Vec::new(),
            whole: Vec::new(),
            impulses: Vec::new(),
            waiting: VecDeque::new(),
            last_crackle_s: None,
            levels: VecDeque::new(),
            crackles: 0,
            crackle_places: Vec::new(),
            break_count: 0,
            breaks: Vec::new(),
            newest_breaks: VecDeque::new(),
            presence: Presence::new(rate_hz),
            rate_hz,
        }
    }

    fn remember_level(&mut self, now_s: f64, level: Option<Decibels>) {
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

    fn push(&mut self, samples: &[f32]) {
        self.pushed_s += samples.len() as f64 / self.rate_hz;
        self.presence.push(samples);
        self.whole.clear();
        self.to_crackle_rate.push(samples, &mut self.whole);
        self.crackle_finder.samples().extend_from_slice(&self.whole);
        self.crackle_finder.look(&mut self.impulses);
        self.dip_finder.samples().extend_from_slice(&self.whole);
        self.dip_finder.look(&mut self.found_dips);
        self.to_break_rate
            .push(samples, self.break_finder.samples());
        self.break_finder.look(&mut self.found);
        self.take_impulses();
        self.take_breaks();
        self.settle_crackles(self.pushed_s - WAIT_S);
    }

    fn take_impulses(&mut self) {
        let delay_s = self.to_crackle_rate.delay() / self.rate_hz;
        for at in self.impulses.drain(..) {
            let at_s = self.began_s + at as f64 / self.crackle_rate_hz - delay_s;
            self.waiting.push_back(at_s);
        }
    }

    fn take_breaks(&mut self) {
        let begun = |delay: f64| self.began_s - delay / self.rate_hz;
        let steady = (begun(self.to_break_rate.delay()), self.break_rate_hz);
        let dips = (begun(self.to_crackle_rate.delay()), self.crackle_rate_hz);
        let mut found = Vec::new();
        let finds = [
            (&mut self.found, steady, true),
            (&mut self.found_dips, dips, false),
        ];
        for (finds, (begun_s, rate_hz), exact) in finds {
            found.extend(finds.drain(..).map(|it| {
                let seconds = |at: u64| begun_s + at as f64 / rate_hz;
                (seconds(it.start), seconds(it.end), it.factor, exact)
            }));
        }
        for (start, end, factor, exact) in found {
            self.take_break(start, end, factor, exact);
        }
    }

    fn take_break(&mut self, start: f64, end: f64, factor: f64, exact: bool) {
        self.waiting
            .retain(|at| (at - start).abs() > EDGE_S && (at - end).abs() > EDGE_S);
        let it = ContactBreak {
            start: Seconds(start.max(0.0)),
            length: Seconds(end - start),
            depth: Decibels(-20.0 * factor.log10()),
            level: self.level_at(start),
        };
        // Both ways of looking may find the same one, the less exact first.
        let same = |known: &&(f64, f64, usize)| {
            known.0 <= end + SAME_BREAK_S && start <= known.1 + SAME_BREAK_S
        };
        if let Some((_, _, place)) = self.newest_breaks.iter().rev().find(same) {
            if let Some(known) = self.breaks.get_mut(*place).filter(|_| exact) {
                *known = it;
            }
            return;
        }
        // Those beyond the list have no place in it, but are known.
        self.newest_breaks
            .push_back((start, end, self.break_count as usize));
        if self.newest_breaks.len() > NEWEST_BREAKS {
            self.newest_breaks.pop_front();
        }
        self.break_count += 1;
        if self.breaks.len() < MOST_LISTED {
            self.breaks.push(it);
        }
    }

    /// Counts the crackles before a moment.
    fn settle_crackles(&mut self, until_s: f64) {
        while self.waiting.front().is_some_and(|at| *at < until_s) {
            let Some(at) = self.waiting.pop_front() else {
                return;
            };
            let same = self
                .last_crackle_s
                .is_some_and(|last| at - last < ONE_CRACKLE_S);
            if same || self.presence.begins_or_ends_at(at) {
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

    fn finish(&mut self) {
        self.settle_crackles(f64::INFINITY);
    }

    fn start_anew(&mut self) {
        self.settle_crackles(f64::INFINITY);
        self.to_crackle_rate = Decimator::new(self.rate_hz, CRACKLE_RATE_HZ);
        self.to_break_rate = Decimator::new(self.rate_hz, BREAK_RATE_HZ);
        self.crackle_finder = CrackleFinder::new();
        self.break_finder = BreakFinder::new();
        self.dip_finder = DipFinder::new();
        self.began_s = self.pushed_s;
    }
}
