//! Finds a note, follows it, says when it is gone.

use std::sync::Arc;

use super::channels::Taken;
use super::comb;
use super::explain::Explained;
use super::follow::{Follow, Past};
use super::frames::Frame;
use super::hearing::Hearing;
use super::presence::{Presence, Seen};
use super::views::{View, Viewer, has_two, misfit};
use crate::signal::check::{Beside, SpectrumCheck};
use crate::signal::demodulator::{MOST_TICKS, Plan};
use crate::signal::fir::History;
use crate::signal::following::{ChannelQuality, MOST_CHANNELS};
use crate::signal::piece::Witness;
use crate::signal::speed_tracker::SpeedTracker;
use crate::signal::tracker::{Loss, Track};

/// From look to look while searching, and while following.
const HOP_S: f64 = 0.05;
const CHECK_S: f64 = 0.1;

/// Looks that must agree, to within this much: vibrato moves the mean of a
/// block.
const CONFIRMATIONS: u32 = 4;
const AGREE: f64 = 0.04;

/// Looks that show a note that is not the wanted one for good.
const LASTING: u32 = 8;

/// Time without anything to be believed, in seconds and in windows, that is a
/// loss.
const LOST_S: f64 = 0.15;
const LOST_WINDOWS: f64 = 1.5;

/// Partials of one note lie this near to a series, relative.
const MOST_MISFIT: f64 = 1e-3;

/// Hum reaches up to here: the fifth harmonic of 60 Hz, and a bit.
const HUM_UP_TO_HZ: f64 = 330.0;

/// What an organ's other stops leave in the rest when they are taken out of it:
/// their lines are not quite of one block's length.
const STOPS_LEAVE: f64 = 0.01;

/// How often the series is fitted anew, in checks.
const SETTLE_EVERY: u32 = 3;

/// What is known about the note besides its speed.
#[derive(Clone, Debug, PartialEq)]
pub struct NoteState {
    /// B of the stiff string; 0 where none shows.
    pub stiffness: f64,
    /// Root mean square of what the partials stray from the series, relative.
    pub stray: f64,
    /// The partials that the speed is read from.
    pub partials: Arc<[u32]>,
    /// Standard deviation of its voices about the pitch, relative; 0 for one.
    pub width: f64,
    /// The channel that was taken where two read this note differently.
    pub taken: Option<Taken>,
    /// An organ's stops sound below it.
    pub has_stops: bool,
    /// Length of the windows, in seconds.
    pub window_s: f64,
}

/// A note that is heard while searching.
#[derive(Clone, Copy, Debug)]
struct Candidate {
    hz: f64,
    lead: usize,
    confirmations: u32,
}

/// See the module.
pub struct NoteTracker {
    plan: Plan,
    channels: usize,
    wanted_hz: [f64; 2],
    viewer: Viewer,
    check: SpectrumCheck,
    recent: Vec<History>,
    /// Samples that were heard before their time.
    ahead: usize,
    ticks: u64,
    unbroken_ticks: u64,
    hop_ticks: u64,
    check_ticks: u64,
    candidate: Option<Candidate>,
    following: Option<Box<Follow>>,
    presence: Option<Presence>,
    checks: u32,
    /// The newest value, and the first tick that has none yet.
    last: Option<(Frame, u64)>,
    first_tick: u64,
    state: Option<NoteState>,
}

impl NoteTracker {
    /// For one or two channels, and a note of this frequency.
    pub fn new(rate_hz: u32, channels: usize, note_hz: f64) -> Self {
        let plan = Plan::new(rate_hz);
        let viewer = Viewer::new(plan.rate_hz, note_hz);
        let in_ticks = |seconds: f64| ((seconds * plan.output_rate_hz()) as u64).max(1);
        let confirmed = (f64::from(CONFIRMATIONS) * HOP_S * plan.rate_hz) as usize;
        let check = SpectrumCheck::new(plan.rate_hz);
        let span = viewer.block().max(check.block())
            + confirmed
            + Follow::reach(plan.rate_hz, 0.8 * note_hz)
            + 2 * (MOST_TICKS + 1) * plan.tick();
        Self {
            hop_ticks: in_ticks(HOP_S),
            check_ticks: in_ticks(CHECK_S),
            recent: vec![History::new(span); channels],
            ahead: 0,
            plan,
            channels,
            wanted_hz: [0.88 * note_hz, 1.12 * note_hz],
            viewer,
            check,
            ticks: 0,
            unbroken_ticks: 0,
            candidate: None,
            following: None,
            presence: None,
            checks: 0,
            last: None,
            first_tick: 0,
            state: None,
        }
    }

    /// True when two channels carry two different things.
    pub fn has_conflict(&self) -> bool {
        self.presence.as_ref().is_some_and(Presence::has_conflict)
    }

    /// What is known about the note that is followed, or was last.
    pub fn state(&self) -> Option<&NoteState> {
        self.state.as_ref()
    }
}

