//! The tape against its copy: looking for the place, then following it.

use std::sync::Arc;

use super::copy::Copy;
use super::examine::Examiner;
use super::follower::{Follower, Lost};
use super::hearing::{Hearing, Tape};
use super::sifter::sifted;
use super::speed::{SpeedFound, Stretch, speed_of};
use super::verdict::Evidence;
use super::{RATE, RATE_HZ};
use crate::readings::found::CopyState;
use crate::signal::resample::Converter;

/// Samples worked on at once, so that the size of blocks changes nothing:
/// 125 ms.
const TICK: usize = 1000;

/// Sound that is searched for: at least, and at most.
const SEARCHED_S: [f64; 2] = [8.0, 12.0];

/// The same of a short copy, as a part of it: played fast it is soon over.
const FIRST_OF_COPY: f64 = 0.7;

/// From one search to the next: first, and growing to.
const SEARCH_EVERY_S: [f64; 2] = [1.0, 4.0];

/// Root mean square below which a tick is silence: −70 dB.
const SILENT_RMS: f32 = 3e-4;

/// A place as likely as this part of the best, elsewhere: music that repeats.
const AS_LIKELY: f64 = 0.8;

/// Speeds nearer than this are the same for two places of music that repeats.
const SAME_SPEED: f64 = 0.002;

/// What is known so far.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// What is known of the place.
    pub state: CopyState,
    /// Speed; `None` while no place was accepted.
    pub speed: Option<SpeedFound>,
    /// Where the tape is in the copy after [`Self::heard_s`], in seconds; `None`
    /// unless followed.
    pub now_at_copy_s: Option<f64>,
    /// Time on the tape and place in the copy at which the matched sound
    /// begins, in seconds.
    pub begins_s: Option<[f64; 2]>,
    /// Time on the tape from which on is reported, in seconds.
    pub from_s: f64,
    /// True when another place is as likely, with the same speed.
    pub repeats: bool,
    /// How often the place was lost.
    pub losses: u32,
    /// Tape worked through so far, in seconds; the newest moment waits.
    pub heard_s: f64,
    /// Of it with sound.
    pub sound_s: f64,
    /// What spoke for the accepted place, or for the best one refused.
    pub evidence: Option<Evidence>,
}

/// Takes the tape's sound, mono, and finds it in the copy.
pub struct Matcher {
    copy: Arc<Copy>,
    converter: Converter,
    hearing: Hearing,
    /// Newest sound, and the number of its first sample.
    tape: Vec<f32>,
    first: u64,
    worked: usize,
    state: CopyState,
    follower: Option<Follower>,
    stretches: Vec<Stretch>,
    sound_ticks: u64,
    /// Ticks of sound since the search began, and in wait for the next.
    searched_ticks: u64,
    next_search_s: f64,
    search_every_s: f64,
    repeats: bool,
    losses: u32,
    evidence: Option<Evidence>,
}

impl Matcher {
    /// For tape at a sample rate.
    pub fn new(copy: Arc<Copy>, rate_hz: u32) -> Self {
        Self {
            converter: Converter::new(rate_hz, RATE_HZ),
            hearing: Hearing::default(),
            tape: Vec::new(),
            first: 0,
            worked: 0,
            state: CopyState::Silent,
            follower: None,
            stretches: Vec::new(),
            sound_ticks: 0,
            searched_ticks: 0,
            next_search_s: SEARCHED_S[0].min(FIRST_OF_COPY * copy.length().0),
            search_every_s: SEARCH_EVERY_S[0],
            repeats: false,
            losses: 0,
            evidence: None,
            copy,
        }
    }

    /// Takes mono samples.
    pub fn push(&mut self, mono: &[f32]) {
        self.converter.push(mono, &mut self.tape);
        while self.worked + TICK <= self.tape.len() {
            self.worked += TICK;
            self.tick();
        }
        let keep = (SEARCHED_S[1] * RATE) as usize;
        // Rarely, so that little is moved.
        if self.worked > 2 * keep {
            let gone = self.worked - keep;
            self.tape.drain(..gone);
            self.first += gone as u64;
            self.worked -= gone;
        }
    }

