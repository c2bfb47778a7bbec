//! Finds the tone, follows it, says when it is lost.
//!
//! While searching, [`Finder`] looks at spectra. A confirmed tone becomes the
//! carrier of a demodulator in each channel, fed from the start of the stretch
//! that confirmed it, so that nothing of a short record is wasted. The
//! channels' frequencies are combined by quality, moments that cannot be
//! believed are bridged, and out come about 2000 frequencies a second.

use super::check::{Beside, SpectrumCheck};
use super::demodulator::{MOST_TICKS, Plan};
use super::evidence::Evidence;
use super::finder::{Finder, Line};
use super::fir::History;
use super::following::Following;
pub use super::following::{ChannelQuality, Loss, MOST_CHANNELS, Track};
use super::piece::Witness;
use super::speed_tracker::SpeedTracker;

/// A tone that is bridged for longer than this is lost: tape has no longer
/// dropouts (common practice, no source).
const LOST_S: f64 = 0.15;

/// Looks at two channels with a line each: the tone is the line that was seen
/// in at least the first number of them, and in the second number more than the
/// other; after the third nobody waits any longer. Tuned; judged by
/// `--bench refusal`.
const SURE_CONFIRMATIONS: u32 = 40;
const LONGER_CONFIRMATIONS: u32 = 10;
const MOST_CONFIRMATIONS: u32 = 120;

/// Time after a loss in which the other channel goes first. Tuned; judged by the same.
const MISLED_S: f64 = 2.0;

/// Lines of two channels within this are the same tone: wow of 1 % throws it so
/// far from look to look. Practice, no source.
const SAME_TONE: f64 = 0.01;

/// A spectrum is looked at this often while a tone is followed.
const CHECK_S: f64 = 1.0;

/// Nobody waits for what is learnt from a recording: the time between looks
/// doubles up to this while they are alike, tone and rest within this ratio.
/// Tuned for pace.
const CALM_CHECK_S: f64 = 4.0;
const ALIKE: f64 = 1.5;

/// A spectrum in which the tone moved by more than this shows two; one is
/// waited for that does not, though not longer than this. Tuned; judged by
/// `--bench refusal`.
const BLURRED: f64 = 0.02;
const MOST_WAIT_S: f64 = 1.0;

/// See the module.
pub struct Tracker {
    plan: Plan,
    channels: usize,
    ranges_hz: Vec<[f64; 2]>,
    finder: Finder,
    check: SpectrumCheck,
    recent: Vec<History>,
    /// Samples that were heard before their time.
    ahead: usize,
    /// Ticks since the input began, and since the past is whole.
    ticks: u64,
    unbroken_ticks: u64,
    hop_ticks: u64,
    line: Option<Line>,
    following: Option<Following>,
    evidence: Option<Evidence>,
    until_check: u64,
    last_beside: [Beside; MOST_CHANNELS],
    check_s: f64,
    longest_check_s: f64,
    /// Where the tone stood when it had last moved, and for how many ticks it
    /// has been there.
    rests: (f64, u64),
    /// Ticks that a spectrum was put off for that.
    waited: u64,
    leaps_seen: u32,
    /// The channel that was followed last, and for how many more ticks the
    /// other goes first.
    misled: (usize, u64),
    replay: Vec<Vec<f32>>,
}

impl Tracker {
    /// For one or two channels.
    pub fn new(rate_hz: u32, channels: usize) -> Self {
        let plan = Plan::new(rate_hz);
        let finder = Finder::new(plan.rate_hz);
        let check = SpectrumCheck::new(plan.rate_hz);
        let span = check
            .block()
            .max(finder.block() * 2)
            .next_multiple_of(plan.tick())
            + (MOST_TICKS + 1) * plan.tick();
        Self {
            hop_ticks: (Finder::hop(plan.rate_hz, plan.tick()) / plan.tick()) as u64,
            recent: vec![History::new(span); channels],
            ahead: 0,
            replay: vec![Vec::with_capacity(span); channels],
            plan,
            channels,
            ranges_hz: vec![[0.0, f64::INFINITY]],
            finder,
            check,
            ticks: 0,
            unbroken_ticks: 0,
            line: None,
            following: None,
            evidence: None,
            until_check: 0,
            last_beside: [Beside::default(); MOST_CHANNELS],
            check_s: CHECK_S,
            longest_check_s: CHECK_S,
            rests: (0.0, 0),
            waited: 0,
            leaps_seen: 0,
            misled: (0, 0),
        }
    }

    /// Rates that follow from the sample rate.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// From a sample going in to its value coming out, in seconds; `None`
    /// while searching.
    pub fn delay_s(&self) -> Option<f64> {
        self.following
            .as_ref()
            .map(|following| following.delay_s(&self.plan))
    }
}

impl SpeedTracker for Tracker {
    fn be_patient(&mut self) {
        self.longest_check_s = CALM_CHECK_S;
    }

