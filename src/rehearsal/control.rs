//! A volume control with dirt in it, between the machine and its output,
//! worked by a hand. Invented, seeded.
//!
//! Where dirt lies on the track, the wiper loses contact for a moment as it
//! passes: the level falls and comes back (a break), or the contact scratches
//! (a crackle). Contact cleaner and movement with the power off take dirt
//! away. Like many stereo controls the two tracks do not quite agree.

use super::dirt::{ControlConfig, ControlFault, ControlFaultKind};
use super::noise::{Purpose, Random};
use super::sweeping::{STEPS_HZ, SweepingConfig, SweepingHand};
use crate::units::Decibels;

/// What a spot loses in one cleaning stroke with the power off. Invented.
const RUBBED_OFF_WITH_CLEANER: f64 = 0.5;
/// A spot with less dirt than this lets nothing be heard. Invented.
const CLEAN: f64 = 0.2;
/// The wiper must go this far away before a spot is passed anew. Invented.
const ASIDE: f64 = 0.004;
/// A hand that is done lets go near the upper end; this far does the control go
/// on by itself from node to node. Invented.
const LAST_OF_THE_WAY: f64 = 0.001;
/// Faults that are kept one by one: a choice.
const MOST_KEPT: usize = 4096;

#[derive(Clone, Copy, Debug)]
struct Spot {
    at: f64,
    kind: ControlFaultKind,
    tracks: [bool; 2],
    /// Share of the dirt that is left.
    left: f64,
    /// Passed, and not yet left behind.
    on_it: bool,
}

/// A scratch: each impulse dies away within a fraction of a millisecond.
#[derive(Clone, Copy, Debug)]
struct Scratch {
    frame: u64,
    peak: f64,
    keep: f64,
    tracks: [bool; 2],
}

/// The control as it stands.
#[derive(Clone, Debug)]
pub struct Control {
    config: ControlConfig,
    spots: Vec<Spot>,
    random: Random,
    hand: Option<(SweepingHand, u64)>,
    works: u64,
    /// Position at the node before and after this frame.
    from: f64,
    to: f64,
    into_node: f64,
    breaks: Vec<(u64, f64, [bool; 2])>,
    scratches: Vec<Scratch>,
    frame: u64,
    faults: Vec<ControlFault>,
    seed: u64,
}

impl Control {
    /// A control that stands at its upper end, where it changes nothing.
    pub fn new(config: ControlConfig, seed: u64) -> Self {
        let mut random = Random::new(seed.wrapping_add(0x77), Purpose::Control);
        let mut spots = Vec::new();
        let all = config.break_spots + config.crackle_spots;
        let [low, high] = config.dirt_between;
        for nth in 0..all {
            // Spread over the track, so that no two lie on one another.
            let share = (f64::from(nth) + random.between(0.2, 0.8)) / f64::from(all);
            // Breaks and crackles by turns as far as there are both.
            let breaks_so_far = u64::from(nth) * u64::from(config.break_spots) / u64::from(all);
            let breaks_then = u64::from(nth + 1) * u64::from(config.break_spots) / u64::from(all);
            spots.push(Spot {
                at: low + (high - low) * share,
                kind: if breaks_then > breaks_so_far {
                    ControlFaultKind::Break
                } else {
                    ControlFaultKind::Crackle
                },
                tracks: config.dirty.thrown(&mut random),
                left: 1.0,
                on_it: false,
            });
        }
        Self {
            spots,
            random,
            hand: None,
            works: 0,
            from: 1.0,
            to: 1.0,
            into_node: 0.0,
            breaks: Vec::new(),
            scratches: Vec::new(),
            frame: 0,
            faults: Vec::new(),
            seed,
            config,
        }
    }

    /// A hand takes it down and up again as configured; one that is already
    /// at work finishes first.
    pub fn work(&mut self, hand: SweepingConfig) {
        if !self.is_worked() {
            self.works += 1;
            let seed = self.seed.wrapping_add(self.works.wrapping_mul(0x9E37));
            self.hand = Some((SweepingHand::new(hand, self.to, seed), 0));
        }
    }

    /// Whether a hand is at work.
    pub fn is_worked(&self) -> bool {
        self.hand.is_some() || self.from.min(self.to) < 1.0
    }

    /// Where it stands, 0 to 1.
    pub fn position(&self) -> f64 {
        self.from + (self.to - self.from) * self.into_node
    }