    /// Samples were lost here, or the input was away: no place spans it.
    pub fn gap(&mut self) {
        if self.follower.is_some() {
            self.lose(0);
        } else {
            self.search_anew(0);
        }
    }

    fn tick(&mut self) {
        let newest = &self.tape[self.worked - TICK..self.worked];
        let square = newest.iter().map(|x| x * x).sum::<f32>() / TICK as f32;
        if square.sqrt() > SILENT_RMS {
            self.sound_ticks += 1;
            self.searched_ticks += 1;
            if self.state == CopyState::Silent {
                self.state = CopyState::Listening;
            }
        }
        if let Some(follower) = &mut self.follower {
            let tape = Tape {
                samples: &self.tape[..self.worked],
                from_s: self.first as f64 / RATE,
            };
            if let Err(Lost) = follower.follow(&mut self.hearing, &self.copy, tape) {
                // What was followed in vain is sound of the new place, if it
                // is at another one.
                let since = follower.missed();
                self.lose(since as u64);
            }
            return;
        }
        let heard_s = self.searched_ticks as f64 * TICK as f64 / RATE;
        if heard_s >= self.next_search_s {
            self.search(heard_s);
            self.next_search_s = heard_s + self.search_every_s;
            self.search_every_s = (self.search_every_s * 1.25).min(SEARCH_EVERY_S[1]);
        }
    }

    fn search(&mut self, heard_s: f64) {
        let count = (heard_s.min(SEARCHED_S[1]) * RATE) as usize;
        let from = self.worked.saturating_sub(count);
        let tape = Tape {
            samples: &self.tape[from..self.worked],
            from_s: (self.first + from as u64) as f64 / RATE,
        };
        let candidates = self.copy.index.search(tape.samples);
        let mut examiner = Examiner::new(&mut self.hearing, &self.copy, tape);
        let best = examiner.likeliest(&candidates);
        let heard = best.and_then(|best| Some((best, examiner.closely(best)?)));
        let Some((best, (line, points))) = heard else {
            self.give_up(CopyState::NotFound, None);
            return;
        };
        let evidence = Evidence::of(&points, line);
        if !evidence.accepts(self.copy.length()) {
            self.give_up(CopyState::NotFound, Some(evidence));
            return;
        }
        let others = examiner.others(&candidates, best, AS_LIKELY);
        let other_speed = |other: &f64| (other / line.slope - 1.0).abs() > SAME_SPEED;
        if others.iter().any(other_speed) {
            self.give_up(CopyState::Ambiguous, Some(evidence));
            return;
        }
        self.repeats = !others.is_empty();
        self.evidence = Some(evidence);
        self.follower = Some(Follower::new(&points, line, best.sign));
        self.state = CopyState::Following;
    }

    /// A search was in vain.
    fn give_up(&mut self, why: CopyState, evidence: Option<Evidence>) {
        if self.stretches.is_empty() {
            self.state = why;
            self.evidence = evidence.or(self.evidence);
        }
    }

    /// `ticks` of sound came since.
    fn lose(&mut self, ticks: u64) {
        if let Some(follower) = self.follower.take() {
            self.stretches.push(follower.places().clone());
        }
        self.losses += 1;
        self.state = CopyState::Lost;
        self.search_anew(ticks);
    }

    /// Forgets the stretches that ended longer ago than this.
    pub fn keep_newest(&mut self, kept_s: f64) {
        let from_s = self.heard_s() - kept_s;
        let is_kept = |places: &Stretch| places.last().is_some_and(|last| last[0] >= from_s);
        self.stretches.retain(is_kept);
    }

    fn search_anew(&mut self, ticks: u64) {
        self.searched_ticks = ticks;
        self.next_search_s = SEARCHED_S[0].min(FIRST_OF_COPY * self.copy.length().0);
        self.search_every_s = SEARCH_EVERY_S[0];
    }

    /// Pairs of time on the tape and place in the copy, in seconds, of the
    /// stretch that is followed; `None` unless one is.
    pub fn followed_s(&self) -> Option<&[[f64; 2]]> {
        let follower = self.follower.as_ref()?;
        Some(follower.places())
    }