    fn set_ranges(&mut self, ranges_hz: Vec<[f64; 2]>) {
        self.ranges_hz = ranges_hz;
        let outside = self
            .following
            .as_ref()
            .is_some_and(|following| !self.is_wanted(following.mean_hz()));
        if outside {
            self.let_go();
        }
    }

    fn unwanted_hz(&self) -> Option<f64> {
        self.line
            .filter(|line| self.following.is_none() && line.is_lasting())
            .map(|line| line.hz)
            .filter(|&hz| !self.is_wanted(hz))
    }

    fn gap(&mut self) {
        self.let_go();
        self.unbroken_ticks = 0;
    }

    fn witness(&self) -> Option<&dyn Witness> {
        self.evidence.as_ref().map(|it| it as &dyn Witness)
    }

    fn is_following(&self) -> bool {
        self.following.is_some()
    }

    fn quality(&self) -> [ChannelQuality; MOST_CHANNELS] {
        let none = [ChannelQuality::default(); MOST_CHANNELS];
        self.following.as_ref().map_or(none, Following::quality)
    }

    fn band_hz(&self) -> Option<f64> {
        self.following.as_ref().map(Following::pass_hz)
    }

    fn delay_ticks(&self) -> u64 {
        self.following.as_ref().map_or(0, Following::late_ticks)
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
        if self.following.is_none() {
            self.search(out);
            return;
        }
        self.follow(input, out);
        let mistaken = self.check_spectrum(out) && self.is_mistaken();
        let gap_s = self.following.as_ref().map(Following::open_gap_s);
        let away = self
            .following
            .as_ref()
            .is_some_and(|following| !self.is_wanted(following.mean_hz()));
        let loss = if away {
            Loss::LeftRange
        } else if mistaken {
            Loss::Mistaken
        } else if gap_s.is_some_and(|gap| gap > LOST_S) || self.is_incoherent() {
            Loss::Gone
        } else {
            return;
        };
        let lead = self.following.as_ref().map_or(0, Following::lead);
        self.misled = (lead, (MISLED_S * self.plan.output_rate_hz()) as u64);
        self.let_go();
        out.push(Track::Lost(loss));
    }
}

impl Tracker {
    fn is_wanted(&self, hz: f64) -> bool {
        self.ranges_hz
            .iter()
            .any(|range| (range[0]..=range[1]).contains(&hz))
    }

    /// Drops the tone and begins to search again.
    fn let_go(&mut self) {
        self.following = None;
        self.finder.reset();
        self.line = None;
    }

    /// True when what is followed is doubtful or has leapt, while the other
    /// channel has a wanted line of its own.
    fn is_mistaken(&mut self) -> bool {
        let Some((following, evidence)) = self.following.as_ref().zip(self.evidence.as_ref())
        else {
            return false;
        };
        let leapt = evidence.leaps() > self.leaps_seen;
        self.leaps_seen = evidence.leaps();
        if self.channels < 2 || !(leapt || evidence.doubt().is_some()) {
            return false;
        }
        let other = 1 - following.lead();
        let here_hz = following.mean_hz();
        let lines = self.look();
        self.finder.reset();
        lines[other].is_some_and(|line| {
            (line.hz / here_hz - 1.0).abs() > SAME_TONE && self.is_wanted(line.hz)
        })
    }

    fn is_incoherent(&self) -> bool {
        self.following
            .as_ref()
            .is_some_and(Following::is_incoherent)
    }

    /// The line in the newest block of each channel.
    fn look(&mut self) -> [Option<Line>; MOST_CHANNELS] {
        let block = self.finder.block();
        let blocks: Vec<&[f32]> = self
            .recent
            .iter()
            .map(|recent| recent.newest(self.ahead, block))
            .collect();
        self.finder.look(&blocks)
    }

    fn search(&mut self, out: &mut Vec<Track>) {
        let block = self.finder.block();
        let known = self.unbroken_ticks as usize * self.plan.tick();
        if known < block || !self.unbroken_ticks.is_multiple_of(self.hop_ticks) {
            return;
        }
        let lines = self.look();
        // The steadier line goes before the purer one.
        let known_for = |line: &Line| (line.confirmations.min(SURE_CONFIRMATIONS), line.share);
        let better = |a: &Line, b: &Line| {
            let [a, b] = [known_for(a), known_for(b)];
            a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
        };
        self.line = lines.into_iter().flatten().max_by(better);
        self.misled.1 = self.misled.1.saturating_sub(self.hop_ticks);
        let wanted =
            lines.map(|line| line.filter(|line| line.is_confirmed() && self.is_wanted(line.hz)));
        let found = match wanted {
            [Some(left), Some(right)] if (left.hz / right.hz - 1.0).abs() > SAME_TONE => {
                self.tone_of(&[left, right])
            }
            [Some(_), Some(_)] if self.misled.1 > 0 => {
                // They meet by chance, or it did not mislead after all.
                let [misled, other] = [self.misled.0, 1 - self.misled.0];
                wanted[other].map(|mut line| {
                    line.quality[misled] = 0.0;
                    line
                })
            }
            wanted => wanted.into_iter().flatten().max_by(better),
        };
        if let Some(line) = found {
            self.begin(line, out);
        }
    }