    /// Once to both ends and back with cleaner in it and the power off.
    pub fn clean_stroke(&mut self) {
        for spot in &mut self.spots {
            spot.left *= 1.0 - RUBBED_OFF_WITH_CLEANER;
            if spot.left < CLEAN {
                spot.left = 0.0;
            }
        }
    }

    /// Mean share of the dirt that is left, 1 to 0.
    pub fn dirt(&self) -> f64 {
        let sum: f64 = self.spots.iter().map(|spot| spot.left).sum();
        sum / self.spots.len().max(1) as f64
    }

    /// The faults played so far, oldest first; the first few thousand.
    pub fn faults(&self) -> &[ControlFault] {
        &self.faults
    }

    /// Passes sound through; with nobody at the control it stays as it is.
    pub fn pass(&mut self, interleaved: &mut [f32]) {
        let channels = usize::from(self.config.channels.max(1));
        for frame in interleaved.chunks_exact_mut(channels) {
            if self.is_worked() || !self.breaks.is_empty() || !self.scratches.is_empty() {
                self.advance();
                self.act_on(frame);
            }
            self.frame += 1;
        }
    }

    fn act_on(&mut self, frame: &mut [f32]) {
        let position = self.position();
        for (channel, sample) in frame.iter_mut().enumerate() {
            let track = channel.min(1);
            let gain = self.gain(position, track) * self.contact(track);
            let scratch = self.scratch(track);
            *sample = (f64::from(*sample) * gain + scratch).clamp(-1.0, 1.0) as f32;
        }
        self.forget_what_is_over();
    }

    fn gain(&self, position: f64, track: usize) -> f64 {
        let gain = position.powf(self.config.taper);
        if track == 0 {
            gain
        } else {
            gain * Decibels(self.config.tracking_db * (1.0 - position)).amplitude_ratio()
        }
    }

    fn break_frames(&self) -> [f64; 2] {
        let rate_hz = f64::from(self.config.rate_hz);
        let edge = (self.config.break_edge_s * rate_hz).max(1.0);
        [edge, self.config.break_length_s * rate_hz + edge]
    }

    /// What a break leaves of the sound.
    fn contact(&self, track: usize) -> f64 {
        let [edge, lasts] = self.break_frames();
        let mut contact: f64 = 1.0;
        for (start, depth_db, tracks) in &self.breaks {
            if tracks[track] {
                let since = (self.frame - start) as f64;
                let fallen = (since.min(lasts - since) / edge).clamp(0.0, 1.0);
                let floor = Decibels(-depth_db).amplitude_ratio();
                contact = contact.min(1.0 - fallen * (1.0 - floor));
            }
        }
        contact
    }

    fn scratch(&self, track: usize) -> f64 {
        let alive = |scratch: &&Scratch| scratch.tracks[track] && scratch.frame <= self.frame;
        let sound = |scratch: &Scratch| {
            scratch.peak * scratch.keep.powf((self.frame - scratch.frame) as f64)
        };
        self.scratches.iter().filter(alive).map(sound).sum()
    }

    fn forget_what_is_over(&mut self) {
        let frame = self.frame;
        let [_, lasts] = self.break_frames();
        self.breaks
            .retain(|(start, ..)| ((frame - start) as f64) < lasts);
        let longest = u64::from(self.config.rate_hz) / 100;
        self.scratches
            .retain(|scratch| scratch.frame + longest > frame);
    }

    /// One frame on.
    fn advance(&mut self) {
        self.into_node += STEPS_HZ / f64::from(self.config.rate_hz.max(1));
        if self.into_node >= 1.0 {
            self.into_node -= 1.0;
            self.next_node();
        }
        self.touch_spots();
    }

    fn next_node(&mut self) {
        self.from = self.to;
        if let Some((hand, nodes)) = &mut self.hand {
            *nodes += 1;
            self.to = hand.position_at(*nodes as f64 / STEPS_HZ);
            if hand.is_done() {
                self.hand = None;
            }
        } else {
            self.to = (self.to + LAST_OF_THE_WAY).min(1.0);
        }
    }

    fn touch_spots(&mut self) {
        let position = self.position();
        let before = position - (self.to - self.from) * STEPS_HZ / f64::from(self.config.rate_hz);
        for nth in 0..self.spots.len() {
            let spot = &mut self.spots[nth];
            let passed =
                (before - spot.at) * (position - spot.at) <= 0.0 && (position - before).abs() > 0.0;
            if spot.on_it {
                spot.on_it = (position - spot.at).abs() < ASIDE;
            } else if passed && spot.left > 0.0 {
                spot.on_it = true;
                let spot = *spot;
                self.give_way(spot);
            }
        }
    }