    /// What is known of the place.
    pub fn state(&self) -> CopyState {
        self.state
    }

    /// How often the place was lost.
    pub fn losses(&self) -> u32 {
        self.losses
    }

    /// True when another place is as likely, with the same speed.
    pub fn repeats(&self) -> bool {
        self.repeats
    }

    /// Where the tape is in the copy at a time on the tape, if it is followed.
    pub fn at_copy_s(&self, time_s: f64) -> Option<f64> {
        let foreseen = self.follower.as_ref().and_then(Follower::foreseen);
        foreseen.map(|line| line.at(time_s))
    }

    /// Tape with sound so far.
    pub fn sound_s(&self) -> f64 {
        self.sound_ticks as f64 * TICK as f64 / RATE
    }

    fn heard_s(&self) -> f64 {
        (self.first + self.worked as u64) as f64 / RATE
    }

    /// What is known so far.
    pub fn report(&self) -> Report {
        self.report_over(f64::NEG_INFINITY, f64::INFINITY)
    }

    /// The same from what was found between two times on the tape alone, in
    /// seconds.
    pub fn report_over(&self, from_s: f64, to_s: f64) -> Report {
        let followed = self.follower.as_ref().map(Follower::places);
        let stretches: Vec<Stretch> = self
            .stretches
            .iter()
            .chain(followed)
            .map(|places| {
                let from = places.partition_point(|place| place[0] < from_s);
                let to = places.partition_point(|place| place[0] <= to_s);
                sifted(&places[from..to.max(from)])
            })
            .filter(|places| !places.is_empty())
            .collect();
        Report {
            state: self.state,
            speed: speed_of(&stretches),
            now_at_copy_s: self.at_copy_s(self.heard_s()),
            begins_s: stretches.first().and_then(|it| it.first().copied()),
            from_s: from_s.max(0.0),
            repeats: self.repeats,
            losses: (stretches.len() as u32).saturating_sub(1)
                + u32::from(self.state == CopyState::Lost),
            heard_s: self.heard_s(),
            sound_s: self.sound_s(),
            evidence: self.evidence,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Held notes, a new chord from a fixed sequence of chance each half
    /// second.
    fn music(seconds: f64, speed: f64, seed: u32) -> Vec<f32> {
        let mut state = seed;
        let chords: Vec<[f64; 3]> = (0..400)
            .map(|_| {
                std::array::from_fn(|_| {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    let step = f64::from(state >> 16) / 65_536.0 * 30.0;
                    150.0 * (step.floor() / 12.0).exp2()
                })
            })
            .collect();
        (0..(seconds * 16_000.0) as usize)
            .map(|n| {
                let at = speed * n as f64 / 16_000.0;
                let since = (at * 2.0).fract() / 2.0;
                let loud = (-4.0 * since).exp() * (since * 50.0).min(1.0);
                let notes = chords[(at * 2.0) as usize].iter().flat_map(|hz| {
                    (1..5).map(move |k| {
                        let k = f64::from(k);
                        (std::f64::consts::TAU * k * hz * at).sin() / k
                    })
                });
                (0.1 * loud * notes.sum::<f64>()) as f32
            })
            .collect()
    }

    fn report(copy: &Arc<Copy>, tape: &[f32], block: usize) -> Report {
        let mut matcher = Matcher::new(Arc::clone(copy), 16_000);
        for samples in tape.chunks(block) {
            matcher.push(samples);
        }
        matcher.report()
    }

    fn copy() -> Arc<Copy> {
        Arc::new(Copy::prepare(&music(40.0, 1.0, 1), 16_000).expect("a good copy"))
    }

    #[test]
    fn the_size_of_blocks_changes_nothing() {
        let (copy, tape) = (copy(), music(14.0, 1.03, 1));
        let whole = report(&copy, &tape, tape.len());
        assert_eq!(whole, report(&copy, &tape, 777));
        let found = whole.speed.expect("found");
        assert!((found.ratio / 1.03 - 1.0).abs() < 1e-4, "{found:?}");
        assert_eq!(whole.state, CopyState::Following);
        let now_s = whole.now_at_copy_s.expect("followed");
        assert!((now_s - whole.heard_s * 1.03).abs() < 0.01, "{now_s}");
        assert!((13.7..=14.0).contains(&whole.heard_s));
    }

    #[test]
    fn upside_down_is_the_same_music() {
        let tape: Vec<f32> = music(12.0, 0.96, 1).iter().map(|x| -x).collect();
        let found = report(&copy(), &tape, 4096).speed.expect("found");
        assert!((found.ratio / 0.96 - 1.0).abs() < 1e-4, "{found:?}");
    }

    #[test]
    fn a_gap_is_not_bridged() {
        let copy = copy();
        let tape = music(28.0, 1.0, 1);
        let mut matcher = Matcher::new(Arc::clone(&copy), 16_000);
        matcher.push(&tape[..14 * 16_000]);
        matcher.gap();
        matcher.push(&tape[16 * 16_000..]);
        let report = matcher.report();
        assert_eq!((report.losses, report.state), (1, CopyState::Following));
        let found = report.speed.expect("found again");
        assert!((found.ratio - 1.0).abs() < 1e-4, "{found:?}");
        let losses_of = |matcher: &mut Matcher, kept_s| {
            matcher.keep_newest(kept_s);
            matcher.report().losses
        };
        assert_eq!(losses_of(&mut matcher, 13.0), 1);
        assert_eq!(losses_of(&mut matcher, 11.0), 0);
        assert!(matcher.report().speed.is_some());
    }

    /// Wound on while it plays: the sound that was followed in vain is searched
    /// as well, so that the new place is known after some 8 s.
    #[test]
    fn a_new_place_is_found_within_ten_seconds() {
        let copy = copy();
        let tape = music(40.0, 1.0, 1);
        let mut matcher = Matcher::new(Arc::clone(&copy), 16_000);
        matcher.push(&tape[..12 * 16_000]);
        assert_eq!(matcher.state(), CopyState::Following);
        let mut lost = false;
        let again = tape[22 * 16_000..].chunks(1600).position(|block| {
            matcher.push(block);
            lost |= matcher.state() == CopyState::Lost;
            lost && matcher.state() == CopyState::Following
        });
        assert!(again.is_some_and(|tenths| tenths < 100), "{again:?}");
        let now_s = matcher.report().now_at_copy_s.expect("followed");
        assert!((now_s - (matcher.heard_s() + 10.0)).abs() < 0.01, "{now_s}");
    }

    #[test]
    fn a_copy_of_a_few_seconds_will_do() {
        let copy = Arc::new(Copy::prepare(&music(5.5, 1.0, 1), 16_000).expect("a good copy"));
        let whole = report(&copy, &music(5.5 / 1.08, 1.08, 1), 4096);
        let found = whole.speed;
        assert!(found.is_some(), "{whole:?}");
        let ratio = found.expect("found").ratio;
        assert!((ratio / 1.08 - 1.0).abs() < 1e-4, "{ratio}");
        let other = report(&copy, &music(20.0, 1.0, 2), 4096);
        assert_eq!((other.state, other.speed), (CopyState::NotFound, None));
    }

    /// Tones that never change fit at any place, and one of another pitch fits
    /// at another speed.
    #[test]
    fn steady_tones_are_no_music() {
        let tones = |all: &[f64]| -> Vec<f32> {
            (0..20 * 16_000)
                .map(|n| {
                    let t = f64::from(n) / 16_000.0;
                    let sum: f64 = all
                        .iter()
                        .map(|hz| (std::f64::consts::TAU * hz * t).sin())
                        .sum();
                    (0.1 * sum) as f32
                })
                .collect()
        };
        let chord = [220.0, 550.0, 1650.0];
        for (held, played) in [
            (&[440.0][..], &[446.0][..]),
            (&chord, &chord),
            (&chord, &[222.0, 555.0, 1665.0]),
        ] {
            let copy = Arc::new(Copy::prepare(&tones(held), 16_000).expect("sound"));
            let report = report(&copy, &tones(played), 4096);
            assert_eq!(report.speed, None, "{played:?}: {report:?}");
        }
    }
}
