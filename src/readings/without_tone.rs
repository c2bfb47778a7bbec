//! What a reference that is no tone tells: a speed as a ratio, no flutter, and
//! drift only where it was followed live.

use super::caution::Caution;
use super::conditions::Conditions;
use super::expanded::Expanded;
use super::measurement::Measurement;
use super::settings::Settings;
use super::values::{ChannelUsed, SignalFigures, SpeedFigures, UncertaintyParts};
use crate::units::{Decibels, Percent, Seconds};

/// The speed of a deviation whose 95 % parts, relative, are these.
pub(super) fn speed(
    deviation: Percent,
    noise: f64,
    wow: Expanded,
    conditions: &Conditions,
) -> SpeedFigures {
    let percent = 100.0 * deviation.ratio();
    let parts = UncertaintyParts::of(
        Some(Percent(noise * percent)),
        Some(wow.scaled(percent)),
        conditions,
    );
    SpeedFigures::of(None, deviation, parts)
}

/// What was heard of it.
pub(super) struct Heard<'a> {
    /// With the conditions.
    pub settings: &'a Settings,
    /// The drift is known all the same.
    pub has_drift: bool,
    pub frames: u64,
    pub clipped: u64,
    pub channel: ChannelUsed,
    pub level: Option<Decibels>,
    pub snr: Option<Decibels>,
}

impl Heard<'_> {
    /// The measurement without what only one kind of reference says; its
    /// cautions stand before and after those that go with every speed.
    pub fn measurement(
        self,
        speed: Option<SpeedFigures>,
        before: Vec<Caution>,
        after: Vec<Caution>,
    ) -> Measurement {
        let conditions = self.settings.conditions;
        let mut cautions = before;
        if speed.is_some() {
            cautions.extend(Caution::of_reference(&conditions));
            cautions.push(Caution::GivesNoFlutter(conditions.kind, self.has_drift));
        }
        cautions.extend(after);
        let mut measurement = Measurement {
            duration: Seconds(self.frames as f64 / f64::from(self.settings.rate_hz)),
            rate_hz: self.settings.rate_hz,
            channel: self.channel,
            conditions,
            signal: SignalFigures {
                usable: speed.is_some(),
                level: self.level,
                snr: self.snr,
                clipped_samples: self.clipped,
                ..SignalFigures::default()
            },
            speed,
            cautions,
            ..Measurement::default()
        };
        measurement.cautions.extend(measurement.clipped_caution());
        measurement
    }
}
