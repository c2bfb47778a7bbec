//! From what was heard to a [`Measurement`], of all of it or of a stretch.

use super::Engine;
use crate::readings::assemble::assemble;
use crate::readings::cautions::Surroundings;
use crate::readings::conditions::ReferenceKind;
use crate::readings::course::SteadyParts;
use crate::readings::found::TapeIdent;
use crate::readings::judge;
use crate::readings::measurement::Measurement;
use crate::readings::stretch::Stretch;
use crate::readings::values::ChannelUsed;
use crate::signal::tracker::{ChannelQuality, MOST_CHANNELS};
use crate::units::Hertz;

/// Quieter than this (mean square; −87 dB of a full-scale sine) is silence.
const SILENT_POWER: f64 = 1e-9;

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
        if self.settings.conditions.kind != ReferenceKind::Tone {
            return self.assembled(&heard, &around);
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
    pub fn parts(&self) -> Option<SteadyParts> {
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
        let mut around = self.surroundings();
        around.since_tick = stretch.first_tick().unwrap_or(0);
        let mut measurement = self.assembled(stretch, &around);
        if let Some(ident) = self.tape_ident() {
            measurement.tell_ident(ident);
        }
        measurement
    }

    /// With what holds for this kind of reference only.
    fn assembled(&self, stretch: &Stretch, around: &Surroundings) -> Measurement {
        let assembled = assemble(stretch, around);
        self.tracker.finish(assembled, stretch, &self.settings)
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
        let is_silent = |energy: f64| energy <= SILENT_POWER * self.heard_s();
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
            since_tick: 0,
        }
    }

    pub(super) fn channel_used(&self) -> ChannelUsed {
        self.channel_of(&self.tracker.quality())
    }

    pub(super) fn channel_of(&self, quality: &[ChannelQuality; MOST_CHANNELS]) -> ChannelUsed {
        self.settings
            .used(quality.map(|quality| quality.weight > 0.0))
    }
}