    /// The tone, where each channel has a line of its own: not the one that
    /// was lost just now, else time tells.
    fn tone_of(&self, lines: &[Line; MOST_CHANNELS]) -> Option<Line> {
        if self.misled.1 > 0 {
            return Some(lines[1 - self.misled.0]);
        }
        let [left, right] = *lines;
        let (longer, other) = if left.confirmations >= right.confirmations {
            (left, right)
        } else {
            (right, left)
        };
        let sure = longer.confirmations >= SURE_CONFIRMATIONS
            && longer.confirmations >= other.confirmations + LONGER_CONFIRMATIONS;
        (sure || longer.confirmations >= MOST_CONFIRMATIONS).then_some(longer)
    }

    /// Starts to follow, from the beginning of the stretch that is known to
    /// hold the tone.
    fn begin(&mut self, line: Line, out: &mut Vec<Track>) {
        let tick = self.plan.tick();
        let ticks = |seconds: f64| (seconds * self.plan.rate_hz) as u64 / tick as u64;
        let mut span = ticks(Finder::confirmed_span_s());
        if self.unbroken_ticks > span + self.hop_ticks {
            // The tone began somewhere in the first block that showed it.
            span -= ticks(Finder::onset_s());
        }
        let span = span.min(self.unbroken_ticks);
        self.following = Some(Following::new(
            &self.plan,
            line,
            self.channels,
            self.ticks - span,
        ));
        self.evidence = Some(Evidence::new(self.plan.output_rate_hz(), line));
        self.until_check = 0;
        self.last_beside = [Beside::default(); MOST_CHANNELS];
        self.rests = (line.hz, 0);
        self.waited = 0;
        self.leaps_seen = 0;
        out.push(Track::Found { hz: line.hz });
        let mut replay = std::mem::take(&mut self.replay);
        for (copy, recent) in replay.iter_mut().zip(&self.recent) {
            copy.clear();
            copy.extend_from_slice(recent.newest(self.ahead, span as usize * tick));
        }
        for k in 0..span as usize {
            let input: Vec<&[f32]> = replay.iter().map(|copy| &copy[k * tick..]).collect();
            self.follow(&input, out);
        }
        self.replay = replay;
    }

    fn follow(&mut self, input: &[&[f32]], out: &mut Vec<Track>) {
        if let Some((following, evidence)) = self.following.as_mut().zip(self.evidence.as_mut()) {
            following.tick(&self.plan, input, out);
            // What starting filters say is no evidence.
            if following.has_settled() {
                evidence.push(following.newest());
            }
        }
    }

    /// True when a spectrum was looked at.
    fn check_spectrum(&mut self, out: &mut Vec<Track>) -> bool {
        let block = self.check.block();
        let Some(following) = &mut self.following else {
            return false;
        };
        let (at_hz, rested) = &mut self.rests;
        *rested += 1;
        if (following.mean_hz() - *at_hz).abs() > BLURRED * *at_hz {
            self.rests = (following.mean_hz(), 0);
        }
        self.until_check = self.until_check.saturating_sub(1);
        let leaps = self.evidence.as_ref().map_or(0, Evidence::leaps);
        if leaps > self.leaps_seen {
            // Calm is over.
            self.check_s = CHECK_S;
            self.until_check = self.until_check.min(self.hop_ticks);
        }
        let known = following.ticks() as usize * self.plan.tick();
        if self.until_check > 0 || known < block {
            return false;
        }
        let blurred = (self.rests.1 as usize) * self.plan.tick() < block;
        let most_wait = (MOST_WAIT_S * self.plan.output_rate_hz()) as u64;
        if blurred && self.waited < most_wait {
            self.waited += 1;
            return false;
        }
        self.waited = 0;
        let mut beside = [Beside::default(); MOST_CHANNELS];
        for (slot, recent) in beside.iter_mut().zip(&self.recent) {
            *slot = self
                .check
                .look(recent.newest(self.ahead, block), following.mean_hz());
        }
        let alike = beside
            .iter()
            .zip(&self.last_beside)
            .all(|(now, before)| now.is_like(before, ALIKE));
        self.check_s = if alike {
            (2.0 * self.check_s).min(self.longest_check_s)
        } else {
            CHECK_S
        };
        self.until_check = (self.check_s * self.plan.output_rate_hz()) as u64;
        self.last_beside = beside;
        following.weigh(&beside);
        if let Some(evidence) = &mut self.evidence {
            evidence.check(&beside[..self.channels]);
        }
        out.push(Track::Checked { beside });
        true
    }
}