impl SpeedTracker for NoteTracker {
    fn set_ranges(&mut self, ranges_hz: Vec<[f64; 2]>) {
        if let [range_hz] = ranges_hz[..] {
            self.wanted_hz = range_hz;
        }
        let followed = self.following.as_ref();
        if followed.is_some_and(|it| !self.is_wanted(it.mean_hz())) {
            self.let_go();
        }
    }

    fn unwanted_hz(&self) -> Option<f64> {
        self.candidate
            .filter(|it| self.following.is_none() && it.confirmations >= LASTING)
            .map(|it| it.hz)
            .filter(|&hz| !self.is_wanted(hz))
    }

    fn gap(&mut self) {
        self.let_go();
        self.unbroken_ticks = 0;
    }

    fn witness(&self) -> Option<&dyn Witness> {
        self.presence.as_ref().map(|it| it as &dyn Witness)
    }

    fn is_following(&self) -> bool {
        self.following.is_some()
    }

    fn quality(&self) -> [ChannelQuality; MOST_CHANNELS] {
        let none = [ChannelQuality::default(); MOST_CHANNELS];
        self.following
            .as_ref()
            .map_or(none, |follow| follow.quality())
    }

    fn band_hz(&self) -> Option<f64> {
        let follow = self.following.as_ref()?;
        Some(comb::band_hz(follow.window_s()))
    }

    fn tick(&mut self, input: &[&[f32]], out: &mut Vec<Track>) {
        debug_assert_eq!(input.len(), self.channels);
        if self.ahead == 0 {
            self.ahead = input[0].len();
            for (recent, samples) in self.recent.iter_mut().zip(input) {
                recent.extend(samples);
            }
        }
        self.ahead -= self.plan.tick();
        self.ticks += 1;
        self.unbroken_ticks += 1;
        if self.following.is_some() {
            self.follow(out);
        } else if self.unbroken_ticks.is_multiple_of(self.hop_ticks) {
            self.search(out);
        }
    }
}

impl NoteTracker {
    fn is_wanted(&self, hz: f64) -> bool {
        (self.wanted_hz[0]..=self.wanted_hz[1]).contains(&hz)
    }

    /// Drops the note and begins to search again.
    fn let_go(&mut self) {
        self.following = None;
        self.candidate = None;
        self.last = None;
    }

    /// Samples since the input began.
    fn now(&self) -> u64 {
        self.ticks * self.plan.tick() as u64
    }