    fn give_way(&mut self, spot: Spot) {
        match spot.kind {
            ControlFaultKind::Break => {
                let depth_db = self.config.break_depth_db * spot.left;
                self.breaks.push((self.frame, depth_db, spot.tracks));
            }
            ControlFaultKind::Crackle => self.crackle(spot),
        }
        if self.faults.len() < MOST_KEPT {
            self.faults.push(ControlFault {
                frame: self.frame,
                kind: spot.kind,
                tracks: spot.tracks,
            });
        }
    }

    /// One to three scratches within 4 ms, the first the strongest.
    fn crackle(&mut self, spot: Spot) {
        let rate_hz = f64::from(self.config.rate_hz);
        let many = 1 + (self.random.unit() * 3.0) as u32;
        for nth in 0..many {
            let random = &mut self.random;
            let (after, share) = if nth == 0 {
                (0.0, 1.0)
            } else {
                (random.between(0.0005, 0.004), random.between(0.3, 0.9))
            };
            let sign = if random.chance(0.5) { 1.0 } else { -1.0 };
            let decay_s = random.between(30e-6, 150e-6);
            let strongest = Decibels(self.config.crackle_dbfs).amplitude_ratio();
            self.scratches.push(Scratch {
                frame: self.frame + (after * rate_hz) as u64,
                peak: sign * share * spot.left * strongest,
                keep: (-1.0 / (decay_s * rate_hz)).exp(),
                tracks: spot.tracks,
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rehearsal::DirtyTracks;

    fn hand() -> SweepingConfig {
        SweepingConfig {
            ends: [0.1, 1.0],
            round_trip_s: 4.0,
            rest_s: 0.3,
            tremble: 0.0,
            ..SweepingConfig::calm()
        }
    }

    fn worked(control: &mut Control) -> Vec<f32> {
        control.work(hand());
        let mut sound = Vec::new();
        while control.is_worked() {
            let mut block = vec![0.5; 960];
            control.pass(&mut block);
            sound.extend(block);
            assert!(sound.len() < 96_000 * 60, "it never ends");
        }
        sound
    }

    #[test]
    fn nobody_at_the_control_changes_nothing() {
        let mut control = Control::new(ControlConfig::dirty(1), 1);
        let mut block: Vec<f32> = (0..960).map(|n| (n as f32 * 0.1).sin()).collect();
        let before = block.clone();
        control.pass(&mut block);
        assert_eq!(block, before);
    }

    #[test]
    fn a_clean_one_goes_down_and_up_without_a_step() {
        let mut control = Control::new(ControlConfig::clean(), 1);
        let sound = worked(&mut control);
        let lowest = sound.iter().copied().fold(1.0, f32::min);
        assert!((0.001..0.01).contains(&lowest), "{lowest}");
        for pair in sound.chunks_exact(2).collect::<Vec<_>>().windows(2) {
            // 0.02 dB.
            let step = (pair[1][0] - pair[0][0]).abs();
            assert!(step < 1e-3, "{step}");
        }
        assert!(control.faults().is_empty());
    }

    #[test]
    fn a_break_is_as_long_and_as_deep_as_configured() {
        let config = ControlConfig {
            break_spots: 1,
            break_depth_db: 6.020_6,
            break_length_s: 0.005,
            taper: 0.0,
            dirty: DirtyTracks::Left,
            ..ControlConfig::clean()
        };
        let mut control = Control::new(config, 3);
        let sound = worked(&mut control);
        let faults = control.faults().to_vec();
        assert!(faults.len() >= 2, "{faults:?}");
        let begin = faults[0].frame as usize;
        let low = (begin..begin + 480)
            .filter(|n| sound[2 * n] < 0.375)
            .count();
        assert!(low.abs_diff(240) <= 1, "{low}");
        let deepest = sound[2 * (begin + 120)];
        assert!((deepest - 0.25).abs() < 1e-4, "{deepest}");
        let mut right = sound.iter().skip(1).step_by(2);
        assert!(right.all(|right| (right - 0.5).abs() < 1e-6));
    }

    #[test]
    fn cleaning_takes_the_faults_away() {
        let mut control = Control::new(ControlConfig::dirty(5), 5);
        worked(&mut control);
        let before = control.faults().len();
        assert!(before > 8, "{before}");
        for _ in 0..3 {
            control.clean_stroke();
        }
        assert!(control.dirt() < 1e-12);
        worked(&mut control);
        assert_eq!(control.faults().len(), before);
    }
}
