//! From what was heard to a [`Measurement`], of all of it or of a stretch.

use super::Engine;
use crate::readings::assemble::assemble;
use crate::readings::cautions::Surroundings;
use crate::readings::conditions::{ChannelChoice, ReferenceKind};
use crate::readings::course::Parts;
use crate::readings::found::TapeIdent;
use crate::readings::judge;
use crate::readings::matching::{CopyTracker, measured};
use crate::readings::measurement::Measurement;
use crate::readings::notes;
use crate::readings::stretch::Stretch;
use crate::readings::values::ChannelUsed;
use crate::readings::without_tone::Heard;
use crate::signal::tracker::{ChannelQuality, MOST_CHANNELS};
use crate::units::Hertz;

/// Quieter than this (mean square; −87 dB of a full-scale sine) is silence.
const SILENCE: f64 = 1e-9;

/// In a shorter record there is no time to follow a tone and to believe it.
const TOO_SHORT_TO_FOLLOW_S: f64 = 0.3;

impl Engine {
    /// The measurement over everything pushed so far (for recordings).
    pub fn measurement(&self) -> Measurement {
        let (believed, instead) = self.belief_in_all();
        let heard = instead.map_or_else(
            || self.whole.clone(),
            |before| self.whole.replaced_by(before.clone()),
        );
        let mut around = self.surroundings();
        around.believed = believed;
        if self.is_note() {
            return self.as_note(assemble(&heard, &around), &heard);
        }
        let direct = self.short.direct(&self.ranges_hz());
        // Too short to be followed, the fit alone has to do.
        let direct = direct.filter(|_| believed || self.heard_s() < TOO_SHORT_TO_FOLLOW_S);
        if let Some(direct) = direct {
            let heard = Hertz(direct.hz);
            around.believed = true;
            around.nominal = Some(self.nominal.unwrap_or_else(|| judge::nearest_usual(heard)));
            around.channel = direct.channel(around.channel);
            return assemble(&self.whole.clone().with(direct), &around);
        }
        // Heard bit by bit, a strong drift looks like a hand that turns.
        let drifts = heard.moves > 0 && heard.course.parts(true).is_left_alone();
        let heard = if drifts { heard.left_alone() } else { heard };
        assemble(&heard, &around)
    }

    /// The parts of everything pushed so far (for recordings of a tone); `None`
    /// where the speed was not followed.
    pub fn parts(&self) -> Option<Parts> {
        if self.settings.conditions.kind != ReferenceKind::Tone {
            return None;
        }
        let (_, instead) = self.belief_in_all();
        let heard = instead.unwrap_or(&self.whole);
        Some(heard.course.parts(heard.moves > 0))
    }

    /// Length of everything pushed so far, in seconds.
    fn heard_s(&self) -> f64 {
        self.whole.frames as f64 / f64::from(self.settings.rate_hz)
    }

    /// Whether all of it is believed, and what counts instead where its newest
    /// piece does not.
    fn belief_in_all(&self) -> (bool, Option<&Stretch>) {
        let piece = self.tracker.witness();
        let piece = piece.filter(|_| self.tracker.is_following());
        self.belief.verdict(piece, self.heard_s(), self.energy())
    }

    /// The measurement of a stretch that has just ended.
    pub(super) fn finished(&self, stretch: &Stretch) -> Measurement {
        let assembled = assemble(stretch, &self.surroundings());
        let mut measurement = match self.tracker.copy() {
            Some(copy) => self.as_copied(assembled, stretch, copy),
            None => self.as_note(assembled, stretch),
        };
        if let Some(ident) = self.tape_ident() {
            measurement.tell_ident(ident);
        }
        measurement
    }

    /// The same by the places in the copy, which tell the speed more closely
    /// than the track that was made from them; drift is the track's.
    pub(super) fn as_copied(
        &self,
        assembled: Measurement,
        stretch: &Stretch,
        copy: &CopyTracker,
    ) -> Measurement {
        let to_s = copy.told_s();
        let report = copy.report_over(to_s - stretch.track_s(), to_s);
        let heard = Heard {
            settings: &self.settings,
            has_drift: assembled.drift.is_some(),
            frames: stretch.frames,
            clipped: stretch.clipped,
            channel: assembled.channel,
            level: assembled.signal.level,
            snr: None,
        };
        Measurement {
            drift: assembled.drift,
            along: assembled.along,
            stability: assembled.stability,
            ..measured(&report, heard)
        }
    }

    pub(super) fn is_note(&self) -> bool {
        self.settings.conditions.kind == ReferenceKind::Note
    }

    /// With what holds for notes only, where the reference is one.
    fn as_note(&self, measurement: Measurement, stretch: &Stretch) -> Measurement {
        if !self.is_note() {
            return measurement;
        }
        let two_things = self.tracker.has_conflict() || stretch.channels_disagree();
        let vibrato = stretch.vibrato.whole();
        notes::finish(measurement, self.tracker.note(), vibrato, two_things)
    }

    /// Energy of the channels that are listened to.
    pub(super) fn energy(&self) -> [f64; MOST_CHANNELS] {
        let mut energy = [0.0; MOST_CHANNELS];
        let first = self.settings.listened().start;
        for (slot, heard) in energy.iter_mut().zip(self.health.energy().skip(first)) {
            *slot = heard;
        }
        energy
    }

    /// Nothing could be heard in any channel that is listened to.
    pub(super) fn is_silent(&self) -> bool {
        let is_silent = |energy: f64| energy <= SILENCE * self.heard_s();
        self.energy().into_iter().all(is_silent)
    }

    pub(super) fn tape_ident(&self) -> Option<TapeIdent> {
        Some(self.ident.as_ref()?.of_this_tape()?.into())
    }

    pub(super) fn surroundings(&self) -> Surroundings<'_> {
        Surroundings {
            conditions: &self.settings.conditions,
            nominal: self.nominal,
            rate_hz: self.settings.rate_hz,
            band_hz: self.tracker.band_hz().or(self.health.last_band_hz()),
            wrong: self.wrong,
            believed: true,
            silent: self.is_silent(),
            is_swept: self.is_swept(),
            channel: self.channel_used(),
        }
    }

    pub(super) fn channel_used(&self) -> ChannelUsed {
        self.channel_of(&self.tracker.quality())
    }

    pub(super) fn channel_of(&self, quality: &[ChannelQuality; MOST_CHANNELS]) -> ChannelUsed {
        if self.settings.channels == 1 {
            return ChannelUsed::Mono;
        }
        match self.settings.choice {
            ChannelChoice::Left => ChannelUsed::Left,
            ChannelChoice::Right => ChannelUsed::Right,
            ChannelChoice::Auto => {
                let [left, right] = quality.map(|quality| quality.weight);
                match (left > 0.0, right > 0.0) {
                    (true, false) => ChannelUsed::Left,
                    (false, true) => ChannelUsed::Right,
                    _ => ChannelUsed::Both,
                }
            }
        }
    }
}