    fn past(&self) -> Past<'_> {
        Past {
            recent: &self.recent,
            total: self.now() + self.ahead as u64,
        }
    }

    /// The newest block of each channel.
    fn views(&mut self, near_hz: Option<f64>) -> Vec<View> {
        let length = self.viewer.block();
        let recent = self.recent.iter();
        let blocks = recent.map(|recent| recent.newest(self.ahead, length));
        blocks
            .map(|block| self.viewer.view(block, self.wanted_hz, near_hz))
            .collect()
    }

    fn search(&mut self, out: &mut Vec<Track>) {
        let known = self.unbroken_ticks as usize * self.plan.tick();
        if known < self.viewer.block() {
            return;
        }
        let views = self.views(None);
        let heard = (0..).zip(&views).filter_map(|(channel, view)| {
            let note = view.clear_note()?;
            let (hz, power) = (note.fitted.series.hz, note.power());
            if self.is_wanted(hz) {
                return Some((channel, hz, power));
            }
            // What is told, not read, must look like one note: a chord has a
            // far fundamental in common, too.
            let (hz, lowest) = note.in_common();
            let like_one = lowest <= 2 && misfit(&note.fitted) < MOST_MISFIT;
            (like_one && !self.is_wanted(hz)).then_some((channel, hz, power))
        });
        // A wanted note in one channel goes before another in the other.
        let best = heard.max_by(|a, b| {
            let wanted = [a, b].map(|it| self.is_wanted(it.1));
            wanted[0].cmp(&wanted[1]).then(a.2.total_cmp(&b.2))
        });
        self.candidate = best.map(|(lead, hz, _)| {
            let before = self.candidate.filter(|c| (hz / c.hz - 1.0).abs() < AGREE);
            let confirmations = before.map_or(1, |before| before.confirmations + 1);
            Candidate {
                hz,
                lead,
                confirmations,
            }
        });
        if let Some(candidate) = self.candidate
            && candidate.confirmations >= CONFIRMATIONS
            && self.is_wanted(candidate.hz)
        {
            self.begin(candidate, views, out);
        }
    }

    fn begin(&mut self, candidate: Candidate, views: Vec<View>, out: &mut Vec<Track>) {
        let confirmed = u64::from(CONFIRMATIONS - 1) * self.hop_ticks;
        let seen = confirmed * self.plan.tick() as u64 + self.viewer.block() as u64;
        let known = self.unbroken_ticks * self.plan.tick() as u64;
        let from = self.now() - seen.min(known);
        let hearings: Vec<Hearing> = views.into_iter().map(|view| view.hearing).collect();
        let Some(follow) = Follow::new(self.plan.rate_hz, from, &hearings, candidate.lead) else {
            return;
        };
        self.following = Some(Box::new(follow));
        self.presence = Some(Presence::new(self.plan.output_rate_hz()));
        self.checks = 0;
        self.last = None;
        self.first_tick = from / self.plan.tick() as u64;
        self.candidate = None;
        out.push(Track::Found { hz: candidate.hz });
        self.follow(out);
    }

    fn follow(&mut self, out: &mut Vec<Track>) {
        let now = self.now();
        let Some(mut follow) = self.following.take() else {
            return;
        };
        follow.advance(&self.past(), now);
        while let Some(frame) = follow.take() {
            self.emit(frame, out);
        }
        let since = self.ticks - self.first_tick;
        if let Some(presence) = &mut self.presence {
            presence.now(since);
        }
        if self.ticks.is_multiple_of(self.check_ticks) || self.checks == 0 {
            self.check(&mut follow, out);
        }
        let lost_s = LOST_S.max(LOST_WINDOWS * follow.window_s());
        let loss = if follow.away_s(now) > lost_s {
            Some(Loss::Gone)
        } else if self.is_wanted(follow.mean_hz()) {
            None
        } else {
            Some(Loss::LeftRange)
        };
        self.following = Some(follow);
        if let Some(loss) = loss {
            self.let_go();
            out.push(Track::Lost(loss));
        }
    }

    /// Values for the ticks between the last frame and this one.
    fn emit(&mut self, frame: Frame, out: &mut Vec<Track>) {
        let tick = self.plan.tick() as f64;
        let Some((before, mut next)) = self.last else {
            self.last = Some((frame, (frame.at / tick).ceil() as u64));
            return;
        };
        while next as f64 * tick <= frame.at {
            let part = (next as f64 * tick - before.at) / (frame.at - before.at);
            let hz = before.hz + part * (frame.hz - before.hz);
            out.push(Track::Value(hz));
            if let Some(presence) = &mut self.presence {
                presence.value(hz, next.saturating_sub(self.first_tick), frame.power);
            }
            next += 1;
        }
        self.last = Some((frame, next));
    }

    fn check(&mut self, follow: &mut Follow, out: &mut Vec<Track>) {
        self.checks += 1;
        let views = self.views(Some(follow.mean_hz()));
        let conflict = has_two(&views, follow.mean_hz(), follow.apart());
        let beside = self.beside(follow.mean_hz(), follow.stops());
        let notes = || views.iter().filter_map(|view| view.hearing.note.as_ref());
        let rich = notes().any(Explained::is_rich);
        let elsewhere = !views.iter().any(|view| {
            let hz = view.any.as_ref().map(|any| any.fitted.series.hz);
            hz.is_some_and(|hz| (hz / follow.mean_hz() - 1.0).abs() < 0.05)
        });
        if let Some(presence) = &mut self.presence {
            presence.look(Seen {
                share: notes().map(|note| note.power_share).fold(0.0, f64::max),
                conflict,
                elsewhere,
                rich,
            });
        }
        let hearings: Vec<Hearing> = views.into_iter().map(|view| view.hearing).collect();
        follow.hear(&hearings);
        if self.checks.is_multiple_of(SETTLE_EVERY) {
            follow.settle(&self.past());
            self.learn(follow);
        }
        if beside.iter().any(|beside| beside.tone > 0.0) {
            out.push(Track::Checked { beside });
        }
    }

    /// What stands beside the note in each channel.
    fn beside(&mut self, hz: f64, stops: [f64; MOST_CHANNELS]) -> [Beside; MOST_CHANNELS] {
        let mut all = [Beside::default(); MOST_CHANNELS];
        let known = self.unbroken_ticks as usize * self.plan.tick();
        if known < self.check.block() {
            return all;
        }
        for ((slot, recent), stops) in all.iter_mut().zip(&self.recent).zip(stops) {
            let block = recent.newest(self.ahead, self.check.block());
            let seen = self.check.look(block, hz);
            *slot = Beside {
                tone: seen.tone + seen.harmonics,
                harmonics: 0.0,
                rest: (seen.rest - stops).max(STOPS_LEAVE * stops),
                // Partials of lower notes lie where hum does.
                hum: if hz > HUM_UP_TO_HZ && stops == 0.0 {
                    seen.hum
                } else {
                    [0.0; 2]
                },
                ..seen
            };
        }
        all
    }

    fn learn(&mut self, follow: &Follow) {
        let Some(fitted) = follow.fitted() else {
            return;
        };
        if let Some(presence) = &mut self.presence {
            presence.misfit(misfit(&fitted));
        }
        self.state = Some(NoteState {
            stiffness: fitted.series.stiffness,
            stray: fitted.residual,
            width: follow.width(),
            taken: follow.taken(),
            has_stops: follow.has_stops(),
            partials: follow.partials().collect(),
            window_s: follow.window_s(),
        });
    }
}
